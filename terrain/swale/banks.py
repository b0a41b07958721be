"""Where a swale's banks are: the first shelf or crest beside it, found on the ground."""

from dataclasses import dataclass

import numpy as np

from terrain.arrays import FloatArray

# How far between the shelf's slope and the bank's, from the shelf's.
_ROUNDED = 0.2


@dataclass(frozen=True, slots=True)
class BankRules:
    """What counts as a bank. Common practice, no source.

    Attributes
    ----------
    shelf : float
        A bank's top is followed by at least so much flatter ground. [m]
    flatter : float
        That ground rises at less than this share of the bank's own slope. [-]
    stands_out : float
        Least height of a bank's top above the straight line across it; also how far ground must fall
        beyond a crest for the crest to be the bank. [m]
    gap : float
        A section's bank this far below the usual one is a gap in it. [m]
    """

    shelf: float = 1.0
    flatter: float = 0.35
    stands_out: float = 0.04
    gap: float = 0.10


@dataclass(frozen=True, slots=True)
class Bank:
    """One side's bank.

    Attributes
    ----------
    index : int
        Position of its top in the heights as given.
    kind : str
        shelf (flatter ground follows), crest (ground falls beyond), wall (a roof or barrier stands there)
        or none (still rising where the known or searched ground ends).
    """

    index: int
    kind: str


def find_bank(
    distance: FloatArray, height: FloatArray, *, wall: int | None = None, rules: BankRules | None = None
) -> Bank:
    """First bank outward from the bottom.

    Outward from the bottom, the bank is the first top after which the ground goes on flatter for a while,
    or falls. It is found as the point farthest above a straight line from the bottom to the ground beyond, which
    noise moves less than it moves a slope.
    """
    rules = rules or BankRules()
    known = np.isnan(height)
    end = int(np.argmax(known)) - 1 if known.any() else len(height) - 1
    ends_as = "none"
    if wall is not None and wall - 1 <= end:
        end, ends_as = wall - 1, "wall"
    if end < 1:
        return Bank(max(end, 0), ends_as)
    crest = _crest(height[: end + 1], rules.stands_out)
    if crest is not None:
        end, ends_as = crest, "crest"
    shelf = _first_shelf(distance[: end + 1], height[: end + 1], rules)
    return Bank(shelf, "shelf") if shelf is not None else Bank(end, ends_as)


def _crest(height: FloatArray, drop: float) -> int | None:
    """Position of the first top from which the ground falls by more than `drop`, once it has risen as much."""
    highest = np.maximum.accumulate(height)
    falls = (highest - height > drop) & (highest > drop)
    if not falls.any():
        return None
    return int(np.argmax(height[: int(np.argmax(falls)) + 1]))


def _first_shelf(distance: FloatArray, height: FloatArray, rules: BankRules) -> int | None:
    for end in range(2, len(distance)):
        if distance[end] < rules.shelf:
            continue
        chord = height[0] + (height[end] - height[0]) * (distance[: end + 1] - distance[0]) / distance[end]
        above = height[: end + 1] - chord
        top = int(np.argmax(above))
        if above[top] < rules.stands_out or distance[end] - distance[top] < rules.shelf - 1e-9:
            continue
        toe = int(np.argmin(above[: top + 1]))
        if toe == top:
            continue
        bank = (height[top] - height[toe]) / (distance[top] - distance[toe])
        beyond = (height[end] - height[top]) / (distance[end] - distance[top])
        if beyond < rules.flatter * bank:
            # a raster rounds the edge: its top is where the ground has nearly taken the shelf's slope
            slope = beyond + _ROUNDED * (bank - beyond)
            return top + int(np.argmax((height[: end + 1] - slope * distance[: end + 1])[top:]))
    return None
