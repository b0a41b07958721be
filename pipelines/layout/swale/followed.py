"""The low line of a swale that nobody drew: from an outfall down, as the raster's water runs."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter, minimum_filter
from shapely import LineString, Point

from pipelines.inputs.rules import Rules
from pipelines.inputs.site_ground import SiteInputs, ground_of
from terrain.arrays import BoolArray, IntArray
from terrain.flow.drainage import Drainage, drain_ground, path_downstream
from terrain.ground import OPEN
from terrain.reading.surface import read_window


@dataclass(frozen=True, slots=True, eq=False)
class FollowedLine:
    """A low line on the raster.

    Attributes
    ----------
    line : shapely LineString
        Along it, downstream. [m]
    ends_in_water : float or None
        Level of the still water that it ends in, as flown. [m]
    """

    line: LineString
    ends_in_water: float | None


def follow_low_line(inputs: SiteInputs, place: Point, rules: Rules) -> FollowedLine | None:
    """Follow the low line past a place: up what carries most of its water, and down as far as the rules say.

    It ends sooner where the raster does and where it comes to still water, which a raster shows level to the digit.
    None where too little of it is left to cut sections of.
    """
    along, spacing = rules["outfall_followed"].likely, rules["swale_spacing"].likely
    drainage = drained_around(inputs, place, rules)
    least = rules["outfall_least_area"].likely
    start = _bottom_cell(drainage, place, rules["outfall_bottom_reach"].likely, least)
    if start is None:
        return None
    above = _up_the_stem(drainage, start, along, least)
    down = path_downstream(drainage, start)
    x, y = drainage.ground.grid.centres(*np.divmod(down, drainage.ground.grid.shape[1]))
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    usable = (gone <= along) & ~_near_the_unknown(drainage)[down]
    last = len(down) if usable.all() else int(np.argmin(usable))
    still = still_water(drainage, spacing).ravel()[down[:last]]
    water = None
    if still.any():
        last = int(np.argmax(still))
        water = float(drainage.ground.elevation.ravel()[down[last]])
    if last == 0 or gone[last - 1] < 2.0 * spacing:
        return None
    cells = np.concatenate([above, down[:last]])
    x, y = drainage.ground.grid.centres(*np.divmod(cells, drainage.ground.grid.shape[1]))
    line = LineString(np.column_stack([x, y])).simplify(drainage.ground.grid.cell_width)
    return FollowedLine(line, water) if line.is_simple else None


def drained_around(inputs: SiteInputs, place: Point, rules: Rules) -> Drainage:
    """The ground around a place, as far as a low line is followed, with the way of its water."""
    around = rules["outfall_followed"].likely + rules["window_margin"].likely
    surface = read_window(
        inputs.source, (place.x - around, place.y - around, place.x + around, place.y + around),
        largest_hole=int(rules["largest_hole"].likely),
    )  # fmt: skip
    return drain_ground(ground_of(surface, inputs.layers, rules))


def _bottom_cell(drainage: Drainage, place: Point, reach: float, least: float) -> int | None:
    """The cell beside a place where the low line runs: what carries most there, the lowest where nothing carries."""
    grid = drainage.ground.grid
    near = cells_within(drainage, place, max(reach, grid.cell_width, grid.cell_height))
    if len(near) == 0:
        return None
    # a wide bottom is rough: its lowest cell may be a pocket beside the water's way
    most = int(near[np.argmax(drainage.accumulation.ravel()[near])])
    if drainage.accumulation.ravel()[most] >= least:
        return most
    return int(near[np.argmin(drainage.ground.elevation.ravel()[near])])


def cells_within(drainage: Drainage, place: Point, reach: float) -> IntArray:
    """Flat indices of the open cells this near to a place."""
    grid = drainage.ground.grid
    row, column = (int(each) for each in grid.cells(place.x, place.y))
    up, across = int(np.ceil(reach / grid.cell_height)), int(np.ceil(reach / grid.cell_width))
    rows, columns = np.meshgrid(
        np.arange(max(row - up, 0), min(row + up + 1, grid.shape[0])),
        np.arange(max(column - across, 0), min(column + across + 1, grid.shape[1])), indexing="ij",
    )  # fmt: skip
    x, y = grid.centres(rows, columns)
    inside = (np.hypot(x - place.x, y - place.y) <= reach) & (drainage.ground.kind[rows, columns] == OPEN)
    cells: IntArray = (rows * grid.shape[1] + columns)[inside]
    return cells


def _up_the_stem(drainage: Drainage, start: int, length: float, least: float) -> IntArray:
    """Cells above a cell along what carries most of its water, from the upper end down to it."""
    grid, carried, kind = drainage.ground.grid, drainage.accumulation.ravel(), drainage.ground.kind.ravel()
    # nor does a swale run along a wall: that is the water of a lot
    unsafe = _near(np.isfinite(drainage.ground.elevation) & (drainage.ground.kind == OPEN))
    feeders = np.argsort(drainage.target, kind="stable")
    ends = drainage.target[feeders]
    step, found, at = min(grid.cell_width, grid.cell_height), [], start
    for _ in range(int(length / step)):
        above = feeders[np.searchsorted(ends, at) : np.searchsorted(ends, at, side="right")]
        above = above[(kind[above] == OPEN) & (carried[above] >= least) & ~unsafe[above]]
        # where no arm carries half of it, none is the swale
        if len(above) == 0 or carried[above].max() < 0.5 * carried[at]:
            break
        at = int(above[np.argmax(carried[above])])
        found.append(at)
    return np.array(found[::-1], dtype=np.int64)


def _near_the_unknown(drainage: Drainage) -> BoolArray:
    """Cells at the window's rim or beside unknown ground, where no section can be cut."""
    return _near(np.isfinite(drainage.ground.elevation))


def _near(fit: BoolArray) -> BoolArray:
    """Cells at the window's rim or within two of such as are not fit."""
    near: BoolArray = minimum_filter(fit.astype(np.int8), 5, mode="constant", cval=0).ravel() == 0
    return near


def still_water(drainage: Drainage, width: float) -> BoolArray:
    """Cells amid so much level surface as only water has."""
    grid = drainage.ground.grid
    ground = drainage.ground.elevation
    size = (2 * int(width / grid.cell_height) + 1, 2 * int(width / grid.cell_width) + 1)
    highest = maximum_filter(np.where(np.isfinite(ground), ground, np.inf), size)
    lowest = minimum_filter(np.where(np.isfinite(ground), ground, -np.inf), size)
    level: BoolArray = np.isfinite(highest) & (highest == lowest)
    return level
