"""What one lot's run found, as the layers and tables of its GeoPackage."""

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely import LineString

from pipelines.deliverables.files.context_layers import context_layers, on_map
from pipelines.deliverables.files.layer_table import layers, make_layer
from pipelines.deliverables.files.run_info import run_info
from pipelines.deliverables.findings.lot import Findings, FlowPath, StandingWater
from pipelines.deliverables.words.say import say, say_all
from pipelines.deliverables.words.slopes import covers_of, slope_range, slopes_of
from pipelines.deliverables.words.take_off import in_trade_units
from pipelines.hydrology.sub_catchment import SubCatchment
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.parts import LevelShot, SurfaceOnly
from pipelines.layout.plan import (
    CatchBasin,
    ChannelDrain,
    FrenchDrain,
    Outfall,
    PipeRun,
    Plan,
    Said,
    Sump,
    TakeOffLine,
)
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.routing.fall_to_spare import spare_contours
from pipelines.layout.swale.found_outfall import OutfallLook
from terrain.flow.low_spots import LowSpot
from terrain.grid import Frame
from terrain.raster import Raster
from terrain.reason import Reason
from terrain.unit_table import FOOT, HOUR, Units

CONTOURS = tuple(FOOT * feet for feet in (-4.0, -3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0))
"""Fall to spare that is drawn. [m]"""

STRIP = 0.1
"""Half the strip on the map of a downspout's extension. [m]"""


STORM_COLUMNS = (
    "stands", "stands_after", "storm_depth", "storm_depth_after", "storm_volume", "storm_volume_after", "spilled",
    "spilled_after", "depth_on_lot", "depth_on_lot_after", "area_on_lot", "volume_on_lot", "stands_on_lot",
    "stands_on_lot_after",
)  # fmt: skip
"""Columns of low spots that only a storm tells."""


def lot_tables(findings: Findings, units: Units, *, outputs: Sequence[str] = ()) -> dict[str, pd.DataFrame]:
    """Every layer and table that is promised, empty ones included, in the order in which they are listed."""
    return {**_tables(findings, units), **on_map({"run_info": run_info(findings, units, outputs)}, findings.frame)}


@lru_cache(maxsize=1)
def _tables(findings: Findings, units: Units) -> Mapping[str, pd.DataFrame]:
    """All but what tells of the run: files, pages and terminal are made from the same ones."""
    shape = shapely.union_all(findings.parcel.geometry.array)
    tables = {
        "parcel": make_layer(
            "parcel", units, geometry=[shape], id=[findings.name], area=[findings.parcel_area]
        ),
        "flow_paths": flow_path_layer(findings.flow_paths, units),
        "low_spots": standing_layer(findings.low_spots, units),
        "sub_catchments": sub_catchment_layer(findings.runoff, units),
        "surface_works": surface_layer(findings.plan.surface, units),
        **collector_layers(findings.plan, units),
        **line_layers(findings.plan, units),
        "outfalls": outfall_layer(findings.plan.outfalls, units, findings.outfall_looks),
        "outfall_moves": moves_layer(findings.plan.outfalls, units),
        "level_shots": level_shot_layer(findings.plan.level_shots, units),
        "hidden_culverts": hidden_culverts_layer(findings.hidden_culverts, units),
        "fall_to_spare": spare_layer(findings.fall_to_spare, units),
        **context_layers(findings.given, units),
        "runoff": runoff_table(findings.runoff, units),
        "leaving": leaving_table(findings.leaving, units),
        "take_off": take_off_table(findings.plan.take_off, units),
        "cautions": make_layer("cautions", units, **_fields(findings.cautions, "id", "text")),
    }
    return on_map(tables, findings.frame)


def runoff_table(runoff: Sequence[SubCatchment], units: Units) -> pd.DataFrame:
    """One row a sub-catchment, as in runoff.csv; the peak is the rational one."""
    rows = sorted(runoff, key=lambda row: row.id)
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


def _fields(rows: Sequence[Any], *names: str) -> dict[str, list[Any]]:
    """Columns of the fields that carry the same name in the value and in the layer."""
    return {name: [getattr(row, name) for row in rows] for name in names}


def flow_path_layer(rows: Sequence[FlowPath], units: Units) -> pd.DataFrame:
    """Lines of flow, in the metric frame as every layer here."""
    columns = _fields(rows, "id", "contributing_area", "run_on", "certain", "when_full", "climb", "found_pct")
    return make_layer("flow_paths", units, geometry=[row.line for row in rows], **columns)


def low_spot_layer(
    spots: Sequence[LowSpot],
    shapes: Sequence[Any],
    units: Units,
    *,
    on_parcel: Sequence[bool | None],
    crs: Any = None,
    **in_storm: Any,
) -> pd.DataFrame:
    """Low spots; what only a storm would tell is empty where it is not given."""
    same = ("id", "contained_in", "enclosed", "depth", "area", "volume", "spill_elevation", "within_lidar_error")
    unknown = dict.fromkeys(("rank", "why", *STORM_COLUMNS), [None] * len(spots))
    found = [None if spot.found is None else 100.0 * spot.found for spot in spots]
    columns = _fields(spots, *same) | {"found_pct": found} | unknown | in_storm
    return make_layer("low_spots", units, crs=crs, geometry=shapes, on_parcel=on_parcel, **columns)


def standing_layer(
    rows: Sequence[StandingWater], units: Units, *, improved: bool = True, frame: Frame | None = None
) -> pd.DataFrame:
    """Low spots with their water in the design storm, without the columns of improvements where there are none; on the
    map of a frame where one is given."""
    hours = {
        "stands": [row.hours for row in rows],
        "stands_after": [row.hours_after for row in rows],
        "stands_on_lot": [row.hours_on_lot for row in rows],
        "stands_on_lot_after": [row.hours_on_lot_after for row in rows],
    }
    columns = _fields(rows, "rank", "why", *(name for name in STORM_COLUMNS if name not in hours))
    columns |= {name: [None if each is None else each * HOUR for each in values] for name, values in hours.items()}
    told = {name: each for name, each in columns.items() if improved or not name.endswith("_after")}
    shapes, on_parcel = [row.shape for row in rows], [row.on_parcel for row in rows]
    if frame is not None:
        shapes = list(frame.to_map(np.array(shapes, dtype=object)))
    crs = None if frame is None else frame.crs
    return low_spot_layer([row.spot for row in rows], shapes, units, on_parcel=on_parcel, crs=crs, **told)


def _joined(said: Sequence[Said], units: Units) -> str | None:
    return "; ".join(say_all(said, units)) or None


def sub_catchment_layer(rows: Sequence[SubCatchment], units: Units) -> pd.DataFrame:
    """The drainage area divided, with the runoff of the design storm."""
    columns = _fields(rows, "id", "drains_to", "run_on", "area", "runoff_volume")
    peaks = [row.hydrograph.peak for row in rows]
    return make_layer("sub_catchments", units, geometry=[row.shape for row in rows], peak_flow=peaks, **columns)


def collector_layers(parts: Plan | Works, units: Units) -> dict[str, pd.DataFrame]:
    """Basins, stone trenches and channels."""
    return {
        "catch_basins": _catch_basins(parts.catch_basins, units),
        "french_drains": _french_drains(parts.french_drains, units),
        "channel_drains": _channel_drains(parts.channel_drains, units),
    }


def line_layers(parts: Plan | Works, units: Units) -> dict[str, pd.DataFrame]:
    """Pipe runs, sump basins and fittings."""
    return {
        "pipe_runs": _pipe_runs(parts.pipe_runs, units),
        "sumps": _sumps(parts.sumps, units),
        "fittings": make_layer(
            "fittings", units, geometry=[row.point for row in parts.fittings],
            **_fields(parts.fittings, "id", "kind", "on_run"),
        ),
    }


def sited_layers(catching: Catching, units: Units, *, provisional: bool) -> dict[str, pd.DataFrame]:
    """Collectors where they are sited; what only sizing and routing tell is empty."""

    def sited(name: str, rows: Sequence[Any], shapes: Sequence[Any], **told: Sequence[Any]) -> pd.DataFrame:
        unknown = {column.name: [None] * len(rows) for column in layers()[name].columns}
        return make_layer(name, units, geometry=shapes, **(unknown | _fields(rows, "id", "why") | told))

    basins = catching.basins
    trenches = [site for site in catching.drains if not site.channel]
    channels = [site for site in catching.drains if site.channel]
    inverts = [
        LineString(np.column_stack([shapely.get_coordinates(site.line), site.inverts])) for site in trenches
    ]
    return {
        "catch_basins": sited(
            "catch_basins", basins, [site.point for site in basins],
            ground_elevation=[site.ground for site in basins], provisional=[provisional] * len(basins),
        ),
        "french_drains": sited(
            "french_drains", trenches, inverts, **_fields(trenches, "length", "width", "depth", "slope")
        ),
        "channel_drains": sited(
            "channel_drains", channels, [site.line for site in channels], **_fields(channels, "length", "width")
        ),
    }


def trouble_layer(rows: Sequence[Trouble], units: Units) -> pd.DataFrame:
    """What is wrong, worst first by its id."""
    held = [each.spot.shape if each.spot is not None else each.edge.shape if each.edge is not None else None
            for each in rows]  # fmt: skip
    columns = _fields(rows, "kind", "why")
    ids, places = [f"trouble-{k + 1}" for k in range(len(rows))], [row.name for row in rows]
    return make_layer("troubles", units, geometry=held, id=ids, place=places, **columns)


def surface_layer(surface: SurfaceOnly | None, units: Units) -> pd.DataFrame:
    """Soil moved and downspouts led away, proposed or compared."""
    rows = () if surface is None else surface.works
    columns = _fields(rows, "id", "kind", "length", "height", "fill", "cut", "area", "why")
    # an extension is drawn as the strip of ground that it lies on
    shapes = [shapely.buffer(row.shape, STRIP) if row.kind == "extension" else row.shape for row in rows]
    proposed = [bool(surface and surface.proposed)] * len(rows)
    return make_layer("surface_works", units, geometry=shapes, proposed=proposed, **columns)


def _catch_basins(rows: Sequence[CatchBasin], units: Units) -> pd.DataFrame:
    same = ("id", "drains_to", "grate", "peak_flow", "ground_elevation", "invert_elevation", "why", "capacity")
    columns = _fields(rows, *same, "governed_by", "ponding", "provisional")
    return make_layer("catch_basins", units, geometry=[row.point for row in rows], **columns)


def _french_drains(rows: Sequence[FrenchDrain], units: Units) -> pd.DataFrame:
    columns = _fields(rows, "id", "drains_to", "length", "width", "depth", "pipe", "slope", "peak_flow", "why")
    return make_layer("french_drains", units, geometry=[row.line for row in rows], **columns)


def _channel_drains(rows: Sequence[ChannelDrain], units: Units) -> pd.DataFrame:
    columns = _fields(rows, "id", "drains_to", "length", "width", "peak_flow", "why")
    return make_layer("channel_drains", units, geometry=[row.line for row in rows], **columns)


def _pipe_runs(rows: Sequence[PipeRun], units: Units) -> pd.DataFrame:
    hydraulic = ("length", "invert_up", "invert_down", "peak_flow", "velocity", "filled", "capacity")
    columns = _fields(rows, "id", "kind", "from_id", "to_id", "purpose", *hydraulic)
    columns |= _fields(rows, "least_cover", "deepest", "under_paving")
    return make_layer(
        "pipe_runs",
        units,
        geometry=[row.line for row in rows],
        size=[f"{row.size} {row.standard}".strip() for row in rows],
        crossings=[_joined(row.crossings, units) for row in rows],
        # over a broken grade a mean tells nobody how to dig
        slope=[None if len(row.segments) > 1 else row.slope for row in rows],
        slopes=[told and say(told, units) for told in map(slopes_of, rows)],
        slope_range=[told and say(told, units) for told in map(slope_range, rows)],
        covers=[say(covers_of(row), units) for row in rows],
        **columns,
    )


def _sumps(rows: Sequence[Sump], units: Units) -> pd.DataFrame:
    hydraulic = ("lift", "operating_flow", "operating_head", "velocity", "inflow", "starts_per_hour", "delivered_flow",
                 "pumps", "storage", "copes")
    levels = ("ground_elevation", "inlet_elevation", "off_elevation", "bottom_elevation")
    columns = _fields(rows, "id", "drains_to", "basin", "minutes_without_power", *hydraulic, *levels)
    warnings = [_joined(row.warnings, units) for row in rows]
    return make_layer("sumps", units, geometry=[row.point for row in rows], warnings=warnings, **columns)


def outfall_layer(
    rows: Sequence[Outfall], units: Units, outfall_looks: Sequence[OutfallLook] = ()
) -> pd.DataFrame:
    """Places where water may leave, with the verdict of those that are used and what was found of them."""
    columns = _fields(rows, "id", "kind", "verified", "level", "fall_to_spare", "fall_error", "verdict", "to_confirm",
                      "highest_level", "given")
    looks = {look.outfall: look for look in outfall_looks}
    found = [looks.get(row.id) for row in rows]
    return make_layer(
        "outfalls", units, geometry=[row.point for row in rows], **columns,
        level_low=[row.level - row.under for row in rows],
        level_high=[row.level + row.over for row in rows],
        takes_it=[look and look.state for look in found],
        takes_it_why=[look and say(look.why, units) for look in found],
        submerged=[look and look.submerged for look in found],
        stands=[look and look.stands for look in found],
        suspected_culverts=[look and len(look.suspected) for look in found],
        found_pct=[None if row.found is None else 100.0 * row.found for row in rows],
        falls_to=[_falls_to(row) for row in rows],
    )


def _falls_to(row: Outfall) -> str | None:
    told = row.to_confirm
    return told["falls"] or None if isinstance(told, Reason) and told.code == "confirm_found" else None


def moves_layer(rows: Sequence[Outfall], units: Units) -> pd.DataFrame:
    """Outfalls drawn on a bank, from where they were drawn to the bed."""
    moves = [(row.id, LineString([row.moved_from, row.point])) for row in rows if row.moved_from is not None]
    return make_layer(
        "outfall_moves", units, geometry=[line for _, line in moves], id=[name for name, _ in moves],
        distance=[line.length for _, line in moves],
    )


def level_shot_layer(rows: Sequence[LevelShot], units: Units) -> pd.DataFrame:
    """Where a level would lessen most what lidar leaves open."""
    doubts = {
        f"{name}_pct": [None if (each := getattr(row, name)) is None else 100.0 * each for row in rows]
        for name in ("doubt_before", "doubt_after")
    }
    told = _fields(rows, "id", "order", "what", "gain")
    return make_layer("level_shots", units, geometry=[row.point for row in rows], **told, **doubts)


def hidden_culverts_layer(rows: Sequence[HiddenCulvert], units: Units) -> pd.DataFrame:
    """Where a culvert would lie under a bank, from the side of the low ground."""
    banks = [row.bank for row in rows]
    return make_layer(
        "hidden_culverts", units, geometry=[bank.opening for bank in banks],
        **_fields(banks, "height", "width", "length"),
        **_fields(rows, "id", "depth", "depth_open", "run_on", "run_on_open", "decides"),
        why=[say(row.why, units) for row in rows],
    )


def spare_layer(spare: Raster | None, units: Units) -> pd.DataFrame:
    """Contours of the fall to spare; none without an outfall."""
    lines = [] if spare is None else spare_contours(spare.values, spare.grid, CONTOURS)
    return make_layer(
        "fall_to_spare", units, geometry=[line for _, line in lines],
        id=[f"spare-{k + 1}" for k in range(len(lines))], spare=[level for level, _ in lines],
    )


def leaving_table(rows: Sequence[Sequence[Any]], units: Units) -> pd.DataFrame:
    """What leaves by each side and outfall, before and with improvements."""
    names = ("place", "peak_before", "volume_before", "peak_after", "volume_after")
    columns = {name: [row[position] for row in rows] for position, name in enumerate(names)}
    return make_layer("leaving", units, **columns)


def take_off_table(rows: Sequence[TakeOffLine], units: Units) -> pd.DataFrame:
    """What the improvements take and cost."""
    written = [in_trade_units(row.quantity, row.kind, units) for row in rows]
    return make_layer(
        "take_off", units, **_fields(rows, "item", "low", "likely", "high", "share"),
        quantity=[quantity for quantity, _ in written], unit=[unit for _, unit in written],
    )
