"""Where water may lawfully leave: outfalls as given, places found beyond the frontage, daylight on one's own lot."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from pipelines.inputs.errors import LayerError
from pipelines.inputs.rules import Rules
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.ways.outlets.found_kind import kind_of_low_line
from pipelines.layout.ways.outlets.found_low_line import falls_towards, side_of
from pipelines.layout.ways.outlets.outlet_levels import CARRIES_ON, bed_beside, level_range
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.drainage import Drainage, upstream_labels
from terrain.grid import Grid
from terrain.ground import OPEN
from terrain.reason import Reason, reason

CONFIRM = {
    "swale": reason("confirm_swale"),
    "ditch": reason("confirm_ditch"),
    "curb": reason("confirm_curb"),
    "inlet": reason("confirm_inlet"),
    "pond": reason("confirm_pond"),
    "daylight": reason("confirm_daylight"),
    "soakaway": reason("confirm_dry_well"),
}
"""What must be confirmed of an outfall, by its kind."""

_NO_STREET = shapely.Polygon()
FARTHEST_LEVEL = 30.0
"""No gutter, bed or invert lies farther from the ground over it. [m]"""


@dataclass(frozen=True, slots=True)
class OutfallSite:
    """A place where a pipe could come out.

    Attributes
    ----------
    id, kind : str
        Id of its outfall; several places may belong to one that is given as a line.
    point : shapely Point
        In the metric frame. [m]
    bottom, level : float
        Ground at its bottom, and lowest invert that may come out there. [m]
    verified : bool
        Its level was given, or shot on site.
    to_confirm : Reason
        What must be confirmed before anyone counts on it.
    high_water : float or None
        Level of the water there in the design storm, where somebody reckoned it. [m]
    given : bool
        Drawn by a person rather than found in the lidar.
    under, over : float
        How far its level may lie under and over what it is taken for. [m]
    moved_from : shapely Point or None
        Where a person drew it, on the bank beside its bed. [m]
    """

    id: str
    kind: str
    point: Point
    bottom: float
    level: float
    verified: bool
    to_confirm: Reason
    high_water: float | None = None
    given: bool = True
    under: float = 0.0
    over: float = 0.0
    moved_from: Point | None = None

    @property
    def at_highest(self) -> "OutfallSite":
        """The same place with the highest level that it may have."""
        return replace(
            self, bottom=self.bottom + self.over, level=self.level + self.over, under=self.under + self.over, over=0.0
        )

    @property
    def tailwater(self) -> float:
        """Water that a line ends in during the design storm; the dry bottom where nobody reckoned it. [m]"""
        return self.bottom if self.high_water is None else max(self.bottom, self.high_water)


def given_outfalls(
    shapes: Sequence[tuple[BaseGeometry, str, float | None]],
    drainage: Drainage,
    parcel: BaseGeometry,
    rules: Rules,
    *,
    shots: Sequence[Point] = (),
    high_waters: Sequence[float | None] = (),
) -> tuple[OutfallSite, ...]:
    """Places of the outfalls that the user gave."""
    sites: list[OutfallSite] = []
    reach, clearance = rules["outfall_bottom_reach"].likely, rules["outlet_above_swale"].likely
    known = (*high_waters, *[None] * len(shapes))
    for number, (shape, kind, given) in enumerate(shapes, start=1):
        for drawn in _places_along(shape, parcel, rules):
            beside = [shot for shot in shots if shapely.distance(shot, drawn) <= reach]
            moved = None
            if kind in CARRIES_ON and not beside and shape.geom_type in ("Point", "MultiPoint"):
                moved = bed_beside(drawn, drainage, parcel, rules)
            point = drawn if moved is None else moved
            found = min((shot.z for shot in beside), default=_lowest_near(point, drainage, reach))
            if found is None and given is None:
                continue
            for level in (given, known[number - 1]):
                if level is not None and found is not None and abs(level - found) > FARTHEST_LEVEL:
                    raise LayerError(
                        f"outfall-{number} has a level of {level:,.2f} m, and the ground there lies at {found:,.2f} m; "
                        f"a level is within {FARTHEST_LEVEL:g} m of it, in the raster's datum. Correct it, or give none"
                    )
            verified = given is not None or bool(beside)
            depth, under, over = (0.0, 0.0, 0.0) if verified else level_range(kind, rules)
            bottom = (given if given is not None else float(found or 0.0)) - depth
            sites.append(
                OutfallSite(
                    id=f"outfall-{number}",
                    kind=kind,
                    point=point,
                    bottom=bottom,
                    level=bottom + (clearance if kind in (*CARRIES_ON, "pond") else 0.0),
                    verified=verified,
                    to_confirm=CONFIRM[kind],
                    high_water=known[number - 1],
                    under=under,
                    over=over,
                    moved_from=None if moved is None else drawn,
                )
            )
    return tuple(sites)


def found_outfalls(
    drainage: Drainage,
    parcel: BaseGeometry,
    on_parcel: BoolArray,
    right_of_way: BaseGeometry | None,
    barred: BaseGeometry,
    rules: Rules,
    *,
    way_off: BaseGeometry | None = None,
    paving: BaseGeometry = _NO_STREET,
) -> tuple[OutfallSite, ...]:
    """Places beyond the frontage that carry flow away from the lot, the likeliest first; `paving` is the streets'."""
    grid = drainage.ground.grid
    near = mask_of(shapely.buffer(parcel, rules["outfall_reach"].likely), grid) & ~on_parcel
    near &= (drainage.ground.kind == OPEN) & ~mask_of(barred, grid)
    lawful = right_of_way if right_of_way is not None else way_off
    if lawful is not None:
        near &= mask_of(lawful, grid)
    near &= drainage.accumulation >= rules["outfall_least_area"].likely
    comes_back = upstream_labels(drainage, np.where(on_parcel, 0, -1).astype(np.int64)) >= 0
    near &= ~comes_back
    cells = np.flatnonzero(near)
    # what carries most first, then the lower
    ground = drainage.ground.elevation.ravel()
    order = cells[np.lexsort((ground[cells], -drainage.accumulation.ravel()[cells]))]
    apart, most = rules["outfall_apart"].likely, int(rules["outfalls_found"].likely)
    return tuple(
        _found_there(drainage, parcel, cell, point, paving, rules, name=f"outfall-{k}", owned=right_of_way is not None)
        for k, (cell, point) in enumerate(_apart(order, grid, apart, most), start=1)
    )


def _found_there(
    drainage: Drainage, parcel: BaseGeometry, cell: int, point: Point, paving: BaseGeometry, rules: Rules, *,
    name: str, owned: bool,
) -> OutfallSite:
    kind, deep = kind_of_low_line(drainage, cell, point, paving, rules)
    depth, under, over = level_range(kind, rules)
    bottom = float(drainage.ground.elevation.ravel()[cell]) - depth
    clearance = rules["outlet_above_swale"].likely if kind in CARRIES_ON else 0.0
    told = reason(
        "confirm_found", what=CONFIRM[kind], unowned=not owned, side=side_of(parcel, point), kind=kind, deep=deep,
        distance=float(shapely.distance(parcel, point)), falls=falls_towards(drainage, cell), share=None,
    )
    return OutfallSite(
        name, kind, point, bottom, bottom + clearance, False, told, given=False, under=under, over=over
    )


def daylight_places(
    drainage: Drainage,
    parcel: BaseGeometry,
    on_parcel: BoolArray,
    *,
    right_of_way: BaseGeometry | None,
    paving: BaseGeometry,
    houses: BaseGeometry,
    barred: BaseGeometry,
    wet: BoolArray,
    rules: Rules,
) -> tuple[OutfallSite, ...]:
    """Places on the lot where a pipe may come out and its water run on lawfully over the ground.

    Water let out there must leave the lot into the right of way, and must not pass a place in trouble.
    """
    if right_of_way is None:
        return ()
    grid = drainage.ground.grid
    free = mask_of(shapely.buffer(parcel, -rules["outlet_offset_line"].likely), grid) & (drainage.ground.kind == OPEN)
    for shape, away in (
        (paving, rules["outlet_offset_walk"].likely), (houses, rules["outlet_offset_house"].likely), (barred, 0.0)
    ):
        if not shape.is_empty:
            free &= ~mask_of(shapely.buffer(shape, away), grid)
    lawful = _leaves_into(drainage, on_parcel, mask_of(right_of_way, grid))
    free &= lawful & ~wet
    cells = np.flatnonzero(free)
    ground = drainage.ground.elevation.ravel()
    order = cells[np.argsort(ground[cells], kind="stable")]
    confirm, apart = CONFIRM["daylight"], rules["daylight_apart"].likely
    return tuple(
        OutfallSite(f"daylight-{k}", "daylight", point, float(ground[cell]), float(ground[cell]), False, confirm,
                    given=False)
        for k, (cell, point) in enumerate(_apart(order, grid, apart, int(rules["daylight_places"].likely)), start=1)
    )


def _apart(cells: IntArray, grid: Grid, distance: float, most: int) -> list[tuple[int, Point]]:
    """The first cells in an order that lie so far from each other, with their centres."""
    chosen: list[tuple[int, Point]] = []
    for cell in cells:
        if len(chosen) == most:
            break
        x, y = grid.centres(cell // grid.shape[1], cell % grid.shape[1])
        point = Point(float(x), float(y))
        if all(shapely.distance(point, other) >= distance for _, other in chosen):
            chosen.append((int(cell), point))
    return chosen


def _leaves_into(drainage: Drainage, on_parcel: BoolArray, lawful: BoolArray) -> BoolArray:
    """Cells whose water steps from the lot into lawful ground, and nowhere else, the first time it leaves."""
    inside = on_parcel.ravel()
    target = drainage.target
    onward = np.where(target >= 0, target, 0)
    steps_out = inside & ~((target >= 0) & inside[onward])
    good = steps_out & (target >= 0) & lawful.ravel()[onward]
    seeds = np.full(target.size, -1, dtype=np.int64)
    seeds[steps_out] = 0
    seeds[good] = 1
    labels: BoolArray = upstream_labels(drainage, seeds.reshape(on_parcel.shape)) == 1
    return labels


def _places_along(shape: BaseGeometry, parcel: BaseGeometry, rules: Rules) -> list[Point]:
    if shape.geom_type in ("Point", "MultiPoint"):
        return [Point(part.x, part.y) for part in shapely.get_parts(shape)]
    near = shapely.intersection(shape, shapely.buffer(parcel, rules["outfall_reach"].likely))
    line = near if not near.is_empty else shape
    # a rule of nought stands for the least that tells places apart
    spacing = max(rules["outfall_spacing"].likely, 0.1)
    places: list[Point] = []
    for part in shapely.get_parts(line):
        if part.geom_type != "LineString":
            continue
        count = max(1, round(part.length / spacing))
        for station in (np.arange(count) + 0.5) * part.length / count:
            places.append(shapely.line_interpolate_point(part, station))
    return places


def _lowest_near(point: Point, drainage: Drainage, reach: float) -> float | None:
    grid = drainage.ground.grid
    shape = shapely.buffer(point, max(reach, grid.cell_width, grid.cell_height))
    west, south, east, north = shape.bounds
    rows, columns = grid.cells(np.array([west, east]), np.array([north, south]))
    top, left = max(int(rows[0]) - 1, 0), max(int(columns[0]) - 1, 0)
    end, right = min(int(rows[1]) + 2, grid.shape[0]), min(int(columns[1]) + 2, grid.shape[1])
    if end <= top or right <= left:
        return None
    around = replace(
        grid, shape=(end - top, right - left), left=grid.left + left * grid.cell_width,
        top=grid.top - top * grid.cell_height,
    )
    here = np.s_[top:end, left:right]
    heights: FloatArray = drainage.ground.elevation[here][
        mask_of(shape, around) & (drainage.ground.kind[here] == OPEN)
    ]
    return float(heights.min()) if heights.size else None
