"""Banks near a lot that may hide a culvert, and what the lot looks like if one is open."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.ground_rules import embankment_rules
from pipelines.inputs.rules import Rules
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import Trouble
from terrain.flow.drainage import Drainage
from terrain.flow.embankments import Embankment, find_embankments
from terrain.flow.low_spots import LowSpot
from terrain.reason import Reason, reason

DRAINED = 0.02
"""A low spot that holds no more than this is drained. [m]"""
SAME_RUN_ON = 0.1
"""Run-on that changes by less than this share of the larger is told as the same. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class HiddenCulvert:
    """A bank that may hide a culvert.

    Attributes
    ----------
    name : Reason
        Of the bank, with its place.
    depth, depth_open : float
        Deepest that water stands in what it dams before it spills: now, and were it open. [m]
    run_on, run_on_open : float
        Ground that drains to the lot from outside. [m2]
    ends, begins : tuple of Reason
        Places whose trouble would be none were it open, and those that would be in trouble.
    why : Reason
        All of this, for a warning.
    """

    id: str
    bank: Embankment
    name: Reason
    depth: float
    depth_open: float
    run_on: float
    run_on_open: float
    ends: tuple[Reason, ...]
    begins: tuple[Reason, ...]
    why: Reason

    @property
    def decides(self) -> bool:
        """What is wrong on the lot hangs on it."""
        return bool(self.ends or self.begins)


def banks_near(
    place: BaseGeometry, drainage: Drainage, spots: Sequence[LowSpot], rules: Rules, known: Iterable[BaseGeometry]
) -> tuple[Embankment, ...]:
    """Banks that dam low spots within reach of a place, without those with a drive or culvert that is known already."""
    grid, reach = drainage.ground.grid, rules["embankment_reach"].likely
    shapely.prepare(place)
    near = []
    for spot in spots:
        if spot.spill_cell is not None and not spot.within_lidar_error:
            x, y = grid.centres(*np.divmod(spot.cells, grid.shape[1]))
            if shapely.dwithin(place, shapely.points(x, y), reach).any():
                near.append(spot)
    found = find_embankments(drainage, near, embankment_rules(rules))
    told = list(known)
    return tuple(bank for bank in found if all(bank.opening.distance(each) > bank.width for each in told))


def name_of_bank(bank: Embankment, place: BaseGeometry, drainage: Drainage) -> Reason:
    """A bank with where it lies from a lot or swale, and its place on the map."""
    frame = drainage.ground.grid.frame
    return reason(
        "bank_named", distance=float(place.distance(bank.point)), side=side_of(bank.point, place.centroid),
        place=f"{bank.point.x / frame.x_scale:.0f}, {bank.point.y / frame.y_scale:.0f}",
    )  # fmt: skip


def depth_if_open(bank: Embankment, now: Drainage, opened: Drainage) -> float:
    """Deepest that water stands in what a bank dams before it spills, once it is open. [m]"""
    left = float(opened.filled.flat[bank.spot.bottom] - now.ground.elevation.flat[bank.spot.bottom])
    return min(max(left, 0.0), bank.spot.depth)


def if_open(
    id: str, bank: Embankment, lot: Situation, found: Diagnosis, opened: Situation, then: Diagnosis
) -> HiddenCulvert:
    """The lot as it is beside the same drained through a bank."""
    depth_open = depth_if_open(bank, lot.drainage, opened.drainage)
    run_on, run_on_open = (_run_on(each) for each in (lot, opened))
    same = abs(run_on - run_on_open) <= SAME_RUN_ON * max(run_on, run_on_open)
    ends, begins = _gone(found.troubles, then.troubles), _gone(then.troubles, found.troubles)
    name = name_of_bank(bank, lot.parcel, lot.drainage)
    why = reason(
        "bank_may_hide_culvert", bank=name, height=bank.height, width=bank.width, depth=bank.spot.depth,
        depth_open=depth_open if depth_open > DRAINED else None, ends=ends, begins=begins,
        run_on=None if same else run_on, run_on_open=None if same else run_on_open,
    )  # fmt: skip
    return HiddenCulvert(id, bank, name, bank.spot.depth, depth_open, run_on, run_on_open, ends, begins, why)


def _run_on(lot: Situation) -> float:
    return float(np.count_nonzero(lot.studied & ~lot.on_parcel)) * lot.grid.cell_area


def _gone(before: Sequence[Trouble], after: Sequence[Trouble]) -> tuple[Reason, ...]:
    """Places in trouble of which none is left there afterwards."""
    gone = [trouble.name for trouble in before if not any(_same(trouble, other) for other in after)]
    return tuple(dict.fromkeys(gone))


def _same(one: Trouble, other: Trouble) -> bool:
    if one.kind != other.kind or one.name != other.name:
        return False
    if one.spot is None or other.spot is None:
        return True
    return bool(np.isin(one.spot.spot.cells, other.spot.spot.cells).any())


def side_of(point: BaseGeometry, middle: BaseGeometry) -> Reason:
    """On which side of a place another lies."""
    east, north = (float(value) for value in np.subtract(point.coords[0], middle.coords[0]))
    if abs(east) > abs(north):
        return reason("side_east") if east > 0.0 else reason("side_west")
    return reason("side_north") if north > 0.0 else reason("side_south")
