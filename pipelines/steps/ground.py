"""Our own steps on the ground: what a raster alone says of water, each to be run on ordinary files."""

from typing import Annotated, Literal

import geopandas as gpd
import numpy as np
import shapely
from geopandas import GeoDataFrame
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from shapely import LineString, MultiPolygon, Polygon

from pipelines.deliverables.files.layer_table import make_layer
from pipelines.inputs.quantity import read_quantity
from pipelines.inputs.rules import load_rules
from pipelines.layout.diagnosis.division import CollectingPlace, divide_ground
from terrain.arrays import BoolArray, IntArray
from terrain.errors import GeometryError
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.conditioning import CulvertLine, make_ground
from terrain.flow.drainage import Drainage, drain_ground, upstream_labels
from terrain.flow.flow_paths import find_flow_paths
from terrain.flow.lot_ground import cells_inside
from terrain.flow.low_spots import LowSpot, find_low_spots
from terrain.grid import Grid
from terrain.kernels.routing import accumulate
from terrain.lidar_error import fall_error
from terrain.raster import Raster
from terrain.reading.surface import Surface

Length = Annotated[float, BeforeValidator(lambda text: _read(text, "length"))]
Area = Annotated[float, BeforeValidator(lambda text: _read(text, "area"))]


class GroundParameters(BaseModel):
    """What every step on the ground can be told."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    units: Literal["si", "us"] = Field("si", description="Units of the columns, which carry them in their names.")
    rmse: Length = Field(0.10, description="Vertical accuracy of the lidar, such as '10 cm'. [m]")


class LowSpotParameters(GroundParameters):
    """What is worth listing as a low spot."""

    min_depth: Length = Field(0.02, description="Shallower low spots are left out, such as '1 in'. [m]")
    min_area: Area = Field(1.0, description="Smaller low spots are left out, such as '10 ft2'. [m2]")


class FlowPathParameters(GroundParameters):
    """Where a flow path begins."""

    min_area: Area = Field(
        load_rules()["flow_path_least_area"].likely,
        description="Ground that must drain through it, such as '1000 ft2'. [m2]",
    )


def low_spots(
    elevation: Surface,
    roofs: GeoDataFrame | None = None,
    barriers: GeoDataFrame | None = None,
    culverts: GeoDataFrame | None = None,
    parcel: GeoDataFrame | None = None,
    *,
    parameters: LowSpotParameters,
) -> GeoDataFrame:
    """Find ground that holds water before it spills.

    Parameters
    ----------
    elevation : Surface
        Bare ground.
    roofs : GeoDataFrame, optional
        Building outlines, which stand as walls; attribute `open_below` for carports, decks and porches.
    barriers, culverts : GeoDataFrame, optional
        Lines that dam, and lines that open the ground.
    parcel : GeoDataFrame, optional
        The lot, for the column `on_parcel`.
    parameters : LowSpotParameters
        What is worth listing.

    Returns
    -------
    GeoDataFrame
        The layer low_spots in the metric frame; what only a storm would tell is empty.
    """
    drainage = _drain(elevation, roofs, barriers, culverts)
    found = _low_spots(drainage, parameters)
    shapes = [_cells_shape(spot.cells, elevation.grid) for spot in found]
    lot = None if parcel is None else _lot(parcel)
    unknown = [None] * len(found)
    only_in_a_storm = (
        "stands", "stands_after", "storm_depth", "storm_depth_after", "storm_volume", "storm_volume_after", "spilled",
        "spilled_after", "why",
    )  # fmt: skip
    same = ("id", "contained_in", "enclosed", "depth", "area", "volume", "spill_elevation", "within_lidar_error")
    return gpd.GeoDataFrame(
        make_layer(
            "low_spots",
            parameters.units,
            geometry=shapes,
            on_parcel=[None if lot is None else bool(shapely.intersects(shape, lot)) for shape in shapes],
            rank=list(range(1, len(found) + 1)),
            **{name: [getattr(spot, name) for spot in found] for name in same},
            **dict.fromkeys(only_in_a_storm, unknown),
        )
    )


def flow_paths(
    elevation: Surface,
    roofs: GeoDataFrame | None = None,
    barriers: GeoDataFrame | None = None,
    culverts: GeoDataFrame | None = None,
    parcel: GeoDataFrame | None = None,
    *,
    parameters: FlowPathParameters,
) -> GeoDataFrame:
    """Draw where water gathers into lines, with the ground that drains through each.

    Parameters
    ----------
    elevation : Surface
        Bare ground.
    roofs, barriers, culverts : GeoDataFrame, optional
        As of low-spots.
    parcel : GeoDataFrame, optional
        The lot, for the column `run_on`.
    parameters : FlowPathParameters
        Where a line begins.

    Returns
    -------
    GeoDataFrame
        The layer flow_paths in the metric frame, drawn downstream.
    """
    drainage = _drain(elevation, roofs, barriers, culverts)
    outside = None if parcel is None else _reached_from_outside(drainage, parcel)
    grid = elevation.grid
    columns: dict[str, list[object]] = {name: [] for name in ("id", "contributing_area", "run_on", "certain")}
    lines = []
    sigmas = load_rules()["flow_path_sigmas"].likely
    for number, path in enumerate(find_flow_paths(drainage, min_area=parameters.min_area), start=1):
        x, y = grid.centres(path.cells // grid.shape[1], path.cells % grid.shape[1])
        line = LineString(np.column_stack([x, y]))
        fall = float(drainage.filled.flat[path.cells[0]] - drainage.filled.flat[path.cells[-1]])
        lines.append(line)
        columns["id"].append(f"P{number}")
        columns["contributing_area"].append(path.contributing_area)
        columns["run_on"].append(None if outside is None else bool(outside[path.cells].any()))
        columns["certain"].append(fall > sigmas * fall_error(parameters.rmse, float(line.length)))
    return gpd.GeoDataFrame(make_layer("flow_paths", parameters.units, geometry=lines, **columns))


def sub_catchments(
    elevation: Surface,
    parcel: GeoDataFrame,
    roofs: GeoDataFrame | None = None,
    barriers: GeoDataFrame | None = None,
    culverts: GeoDataFrame | None = None,
    *,
    parameters: LowSpotParameters,
) -> GeoDataFrame:
    """Divide the lot, and the ground that drains to it, by the place where the water comes to first.

    Parameters
    ----------
    elevation : Surface
        Bare ground.
    parcel : GeoDataFrame
        The lot.
    roofs, barriers, culverts : GeoDataFrame, optional
        As of low-spots.
    parameters : LowSpotParameters
        Which low spots count as a place.

    Returns
    -------
    GeoDataFrame
        The layer sub_catchments in the metric frame; what only a storm would tell is empty.

    Raises
    ------
    GeometryError
        If the lot has no cell on the raster.
    """
    drainage = _drain(elevation, roofs, barriers, culverts)
    grid = elevation.grid
    on_parcel = cells_inside(grid, _lot(parcel))
    if not (on_parcel & np.isfinite(elevation.elevation)).any():
        raise GeometryError("the parcel holds no known cell of the raster; give a raster that covers it")
    places = [
        CollectingPlace(spot.id, "spot", spot.cells)
        for spot in _low_spots(drainage, parameters)
        if spot.contained_in is None and on_parcel.flat[spot.cells].any()
    ]
    regions = divide_ground(drainage, on_parcel, places).regions
    unknown = [None] * len(regions)
    return gpd.GeoDataFrame(
        make_layer(
            "sub_catchments",
            parameters.units,
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
    elevation: Surface,
    roofs: GeoDataFrame | None = None,
    barriers: GeoDataFrame | None = None,
    culverts: GeoDataFrame | None = None,
) -> Raster:
    """Measure the ground that drains through each cell.

    Parameters
    ----------
    elevation : Surface
        Bare ground.
    roofs, barriers, culverts : GeoDataFrame, optional
        As of low-spots.

    Returns
    -------
    Raster
        [m2]
    """
    drainage = _drain(elevation, roofs, barriers, culverts)
    known = np.where(np.isfinite(elevation.elevation), drainage.accumulation, np.nan)
    return Raster(elevation.grid, known, "m2", "ground that drains through the cell")


def filled_ground(
    elevation: Surface,
    roofs: GeoDataFrame | None = None,
    barriers: GeoDataFrame | None = None,
    culverts: GeoDataFrame | None = None,
) -> Raster:
    """Fill every low spot to the level at which it spills.

    Parameters
    ----------
    elevation : Surface
        Bare ground.
    roofs, barriers, culverts : GeoDataFrame, optional
        As of low-spots.

    Returns
    -------
    Raster
        Unknown under roofs and barriers. [m]
    """
    drainage = _drain(elevation, roofs, barriers, culverts)
    return Raster(elevation.grid, drainage.filled, "m", "ground with every low spot filled to its spill level")


def _read(text: object, dimension: str) -> float:
    # a default stands in SI already
    return text if isinstance(text, float) else read_quantity(text, dimension)


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


def _low_spots(drainage: Drainage, parameters: LowSpotParameters) -> tuple[LowSpot, ...]:
    return find_low_spots(
        drainage, rmse=parameters.rmse, min_depth=parameters.min_depth, min_area=parameters.min_area
    )


def _cells_shape(cells: IntArray, grid: Grid) -> shapely.Geometry:
    # only the cells' own rectangle is traced: a raster may hold hundreds of low spots
    rows, columns = np.divmod(cells, grid.shape[1])
    top, left = int(rows.min()), int(columns.min())
    labels = np.full((int(rows.max()) - top + 1, int(columns.max()) - left + 1), -1, dtype=np.int64)
    labels[rows - top, columns - left] = 0
    corner = grid.left + left * grid.cell_width, grid.top - top * grid.cell_height
    return label_polygons(labels, Grid(labels.shape, *corner, grid.cell_width, grid.cell_height, grid.frame))[0]


def _reached_from_outside(drainage: Drainage, parcel: GeoDataFrame) -> BoolArray:
    """Cells through which water passes that began outside the parcel and has come onto it."""
    grid = drainage.ground.grid
    inside = cells_inside(grid, _lot(parcel))
    to_parcel = upstream_labels(drainage, np.where(inside, 0, -1).astype(np.int64)) >= 0
    source = (to_parcel & ~inside).ravel()
    carried = accumulate(drainage.target, drainage.order, source.astype(np.float64))
    return np.asarray(carried > 0.0)


def _lot(parcel: GeoDataFrame) -> MultiPolygon:
    parts = shapely.get_parts(shapely.union_all(parcel.geometry.array))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon)])
