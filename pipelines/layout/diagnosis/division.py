"""Studied ground divided by where its water collects: low spots, works, and the sides it leaves over."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from pipelines.layout.diagnosis.protected import mask_of
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import STAYS, Drainage, flow_lengths, upstream_labels
from terrain.flow.low_spots import LowSpot

SIDES = ("edge_n", "edge_e", "edge_s", "edge_w")
ENCLOSED = "enclosed"
Known = TypeVar("Known")


@dataclass(frozen=True, slots=True, eq=False)
class CollectingPlace:
    """Cells at which water is held or taken.

    Attributes
    ----------
    id : str
        Id of the low spot or of the works.
    kind : str
        spot, or taker for works that take water as it runs by.
    cells : (n,) int ndarray
        Flat indices.
    """

    id: str
    kind: Literal["spot", "taker"]
    cells: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """Ground that drains to one place, inside the parcel or outside it.

    Attributes
    ----------
    id, drains_to : str
        Its id, and the place, edge or region that takes its water.
    place : str
        Place or edge that its water comes to in the end.
    cells : (n,) int ndarray
        Flat indices.
    run_on : bool
        Lies outside the parcel.
    path : (m,) int ndarray
        Flat indices along its longest way to the place, from the top down.
    entries : (k,) int ndarray or None
        Of ground upslope: which of its flows come to the place.
    """

    id: str
    drains_to: str
    place: str
    cells: IntArray
    run_on: bool
    path: IntArray
    entries: IntArray | None = None


class Once:
    """What was worked out of some ground already, each once, kept as long as the ground is asked about.

    What it hangs on is its key: a rain or a map itself. Of more than `most` what was asked for longest ago goes first.
    """

    def __init__(self, most: float = np.inf) -> None:
        self._known: dict[Hashable, Any] = {}
        self._most = most

    def of(self, key: Hashable, work_out: Callable[[], Known]) -> Known:
        """What belongs to a key, worked out where it was not yet."""
        found: Known = self._known.pop(key) if key in self._known else work_out()
        self._known[key] = found
        if len(self._known) > self._most:
            del self._known[next(iter(self._known))]
        return found

    def __contains__(self, key: Hashable) -> bool:
        return key in self._known


@dataclass(frozen=True, slots=True, eq=False)
class Upslope:
    """Ground whose water is held by low spots upslope of all that bears on the lot.

    Attributes
    ----------
    regions, places, next_place
        As of a division, of that ground alone.
    spots : dict of str to LowSpot
        By id.
    out : dict of str to int
        Which of the entries each low spot's water comes out at; none where it never does.
    entries : (k,) int ndarray
        Flat indices of the first cells below it. [-]
    entry_of : (rows * cols,) int ndarray
        Which of the entries a cell's water comes out at, -1 elsewhere. [-]
    storms : Once
        That were run on it already.
    """

    regions: tuple[Region, ...]
    places: tuple[CollectingPlace, ...]
    next_place: dict[str, str]
    spots: dict[str, LowSpot]
    out: dict[str, int]
    entries: IntArray
    entry_of: IntArray
    storms: Once = field(default_factory=Once)


@dataclass(frozen=True, slots=True, eq=False)
class Division:
    """The studied ground divided.

    Attributes
    ----------
    regions : tuple of Region
        Tile the studied ground without gap or overlap.
    places : tuple of CollectingPlace
        Upstream before downstream.
    next_place : dict of str to str
        Place or edge that takes what a place spills or lets by.
    label : (rows * cols,) int ndarray
        Position of the place or edge in `names`, -1 outside the studied ground.
    names : tuple of str
        Ids of places, then edges.
    studied : (rows, cols) bool ndarray
        Cells on the parcel or draining to it.
    drainage : Drainage
        Of the ground that is divided.
    upslope : Upslope or None
        What comes as flows from beyond the lot's surroundings.
    lowest : dict of str to int
        Flat index of the cell at which each place's surplus goes on.
    known : Once
        What was counted of it already, for one storm and edge after the other.
    """

    regions: tuple[Region, ...]
    places: tuple[CollectingPlace, ...]
    next_place: dict[str, str]
    label: IntArray
    names: tuple[str, ...]
    studied: BoolArray
    drainage: Drainage
    upslope: Upslope | None = None
    lowest: dict[str, int] = field(default_factory=dict)
    known: Once = field(default_factory=Once)


def studied_ground(drainage: Drainage, on_parcel: BoolArray, reached: BoolArray | None = None) -> BoolArray:
    """Known cells that lie on the parcel or drain to what is reached of it (all, if not given), roofs included."""
    seeds = np.where(on_parcel if reached is None else reached, 0, -1).astype(np.int64)
    studied: BoolArray = (upstream_labels(drainage, seeds) >= 0) | on_parcel
    return studied & (drainage.ground.kind > 0)


def lot_ground(parcel: BaseGeometry, drainage: Drainage, passing: float) -> tuple[BoolArray, BoolArray]:
    """Cells of the lot, and these with all that drains to it; water that comes no farther in than `passing` [m] and
    leaves again passes by, unless it stands with water that reaches farther."""
    held = _LOTS.get(drainage)
    if held is None or held[0] is not parcel or held[1] != passing:
        held = _LOTS[drainage] = (parcel, passing, _lot_ground(parcel, drainage, passing))
    on_parcel, studied = held[2]
    return on_parcel.copy(), studied.copy()


_LOTS: WeakKeyDictionary[Drainage, tuple[BaseGeometry, float, tuple[BoolArray, BoolArray]]] = WeakKeyDictionary()


def _lot_ground(parcel: BaseGeometry, drainage: Drainage, passing: float) -> tuple[BoolArray, BoolArray]:
    on_parcel = parcel_cells(parcel, drainage)
    inner = on_parcel & mask_of(parcel.buffer(-passing), drainage.ground.grid)
    ponds, _ = ndimage.label(drainage.filled > drainage.ground.elevation, np.ones((3, 3)))
    held = np.isin(ponds, np.unique(ponds[inner & (ponds > 0)]))
    return on_parcel, studied_ground(drainage, on_parcel, inner | (held & on_parcel))


def divide_ground(
    drainage: Drainage,
    on_parcel: BoolArray,
    places: Sequence[CollectingPlace],
    *,
    skip: BoolArray | None = None,
    upslope: Upslope | None = None,
) -> Division:
    """Divide the studied ground by the first place that its water comes to."""
    studied = studied_ground(drainage, on_parcel) if skip is None else skip
    names = (*(place.id for place in places), *SIDES, ENCLOSED)
    seeds = np.full(on_parcel.size, -1, dtype=np.int64)
    for number, place in reversed(list(enumerate(places))):
        seeds[place.cells] = number
    _mark_exits(drainage, on_parcel, seeds, len(places))
    at = np.where(seeds >= 0, np.arange(seeds.size), -1)
    first = upstream_labels(drainage, at.reshape(on_parcel.shape)).ravel()
    label = np.where((first >= 0) & studied.ravel(), seeds[first], -1)
    regions = _regions(drainage, on_parcel.ravel(), label, first, names, upslope)
    rank = np.full(seeds.size, -1, dtype=np.int64)
    rank[drainage.order] = np.arange(drainage.order.size)
    held = [place for place in places if (seeds[place.cells] >= 0).any()]
    lowest = {place.id: int(place.cells[int(np.argmin(rank[place.cells]))]) for place in held}
    # of places that share their lowest cell the one that has it comes last, since the others pass on to it
    held.sort(key=lambda place: (-int(rank[lowest[place.id]]), names[int(seeds[lowest[place.id]])] == place.id))
    onward = {
        place.id: _next(drainage, place, names.index(place.id), label, names, rank, on_parcel) for place in held
    }
    return Division(regions, tuple(held), onward, label, names, studied, drainage, upslope, lowest=lowest)


def _mark_exits(drainage: Drainage, on_parcel: BoolArray, seeds: IntArray, first_side: int) -> None:
    """Label cells from which water leaves the parcel for good, by side, and bottoms of shut-in ground."""
    inside = on_parcel.ravel()
    target = drainage.target
    comes_back = upstream_labels(drainage, np.where(on_parcel, 0, -1).astype(np.int64)).ravel() >= 0
    onward = np.where(target >= 0, target, 0)
    leaves = inside & (drainage.ground.kind.ravel() > 0) & ~((target >= 0) & comes_back[onward])
    stays = leaves & (target == STAYS)
    exits = np.flatnonzero(leaves & (seeds < 0) & ~stays)
    seeds[exits] = first_side + sides_of(exits, on_parcel)
    ends = np.flatnonzero((target == STAYS) & (seeds < 0))
    seeds[ends] = first_side + len(SIDES)


def sides_of(cells: IntArray, on_parcel: BoolArray) -> IntArray:
    """0 to 3 for north, east, south, west of the lot's middle, measured in its half width and height."""
    rows, columns = np.nonzero(on_parcel)
    columns_all = on_parcel.shape[1]
    down = (cells // columns_all - 0.5 * (rows.min() + rows.max())) / max(0.5 * (rows.max() - rows.min()), 0.5)
    right = (cells % columns_all - 0.5 * (columns.min() + columns.max())) / max(
        0.5 * (columns.max() - columns.min()), 0.5
    )
    vertical = np.abs(down) >= np.abs(right)
    return np.where(vertical, np.where(down < 0.0, 0, 2), np.where(right > 0.0, 1, 3)).astype(np.int64)


def _regions(
    drainage: Drainage,
    inside: BoolArray,
    label: IntArray,
    first: IntArray,
    names: tuple[str, ...],
    upslope: Upslope | None,
) -> tuple[Region, ...]:
    length = flow_lengths(drainage).ravel()
    here = np.flatnonzero(label >= 0)
    order = here[np.argsort(label[here], kind="stable")]
    bounds = np.searchsorted(label[order], np.arange(len(names) + 1))
    regions: list[Region] = []
    for number, name in enumerate(names):
        cells = np.sort(order[bounds[number]: bounds[number + 1]])
        lot, beyond, held = cells[inside[cells]], cells[~inside[cells]], cells[:0]
        if upslope is not None:
            far = upslope.entry_of[beyond] >= 0
            beyond, held = beyond[~far], beyond[far]
        own = f"area-{number + 1}"
        if lot.size:
            regions.append(Region(own, name, name, lot, False, _longest_path(drainage, lot, first, length)))
        if beyond.size:
            to = own if lot.size else name
            regions.append(
                Region(f"{own}-run-on", to, name, beyond, True, _longest_path(drainage, beyond, first, length))
            )
        if upslope is not None and held.size:
            to = f"{own}-run-on" if beyond.size else own if lot.size else name
            path = _longest_path(drainage, held, first, length)
            entries = np.unique(upslope.entry_of[held])
            regions.append(Region(f"{own}-upslope", to, name, held, True, path, entries))
    return tuple(regions)


def _longest_path(drainage: Drainage, cells: IntArray, first: IntArray, length: FloatArray) -> IntArray:
    """From the cell that has furthest to go, down to the first cell of the place."""
    way = length[cells] - length[first[cells]]
    cell = int(cells[int(np.argmax(way))])
    end = int(first[cell])
    path = [cell]
    while cell != end:
        cell = int(drainage.target[cell])
        path.append(cell)
    return np.array(path, dtype=np.int64)


def _next(
    drainage: Drainage,
    place: CollectingPlace,
    number: int,
    label: IntArray,
    names: tuple[str, ...],
    rank: IntArray,
    on_parcel: BoolArray,
) -> str:
    """Where the surplus of a place goes: down from its lowest-ranked cell to the first cell of another place."""
    cell = int(place.cells[int(np.argmin(rank[place.cells]))])
    last = cell
    while cell >= 0 and label[cell] == number:
        last, cell = cell, int(drainage.target[cell])
    if cell == STAYS:
        return ENCLOSED
    if cell >= 0 and label[cell] >= 0:
        return names[int(label[cell])]
    # it has left the studied ground for good
    return SIDES[int(sides_of(np.array([last]), on_parcel)[0])]


def parcel_cells(parcel: object, drainage: Drainage) -> BoolArray:
    """Known cells whose centre lies on the lot."""
    return mask_of(parcel, drainage.ground.grid) & (drainage.ground.kind > 0)
