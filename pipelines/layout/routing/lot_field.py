"""The route field of a lot: where a trench may run, how deep, and what a metre of it costs, from the site's layers."""

from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pipelines.inputs.rules import Rules
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.diagnosis.houses import footing_plane
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.quantities.take_off import UnitPrice
from pipelines.layout.routing.field import RouteField, field_from_arrays
from pipelines.layout.routing.steps import Crossing
from terrain.arrays import BoolArray, FloatArray
from terrain.grid import Grid
from terrain.unit_table import FOOT, HOUR

RESOLUTION = 1.0
"""Cells of a route field, or the raster's where these are coarser. [m]"""
BETWEEN_CELLS = 0.05
"""By how much of a cell the distance from a corner is overestimated between the cells' centres. [-]"""
MARGIN = 2.0
"""Ground beyond what lines may reach that the field still holds. [m]"""
SEAM = 0.1
"""Gap between the lot and its way off which is nobody's: two files rarely meet to the millimetre. [m]"""
BARS = ("way", "setback", "utilities", "keep_out", "struck_out", "roofs_beyond", "houses")
"""What may bar a line, in the order in which it is asked for a way through: ground that is neither the lot's nor the
right of way, the strip along neighbors' lines, what must not be crossed, roofs off the lot and on it."""


def lot_field(
    situation: Situation,
    layers: SiteLayers,
    outfalls: Sequence[Point],
    prices: Mapping[str, UnitPrice],
    *,
    cover: float,
    max_depth: float,
    opened: Collection[str] = (),
) -> RouteField:
    """Where lines may be laid on a lot and on from it to its outfalls; `opened` of BARS, as if it barred none.

    Never through roofs, keep-outs that must not be crossed and their setbacks, forbidden strips, ground below a
    footing's 45-degree plane, or another's parcel; through the right of way with a permit. Where nobody gave a right
    of way, the ground before the frontage and a strip from the lot to each outfall are allowed and marked as assumed.

    References
    ----------
    .. [1] Influence plane at 45 degrees: Uniform Plumbing Code 314.1, International Residential Code P2604.4.
    """
    street, assumed = _ways_out(situation, outfalls, opened="way" in opened)
    reached = _seamless(shapely.union_all([situation.parcel, street, assumed]))
    grid = _grid(situation, reached)
    ground, fine = _ground(situation, grid)
    rules = situation.rules
    bars = _bars(situation, layers, reached, assumed, grid)
    if opened and not {"houses", "roofs_beyond"} <= set(opened):
        lot = situation.parcel
        bars["roofs_beyond"] = [shapely.difference(shape, lot) for shape in bars["houses"]]
        bars["houses"] = [shapely.intersection(shape, lot) for shape in bars["houses"]]
    parts = [part for name, shapes in bars.items() if name not in opened or name == "way" for part in shapes]
    barred: BaseGeometry = shapely.union_all(np.array(parts, dtype=object))
    drives, on_top = _surfaces(layers, grid, prices, rules)
    near = mask_of(_near_line(situation, street, assumed), grid)
    on_top = on_top + np.where(near, rules["near_line_cost"].likely, 0.0)
    near_walls = shapely.buffer(situation.roofs, rules["pipe_wall_offset"].likely)
    on_top = on_top + rules["near_wall_cost"].likely * _share_within(near_walls, grid)
    on_top = on_top + rules["patio_cut_cost"].likely * _share_within(protected_paving(layers), grid)
    covers = np.full(grid.shape, cover)
    covers[drives] = max(cover, rules["cover_drive"].likely)
    permit = mask_of(street, grid) & ~mask_of(situation.parcel, grid)
    return field_from_arrays(
        grid,
        ground,
        surface_cost=on_top,
        dig_factor=_dig_factor(situation, layers, grid),
        cover=covers,
        deepest=_influence_plane(situation, grid),
        max_depth=max_depth,
        permit=permit,
        assumed=mask_of(assumed, grid) & ~mask_of(situation.parcel, grid) & ~permit,
        near_line=near,
        crossings=_crossings(situation, layers, prices),
        barred=barred,
        permit_cost=_price(prices, "permit"),
        fine=fine,
    )


def _ways_out(
    situation: Situation, outfalls: Sequence[Point], *, opened: bool
) -> tuple[BaseGeometry, BaseGeometry]:
    """Right of way near the lot, and strips to outfalls that lie beyond it and beyond the lot.

    Opened, the strips are as wide as a right of way, on the outfall's side of the lot's line alone.
    """
    street: BaseGeometry = shapely.Polygon()
    reach, half, strip = (
        situation.rules[key].likely
        for key in ("right_of_way_reach", "right_of_way_half_width", "assumed_way_half_width")
    )
    if situation.right_of_way is not None:
        ways = [shapely.buffer(situation.parcel, reach)]
        ways += [shapely.buffer(shapely.shortest_line(situation.parcel, point), half) for point in outfalls]
        street = shapely.intersection(situation.right_of_way, shapely.union_all(np.array(ways, dtype=object)))
    strips = []
    for point in outfalls:
        if shapely.intersects(situation.parcel, point):
            continue
        straight = shapely.shortest_line(situation.parcel, point)
        if situation.right_of_way is None or opened:
            strips.append(shapely.buffer(straight, strip))
        if opened:
            start, end = shapely.get_coordinates(straight)
            # from inside the lot, so that its line is opened as wide, to the outfall's far side
            onward = strip * (end - start) / max(float(straight.length), RESOLUTION)
            strips.append(shapely.buffer(shapely.LineString([start - onward, end + onward]), half, cap_style="flat"))
    if not strips or situation.right_of_way is not None:
        return street, shapely.union_all(np.array(strips, dtype=object)) if strips else shapely.Polygon()
    if situation.way_off is not None:
        strips.append(situation.way_off)
    assumed = shapely.union_all(np.array(strips, dtype=object))
    return street, assumed if opened else shapely.difference(assumed, situation.neighbors)


def _seamless(reached: BaseGeometry) -> BaseGeometry:
    """Ground with the hairline gaps between its parts closed; as it is where there are none."""
    closed = shapely.buffer(shapely.buffer(reached, SEAM / 2.0, join_style="mitre"), -SEAM / 2.0, join_style="mitre")
    gaps = shapely.difference(closed, reached)
    if shapely.area(gaps) > 1e-6:
        return shapely.union(reached, gaps)
    # a gap of a rounding parts them all the same
    parted = shapely.get_num_geometries(closed) < shapely.get_num_geometries(reached)
    return shapely.union(reached, closed) if parted else reached


def _grid(situation: Situation, reached: BaseGeometry) -> Grid:
    fine = situation.grid
    step = max(1, round(RESOLUTION / max(fine.cell_width, fine.cell_height)))
    west, south, east, north = reached.bounds
    columns = _span((west - MARGIN - fine.left) / fine.cell_width, (east + MARGIN - fine.left) / fine.cell_width, step,
                    fine.shape[1])
    rows = _span((fine.top - north - MARGIN) / fine.cell_height, (fine.top - south + MARGIN) / fine.cell_height, step,
                 fine.shape[0])
    return Grid(
        ((rows[1] - rows[0]) // step, (columns[1] - columns[0]) // step),
        fine.left + columns[0] * fine.cell_width,
        fine.top - rows[0] * fine.cell_height,
        step * fine.cell_width,
        step * fine.cell_height,
        fine.frame,
    )


def _span(start: float, end: float, step: int, count: int) -> tuple[int, int]:
    """First and last cell of the raster, in whole steps from its edge so that a turned raster gives the same ones."""
    first = int(np.floor(start + 1e-6)) // step * step
    last = -(-int(np.ceil(end - 1e-6)) // step) * step
    return max(first, 0), min(last, count // step * step)


def _ground(situation: Situation, grid: Grid) -> tuple[FloatArray, FloatArray | None]:
    """Mean ground of each cell, and the raster's own where its cells are smaller. [m]"""
    fine = situation.grid
    row = round((fine.top - grid.top) / fine.cell_height)
    column = round((grid.left - fine.left) / fine.cell_width)
    down, right = round(grid.cell_height / fine.cell_height), round(grid.cell_width / fine.cell_width)
    rows, columns = grid.shape
    window = situation.drainage.ground.elevation[row: row + rows * down, column: column + columns * right]
    blocks = window.reshape(rows, down, columns, right)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0.0).sum(axis=(1, 3))
    mean: FloatArray = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return mean, window.copy() if down * right > 1 else None


def _bars(
    situation: Situation, layers: SiteLayers, reached: BaseGeometry, assumed: BaseGeometry, grid: Grid
) -> dict[str, list[Any]]:
    """What bars a line, by what it is; together they are the ground that no line may enter."""
    west, south, east, north = grid.bounds
    keep, rules = layers.keep_out, situation.rules
    return {
        "way": [shapely.difference(shapely.box(west, south, east, north), reached)],
        "houses": [situation.roofs],
        "keep_out": [
            shapely.buffer(shape, max(float(setback), _least_keep(str(kind), float(trunk), rules)))
            for shape, kind, setback, crossing, trunk in zip(
                keep.geometry, keep["kind"], keep["setback_m"], keep["crossing"], keep["trunk_m"], strict=True
            )
            if crossing == "never"
        ],
        "utilities": [
            shapely.buffer(shape, rules["never_cross_offset"].likely)
            for shape, crossing in zip(layers.utilities.geometry, layers.utilities["crossing"], strict=True)
            if crossing == "never"
        ],
        "struck_out": [shapely.buffer(shape, 0.1) for shape in layers.forbidden.geometry],
        "setback": [_line_strip(situation, assumed, rules["least_line_offset"].likely)],
    }


def _least_keep(kind: str, trunk: float, rules: Rules) -> float:
    """How far a tree keeps a trench off, by its trunk. [m]"""
    return rules["tree_clearance"].likely * trunk if "tree" in kind.lower() and np.isfinite(trunk) else 0.0


def _line_strip(situation: Situation, assumed: BaseGeometry, width: float) -> BaseGeometry:
    """Strip of the lot along its lines with neighbours, the street's side and assumed ways out left out."""
    line = shapely.difference(shapely.boundary(situation.parcel), assumed)
    if situation.right_of_way is not None:
        line = shapely.difference(line, shapely.buffer(situation.right_of_way, 1.0))
    strip: BaseGeometry = shapely.buffer(line, width, cap_style="flat")
    return strip


def _near_line(situation: Situation, street: BaseGeometry, assumed: BaseGeometry) -> BaseGeometry:
    offset = situation.rules["line_offset"].likely + situation.rules["parcel_line_error"].likely
    near: BaseGeometry = shapely.difference(
        shapely.intersection(_line_strip(situation, assumed, offset), situation.parcel), street
    )
    return near


def _surfaces(
    layers: SiteLayers, grid: Grid, prices: Mapping[str, UnitPrice], rules: Rules
) -> tuple[BoolArray, FloatArray]:
    """Where drives lie, and what a metre costs for what lies on top. [money/m]"""
    drives = np.zeros(grid.shape, dtype=np.bool_)
    cost = np.full(grid.shape, _price(prices, "sod") / FOOT**2 * rules["lawn_spoiled_width"].likely)
    for shape, kind in zip(layers.hardscape.geometry, layers.hardscape["kind"], strict=True):
        inside = mask_of(shape, grid)
        drive = "drive" in str(kind).lower()
        drives[inside] = drive
        # a drive is bored under, other paving cut and patched
        patch = _price(prices, "paving patch") / FOOT**2 * rules["paving_cut_width"].likely
        cost[inside] = _price(prices, "bore") / FOOT if drive else patch
    return drives, cost


def _dig_factor(situation: Situation, layers: SiteLayers, grid: Grid) -> FloatArray:
    factor = np.ones(grid.shape)
    keep = layers.keep_out
    for shape, kind, crossing, trunk in zip(
        keep.geometry, keep["kind"], keep["crossing"], keep["trunk_m"], strict=True
    ):
        if crossing == "careful":
            reach = _least_keep(str(kind), float(trunk), situation.rules)
            factor[mask_of(shapely.buffer(shape, reach), grid)] = situation.rules["hard_access_factor"].likely
    return factor


def protected_paving(layers: SiteLayers) -> BaseGeometry:
    """Paving that is to be protected. [m]"""
    kept = layers.hardscape.geometry[layers.hardscape["protect"].astype(bool)]
    paving: BaseGeometry = shapely.union_all(kept.to_numpy())
    return paving


def _share_within(shape: BaseGeometry, grid: Grid) -> FloatArray:
    """About how much of each cell a shape takes: none where the cell's corners lie outside, all where within. [-]"""
    if shape.is_empty:
        return np.zeros(grid.shape)
    across = float(np.hypot(grid.cell_width, grid.cell_height))
    edge, centres = shapely.boundary(shape), shapely.points(*grid.centres(*np.indices(grid.shape)))
    shapely.prepare(edge)
    near, away = shapely.dwithin(edge, centres, across), np.full(grid.shape, np.inf)
    away[near] = shapely.distance(centres[near], edge)
    inside = away * np.where(mask_of(shape, grid), 1.0, -1.0)
    share: FloatArray = np.clip(0.5 + inside / across, 0.0, 1.0)
    return share


def _influence_plane(situation: Situation, grid: Grid) -> FloatArray | None:
    """Lowest bottom of a trench whose edge stays above the footings' 45-degree plane."""
    if not situation.each_house:
        return None
    # where a trench begins at the wall it runs off it, and its end lies there
    half = 0.5 * situation.rules["trench_width_solid"].likely + BETWEEN_CELLS * max(grid.cell_width, grid.cell_height)
    return footing_plane(
        situation.each_house, footing_depth(situation), *grid.centres(*np.indices(grid.shape)), half=half
    )


def footing_depth(situation: Situation) -> float:
    """Of the house's footing below the ground at its walls, as given or as is usual. [m]"""
    if situation.footing_depth is not None:
        return situation.footing_depth
    return situation.rules["default_footing_depth"].likely


def _crossings(
    situation: Situation, layers: SiteLayers, prices: Mapping[str, UnitPrice]
) -> tuple[Crossing, ...]:
    rules = situation.rules
    cost = rules["crossing_hours"].likely / HOUR * _price(prices, "labour")
    clearance, reach = rules["crossing_clearance"].likely, rules["right_of_way_reach"].likely
    crossings = []
    for row in layers.utilities.itertuples():
        if row.crossing != "careful":
            continue
        depth, kind = float(row.depth_m), row.kind or "buried line"
        near = shapely.intersection(row.geometry, shapely.buffer(situation.parcel, reach))
        if not np.isfinite(depth):
            crossings.append(Crossing(f"utility-{row.id}", kind, near, cost, None, clearance))
            continue
        for piece in _pieces(near):
            elevation = _ground_at(situation, shapely.centroid(piece)) - depth
            crossings.append(Crossing(f"utility-{row.id}", kind, piece, cost, elevation, clearance))
    for row in layers.keep_out.itertuples():
        if row.crossing == "careful":
            shape = shapely.buffer(row.geometry, max(float(row.setback_m), 0.05))
            crossings.append(Crossing(f"keep-out-{row.id}", row.kind or "keep-out", shape, cost, None, 0.0))
    return tuple(crossings)


def _pieces(line: BaseGeometry, longest: float = 8.0) -> list[BaseGeometry]:
    """Pieces of a buried line, each short enough to lie at one height."""
    pieces: list[BaseGeometry] = []
    for part in shapely.get_parts(line):
        if part.geom_type == "LineString" and part.length > 0.0:
            count = max(1, int(np.ceil(part.length / longest)))
            ends = np.linspace(0.0, part.length, count + 1)
            pieces += [substring(part, start, end) for start, end in pairwise(ends)]
    return pieces


def _ground_at(situation: Situation, point: Point) -> float:
    grid = situation.grid
    rows, columns = grid.cells(point.x, point.y)
    row, column = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
    height = float(situation.drainage.ground.elevation[row, column])
    return height if np.isfinite(height) else float(np.nanmedian(situation.drainage.ground.elevation))


def _price(prices: Mapping[str, UnitPrice], item: str) -> float:
    return prices[item].likely if item in prices else 0.0
