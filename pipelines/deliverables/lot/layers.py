"""What one lot's run found, as the layers and tables of its GeoPackage."""

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from pipelines.deliverables.files.layer_table import make_layer
from pipelines.deliverables.files.run_info import run_info
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.say import say_all
from pipelines.deliverables.words.take_off import in_trade_units
from pipelines.layout.plan import Said
from pipelines.layout.routing.fall_to_spare import spare_contours
from terrain.unit_table import FOOT, HOUR, Units

CONTOURS = tuple(FOOT * feet for feet in (-4.0, -3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0))
"""Fall to spare that is drawn. [m]"""

STRIP = 0.1
"""Half the strip on the map of a downspout's extension. [m]"""


def lot_tables(findings: Findings, units: Units, *, outputs: Sequence[str] = ()) -> dict[str, pd.DataFrame]:
    """Every layer and table that is promised, empty ones included, in the order in which they are listed."""
    makers = (
        _parcel,
        _flow_paths,
        _low_spots,
        _sub_catchments,
        _surface_works,
        _catch_basins,
        _french_drains,
        _channel_drains,
        _pipe_runs,
        _sumps,
        _fittings,
        _outfalls,
        _fall_to_spare,
        runoff_table,
        _leaving,
        _take_off,
        _cautions,
    )
    tables = {maker.__name__.removeprefix("_").removesuffix("_table"): maker(findings, units) for maker in makers}
    return {**tables, "run_info": run_info(findings, units, outputs)}


def runoff_table(findings: Findings, units: Units) -> pd.DataFrame:
    """One row a sub-catchment, as in runoff.csv; the peak is the rational one."""
    rows = sorted(findings.runoff, key=lambda row: row.id)
    return make_layer(
        "runoff",
        units,
        sub_catchment=[row.id for row in rows],
        drains_to=[row.drains_to for row in rows],
        area=[row.area for row in rows],
        impervious=[row.impervious_fraction for row in rows],
        runoff_coefficient=[row.runoff_coefficient for row in rows],
        curve_number=[row.curve_number for row in rows],
        flow_length=[row.flow_length for row in rows],
        slope=[row.slope for row in rows],
        time_of_concentration=[row.time_of_concentration for row in rows],
        intensity=[row.intensity for row in rows],
        peak_flow=[row.rational_peak for row in rows],
        storm_depth=[row.storm_depth for row in rows],
        runoff_depth=[row.runoff_depth for row in rows],
        runoff_volume=[row.runoff_volume for row in rows],
    )


def _placed(name: str, findings: Findings, units: Units, shapes: Sequence[Any], **values: Any) -> pd.DataFrame:
    on_map = findings.frame.to_map(gpd.GeoSeries(list(shapes), dtype="geometry"))
    return make_layer(name, units, crs=findings.frame.crs, geometry=list(on_map), **values)


def _fields(rows: Sequence[Any], *names: str) -> dict[str, list[Any]]:
    """Columns of the fields that carry the same name in the value and in the layer."""
    return {name: [getattr(row, name) for row in rows] for name in names}


def _parcel(findings: Findings, units: Units) -> pd.DataFrame:
    shape = shapely.union_all(findings.parcel.geometry.array)
    return _placed("parcel", findings, units, [shape], id=[findings.name], area=[findings.parcel_area])


def _flow_paths(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.flow_paths
    columns = _fields(rows, "id", "contributing_area", "run_on", "certain")
    return _placed("flow_paths", findings, units, [row.line for row in rows], **columns)


def _low_spots(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.low_spots
    of_spot = ("id", "contained_in", "enclosed", "depth", "area", "volume", "spill_elevation", "within_lidar_error")
    in_storm = ("storm_depth", "storm_depth_after", "storm_volume", "storm_volume_after", "spilled", "spilled_after")
    columns = _fields([row.spot for row in rows], *of_spot) | _fields(rows, "on_parcel", "rank", "why", *in_storm)
    return _placed(
        "low_spots",
        findings,
        units,
        [row.shape for row in rows],
        stands=[_seconds(row.hours) for row in rows],
        stands_after=[_seconds(row.hours_after) for row in rows],
        **columns,
    )


def _seconds(hours: float | None) -> float | None:
    return None if hours is None else hours * HOUR


def _joined(said: Sequence[Said], units: Units) -> str | None:
    return "; ".join(say_all(said, units)) or None


def _sub_catchments(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.runoff
    columns = _fields(rows, "id", "drains_to", "run_on", "area", "runoff_volume")
    peaks = [row.hydrograph.peak for row in rows]
    return _placed("sub_catchments", findings, units, [row.shape for row in rows], peak_flow=peaks, **columns)


def _surface_works(findings: Findings, units: Units) -> pd.DataFrame:
    surface = findings.plan.surface
    rows = () if surface is None else surface.works
    columns = _fields(rows, "id", "kind", "length", "height", "fill", "cut", "area", "why")
    # an extension is drawn as the strip of ground that it lies on
    shapes = [shapely.buffer(row.shape, STRIP) if row.kind == "extension" else row.shape for row in rows]
    proposed = [bool(surface and surface.chosen)] * len(rows)
    return _placed("surface_works", findings, units, shapes, proposed=proposed, **columns)


def _catch_basins(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.catch_basins
    same = ("id", "drains_to", "grate", "peak_flow", "ground_elevation", "invert_elevation", "why", "capacity")
    columns = _fields(rows, *same, "governed_by", "ponding", "provisional")
    return _placed("catch_basins", findings, units, [row.point for row in rows], **columns)


def _french_drains(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.french_drains
    columns = _fields(rows, "id", "drains_to", "length", "width", "depth", "pipe", "slope", "peak_flow", "why")
    return _placed("french_drains", findings, units, [row.line for row in rows], **columns)


def _channel_drains(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.channel_drains
    columns = _fields(rows, "id", "drains_to", "length", "width", "peak_flow", "why")
    return _placed("channel_drains", findings, units, [row.line for row in rows], **columns)


def _pipe_runs(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.pipe_runs
    hydraulic = ("length", "slope", "invert_up", "invert_down", "peak_flow", "velocity", "filled", "capacity")
    columns = _fields(rows, "id", "kind", "from_id", "to_id", "purpose", *hydraulic)
    columns |= _fields(rows, "least_cover", "deepest", "under_paving")
    return _placed(
        "pipe_runs",
        findings,
        units,
        [row.line for row in rows],
        size=[f"{row.size} {row.standard}".strip() for row in rows],
        crossings=[_joined(row.crossings, units) for row in rows],
        **columns,
    )


def _sumps(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.sumps
    hydraulic = ("lift", "operating_flow", "operating_head", "velocity", "inflow", "starts_per_hour")
    levels = ("ground_elevation", "inlet_elevation", "off_elevation", "bottom_elevation")
    columns = _fields(rows, "id", "drains_to", "basin", "minutes_without_power", *hydraulic, *levels)
    warnings = [_joined(row.warnings, units) for row in rows]
    return _placed("sumps", findings, units, [row.point for row in rows], warnings=warnings, **columns)


def _fittings(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.fittings
    return _placed("fittings", findings, units, [row.point for row in rows], **_fields(rows, "id", "kind", "on_run"))


def _outfalls(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.outfalls
    columns = _fields(rows, "id", "kind", "verified", "level", "fall_to_spare", "fall_error", "verdict", "to_confirm",
                      "highest_level")
    return _placed("outfalls", findings, units, [row.point for row in rows], **columns)


def _fall_to_spare(findings: Findings, units: Units) -> pd.DataFrame:
    spare = findings.fall_to_spare
    lines = [] if spare is None else spare_contours(spare.values, spare.grid, CONTOURS)
    return _placed(
        "fall_to_spare", findings, units, [line for _, line in lines],
        id=[f"spare-{k + 1}" for k in range(len(lines))], spare=[level for level, _ in lines],
    )


def _leaving(findings: Findings, units: Units) -> pd.DataFrame:
    names = ("place", "peak_before", "volume_before", "peak_after", "volume_after")
    columns = {name: [row[position] for row in findings.leaving] for position, name in enumerate(names)}
    return make_layer("leaving", units, **columns)


def _take_off(findings: Findings, units: Units) -> pd.DataFrame:
    rows = findings.plan.take_off
    written = [in_trade_units(row.quantity, row.kind, units) for row in rows]
    return make_layer(
        "take_off", units, **_fields(rows, "item", "low", "likely", "high", "share"),
        quantity=[quantity for quantity, _ in written], unit=[unit for _, unit in written],
    )


def _cautions(findings: Findings, units: Units) -> pd.DataFrame:
    return make_layer("cautions", units, **_fields(findings.cautions, "id", "text"))
