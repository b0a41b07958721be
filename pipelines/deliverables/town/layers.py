"""What a town's run found, as the layers and tables of its GeoPackage."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from shapely import LineString

from pipelines.deliverables.files.layer_table import Column, Layer, empty_layer, layers, make_layer
from pipelines.deliverables.files.place import OUTPUTS
from pipelines.deliverables.findings.town import LOT_LAYERS, LotRow, RunOnLink, TownFindings
from pipelines.deliverables.findings.town_swales import FullPlace, OutletRise, SentToSwale, StreetBalance
from pipelines.deliverables.words.say import say_all
from terrain.unit_table import HOUR, Units

OF_SWALE = (
    Column("status", "text", "", "", "done, failed or set_aside"),
    Column("message", "text", "", "", "what failed, empty where nothing did"),
)
OF_LOT = Column("lot", "text", "", "", "id of the lot; other ids are those of its own run")
NOT_OF_TOWN = ("lot_inflows", "lot_sums", "cautions", "run_info")
"""Tables of a check of swales that a town tells otherwise."""


def of_lots() -> dict[str, Layer]:
    """Layers of a lot and of a swale as the town's file holds them: each tells its lot, or how its run ended."""
    known, swales = layers(), layers()["swales"]
    found = {name: replace(known[name], columns=(OF_LOT, *known[name].columns)) for name in (*LOT_LAYERS, "runoff")}
    return {**found, "swales": replace(swales, columns=(*swales.columns, *OF_SWALE))}


def town_tables(findings: TownFindings, *, outputs: Sequence[str] = ()) -> dict[str, pd.DataFrame]:
    """Every layer and table, empty ones included, in the order in which they are listed."""
    units, swales = findings.units, findings.swales
    found = {
        "lots": lots_layer(findings.rows, units, findings.crs),
        "run_on_links": _links(findings, [link for each in findings.records for link in each.links]),
        **{name: lot_layer(findings, name) for name in LOT_LAYERS},
    }
    if swales is not None:
        found |= {name: table for name, table in swales.tables.items() if name not in NOT_OF_TOWN}
    found |= {
        "full_places": _full(swales.full if swales else (), findings),
        "outlet_rises": _rises(swales.rises if swales else (), findings),
        "sent_to_swale": _sent(swales.sent if swales else (), units),
        "street_balance": _balances(swales.balances if swales else (), units),
        "lot_discharges": _discharges(findings.rows, units),
        "runoff": lot_layer(findings, "runoff"),
        "cautions": make_layer(
            "cautions",
            units,
            id=[each.id for each in findings.cautions],
            text=[each.text for each in findings.cautions],
        ),
    }
    rows = list(_run_info(findings, outputs))
    return {
        **found,
        "run_info": make_layer("run_info", units, key=[key for key, _ in rows], value=[value for _, value in rows]),
    }


def lots_layer(rows: Sequence[LotRow], units: Units, crs: Any) -> pd.DataFrame:
    """One feature a lot, failed ones included."""
    plans = [row.planned for row in rows]
    same = (
        "name", "street", "status", "message", "need", "need_why", "found_pct", "low_spots", "deepest", "leaves",
        "frontage", "fall_to_spare", "area", "run_on_area", "roof_area", "tailwater", "attempts", "inputs_key",
    )  # fmt: skip
    told = ("mode", "headline", "cause", "fall", "outfall", "cure")
    return make_layer(
        "lots", units, crs=crs, geometry=[row.parcel for row in rows],
        id=[row.lot for row in rows],
        longest=[None if row.longest is None else row.longest * HOUR for row in rows],
        **{f"cost_{name}": [plan and getattr(plan, name) for plan in plans] for name in ("low", "likely", "high")},
        **{name: [getattr(row, name) for row in rows] for name in same},
        **{name: [plan and getattr(plan, name) for plan in plans] for name in told},
    )  # fmt: skip


def lot_layer(findings: TownFindings, name: str) -> pd.DataFrame:
    """A layer of all lots, each feature with its lot."""
    parts = []
    for record in findings.records:
        table = record.layers.get(name)
        if table is not None and len(table):
            parts.append(table.assign(lot=record.row.lot))
    if not parts:
        empty = empty_layer(name, findings.units, crs=findings.crs)
        empty.insert(0, "lot", pd.Series(dtype=object))
        return empty
    together = pd.concat(parts, ignore_index=True)
    # columns that are empty on every lot of a part lose their type in that part
    together = together[["lot", *(column for column in parts[0].columns if column != "lot")]]
    return gpd.GeoDataFrame(together, crs=findings.crs) if isinstance(parts[0], gpd.GeoDataFrame) else together


def _links(findings: TownFindings, links: Sequence[RunOnLink]) -> pd.DataFrame:
    middles = {row.lot: shapely.point_on_surface(row.parcel) for row in findings.rows}
    shapes = [LineString([middles.get(each.from_lot, each.place), each.place, middles[each.to_lot]]) for each in links]
    return make_layer(
        "run_on_links", findings.units, crs=findings.crs, geometry=shapes,
        id=[f"{each.to_lot}/{each.side}/{each.from_lot or 'other'}" for each in links],
        peak_flow=[each.peak for each in links],
        **_fields(links, "from_lot", "to_lot", "side", "area", "volume"),
    )  # fmt: skip


def _full(places: Sequence[FullPlace], findings: TownFindings) -> pd.DataFrame:
    return make_layer(
        "full_places", findings.units, crs=findings.crs, geometry=[each.line for each in places],
        id=[f"{each.swale}/full-{number}" for number, each in enumerate(places, start=1)],
        improved=[each.built for each in places],
        **_fields(places, "swale", "storm", "station_from", "station_to", "over", "lot", "name", "from_time",
                  "to_time"),
    )  # fmt: skip


def _rises(rises: Sequence[OutletRise], findings: TownFindings) -> pd.DataFrame:
    return make_layer(
        "outlet_rises", findings.units, crs=findings.crs, geometry=[each.place for each in rises],
        id=[f"{each.swale}/{each.outlet}" for each in rises],
        level_now=[each.now for each in rises],
        level_improved=[each.built for each in rises],
        **_fields(rises, "lot", "outlet", "swale", "rise", "submerged", "answer", "why"),
    )  # fmt: skip


def _sent(sent: Sequence[SentToSwale], units: Units) -> pd.DataFrame:
    return make_layer(
        "sent_to_swale", units,
        id=[f"{each.lot or 'other'}/{each.swale}" for each in sent],
        surface_improved=[each.surface_built for each in sent],
        piped=[each.works for each in sent],
        **_fields(sent, "lot", "name", "swale", "surface", "station_from", "station_to"),
    )  # fmt: skip


def _balances(balances: Sequence[StreetBalance], units: Units) -> pd.DataFrame:
    return make_layer(
        "street_balance", units,
        id=[f"{each.swale}/{number}" for number, each in enumerate(balances, start=1)],
        improved=[each.built for each in balances],
        lots_piped=[each.lots_works for each in balances],
        **_fields(balances, "swale", "storm", "lots_surface", "other", "above", "arrives", "stands", "soaks"),
    )  # fmt: skip


def _discharges(rows: Sequence[LotRow], units: Units) -> pd.DataFrame:
    lines = [(row.lot, number, line) for row in rows if row.planned
             for number, line in enumerate(row.planned.discharges, start=1)]  # fmt: skip
    listed = [line for *_, line in lines]
    return make_layer(
        "lot_discharges", units,
        id=[f"{lot}/{number}" for lot, number, _ in lines],
        lot=[lot for lot, *_ in lines],
        peak_flow=[line.peak for line in listed],
        **_fields(listed, "outfall", "mode", "verdict", "fall_to_spare", "lift"),
    )  # fmt: skip


def _run_info(findings: TownFindings, outputs: Sequence[str]) -> Iterator[tuple[str, str]]:
    authority = findings.crs.to_authority()
    yield "program", "lotshed"
    yield "version", findings.version
    yield "name", findings.name
    yield "units", findings.units
    yield "crs", ":".join(authority) if authority else findings.crs.name
    yield "depth", findings.depth
    yield "grounds", str(findings.grounds)
    for state in ("done", "failed", "set_aside"):
        yield f"lots.{state}", str(sum(row.status == state for row in findings.rows))
    for file in findings.inputs:
        yield f"input.{file.key}.file", file.file
        yield f"input.{file.key}.sha256", file.sha256
    for number, warning in enumerate(say_all(findings.all_warnings, findings.units), start=1):
        yield f"warning.{number}", warning
    yield OUTPUTS, ", ".join(outputs)


def _fields(rows: Sequence[Any], *names: str) -> dict[str, list[Any]]:
    return {name: [getattr(row, name) for row in rows] for name in names}
