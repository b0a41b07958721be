"""Low spots: nested depressions, what they hold and where they spill."""

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.errors import GroundError
from terrain.flow.drainage import Drainage
from terrain.ground import OPEN, Ground
from terrain.kernels.depressions import Tree, grow_tree, volumes_when_full
from terrain.kernels.fill_spill_merge import settle
from terrain.lidar_error import NOISE_LENGTH, SHARED_VARIANCE, fall_error

MIN_DEPTH = 0.02
"""Shallower low spots are not listed: puddles. Common practice, no source. [m]"""
MIN_AREA = 1.0
"""Smaller low spots are not listed. Common practice, no source. [m2]"""
SIGMAS = 2.0
"""Standard errors of the fall from spill to bottom below which a low spot may be lidar noise. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class LowSpot:
    """One depression of the hierarchy.

    Attributes
    ----------
    cells : (n,) int ndarray
        Flat indices of the cells under water when it is full to its spill level.
    bottom, spill_cell : int
        Flat indices of its deepest cell, and of the cell it overflows through; None where shut in.
    spill_elevation : float or None
        None where shut in by roofs or barriers. [m]
    bottom_elevation, depth, area, volume : float
        Lowest ground [m], deepest water before it spills [m], area [m2] and volume [m3] at the spill level.
        Of an enclosed spot: up to the lowest ground on its shore that has no more ground beside it.
    contained_in : str or None
        Id of the low spot it merges into when full.
    levels, areas, volumes : (k,) float ndarray
        Stage and storage from the bottom to the spill level, both increasing. [m], [m2], [m3]
    found : float or None
        Share of the grounds that lidar allows on which it is there; None where they were not counted. [-]
    """

    id: str
    cells: IntArray
    bottom: int
    spill_cell: int | None
    spill_elevation: float | None
    bottom_elevation: float
    depth: float
    area: float
    volume: float
    contained_in: str | None
    enclosed: bool
    levels: FloatArray
    areas: FloatArray
    volumes: FloatArray
    within_lidar_error: bool
    found: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """Where a given water came to rest.

    Attributes
    ----------
    depth : (rows, cols) float ndarray
        Of standing water, 0 where dry. [m]
    stored : dict of str to float
        Water that each low spot holds below its spill, by its id; an enclosed one holds all that reaches it. [m3]
    stands : float
        All water that stands, small puddles included. [m3]
    leaves : float
        All water that leaves over open borders. [m3]
    """

    depth: FloatArray
    stored: dict[str, float]
    stands: float
    leaves: float


def find_low_spots(
    drainage: Drainage,
    *,
    rmse: float,
    min_depth: float = MIN_DEPTH,
    min_area: float = MIN_AREA,
    sigmas: float = SIGMAS,
    shared_variance: float = SHARED_VARIANCE,
    noise_length: float = NOISE_LENGTH,
    prefix: str = "L",
    within: BoolArray | None = None,
) -> tuple[LowSpot, ...]:
    """Depressions of the ground, largest volume first.

    One that holds another large enough to be listed is listed with both; one that merely grew by swallowing
    puddles is listed once, at its highest spill level.

    Parameters
    ----------
    drainage : Drainage
        Directions and filled surface.
    rmse : float
        Vertical accuracy of the lidar. [m]
    min_depth : float
        Shallower ones are left out; enclosed ones are always kept if their ground is large enough. [m]
    min_area : float
        Smaller ones are left out. [m2]
    sigmas : float
        Standard errors of the fall from spill to bottom within which it may be lidar noise. [-]
    shared_variance, noise_length : float
        As of `fall_error`. [-], [m]
    prefix : str
        What ids begin with.
    within : (rows, cols) bool ndarray, optional
        Those that reach none of these cells are left out; the others keep their ids.

    Returns
    -------
    tuple of LowSpot
        By falling volume, then by position.
    """
    ground = drainage.ground
    tree = _tree(drainage)
    kept = _worth_listing(tree, ground, min_depth, min_area)
    if kept.size == 0:
        return ()
    listed = np.full(tree.parent.size, -1, dtype=np.int64)
    listed[kept] = kept
    home = listed.copy()
    for pool in range(home.size - 1, -1, -1):
        if home[pool] < 0 and tree.parent[pool] >= 0:
            home[pool] = home[tree.parent[pool]]
    shapes = [_under_water(tree, int(pool), ground) for pool in kept]
    heights = ground.elevation.ravel()
    sizes = np.array([cells.size for cells, _ in shapes])
    ends = np.concatenate(([0], np.cumsum(sizes)))
    together = np.concatenate([cells for cells, _ in shapes])
    volumes = volumes_when_full(heights[together], ends, np.array([top for _, top in shapes]))
    ranking = np.lexsort((tree.bottom[kept], -volumes * ground.grid.cell_area))
    names = {int(kept[position]): f"{prefix}{rank + 1}" for rank, position in enumerate(ranking)}

    if within is not None:
        reached = np.logical_or.reduceat(within.ravel()[together], ends[:-1])
        ranking = ranking[reached[ranking]]
    across = _across(tree, kept, sizes * ground.grid.cell_area, ground)
    noise = sigmas * fall_error(rmse, across, shared_variance=shared_variance, noise_length=noise_length)
    return tuple(
        _low_spot(
            drainage, tree, int(kept[position]), shapes[position][0],
            _stage_storage(heights[shapes[position][0]], shapes[position][1], ground.grid.cell_area),
            home, names, float(noise[position]),
        )
        for position in ranking.tolist()
    )


def settle_water(drainage: Drainage, runoff_volume: FloatArray, low_spots: Sequence[LowSpot] = ()) -> Settled:
    """Let water run down, fill low spots, spill and merge until it rests. [1]_

    All depressions take part, not only those listed; input equals `stands` plus `leaves` to round-off.

    Parameters
    ----------
    drainage : Drainage
        Directions and filled surface.
    runoff_volume : (rows, cols) float ndarray
        Water that starts on each cell, 0 or more; what is on OUTSIDE cells is left out. [m3]
    low_spots : sequence of LowSpot
        Those of `find_low_spots` on the same drainage of which to tell what they hold.

    Returns
    -------
    Settled
        Water at rest.

    Raises
    ------
    GroundError
        If the runoff has another shape than the ground, or is negative or not finite somewhere.

    References
    ----------
    .. [1] Barnes, Callaghan, Wickert, "Computing water flow through complex landscapes - Part 3: Fill-Spill-Merge",
       Earth Surface Dynamics 9, 2021, doi:10.5194/esurf-9-105-2021.
    """
    ground = drainage.ground
    area = ground.grid.cell_area
    runoff = _checked(runoff_volume, ground)
    tree = _tree(drainage)
    depth, leaves, stored, *_ = settle(
        runoff, ground.elevation.ravel(), drainage.target, drainage.order, tree, area
    )
    outer = tree.parent < 0
    pools = _pools_of(tree, low_spots)
    return Settled(
        depth=depth.reshape(ground.grid.shape),
        stored={spot.id: float(stored[pool]) for spot, pool in pools},
        stands=float(stored[outer].sum()),
        leaves=float(leaves.sum()),
    )


_TREES: WeakKeyDictionary[Drainage, Tree] = WeakKeyDictionary()


def _tree(drainage: Drainage) -> Tree:
    """Grown once for each drainage, as long as that is there; nothing writes into it."""
    if drainage not in _TREES:
        _TREES[drainage] = _grown(drainage)
    return _TREES[drainage]


def forget_tree(drainage: Drainage) -> None:
    """Let go of what is kept of a drainage for more questions about its low spots."""
    _TREES.pop(drainage, None)


def _grown(drainage: Drainage) -> Tree:
    ground = drainage.ground
    return grow_tree(
        ground.elevation,
        ground.kind,
        drainage.target,
        drainage.order,
        ground.grid.cell_width,
        ground.grid.cell_height,
    )


def _worth_listing(tree: Tree, ground: Ground, min_depth: float, min_area: float) -> IntArray:
    """Pools deep and large enough: outermost ones, and all of several that merge."""
    inside = tree.begin[1:] - tree.begin[tree.first]
    large = inside * ground.grid.cell_area >= min_area * (1 - 1e-9)
    deep = tree.spill_level - ground.elevation.ravel()[tree.bottom] >= min_depth * (1 - 1e-9)
    # three pools that meet at one level: the joint of the first two holds no more than they do, and is none of its own
    joint = (tree.left >= 0) & (tree.spill_level <= tree.base_level)
    passes = large & deep & ~joint
    meeting = tree.parent.copy()
    while (up := (meeting >= 0) & joint[meeting] & (tree.parent[meeting] >= 0)).any():
        meeting[up] = tree.parent[meeting[up]]
    inner = np.flatnonzero(passes & (meeting >= 0))
    others = np.bincount(meeting[inner], minlength=tree.parent.size) > 1
    apart = (meeting < 0) | others[meeting] | joint[meeting]
    return np.flatnonzero(passes & apart)


def _under_water(tree: Tree, pool: int, ground: Ground) -> tuple[IntArray, float]:
    """Cells under a full pool, and its level."""
    top = float(tree.spill_level[pool])
    if np.isfinite(top):
        return tree.cells[tree.begin[tree.first[pool]] : tree.begin[pool + 1]], top
    inside = tree.cells[tree.begin[tree.first[pool]] : tree.begin[pool + 1]]
    heights = ground.elevation.ravel()
    top = float(heights[inside[_at_a_wall(inside, ground)]].min())
    while tree.left[pool] >= 0 and tree.base_level[pool] >= top:
        left, right = int(tree.left[pool]), int(tree.right[pool])
        pool = left if tree.bottom[left] == tree.bottom[pool] else right
    inside = tree.cells[tree.begin[tree.first[pool]] : tree.begin[pool + 1]]
    return inside[heights[inside] <= top], top


def _at_a_wall(cells: IntArray, ground: Ground) -> BoolArray:
    rows, columns = ground.grid.shape
    padded = np.zeros((rows + 2, columns + 2), dtype=np.bool_)
    padded[1:-1, 1:-1] = ground.kind == OPEN
    row, column = cells // columns + 1, cells % columns + 1
    closed = [~padded[row + south, column + east] for south, east in ((0, 1), (1, 0), (0, -1), (-1, 0))]
    return np.asarray(np.any(closed, axis=0))


def _stage_storage(heights: FloatArray, top: float, area: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Levels at which another cell goes under, and the top; wetted area and volume at each."""
    heights.sort()
    # of each level the last of its cells
    last = np.ones(heights.size, dtype=np.bool_)
    np.not_equal(heights[1:], heights[:-1], out=last[:-1])
    wet = last.nonzero()[0]
    levels = heights[wet]
    wet += 1
    if top > levels[-1]:
        levels, wet = np.concatenate((levels, (top,))), np.concatenate((wet, wet[-1:]))
    volumes = np.zeros(levels.size)
    np.cumsum((levels[1:] - levels[:-1]) * wet[:-1], out=volumes[1:])
    volumes *= area
    return levels, np.asarray(wet * area, dtype=np.float64), volumes


def _across(tree: Tree, pools: IntArray, areas: FloatArray, ground: Ground) -> FloatArray:
    """From the bottom of each pool to its spill, by the middles of cells; of one shut in the side of its area. [m]"""
    columns = ground.grid.shape[1]
    (x, y), (spill_x, spill_y) = (
        ground.grid.centres(cells // columns, cells % columns) for cells in (tree.bottom[pools], tree.spill_cell[pools])
    )
    spills = np.isfinite(tree.spill_level[pools])
    found: FloatArray = np.where(spills, np.hypot(spill_x - x, spill_y - y), np.sqrt(areas))
    return found


def _low_spot(
    drainage: Drainage,
    tree: Tree,
    pool: int,
    cells: IntArray,
    storage: tuple[FloatArray, FloatArray, FloatArray],
    home: IntArray,
    names: dict[int, str],
    noise: float,
) -> LowSpot:
    ground = drainage.ground
    bottom = int(tree.bottom[pool])
    low = float(ground.elevation.flat[bottom])
    levels, areas, volumes = storage
    spill = int(tree.spill_cell[pool])
    enclosed = not np.isfinite(tree.spill_level[pool])
    outside = int(home[tree.parent[pool]]) if tree.parent[pool] >= 0 else -1
    return LowSpot(
        id=names[pool],
        cells=cells,
        bottom=bottom,
        spill_cell=None if enclosed else spill,
        spill_elevation=None if enclosed else float(tree.spill_level[pool]),
        bottom_elevation=low,
        depth=float(levels[-1] - low),
        area=float(areas[-1]),
        volume=float(volumes[-1]),
        contained_in=names.get(outside),
        enclosed=enclosed,
        levels=levels,
        areas=areas,
        volumes=volumes,
        within_lidar_error=bool(levels[-1] - low < noise),
    )


def _pools_of(tree: Tree, low_spots: Sequence[LowSpot]) -> list[tuple[LowSpot, int]]:
    """Pool of each listed low spot, known by bottom and spill level."""
    wanted = {(spot.bottom, spot.spill_elevation): spot for spot in low_spots}
    found: list[tuple[LowSpot, int]] = []
    for pool in np.flatnonzero(np.isin(tree.bottom, [spot.bottom for spot in low_spots])).tolist():
        level = float(tree.spill_level[pool])
        spot = wanted.get((int(tree.bottom[pool]), level if np.isfinite(level) else None))
        if spot is not None and not (tree.left[pool] >= 0 and level <= tree.base_level[pool]):
            found.append((spot, pool))
    if len(found) < len(low_spots):
        raise GroundError("low spots of another drainage were given to settle_water: find them on this one")
    rank = {spot.id: position for position, spot in enumerate(low_spots)}
    return sorted(found, key=lambda pair: rank[pair[0].id])


def _checked(runoff_volume: FloatArray, ground: Ground) -> FloatArray:
    if np.shape(runoff_volume) != ground.grid.shape:
        raise GroundError(
            f"runoff of shape {np.shape(runoff_volume)} was given for a ground of shape {ground.grid.shape}: "
            "give one volume for each cell"
        )
    runoff = np.where(ground.kind > 0, runoff_volume, 0.0).ravel()
    bad = np.flatnonzero(~(np.isfinite(runoff) & (runoff >= 0)))
    if bad.size:
        row, column = divmod(int(bad[0]), ground.grid.shape[1])
        raise GroundError(
            f"runoff is {runoff[bad[0]]} at row {row}, column {column}: volumes must be finite and 0 or more"
        )
    return runoff
