"""What can be drawn on the page and what it asks, from the table beside."""

import base64
import tomllib
from functools import cache
from importlib import resources
from typing import Any

from pipelines.deliverables.files.symbols import Symbol, symbol_of, symbols
from pipelines.deliverables.report.figures.map_svg import PX, legend_mark, marker_picture
from pipelines.deliverables.words.quantities import unit_of
from pipelines.hydraulics.pipe_catalogue import pipe_catalogue
from terrain.unit_table import INCH, Units

LEAST_PIPE = 2.99 * INCH
"""No gravity line is smaller: common practice, no source. [m]"""


@cache
def _table() -> dict[str, Any]:
    text = resources.files("pipelines.tracing").joinpath("things.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def things() -> list[dict[str, Any]]:
    """Things in the order in which the page offers them, as the table says them."""
    listed: list[dict[str, Any]] = _table()["thing"]
    return listed


def things_shown(units: Units) -> list[dict[str, Any]]:
    """Things with their looks, and their fields in a unit system, for the page."""
    return [
        {
            **thing, "set": thing.get("set", {}), "field": [_field(each, units) for each in thing.get("field", ())],
            "look": look(symbol_of_thing(thing)), "looks": _looks(thing),
        }
        for thing in things()
    ]  # fmt: skip


def questions_shown(units: Units) -> list[dict[str, Any]]:
    """What the page asks beside the map."""
    return [_field(each, units) for each in _table()["question"]]


def pipes_offered() -> dict[str, list[str]]:
    """Solid pipes that a gravity line may be asked to be, by standard."""
    found: dict[str, list[str]] = {}
    for pipe in pipe_catalogue():
        if pipe.interior != "perforated" and pipe.nominal >= LEAST_PIPE:
            found.setdefault(pipe.standard, []).append(pipe.key)
    return found


def _looks(thing: dict[str, Any]) -> dict[str, Any]:
    """Looks by geometry type, since a file may bring a thing in another shape than the page draws it in."""
    own = look(symbol_of_thing(thing))
    area, line = look(symbols()["keep_out"][0]), look(symbols()["swales"][0])
    point = look(symbols()["keep_out_marks"][symbol_of("keep_out_marks", {"class": thing.get("class", "other")})])
    return {
        "Point": own if own["kind"] == "marker" else point,
        "LineString": line if thing["table"] == "outfalls" else area if own["kind"] == "marker" else own,
        "Polygon": area if own["kind"] == "marker" else own,
    }  # fmt: skip


def symbol_of_thing(thing: dict[str, Any]) -> Symbol:
    """How a thing is drawn: as the report draws it."""
    layer = thing["symbol"]
    return symbols()[layer][symbol_of(layer, {"class": thing.get("class", "other")})]


def look(symbol: Symbol) -> dict[str, Any]:
    """A symbol as the page's map takes it: widths in pixels, a marker as a picture."""
    found: dict[str, Any] = {
        "kind": symbol.kind, "colour": symbol.colour, "opacity": symbol.opacity, "edge": symbol.edge or symbol.colour,
        "width": round(symbol.width * PX, 2), "dash": [round(part * PX, 1) for part in symbol.dash],
        "mark": str(legend_mark(symbol)),
    }  # fmt: skip
    if symbol.kind == "marker":
        svg = marker_picture(symbol).encode()
        found["picture"] = "data:image/svg+xml;base64," + base64.b64encode(svg).decode("ascii")
    return found


def _field(field: dict[str, Any], units: Units) -> dict[str, Any]:
    if field["form"] != "length":
        return {**field, "column": field["name"]}
    unit, one, decimals = unit_of(field["kind"], units)
    return {**field, "column": f"{field['name']}_m", "unit": unit, "one": one, "decimals": decimals}
