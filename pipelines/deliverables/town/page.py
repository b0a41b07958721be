"""A town as one page: a map and a table of its lots, one lot's answer on a tap; nothing is fetched."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import pandas as pd
import shapely
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from pipelines.deliverables.files.glyphs import glyphs
from pipelines.deliverables.files.symbols import Symbol, symbol_of, symbols
from pipelines.deliverables.findings.town import LotRow, TownFindings
from pipelines.deliverables.findings.town_swales import TownSwales
from pipelines.deliverables.report.figures.map_svg import PX, legend_mark
from pipelines.deliverables.report.html import asset, content_policy, embedded_json
from pipelines.deliverables.report.shown_text import shown
from pipelines.deliverables.town.answer import town_lead, town_told
from pipelines.deliverables.town.layers import lot_layer
from pipelines.deliverables.unit_systems import unit_value
from pipelines.deliverables.words.names import CODES, EDGES, MODES, SHORT_PARTS, SHORT_STATES
from pipelines.deliverables.words.quantities import format_quantity, unit_of
from pipelines.deliverables.words.say import say, say_all, sentence
from terrain.unit_table import HOUR

OTHER = "road and other ground"
TENTHS = 10.0
"""Steps of the page's coordinates in a metre. [1/m]"""
SMOOTHED = {"lots": 0.15, "roofs": 0.3, "right_of_way": 0.3, "low_spots": 0.4, "pipe_runs": 0.1, "swales": 0.3}
"""By how much an outline may leave the true one on the page. [m]"""
FAR = {"roofs": 25.0, "low_spots": 12.0, "pipe_runs": 8.0, "run_on_links": 12.0, "outlets": 10.0}
"""Tenths of a metre in a pixel above which a layer is too small to see. [-]"""
SENTENCES = 3
"""Of a headline that the page tells."""
MANY = 5000
"""Lots above which the page leaves out what is drawn on each, so that it stays small."""
UNDER = (("right_of_way", "Roads", True), ("roofs", "Roofs", True))
"""Drawn pale under the lots, where the town has the layers."""
SHOWN = (
    ("low_spots", "Low spots", True), ("pipe_runs", "Pipe runs", True), ("run_on_links", "Run-on between lots", False),
    ("swales", "Swales", True), ("full_places", "Where a swale stands above its bank", True),
    ("outlets", "Outlets", True),
)  # fmt: skip


def town_page(findings: TownFindings, *, made_on: str = "") -> str:
    """The page of a town."""
    style = asset("report.css") + _own("town.css")
    script = asset("tables.js") + _own("town.js")
    drawn = _Sheet(findings)
    under, layers = drawn.under(), drawn.layers()
    rows = findings.rows
    modes = sorted({row.planned.mode for row in rows if row.planned})
    used = [("lots", sorted({each["mark"] for each in drawn.lots}))]
    used += [(each["name"], sorted({one["mark"] for one in each["features"]})) for each in (*under, *layers)]
    page: str = _template().render(
        name=findings.name, version=findings.version, made_on=made_on, style=style, script=script,
        policy=content_policy(style, script), lead=town_lead(findings), told=town_told(findings),
        legend=[(name, [(legend_mark(symbols()[name][at]), symbols()[name][at].label(findings.units)) for at in marks])
                for name, marks in used],
        layers=[(name, label, on) for name, label, on in (*SHOWN, *UNDER)
                if any(each["name"] == name for each in (*under, *layers))],
        streets=sorted({row.street for row in rows if row.street}),
        modes=[(mode, MODES[mode]) for mode in modes],
        unfinished=any(row.status != "done" for row in rows),
        heads=_heads(findings), tables=_tables(findings),
        cautions=[sentence(each.text, findings.units) for each in findings.cautions],
        warnings=[sentence(each, findings.units) for each in say_all(findings.all_warnings, findings.units)],
        data={
            "size": drawn.size, "lots": drawn.lots, "heads": list(drawn.heads), "links": drawn.links(),
            "under": under, "layers": layers,
            "marks": {name: [_mark(symbol) for symbol in symbols()[name]] for name, _ in used},
            "length": _length(findings),
        },
    )  # fmt: skip
    return page


def _own(name: str) -> str:
    return resources.files("pipelines.deliverables.town").joinpath("assets", name).read_text(encoding="utf-8")


@cache
def _template() -> Any:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, keep_trailing_newline=True,
        finalize=lambda value: shown(value) if isinstance(value, str) and not isinstance(value, Markup) else value,
    )  # fmt: skip
    # what these let through unescaped is made here and in `svg`, never by a user
    environment.filters.update(
        raw=Markup, drawing=Markup, json=embedded_json, short=lambda text: shown(str(text), most=90)
    )
    return environment.from_string(_own("town.html.j2"))


class _Sheet:
    """The town in tenths of a metre east and south of its corner, outlines as steps from point to point."""

    def __init__(self, findings: TownFindings) -> None:
        self.findings = findings
        self.unit = float(findings.crs.axis_info[0].unit_conversion_factor) * TENTHS
        shapes = np.array([row.parcel for row in findings.rows], dtype=object)
        west, south, east, north = shapely.total_bounds(shapes) if shapes.size else (0.0, 0.0, 1.0, 1.0)
        pad = 0.02 * max(east - west, north - south)
        self.west, self.north = west - pad, north + pad
        self.size = [math.ceil((east - west + 2 * pad) * self.unit), math.ceil((north - south + 2 * pad) * self.unit)]
        self.heads: dict[str, int] = {}
        self.lots = [self._lot(row) for row in findings.rows]

    def steps(self, shape: Any, smoothed: float = 0.0) -> list[list[int]]:
        """Every ring, line or point of a shape as steps."""
        if smoothed:
            simple = shapely.simplify(shape, smoothed * TENTHS / self.unit)
            shape = shape if simple.is_empty else simple
        parts = [
            ring
            for part in shapely.get_parts(shape)
            for ring in ([part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part])
        ]
        found = []
        for part in parts:
            points = shapely.get_coordinates(part)
            whole = np.rint((points - [self.west, self.north]) * [self.unit, -self.unit]).astype(np.int64)
            if part.geom_type == "LinearRing":
                whole = whole[:-1]
            steps = np.vstack([whole[:1], np.diff(whole, axis=0)])
            kept = np.ones(len(steps), dtype=np.bool_)
            kept[1:] = steps[1:].any(axis=1)
            found.append(steps[kept].ravel().tolist())
        return found

    def under(self) -> list[dict[str, Any]]:
        """Roads and roofs on the sheet."""
        findings, (wide, high) = self.findings, np.array(self.size) / self.unit
        sheet = shapely.box(self.west, self.north - high, self.west + wide, self.north)
        shapes = {"right_of_way": findings.roads, "roofs": findings.roofs if len(self.lots) <= MANY else None}
        found = []
        for name, _, _ in UNDER:
            table = shapes[name]
            near = [] if table is None else table.geometry[table.intersects(sheet)]
            features = [self._feature(name, shape, {}) for shape in near]
            if features:
                found.append({"name": name, "far": FAR.get(name), "features": features})
        return found

    def layers(self) -> list[dict[str, Any]]:
        """What is drawn over the lots."""
        found = []
        for name, _, _ in SHOWN:
            features = list(self._features(name))
            if features:
                found.append({"name": name, "far": FAR.get(name), "features": features})
        return found

    def links(self) -> list[list[Any]]:
        """Giver, taker and how much."""
        at = {row.lot: number for number, row in enumerate(self.findings.rows)}
        units = self.findings.units
        return [
            [
                at.get(link.from_lot, -1),
                at[link.to_lot],
                f"{EDGES[link.side]}, {format_quantity(link.peak, 'flow', units)}",
                # a lot that this run did not take stands in no row
                *([] if link.from_lot in at else [shown(f"lot {link.from_lot}") if link.from_lot else OTHER]),
            ]
            for record in self.findings.records
            for link in sorted(record.links, key=lambda each: -each.peak)
            if not format_quantity(link.peak, "flow", units).startswith("0 ")
        ]

    def _features(self, name: str) -> Iterator[dict[str, Any]]:
        findings, swales = self.findings, self.findings.swales
        few = len(findings.rows) <= MANY
        if name in ("low_spots", "pipe_runs") and few:
            table = lot_layer(findings, name)
            wanted = table if name == "pipe_runs" else table[_told_spots(table)]
            depth = next((each for each in ("depth_in", "depth_m") if each in table), "")
            factor = unit_value(depth.removeprefix("depth_"))
            for _, row in wanted.iterrows():
                values = {"kind": row.get("kind"), "depth": float(row[depth]) * factor if depth else None}
                yield self._feature(name, row.geometry, values)
        elif name == "run_on_links" and few:
            middles = {row.lot: shapely.point_on_surface(row.parcel) for row in findings.rows}
            for record in findings.records:
                for link in record.links:
                    if link.from_lot in middles:
                        ends = [middles[link.from_lot], link.place, middles[link.to_lot]]
                        yield self._feature(name, shapely.LineString(ends), {})
        elif name == "swales" and swales is not None:
            for each in swales.now.swales:
                yield self._feature(name, each.line, {})
        elif name == "full_places" and swales is not None:
            for place in swales.full:
                if not place.built and place.storm == findings.return_period:
                    yield self._feature(name, place.line, {})
        elif name == "outlets" and swales is not None:
            for each in (swales.built or swales.now).swales:
                for one in each.outlets:
                    yield self._feature(name, one.place, {"tailwater": one.state})

    def _feature(self, name: str, shape: Any, values: dict[str, Any]) -> dict[str, Any]:
        return {"shape": self.steps(shapely.force_2d(shape), SMOOTHED.get(name, 0.0)), "mark": symbol_of(name, values)}

    def _lot(self, row: LotRow) -> dict[str, Any]:
        plan, units = row.planned, self.findings.units
        mark = symbol_of("lots", {"status": row.status, "need": row.need or 0.0} if row.status == "done"
                         else {"status": row.status})  # fmt: skip
        told = {
            "longest": _time(row.longest, units),
            "deepest": _quantity(row.deepest, "depth", units),
            "fall_to_spare": _quantity(row.fall_to_spare, "depth", units),
            "need": "" if row.need is None else f"{row.need:.0f}",
            "cost": "" if plan is None or plan.likely is None else format_quantity(plan.likely, "money", units),
            "mode": "" if plan is None else MODES[plan.mode],
        }
        return {
            "id": shown(row.lot, most=60), "name": shown(row.name or row.lot, most=60), "street": shown(row.street),
            "status": row.status, "message": shown(row.message), "mark": mark,
            "need": None if row.need is None else round(row.need, 1), "why": shown(row.need_why),
            "deepest": _rounded(row.deepest, 3), "longest": _rounded(row.longest, 2),
            "fall_to_spare": _rounded(row.fall_to_spare, 3),
            "mode": plan.mode if plan else "", "cost": _rounded(plan.likely, 0) if plan else None,
            "headline": shown(_first_sentences(sentence(plan.headline, units))) if plan else "",
            "told": told, "facts": [
                [self.heads.setdefault(head, len(self.heads)), shown(text)]
                for head, text in _facts(row, self.findings)
                if text
            ],
            "shape": self.steps(row.parcel, SMOOTHED["lots"]),
        }  # fmt: skip


def _first_sentences(text: str) -> str:
    """What is wrong, where it drains and what it costs; the rest stands in lots.csv."""
    return " ".join(re.split(r"(?<=\.) (?=[A-Z])", text)[:SENTENCES])


def _told_spots(table: pd.DataFrame) -> pd.Series:
    """Low spots on a lot that are more than lidar error."""
    on_lot, doubtful = (table[name].fillna(False).astype(bool) for name in ("on_parcel", "within_lidar_error"))
    return on_lot & ~doubtful


def _facts(row: LotRow, findings: TownFindings) -> Iterator[tuple[str, str]]:
    """A lot's answer, line by line."""
    units, plan = findings.units, row.planned
    if row.status != "done":
        yield "Status", f"{row.status.replace('_', ' ')}, {row.attempts} tries"
        return
    yield "Street", row.street
    yield "Need", "" if row.need is None else f"{row.need:.0f} of 100"
    yield "Why", sentence(row.need_why, units) if row.need_why else ""
    yield "Deepest water", _quantity(row.deepest, "depth", units)
    yield "Stands longest", _time(row.longest, units)
    yield "Shown by", "" if row.found_pct is None else f"{row.found_pct:.0f} % of the grounds that lidar allows"
    yield "Leaves", EDGES.get(row.leaves, "") + (", to a street" if row.frontage else "")
    yield "Fall to spare", _quantity(row.fall_to_spare, "depth", units)
    yield "Run-on ground", _quantity(row.run_on_area, "area", units)
    if plan is not None:
        yield "Drains", MODES[plan.mode]
        for part in ("cause", "fall", "outfall", "cure"):
            yield SHORT_PARTS[part].capitalize(), SHORT_STATES[getattr(plan, part)]
        if plan.likely:
            low, likely, high = (format_quantity(each, "money", units) for each in (plan.low, plan.likely, plan.high))
            yield "Cost", f"{low} to {high}, likely {likely}"
        for line in plan.discharges:
            if line.outfall:
                yield f"To {line.outfall}", f"{MODES[line.mode]}, {format_quantity(line.peak, 'flow', units)}"
    yield "Outlet's water", sentence(row.tailwater, units) if row.tailwater else ""


def _heads(findings: TownFindings) -> list[tuple[str, str, bool]]:
    rows = findings.rows
    heads = [("name", "Lot", False)]
    heads += [("street", "Street", False)] * any(row.street for row in rows)
    heads += [("need", "Need", True), ("longest", "Stands", True), ("deepest", "Deepest", True),
              ("fall_to_spare", "Fall to spare", True)]  # fmt: skip
    if any(row.planned for row in rows):
        heads += [("mode", "Drains", False), ("cost", "Cost, likely", True)]
    return [*heads, ("why", "Why", False), *[("message", "Not finished", False)] * any(row.message for row in rows)]


def _tables(findings: TownFindings) -> list[tuple[str, str, Sequence[str], list[list[str]]]]:
    """Swales, where they are full, and what the improvements of all lots do at the outlets."""
    swales, units = findings.swales, findings.units
    if swales is None:
        return []
    names = {each.id: each.name for each in swales.now.swales}
    found: list[tuple[str, str, Sequence[str], list[list[str]]]]
    found = [("swales", "Swales", ("Swale", "Takes the storm", "First overtops", "Peak at its end",
              *(("Takes it with all improvements", "Peak with all improvements") if swales.built else ()), "Why"),
              list(_swale_rows(swales, findings)))]  # fmt: skip
    full = list(_full_rows(swales, findings, names))
    rises = [
        [each.outlet, names[each.swale], format_quantity(each.rise, "depth", units),
         format_quantity(each.submerged, "time", units), _answer(each.answer), sentence(each.why, units)]
        for each in sorted(swales.rises, key=lambda each: -each.rise)
    ]  # fmt: skip
    if full:
        heads = ("Swale", "Storm", "Case", "Beside", "Above its bank", "Since rain began")
        found.append(("full_places", "Where a swale is full", heads, full))
    if rises and swales.built:
        heads = ("Outlet", "Swale", "Rise", "Submerged", "Takes it", "Why")
        found.append(("outlet_rises", "If every lot builds its improvements", heads, rises))
    return found


def _full_rows(swales: TownSwales, findings: TownFindings, names: Mapping[str, str]) -> Iterator[list[str]]:
    """One row a swale, storm and case: beside which lots it is full, by how much and when."""
    units = findings.units
    cases = sorted({(each.swale, each.storm or 0.0, each.built) for each in swales.full})
    for swale, storm, built in cases:
        places = [each for each in swales.full if (each.swale, each.storm or 0.0, each.built) == (swale, storm, built)]
        lots = dict.fromkeys(each.name or "no lot" for each in places)
        first, last = (min(each.from_time for each in places), max(each.to_time for each in places))
        yield [
            names[swale],
            _years(storm or None, findings),
            "all improvements" if built else "as it is",
            ", ".join(lots),
            format_quantity(max(each.over for each in places), "depth", units),
            f"{format_quantity(first, 'time', units)} to {format_quantity(last, 'time', units)}",
        ]


def _swale_rows(swales: TownSwales, findings: TownFindings) -> Iterator[list[str]]:
    built = {each.id: each for each in swales.built.swales} if swales.built else {}
    units = findings.units
    for each in swales.now.swales:
        if each.answer is None or each.why is None:
            yield [each.name, each.status.replace("_", " "), *([""] * (4 if built else 2)), each.message]
            continue
        row = [each.name, _answer(each.answer),
               "no storm of the table" if each.first_overtops is None else _years(each.first_overtops, findings),
               format_quantity(each.peak or 0.0, "large_flow", units)]  # fmt: skip
        if (then := built.get(each.id)) is not None and then.answer is not None:
            row += [_answer(then.answer), format_quantity(then.peak or 0.0, "large_flow", units)]
        yield [*row, say(each.why, units)]


def _answer(code: str) -> str:
    return CODES.get(code, code)


def _years(storm: float | None, findings: TownFindings) -> str:
    return "design storm" if storm is None else format_quantity(storm, "return_period", findings.units)


def _mark(symbol: Symbol) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": symbol.kind, "colour": symbol.colour, "edge": symbol.edge, "opacity": symbol.opacity,
        "width": round(symbol.width * PX, 2), "dash": [round(part * PX, 2) for part in symbol.dash],
        "shape": symbol.shape,
    }  # fmt: skip
    if symbol.kind == "marker":
        glyph = glyphs()[symbol.shape]
        found["glyph"] = {
            part: [[[round(x, 2), round(y, 2)] for x, y in outline] for outline in getattr(glyph, part)]
            for part in ("face", "line", "solid")
        }
    return found


def _length(findings: TownFindings) -> dict[str, Any]:
    unit, one, _ = unit_of("length", findings.units)
    return {"unit": unit, "one": one}


def _quantity(value: float | None, kind: str, units: Any) -> str:
    return "" if value is None or not math.isfinite(value) else format_quantity(value, kind, units)


def _time(hours: float | None, units: Any) -> str:
    return (
        "" if hours is None else "longer than followed" if math.isinf(hours) else _quantity(hours * HOUR, "time", units)
    )


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None or not math.isfinite(value) or pd.isna(value) else round(float(value), places)
