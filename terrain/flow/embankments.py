"""Embankments that dam low ground: a long narrow ridge of even height across the lowest way out may hide a culvert."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from shapely import LineString, Point

from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import Drainage, path_downstream
from terrain.flow.low_spots import LowSpot
from terrain.ground import Ground
from terrain.kept import kept
from terrain.sampling import sample_bilinear

RAY = 8.0
"""Length over which the two ways of a crest are looked for. Common practice, no source. [m]"""
STEP = 1.0
"""Least distance between the heights that are read along and across a bank. [m]"""
REACH = 3.0
"""How far a crest is followed either way, and how far off its outlet two waters may meet, in least lengths. [-]"""
ONE_SIDED = 0.2
"""Largest share of the low ground that may lie on the far side of a bank that dams it. Common practice. [-]"""
AT_ONCE = 64
"""Low spots whose ridges are followed together. [-]"""


@dataclass(frozen=True, slots=True)
class EmbankmentRules:
    """What counts as an embankment.

    Attributes
    ----------
    length, width, height : float
        Least length of its crest, most width at half its height, least height over the ground on both sides. [m]
    evenness : float
        Most standard deviation of its crest from a straight grade. [m]
    over : float
        How far the ground behind it may lie over the bottom of the low spot. [m]
    """

    length: float
    width: float
    height: float
    evenness: float
    over: float


@dataclass(frozen=True, slots=True, eq=False)
class Embankment:
    """A bank that dams a low spot.

    Attributes
    ----------
    spot : LowSpot
        The largest that it dams.
    crest : shapely LineString
        Its highest line. [m]
    opening : shapely LineString
        From the low ground before it to that behind it, where a culvert would lie. [m]
    point : shapely Point
        Where that passes under the crest. [m]
    height, width, length : float
        At the opening over the higher of its two feet; at half that; of its crest, as far as it was followed. [m]
    behind : float
        Ground at the far end of the opening. [m]
    """

    spot: LowSpot
    crest: LineString
    opening: LineString
    point: Point
    height: float
    width: float
    length: float
    behind: float


@kept
def find_embankments(drainage: Drainage, spots: Iterable[LowSpot], rules: EmbankmentRules) -> tuple[Embankment, ...]:
    """Embankments over the spills of low spots deeper than lidar's error, each once, with the first spot it dams."""
    found: list[Embankment] = []
    judged = [(spot, spot.spill_cell) for spot in spots if spot.spill_cell is not None and not spot.within_lidar_error]
    for bank in _banks_at(drainage, judged, rules):
        if bank is not None and all(bank.crest.distance(each.crest) > rules.width for each in found):
            found.append(bank)
    return tuple(found)


def deep_ponds(water: FloatArray, near: BoolArray, depth: float) -> BoolArray:
    """Cells of full ponds that come near and are at least so deep somewhere, as those behind a bank are. [m]"""
    with np.errstate(invalid="ignore"):
        deep = water >= max(depth, 0.0)
    found: BoolArray = np.zeros(water.shape, dtype=np.bool_)
    if not deep.any() or not (water[near] > 0.0).any():
        return found
    ponds, count = ndimage.label(water > 0.0, np.ones((3, 3)))
    marked = np.zeros(count + 1, dtype=np.bool_)
    marked[ponds[deep]] = True
    come_near = np.zeros(count + 1, dtype=np.bool_)
    come_near[ponds[near]] = True
    marked &= come_near
    marked[0] = False
    return marked[ponds] if marked.any() else found


def _banks_at(
    drainage: Drainage, spills: Sequence[tuple[LowSpot, int]], rules: EmbankmentRules
) -> Iterator[Embankment | None]:
    """The bank over each spill; ridges are followed from many at once."""
    ground, grid = drainage.ground, drainage.ground.grid
    step = max(grid.cell_width, grid.cell_height, STEP)
    # the spill may lie at a bank's end, from where all of it goes one way
    reach = REACH * rules.length
    for first in range(0, len(spills), AT_ONCE):
        some = spills[first : first + AT_ONCE]
        places = [grid.centres(*divmod(spill, grid.shape[1])) for _, spill in some]
        ways = [np.array([*_ways_along(ground, float(x), float(y), step)]).reshape(-1, 2) for x, y in places]
        counts = [len(each) for each in ways]
        crests = iter(_followed(ground, np.repeat(places, counts, axis=0), np.concatenate(ways), step, reach))
        for (spot, spill), count in zip(some, counts, strict=True):
            own = [next(crests) for _ in range(count)]
            banks = (
                _bank_along(drainage, spot, spill, rules, pair, step) for pair in zip(own[::2], own[1::2], strict=True)
            )
            yield next((bank for bank in banks if bank is not None), None)


def _bank_along(
    drainage: Drainage,
    spot: LowSpot,
    spill: int,
    rules: EmbankmentRules,
    crests: tuple[FloatArray, FloatArray],
    step: float,
) -> Embankment | None:
    """The bank whose crest leaves a spill by two ways, which were followed."""
    ground, grid = drainage.ground, drainage.ground.grid
    x, y = (float(value) for value in grid.centres(*divmod(spill, grid.shape[1])))
    back, on = crests
    crest = np.vstack([back[:0:-1], on])
    if min(len(back), len(on)) < 2:
        return None
    # water spills beside the middle of a flat top
    crest[len(back) - 1] = 0.5 * (back[1] + on[1])
    along = np.asarray((np.arange(len(crest)) - (len(back) - 1)) * step, dtype=np.float64)
    # most ways lead along no bank, and the part of one that the run below must touch tells so by itself
    near = np.flatnonzero(np.abs(along) <= rules.length)
    if not _narrow(_ridge(_profiles(ground, crest, step, 1.5 * rules.width, near)[2], step), rules).any():
        return None
    offsets, at, heights = _profiles(ground, crest, step, 1.5 * rules.width, np.arange(len(crest)))
    top, middle = heights[:, len(offsets) // 2], len(offsets) // 2
    sides, lows, rise, width = ridge = _ridge(heights, step)
    narrow = _narrow(ridge, rules)
    first, last = _longest(narrow)
    if last - first < 2 or along[first] > rules.length or along[last - 1] < -rules.length:
        return None
    run = slice(first, last)
    length = float(along[last - 1] - along[first])
    if length < rules.length:
        return None
    inside = _side_of(ground, spot, at[run], middle)
    if inside is None:
        return None
    before, behind = lows[inside][run], lows[1 - inside][run]
    here = first + int(np.argmin(before))
    beside = run.start + np.flatnonzero(np.abs(along[run] - along[here]) <= 1.5 * rules.length)
    if _unevenness(along[beside], top[beside]) > rules.evenness:
        return None
    if behind[here - first] > spot.bottom_elevation + rules.over:
        return None
    foot = _foot(sides[inside][here], float(before.min()), middle, inside)
    end = _foot(sides[1 - inside][here], max(float(before.min()), float(behind[here - first])), middle, 1 - inside)
    line = LineString(crest[run])
    # another ridge beside the lowest way out does not lie across it: what passes under it goes elsewhere
    if line.distance(Point(x, y)) > step and not _meet(drainage, spill, at[here, end], REACH * rules.length):
        return None
    return Embankment(
        spot=spot,
        crest=line,
        opening=LineString([at[here, foot], at[here, end]]),
        point=Point(crest[here]),
        height=float(rise[here]),
        width=float(np.median(width[run])),
        length=length,
        behind=float(heights[here, end]),
    )


def _ways_along(ground: Ground, x: float, y: float, step: float) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Pairs of directions that a crest may take: the two most nearly at the spill's height, then all straight on."""
    angles = np.radians(np.arange(0.0, 360.0, 5.0))
    directions = np.column_stack([np.cos(angles), np.sin(angles)])
    away = np.arange(step, max(RAY, 4.0 * step) + 0.5 * step, step)
    level = sample_bilinear(ground.elevation, ground.grid, x, y)
    heights = sample_bilinear(
        ground.elevation, ground.grid, x + directions[:, :1] * away, y + directions[:, 1:] * away
    )
    off = np.abs(heights - level).mean(axis=1)
    off[np.isnan(off)] = np.inf
    best = int(np.argmin(off))
    # a bank bends, but does not turn back
    other = np.where(directions @ directions[best] <= -0.5, off, np.inf)
    second = int(np.argmin(other))
    if np.isfinite(off[best]) and np.isfinite(other[second]):
        yield directions[best], directions[second]
    # where a bank's end meets a valley's side, the level ways run along that
    for turn in directions[:36:3]:
        yield turn, -turn


def _followed(ground: Ground, starts: FloatArray, ways: FloatArray, step: float, reach: float) -> list[FloatArray]:
    """Points a step apart along a ridge's highest line, from a place on it by each way, as far as ground is known."""
    ways, going = ways.copy(), np.ones(len(ways), dtype=np.bool_)
    points, counts = [starts], np.ones(len(ways), dtype=np.int64)
    aside = np.linspace(-2.0, 2.0, 9)[:, None, None] * step
    for _ in range(int(np.ceil(reach / step))):
        tried = points[-1] + ways * step + aside * np.column_stack([-ways[:, 1], ways[:, 0]])
        heights = sample_bilinear(ground.elevation, ground.grid, tried[..., 0], tried[..., 1])
        going &= ~np.isnan(heights).any(axis=0)
        if not going.any():
            break
        # the middle of what is nearly highest, since the top of a bank is flat
        with np.errstate(invalid="ignore"):
            top = (heights >= heights.max(axis=0) - 0.05)[..., None]
        middle = np.where(top, tried, 0.0).sum(axis=0) / np.maximum(top.sum(axis=0), 1)
        points.append(np.where(going[:, None], middle, points[-1]))
        counts += going
        ahead = points[-1] - points[max(len(points) - 6, 0)]
        onward = going & ((ahead * ways).sum(axis=1) > 0.0) & (len(points) > 3)
        ways[onward] = ahead[onward] / np.hypot(*ahead[onward].T)[:, None]
    return [way[:count] for way, count in zip(np.stack(points, axis=1), counts, strict=True)]


Ridge = tuple[tuple[FloatArray, FloatArray], list[FloatArray], FloatArray, FloatArray]


def _ridge(heights: FloatArray, step: float) -> Ridge:
    """Of heights across a crest: those on its two sides outward, the lowest of each, rise over the higher, width."""
    middle = heights.shape[1] // 2
    top = heights[:, middle]
    sides = heights[:, :middle][:, ::-1], heights[:, middle + 1 :]
    lows = [np.fmin.reduce(side, axis=1) for side in sides]
    rise = top - np.maximum(*lows)
    width = (_reach_to(sides[0], top - 0.5 * rise) + _reach_to(sides[1], top - 0.5 * rise)) * step
    return sides, lows, rise, width


def _narrow(ridge: Ridge, rules: EmbankmentRules) -> BoolArray:
    """Where a ridge is high enough, and no wider than a bank."""
    *_, rise, width = ridge
    with np.errstate(invalid="ignore"):
        found: BoolArray = (rise >= rules.height) & (width <= rules.width)
    return found


def _profiles(
    ground: Ground, crest: FloatArray, step: float, reach: float, rows: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Offsets across a crest, where they lie at some points of it, and the heights there."""
    ahead = np.gradient(crest, axis=0)
    kernel = np.ones(min(5, len(crest)))
    ahead = np.column_stack([np.convolve(ahead[:, each], kernel, "same") for each in (0, 1)])
    across = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    count = int(np.ceil(reach / step))
    offsets = np.asarray(np.arange(-count, count + 1) * step, dtype=np.float64)
    at = crest[rows][:, None, :] + offsets[None, :, None] * across[rows][:, None, :]
    return offsets, at, sample_bilinear(ground.elevation, ground.grid, at[..., 0], at[..., 1])


def _reach_to(side: FloatArray, level: FloatArray) -> FloatArray:
    """Steps from the crest to where the ground is first below a level; all where it never is."""
    with np.errstate(invalid="ignore"):
        below = side < level[:, None]
    return np.where(below.any(axis=1), below.argmax(axis=1) + 0.5, float(side.shape[1]))


def _longest(flags: BoolArray) -> tuple[int, int]:
    """First and one past the last of the longest run of true flags."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int64)))
    if not edges.size:
        return 0, 0
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best])


def _unevenness(along: FloatArray, top: FloatArray) -> float:
    """Standard deviation of a crest's height from its straight grade. [m]"""
    return float(np.std(top - np.polyval(np.polyfit(along, top, 1), along)))


def _side_of(ground: Ground, spot: LowSpot, at: FloatArray, middle: int) -> int | None:
    """Side of a crest on which the low spot lies: 0 left, 1 right; None where it lies on both, or on neither."""
    rows, columns = ground.grid.cells(at[..., 0], at[..., 1])
    height, width = ground.grid.shape
    known = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    here = known & np.isin(np.where(known, rows * width + columns, -1), spot.cells)
    counts = int(here[:, :middle].sum()), int(here[:, middle + 1 :].sum())
    if min(counts) > ONE_SIDED * max(counts) or max(counts) == 0:
        return None
    return 0 if counts[0] > counts[1] else 1


def _meet(drainage: Drainage, spill: int, outlet: FloatArray, reach: float) -> bool:
    """Whether what spills and what comes out of an opening run together within reach of the outlet."""
    grid = drainage.ground.grid
    row, column = (int(value) for value in grid.cells(*outlet))
    over, through = (path_downstream(drainage, cell) for cell in (spill, row * grid.shape[1] + column))
    x, y = grid.centres(*np.divmod(np.intersect1d(over, through), grid.shape[1]))
    return bool((np.hypot(x - outlet[0], y - outlet[1]) <= reach).any())


def _foot(side: FloatArray, level: float, middle: int, which: int) -> int:
    """Position across of the first ground from the crest that lies as low as a level, else of the lowest."""
    with np.errstate(invalid="ignore"):
        low = np.flatnonzero(side <= level + 0.01)
    steps = int(low[0]) if low.size else int(np.nanargmin(side))
    return middle - 1 - steps if which == 0 else middle + 1 + steps
