"""Our own steps on the ground: what heights alone say of water, on any raster or on the ground of a site."""

from dataclasses import dataclass
from typing import Annotated

import numpy as np
import shapely
from geopandas import GeoDataFrame
from shapely import MultiPolygon, Polygon

from pipelines.deliverables.files.layer_table import make_layer
from pipelines.deliverables.findings.gathering import flow_paths_of
from pipelines.deliverables.lot.layers import flow_path_layer, low_spot_layer
from pipelines.inputs.ground_rules import site_low_spots
from pipelines.inputs.rules import Rules, load_rules
from pipelines.layout.diagnosis.division import CollectingPlace, divide_ground, studied_ground
from pipelines.layout.diagnosis.situation import counted_spots
from pipelines.lot_stages import LotStages
from pipelines.steps.inputs import LowSpots, StepParameters, given, of_rule
from pipelines.steps.quantities import Area, Length
from pipelines.steps.registry import StepError
from terrain.arrays import BoolArray, IntArray
from terrain.errors import GeometryError
from terrain.flow.burnt_cells import cells_inside
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.conditioning import CulvertLine, make_ground
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.low_spots import LowSpot
from terrain.grid import Grid
from terrain.raster import Raster
from terrain.reading.surface import Surface

Heights = Annotated[Surface | None, "Bare ground; with a site file, what the step ground gave. Or give the site file."]
Roofs = Annotated[GeoDataFrame | None, "Building outlines, which stand as walls; `open_below` for carports and decks."]
Barriers = Annotated[GeoDataFrame | None, "Lines that dam."]
Culverts = Annotated[GeoDataFrame | None, "Lines that open the ground."]
Parcel = Annotated[GeoDataFrame | None, "The lot, which tells what lies on it and what comes to it from outside."]
Site = Annotated[LotStages | None, "The site file, in place of raster and layers: its lot as `screen` takes it."]


class LowSpotParameters(StepParameters):
    """What is worth listing as a low spot."""

    rmse: Length | None = of_rule("lidar_rmse", "Vertical accuracy of the lidar.")
    min_depth: Length | None = of_rule("low_spot_least_depth", "Shallower low spots are left out.")
    min_area: Area | None = of_rule("low_spot_least_area", "Smaller low spots are left out.")


class FlowPathParameters(StepParameters):
    """Where a flow path begins, and which of them are certain."""

    rmse: Length | None = of_rule("lidar_rmse", "Vertical accuracy of the lidar.")
    min_area: Area | None = of_rule("flow_path_least_area", "Ground that must drain through a flow path.")


@dataclass(frozen=True, slots=True, eq=False)
class DrainedGround:
    """Ground that drains, the rules on it, and, where a parcel is given, its cells and all that drain to it."""

    drainage: Drainage
    rules: Rules
    stages: LotStages | None
    on_parcel: BoolArray | None
    studied: BoolArray | None

    @property
    def low_spots(self) -> tuple[LowSpot, ...]:
        """Those worth listing."""
        if self.stages is not None:
            return self.stages.low_spots
        return site_low_spots(self.drainage, self.rules, prefix="low-")


def low_spots(
    elevation: Heights = None,
    roofs: Roofs = None,
    barriers: Barriers = None,
    culverts: Culverts = None,
    parcel: Parcel = None,
    site: Site = None,
    *,
    parameters: LowSpotParameters,
) -> GeoDataFrame:
    """Find ground that holds water before it spills; of a site, what touches ground that drains to the lot.

    Gives the layer low_spots; what only a storm would tell is empty.
    """
    ground = _drained(elevation, roofs, barriers, culverts, parcel, site, parameters)
    found = ground.low_spots
    if ground.stages is not None and ground.studied is not None:
        # those upslope of all that bears on the lot come in as flows
        found = tuple(spot for spot in ground.stages.situation.spots if ground.studied.flat[spot.cells].any())
    lot = ground.on_parcel
    shapes = [_cells_shape(spot.cells, ground.drainage.ground.grid) for spot in found]
    return GeoDataFrame(
        low_spot_layer(
            found, shapes, parameters.written_in(site), rank=list(range(1, len(found) + 1)),
            on_parcel=[None if lot is None else bool(lot.flat[spot.cells].any()) for spot in found],
        )
    )


def flow_paths(
    elevation: Heights = None,
    roofs: Roofs = None,
    barriers: Barriers = None,
    culverts: Culverts = None,
    parcel: Parcel = None,
    site: Site = None,
    *,
    parameters: FlowPathParameters,
) -> GeoDataFrame:
    """Draw where water gathers into lines, with the ground that drains through each.

    Gives the layer flow_paths, drawn downstream: to the bottom of a low spot, and from there on as running when it is
    full.
    """
    ground = _drained(elevation, roofs, barriers, culverts, parcel, site, parameters)
    if ground.stages is not None:
        paths = ground.stages.flow_paths
    else:
        studied, lot = ground.studied, ground.on_parcel
        outside = None if studied is None or lot is None else studied & ~lot
        paths = flow_paths_of(ground.drainage, ground.low_spots, ground.rules, outside=outside)
    return GeoDataFrame(flow_path_layer(paths, parameters.written_in(site)))


def sub_catchments(
    elevation: Heights = None,
    parcel: Parcel = None,
    roofs: Roofs = None,
    barriers: Barriers = None,
    culverts: Culverts = None,
    site: Site = None,
    low_spots: LowSpots = None,
    *,
    parameters: LowSpotParameters,
) -> GeoDataFrame:
    """Divide the lot as it is, and the ground that drains to it, by the place where the water comes to first.

    Gives the layer sub_catchments; what only a storm would tell is empty. The step runoff fills it.

    Raises
    ------
    GeometryError
        If the lot has no cell on the raster.
    StepError
        If there is no lot.
    """
    ground = _drained(elevation, roofs, barriers, culverts, parcel, site, parameters, low_spots)
    if ground.on_parcel is None or ground.studied is None:
        raise StepError("there is no lot to divide; give a site file, or a parcel beside the raster")
    if not ground.on_parcel.any():
        raise GeometryError("the parcel holds no known cell of the raster; give a raster that covers it")
    if ground.stages is not None:
        regions = ground.stages.division.regions
    else:
        counted = counted_spots(ground.low_spots, ground.studied, ground.rules)
        places = [CollectingPlace(spot.id, "spot", spot.cells) for spot in counted]
        regions = divide_ground(ground.drainage, ground.on_parcel, places, skip=ground.studied).regions
    grid, unknown = ground.drainage.ground.grid, [None] * len(regions)
    return GeoDataFrame(
        make_layer(
            "sub_catchments",
            parameters.written_in(site),
            geometry=[_cells_shape(region.cells, grid) for region in regions],
            id=[region.id for region in regions],
            drains_to=[region.drains_to for region in regions],
            run_on=[region.run_on for region in regions],
            area=[region.cells.size * grid.cell_area for region in regions],
            peak_flow=unknown,
            runoff_volume=unknown,
        )
    )


def flow_accumulation(
    elevation: Heights = None,
    roofs: Roofs = None,
    barriers: Barriers = None,
    culverts: Culverts = None,
    site: Site = None,
) -> Raster:
    """Measure the ground that drains through each cell."""
    drainage = _drained(elevation, roofs, barriers, culverts, None, site).drainage
    known = np.where(np.isfinite(drainage.ground.elevation), drainage.accumulation, np.nan)
    return Raster(drainage.ground.grid, known, "m2", "ground that drains through the cell")


def filled_ground(
    elevation: Heights = None,
    roofs: Roofs = None,
    barriers: Barriers = None,
    culverts: Culverts = None,
    site: Site = None,
) -> Raster:
    """Fill every low spot to the level at which it spills; unknown under roofs and barriers."""
    drainage = _drained(elevation, roofs, barriers, culverts, None, site).drainage
    return Raster(drainage.ground.grid, drainage.filled, "m", "ground with every low spot filled to its spill level")


def _drained(
    elevation: Surface | None,
    roofs: GeoDataFrame | None,
    barriers: GeoDataFrame | None,
    culverts: GeoDataFrame | None,
    parcel: GeoDataFrame | None,
    site: LotStages | None,
    parameters: StepParameters | None = None,
    low_spots: GeoDataFrame | None = None,
) -> DrainedGround:
    overrides = () if parameters is None else parameters.overrides
    if site is not None:
        if any(each is not None for each in (roofs, barriers, culverts, parcel)):
            raise StepError("a site file names its layers itself; give either it or the layers")
        stages = given(site, elevation, low_spots=low_spots, overrides=overrides)
        lot = stages.situation
        return DrainedGround(stages.drainage, lot.rules, stages, lot.on_parcel, lot.studied)
    if elevation is None:
        raise StepError("there is no ground; give an elevation raster or a site file")
    if low_spots is not None:
        raise StepError("low spots struck out by hand go with a site file; give it too")
    drainage = _drain(elevation, roofs, barriers, culverts)
    on_parcel = studied = None
    if parcel is not None:
        on_parcel = cells_inside(elevation.grid, _lot(parcel)) & (drainage.ground.kind > 0)
        studied = studied_ground(drainage, on_parcel)
    return DrainedGround(drainage, load_rules().with_overrides(overrides), None, on_parcel, studied)


def _drain(
    elevation: Surface, roofs: GeoDataFrame | None, barriers: GeoDataFrame | None, culverts: GeoDataFrame | None
) -> Drainage:
    open_below = []
    if roofs is not None and "open_below" in roofs:
        open_below = [value is not None and value == value and bool(value) for value in roofs["open_below"]]
    ground = make_ground(
        elevation,
        roofs=[] if roofs is None else list(roofs.geometry),
        open_below=open_below,
        barriers=[] if barriers is None else list(barriers.geometry),
        culverts=[] if culverts is None else [CulvertLine(line) for line in culverts.explode().geometry],
    )
    return drain_ground(ground)


def _cells_shape(cells: IntArray, grid: Grid) -> shapely.Geometry:
    # only the cells' own rectangle is traced: a raster may hold hundreds of low spots
    rows, columns = np.divmod(cells, grid.shape[1])
    top, left = int(rows.min()), int(columns.min())
    labels = np.full((int(rows.max()) - top + 1, int(columns.max()) - left + 1), -1, dtype=np.int64)
    labels[rows - top, columns - left] = 0
    corner = grid.left + left * grid.cell_width, grid.top - top * grid.cell_height
    return label_polygons(labels, Grid(labels.shape, *corner, grid.cell_width, grid.cell_height, grid.frame))[0]


def _lot(parcel: GeoDataFrame) -> MultiPolygon:
    parts = shapely.get_parts(shapely.union_all(parcel.geometry.array))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon)])
