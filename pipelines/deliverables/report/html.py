"""A report as one page: nothing is fetched, nothing runs but what the page itself carries."""

import base64
import hashlib
import json
import math
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import shapely
from jinja2 import Environment, FunctionLoader, StrictUndefined, pass_context
from markupsafe import Markup

from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.report.blocks import Inline, Number, Report
from pipelines.deliverables.report.figures.ground_picture import cell_runs, heights_text
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.figures.map_svg import WIDTH, legend_mark, map_drawing
from pipelines.deliverables.report.shown_text import shown
from pipelines.deliverables.words.kept_templates import kept_templates
from pipelines.deliverables.words.quantities import unit_of
from terrain.arrays import FloatArray
from terrain.unit_table import Units

SIGNS = {"sure": "✓", "cannot_tell": "?", "no": "✗", "not_needed": "–"}
SAID = {
    "sure": "Sure, as far as lidar can be", "cannot_tell": "Cannot be judged from this lidar",
    "no": "No: it does not work, as far as is known",
}
ASSETS = "pipelines.deliverables.report"
LONGEST_NAME = 90
WATER = ("water_depth", "water_hours")
"""Ways to colour standing water, as the table of symbols calls them."""


def report_html(report: Report, picture: MapPicture | None, *, made_on: str = "", view_name: str = "Lot") -> str:
    """A report as a page."""
    style, script = asset("report.css"), asset("tables.js") + (asset("map.js") if picture is not None else "")
    policy = content_policy(style, script)
    shape = None if picture is None else _map(picture, report, view_name)
    page: str = _template().render(
        report=report, map=shape, made_on=made_on, style=style, script=script, policy=policy, signs=SIGNS, said=SAID
    )
    return page


def asset(name: str) -> str:
    """Text of a file that the report carries."""
    return resources.files(ASSETS).joinpath("assets", name).read_text(encoding="utf-8")


@cache
def _template() -> Any:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=False, keep_trailing_newline=True, finalize=_fit,
        loader=FunctionLoader(asset), optimized=False, bytecode_cache=kept_templates(),
    )  # fmt: skip
    # what these let through unescaped is made here and in `svg`, never by a user
    environment.filters.update(
        raw=Markup, drawing=Markup, json=embedded_json, short=lambda text: shown(str(text), most=LONGEST_NAME)
    )
    return environment.get_template("report.html.j2")


@pass_context
def _fit(_: Any, value: Any) -> Any:
    return shown(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def embedded_json(value: Any) -> Markup:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def content_policy(style: str, *scripts: str, connect: str = "") -> str:
    """Nothing styles or runs but these texts, and nothing is fetched but from where it may connect to."""
    runs = " ".join(map(_hash, scripts))
    policy = f"default-src 'none'; img-src data:; style-src {_hash(style)}; script-src {runs}; base-uri 'none'; "
    return policy + "form-action 'none'" + (f"; connect-src {connect}" if connect else "")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _map(picture: MapPicture, report: Report, view_name: str) -> dict[str, Any]:
    listed: list[dict[str, Any]] = [
        {"name": "contours", "title": "Contours", "on": True, "features": [],
         "marks": [(legend_mark(symbols()["contours"][0]), "every fifth is heavier")]},
        {"name": "ground", "title": "Shaded ground", "on": True, "features": [], "marks": []},
    ]  # fmt: skip
    if picture.under is not None:
        listed.append({"name": "picture", "title": "Picture", "on": True, "features": [], "marks": []})
    at = len(listed)
    for layer in reversed([each for each in picture.layers if each.name not in WATER]):
        used = sorted({feature.symbol for feature in layer.features})
        drawn = [symbols()[layer.name][each] for each in used]
        marks = [(legend_mark(symbol), symbol.label(picture.units)) for symbol in drawn]
        features = [(each.id, each.title) for each in layer.features if each.rows]
        listed.insert(len(listed) - at, {"name": layer.name, "title": layer.title, "on": layer.on,
                                        "features": features, "marks": marks})  # fmt: skip
    design = next((at for at, storm in enumerate(picture.storms) if storm.design), 0)
    rain_ends = picture.storms[design].rain_ends if picture.storms else 0.0
    return {
        "svg": map_drawing(picture, moving=True),
        "layers": listed,
        "storms": len(picture.storms),
        "improved": picture.improved,
        "design": design,
        "hours": len(picture.hours),
        "hour": next((at for at, hour in enumerate(picture.hours) if hour >= rain_ends), 0),
        "water": [(name, [(legend_mark(symbol), symbol.label(picture.units)) for symbol in symbols()[name]])
                  for name in WATER],
        "view_name": view_name,
        "data": _data(picture),
    }


def _data(picture: MapPicture) -> dict[str, Any]:
    west, south, east, north = picture.view
    grid = picture.ground.grid
    left, _, _, top = grid.bounds
    frame = grid.frame
    heights = heights_text(picture.ground) | {
        "west": left, "north": top, "width": grid.cell_width, "height": grid.cell_height,
    }  # fmt: skip
    beds = [
        {"id": bed.id, "title": shown(bed.title, most=40), "bottom": bed.bottom,
         "runs": cell_runs(bed.cells, picture.ground, picture.columns)}
        for bed in picture.beds
    ]  # fmt: skip
    return {
        "west": west, "north": north, "scale": WIDTH / (east - west), "view": [west, south, east, north],
        "improved": picture.improved, "whole": list(grid.bounds),
        "frame": [frame.x_scale, frame.y_scale], "ground": heights,
        "length": _kind("length", picture.units), "level": _kind("level", picture.units),
        "depth": _kind("depth", picture.units), "features": _features(picture), "beds": beds,
        "hours": picture.hours,
        "water": {name: [[symbol.conditions[0].high if math.isfinite(symbol.conditions[0].high) else None,
                          symbol.colour, symbol.opacity] for symbol in symbols()[name]] for name in WATER},
        "storms": [
            {"name": shown(storm.name, most=60), "design": storm.design, "rain_ends": storm.rain_ends,
             "ponds": {pond.id: {"deepest": pond.deepest, "course": [*map(_millimetres, (pond.before, pond.after))]}
                       for pond in storm.ponds}}
            for storm in picture.storms
        ],
    }  # fmt: skip


def _millimetres(depths: FloatArray) -> list[int]:
    return [int(each) for each in np.rint(1000.0 * depths)]


def _features(picture: MapPicture) -> dict[str, Any]:
    west, _, _, north = picture.view
    found: dict[str, Any] = {}
    for layer in picture.layers:
        for feature in layer.features:
            if not feature.rows:
                continue
            point = shapely.point_on_surface(feature.shape)
            found[feature.id] = {
                "layer": layer.name,
                "title": shown(feature.title, most=60),
                "at": [round(point.x - west, 3), round(north - point.y, 3)],
                "rows": [[head, *_told(value)] for head, value in feature.rows],
            }
    return found


def _told(value: Inline) -> list[Any]:
    if isinstance(value, Number):
        return [value.text, value.source, value.value]
    return [shown(value), "", None]


def _kind(kind: str, units: Units) -> dict[str, Any]:
    """Unit, SI units in one and decimals of a kind of quantity, for the page's own numbers."""
    unit, one, decimals = unit_of(kind, units)
    return {"unit": unit, "one": one, "decimals": decimals}
