"""What a site's lidar allows: its model of error, the best estimate of its ground, and grounds drawn around it."""

from dataclasses import replace

import numpy as np
import shapely
from rasterio.features import rasterize

from pipelines.inputs.rules import Rule, Rules
from pipelines.inputs.site_ground import SiteInputs
from terrain.arrays import IntArray
from terrain.grid import Grid
from terrain.ground import OPEN, Ground
from terrain.lidar.best_estimate import Estimate, best_estimate
from terrain.lidar.error_model import LAWN, LONG_GRASS, PAVED, WATER, Bias, LidarModel
from terrain.lidar.filled_gaps import filled_gaps
from terrain.lidar.grounds import PossibleGrounds, draw_grounds, seed_of
from terrain.lidar.on_shots import KnownHeights, brought_to_shots
from terrain.lidar.rounding import rounding_step
from terrain.reading.surface import Surface
from terrain.reason import reason

COARSE_STEP = 0.02
"""Heights that come in finer steps lose nothing to them that noise does not hide. [m]"""
STATED_FOR = 0.10
"""Accuracy of the lidar that the rules on grass speak of. [m]"""
AROUND_LOT, OUTFALL_REACH = 25.0, 60.0
"""Grounds are drawn this far around a lot, and to the outfalls that lie so near it. [m]"""
ROUGH = ("swale", "ditch")
"""Outfalls in which long grass stands."""
MOST_HEIGHTS, FEWEST = 40_000_000, 20
"""A lot so large that all grounds would hold more heights than this is tried on fewer, down to so many. [-]"""


def lidar_model(rules: Rules, step: float = 0.0) -> LidarModel:
    """How heights err, all parts together as much as the site says, and by coming in steps [m] besides."""
    rmse, white = rules["lidar_rmse"].likely, rules["lidar_white_share"].likely
    shared, water = rules["lidar_shared_variance"].likely, rules["lidar_over_water"].likely

    def bias(rule: Rule) -> Bias:
        return Bias(rule.low, rule.likely, rule.high).times(min(rmse / STATED_FOR, 1.0))

    return LidarModel(
        white=np.sqrt(white * rmse**2 + (step**2 / 12.0 if step >= COARSE_STEP else 0.0)),
        correlated=rmse * np.sqrt(max(1.0 - shared - white, 0.0)),
        noise_length=rules["lidar_noise_length"].likely,
        lawn=bias(rules["lidar_over_lawn"]),
        long_grass=bias(rules["lidar_over_long_grass"]),
        water=Bias(-water, 0.0, water),
    )


def grounds_wanted(rules: Rules) -> int:
    """How many are drawn; 1 is the raster as it is."""
    return max(int(rules["grounds"].likely), 1)


def best_surface(surface: Surface, ground: Ground, inputs: SiteInputs) -> tuple[Surface, Estimate]:
    """The likeliest ground under a site's raster; roofs tell nothing of its noise."""
    grid, near, layers = surface.grid, inputs.site.rules["seen_reach"].likely, inputs.layers
    # a person saw water there, or drew a swale
    told = [*layers.complaints.geometry, *layers.outfalls[layers.outfalls["kind"].isin(ROUGH)].geometry]
    seen = np.zeros(grid.shape)
    if told and near > 0.0:
        shape = shapely.union_all(told)
        around = [(shapely.buffer(shape, 2.0 * near), 1)]
        cells = np.nonzero(rasterize(around, out_shape=grid.shape, transform=grid.transform, dtype="uint8"))
        away = shapely.distance(shape, shapely.points(*grid.centres(*cells)))
        # all of it as far as that, none twice as far away
        seen[cells] = np.clip(2.0 - away / near, 0.0, 1.0)
    counted, step = ground.kind == OPEN, rounding_step(surface.elevation)
    model, soft = lidar_model(inputs.site.rules, step), _cover(inputs, grid) != PAVED
    estimate = replace(
        best_estimate(surface.elevation, counted, grid, model, seen), step=step,
        gaps=filled_gaps(surface.elevation, counted & soft, grid),
    )
    coarse = (reason("ground_in_steps", file=inputs.source.path.name, step=step),) if step >= COARSE_STEP else ()
    return replace(surface, elevation=estimate.elevation, warnings=(*surface.warnings, *coarse)), estimate


def on_shots(surface: Surface, inputs: SiteInputs) -> Surface:
    """The likeliest ground once the site's levels were read, some of which lie on its known ground."""
    grid, known = surface.grid, known_heights(inputs, surface.grid)
    assert known is not None
    known = known.moved(0, 0, grid.shape)
    inside = np.isfinite(surface.elevation[known.rows, known.columns])
    known = KnownHeights(known.rows[inside], known.columns[inside], known.heights[inside], known.error)
    model = lidar_model(inputs.site.rules)
    return replace(
        surface, elevation=brought_to_shots(surface.elevation, known, _cover(inputs, grid), grid, model)
    )


def draw_for_lot(inputs: SiteInputs, estimate: Estimate, grid: Grid) -> PossibleGrounds:
    """Grounds that lidar and level shots allow around a lot; the same input gives the same grounds."""
    rules, parcel = inputs.site.rules, inputs.layers.parcel
    model, window = lidar_model(rules, estimate.step), _window(inputs, grid)
    cells = (window[0].stop - window[0].start) * (window[1].stop - window[1].start)
    seed = seed_of(
        np.ascontiguousarray(np.nan_to_num(estimate.elevation[window])).tobytes(), parcel.wkb, repr(model).encode()
    )
    return draw_grounds(
        estimate, _cover(inputs, grid), grid, model, window, seed=seed,
        count=min(grounds_wanted(rules), max(MOST_HEIGHTS // cells, FEWEST)),
        known=known_heights(inputs, grid),
    )


def _window(inputs: SiteInputs, grid: Grid) -> tuple[slice, slice]:
    parcel = inputs.layers.parcel
    near = [shape for shape in inputs.layers.outfalls.geometry if shapely.distance(shape, parcel) <= OUTFALL_REACH]
    ends = shapely.intersection(shapely.union_all(near), shapely.buffer(parcel, OUTFALL_REACH))
    west, south, east, north = shapely.union_all(
        [shapely.buffer(parcel, AROUND_LOT), shapely.buffer(ends, 5.0)]
    ).bounds
    rows, columns = grid.cells(np.array([west, east]), np.array([north, south]))
    rows, columns = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
    return slice(int(rows[0]), int(rows[1]) + 1), slice(int(columns[0]), int(columns[1]) + 1)


def _cover(inputs: SiteInputs, grid: Grid) -> IntArray:
    """What is on each cell, as far as layers show: paving, ponds, long grass at swales and in wetlands, else lawn."""
    layers, reach = inputs.layers, inputs.site.rules["long_grass_reach"].likely
    rough = layers.outfalls[layers.outfalls["kind"].isin(ROUGH)].geometry
    shapes = [(shapely.buffer(shape, reach), int(LONG_GRASS)) for shape in rough]
    shapes += [(shape, int(LONG_GRASS)) for shape in layers.keep_out.geometry[layers.keep_out["kind"] == "wetland"]]
    ponds = layers.outfalls.geometry[layers.outfalls["kind"] == "pond"]
    shapes += [(shapely.buffer(shape, reach), int(WATER)) for shape in ponds]
    shapes += [(shape, int(PAVED)) for shape in (*layers.hardscape.geometry, *layers.roofs.geometry)]
    shapes = [(shape, value) for shape, value in shapes if not shape.is_empty]
    if not shapes:
        return np.full(grid.shape, LAWN)
    burnt = rasterize(shapes, out_shape=grid.shape, fill=int(LAWN), transform=grid.transform, dtype="uint8")
    return np.asarray(burnt, dtype=np.int64)


def known_heights(inputs: SiteInputs, grid: Grid) -> KnownHeights | None:
    """What was read with a level at the site, each cell once; some may lie off the grid."""
    if inputs.shots is None:
        return None
    rows, columns = grid.cells(inputs.shots.x, inputs.shots.y)
    # several shots in a cell were taken together
    cells, which = np.unique(np.stack([rows, columns]), axis=1, return_inverse=True)
    which = which.ravel()
    heights = np.bincount(which, inputs.shots.heights) / np.bincount(which)
    return KnownHeights(cells[0], cells[1], heights, inputs.site.rules["shot_error"].likely)
