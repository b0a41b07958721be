"""The ground of some swales cut out of a town's: all that drains to them, and nothing else of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage
from shapely import MultiPolygon

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.swale.case import SwaleCase
from terrain.arrays import BoolArray, IntArray
from terrain.flow.drainage import LEAVES, Drainage, upstream_labels
from terrain.flow.low_spots import LowSpot
from terrain.grid import Grid
from terrain.ground import Ground

RIM = 3
"""Cells kept around what is cut out, so that nothing of it lies at a raster's end that is none. [-]"""


@dataclass(frozen=True, slots=True)
class Box:
    """Rows and columns of a cut, ends not included."""

    top: int
    left: int
    bottom: int
    right: int

    def with_box(self, other: "Box") -> "Box":
        """The least that holds both."""
        return Box(
            min(self.top, other.top), min(self.left, other.left),
            max(self.bottom, other.bottom), max(self.right, other.right),
        )  # fmt: skip


def boxes_of(
    drainage: Drainage, seeds: IntArray, spots: Sequence[Sequence[LowSpot]], asked: Sequence[IntArray]
) -> tuple[Box, ...]:
    """What each group of swales needs of the ground: all that drains to its cells and to its low spots.

    Parameters
    ----------
    drainage : Drainage
        Over the town's ground.
    seeds : (rows, cols) int ndarray
        Position of the group on cells of its swales, -1 elsewhere.
    spots : sequence of sequence of LowSpot
        By group: low spots that its swales lie in.
    asked : sequence of (n,) int ndarray
        By group: further cells that must lie in it.

    Returns
    -------
    tuple of Box
        By group.
    """
    shape = drainage.ground.grid.shape
    marked = seeds.ravel().copy()
    for group, own in enumerate(spots):
        for spot in own:
            marked[spot.cells[marked[spot.cells] < 0]] = group
    reached = upstream_labels(drainage, marked.reshape(shape))
    around = ndimage.find_objects(reached + 1, max_label=len(spots))
    boxes = []
    for found, own, cells in zip(around, spots, asked, strict=True):
        ends = np.concatenate([cells, *(np.append(each.cells, each.spill_cell or each.bottom) for each in own)])
        row, column = np.divmod(ends, shape[1])
        box = Box(int(row.min()), int(column.min()), int(row.max()) + 1, int(column.max()) + 1)
        if found is not None:
            down, across = found
            box = box.with_box(Box(down.start, across.start, down.stop, across.stop))
        boxes.append(box)
    return tuple(
        Box(max(box.top - RIM, 0), max(box.left - RIM, 0),
            min(box.bottom + RIM, shape[0]), min(box.right + RIM, shape[1]))
        for box in _with_those_above(boxes, _drain_to(drainage, marked, reached.ravel(), spots))
    )  # fmt: skip


def _drain_to(
    drainage: Drainage, marked: IntArray, reached: IntArray, spots: Sequence[Sequence[LowSpot]]
) -> set[tuple[int, int]]:
    """Pairs of groups, the first draining to the second or sharing a low spot with it."""
    own = np.flatnonzero(marked >= 0)
    target = drainage.target[own]
    onward = own[target >= 0]
    pairs = {(int(a), int(b)) for a, b in np.unique(
        np.column_stack([marked[onward], reached[drainage.target[onward]]]), axis=0
    ).tolist() if a != b and b >= 0}  # fmt: skip
    for group, several in enumerate(spots):
        for spot in several:
            pairs |= {(other, group) for other in np.unique(reached[spot.cells]).tolist() if other not in (group, -1)}
    return pairs


def _with_those_above(boxes: Sequence[Box], pairs: set[tuple[int, int]]) -> list[Box]:
    """Boxes that hold those of all groups above, however far."""
    found, changed = list(boxes), True
    while changed:
        changed = False
        for above, below in sorted(pairs):
            both = found[below].with_box(found[above])
            changed |= both != found[below]
            found[below] = both
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A box of a town's ground, and how its cells are numbered there and here."""

    box: Box
    grid: Grid

    @property
    def slices(self) -> tuple[slice, slice]:
        """Of the town's rasters."""
        return slice(self.box.top, self.box.bottom), slice(self.box.left, self.box.right)

    def inside(self, cells: IntArray) -> BoolArray:
        """Which of the town's cells lie in it."""
        row, column = np.divmod(cells, self.grid.shape[1])
        found: BoolArray = (
            (cells >= 0) & (row >= self.box.top) & (row < self.box.bottom)
            & (column >= self.box.left) & (column < self.box.right)
        )  # fmt: skip
        return found

    def numbered(self, cells: IntArray) -> IntArray:
        """The town's cells by their number here; what is below zero stays."""
        row, column = np.divmod(cells, self.grid.shape[1])
        here = (row - self.box.top) * (self.box.right - self.box.left) + column - self.box.left
        return np.asarray(np.where(cells < 0, cells, here), dtype=np.int64)

    def of(self, raster: np.ndarray) -> np.ndarray:
        """A copy of the part of a raster."""
        return np.ascontiguousarray(raster[self.slices])


def cut_case(case: SwaleCase, box: Box, swales: Sequence[int]) -> SwaleCase:
    """A case of some swales on the ground of a box; its low spots are left to whoever asks. Heights stay as they are
    in the town's, and so do the ways of the water within the box."""
    grid = case.ground.grid
    cut = Cut(box, grid)
    here = replace(
        grid,
        shape=(box.bottom - box.top, box.right - box.left),
        left=grid.left + box.left * grid.cell_width,
        top=grid.top - box.top * grid.cell_height,
    )
    ground, drainage = case.ground, case.drainage
    receiver = cut.of(ground.receiver)
    receiver = np.where(cut.inside(receiver), cut.numbered(receiver), np.int64(-1))
    kind, elevation = cut.of(ground.kind), cut.of(ground.elevation)
    own = Ground(here, elevation, kind, receiver, cut.of(ground.roof))
    target = cut.of(drainage.target.reshape(grid.shape)).ravel()
    # water that leaves the box comes back to none of its swales
    target = np.where((target < 0) | cut.inside(target), cut.numbered(target), LEAVES)
    order = drainage.order[cut.inside(drainage.order)]
    drained = Drainage(own, cut.of(drainage.filled), target, cut.numbered(order), cut.of(drainage.accumulation))
    surfaces = replace(case.surfaces, grid=here, surface=cut.of(case.surfaces.surface),
                       group=cut.of(case.surfaces.group))  # fmt: skip
    return replace(
        case,
        inputs=replace(case.inputs, layers=_few(case.inputs.layers, here), picture=None),
        surface=replace(case.surface, grid=here, elevation=cut.of(case.surface.elevation)),
        ground=own, drainage=drained, spots=(), surfaces=surfaces, warnings=(),
        sites=tuple(case.sites[k] for k in swales), capacities=tuple(case.capacities[k] for k in swales),
        velocities=tuple(case.velocities[k] for k in swales),
        soaking_rates=tuple(case.soaking_rates[k] for k in swales),
    )  # fmt: skip


def cut_spots(spots: Sequence[LowSpot], box: Box, grid: Grid) -> tuple[LowSpot, ...]:
    """Low spots by the numbers that their cells have in a box."""
    cut = Cut(box, grid)
    return tuple(
        replace(
            spot, cells=cut.numbered(spot.cells), bottom=int(cut.numbered(np.array([spot.bottom]))[0]),
            spill_cell=None if spot.spill_cell is None else int(cut.numbered(np.array([spot.spill_cell]))[0]),
        )
        for spot in spots
    )  # fmt: skip


def _few(layers: SiteLayers, grid: Grid) -> SiteLayers:
    """The layers of which a swale's judgement asks: lines in the ground within the box."""
    west, south, east, north = grid.bounds
    near = layers.utilities.cx[west:east, south:north]
    none = ("parcels", "roofs", "hardscape", "barriers", "keep_out", "right_of_way", "downspouts", "culverts",
            "outfalls", "complaints", "soils", "swales", "basins", "forbidden")  # fmt: skip
    return replace(
        layers, utilities=near, warnings=(), sources=(),
        parcel=MultiPolygon(),
        frontage=replace(layers.frontage, edges=(), unsure=(), neighbors=MultiPolygon(), free=()),
        **{name: getattr(layers, name).iloc[:0] for name in none},
    )  # fmt: skip
