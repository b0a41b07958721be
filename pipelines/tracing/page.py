"""The page to trace on: one file that needs no network, with the lot's ground and water under what is drawn."""

import base64
import hashlib
from collections.abc import Iterable, Iterator
from functools import cache
from importlib import resources
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from pipelines.deliverables.files.symbols import symbol_of, symbols
from pipelines.deliverables.report.figures.ground_picture import (
    GroundPicture,
    contour_lines,
    ground_picture,
    heights_text,
    photo_jpeg,
    shaded_png,
)
from pipelines.deliverables.report.html import asset, content_policy, embedded_json
from pipelines.deliverables.report.shown_text import shown
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.quantities import format_quantity, unit_of
from pipelines.inputs.traced.traced_file import read_traced
from pipelines.inputs.under_picture import UnderPicture
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from pipelines.tracing.globe_fit import POWERS, GlobeFit, fit_globe
from pipelines.tracing.site_features import site_answers, site_features
from pipelines.tracing.things import look, pipes_offered, questions_shown, things_shown
from terrain.flow.cells_to_polygons import cells_polygon
from terrain.unit_table import Units

Bounds = tuple[float, float, float, float]
MOST_LABELLED = 4
"""Low spots whose depth is written on the map. [-]"""
SCRIPTS = ("places.js", "drawing.js", "panel.js")


def trace_page(path: Path, *, live: bool = False) -> str:
    """The page to trace one lot on.

    Parameters
    ----------
    path : Path
        The site file.
    live : bool
        For the live server: what is drawn goes there, and the answer stands beside the map.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    LotshedError
        If anything that the site names cannot be used, or the page's transform would be off by more than 1 cm.
    """
    stages = LotStages(open_lot(path, grounds=1))
    opened, units = stages.lot.opened, unit_system(stages.lot.opened.site.units)
    grid, reach = stages.situation.grid, opened.site.rules["surroundings"].likely
    west, south, east, north = opened.layers.parcel.bounds
    wanted = (west - reach, south - reach, east + reach, north + reach)
    ground = ground_picture(stages.drainage.ground.elevation, grid, wanted)
    fit = fit_globe(grid.frame, ground.grid.bounds)
    data = _data(stages, ground, units, fit)
    data["live"], data["corner"], data["pipes"] = live, ground.grid.bounds[:2], pipes_offered()
    style, script = page_style(), page_script(live=live)
    policy = content_policy(style, script, connect="'self'" if live else "")
    page: str = _template("trace.html.j2").render(
        name=shown(opened.site.name, most=90), data=data, style=style, script=script, live=live, policy=policy,
        version=version("lotshed"), groups=_groups(data["things"]), site_file=shown(path.name, most=60),
        off=f"{max(1000.0 * fit.off, 0.1):.1f} mm",
    )
    return page


def page_style() -> str:
    """How the page is laid out."""
    return asset("report.css") + _asset("trace.css")


@cache
def page_script(*, live: bool) -> str:
    """All that the page runs."""
    own = (*SCRIPTS, "live.js") if live else SCRIPTS
    return _asset("openlayers/openlayers.js") + "\n" + "".join(map(_asset, own))


def shell() -> str:
    """What the live server shows to anyone: it fetches the page with the token."""
    page: str = _template("shell.html.j2").render(script=shell_script())
    return page


@cache
def shell_script() -> str:
    """All that the shell runs."""
    return _asset("shell.js")


def _data(stages: LotStages, ground: GroundPicture, units: Units, fit: GlobeFit) -> dict[str, Any]:
    opened = stages.lot.opened
    site, bounds = opened.site, ground.grid.bounds
    features, asked = site_features(opened), _sides(stages, bounds)
    parcel = _rings(opened.layers.parcel, bounds)
    told = {
        "name": site.name, "units": units, "extent": [0.0, 0.0, bounds[2] - bounds[0], bounds[3] - bounds[1]],
        "powers": POWERS, "to_globe": fit.to_globe, "to_plane": fit.to_plane, "parcel": parcel,
        "ground": heights_text(ground) | {"width": ground.grid.cell_width, "height": ground.grid.cell_height},
        "shade": _address("image/png", shaded_png(ground)),
        "picture": None if opened.picture is None else _photo(opened.picture, bounds),
        "under": [*_contours(ground, units, opened.layers.parcel.bounds), *_water(stages, bounds)],
        "looks": {name: look(symbols()[name][0]) for name in ("contours", "parcel", "frontage")},
        "things": things_shown(units), "sides": asked,
        "questions": [each for each in questions_shown(units) if asked or each["form"] != "sides"],
        "features": features, "answers": site_answers(site),
        # a file that the site has already is written over whole, so all that it stands for is kept
        "replaces": [] if site.traced is None else list(read_traced(site.traced.file).replaces),
        "kinds": {name: dict(zip(("unit", "one", "decimals"), unit_of(name, units), strict=True))
                  for name in ("length", "area", "level")},
    }  # fmt: skip
    # one lot's drawing is never taken for another's in the browser's storage
    told["key"] = "lotshed-trace-" + hashlib.sha256(f"{site.name} {parcel}".encode()).hexdigest()[:16]
    return told


def _sides(stages: LotStages, bounds: Bounds) -> list[dict[str, Any]]:
    """Sides of the lot that may face the street, where neither its land nor the parcels say which does."""
    opened = stages.lot.opened
    frontage = opened.layers.frontage
    if opened.site.right_of_way is not None or frontage.state == "found":
        return []
    return [{"side": edge.side, "at": _moved(edge.line.coords, *bounds[:2])} for edge in frontage.free]


def _groups(things: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """Things by their group, in the order of the table."""
    found: dict[str, list[dict[str, Any]]] = {}
    for thing in things:
        found.setdefault(thing["group"], []).append(thing)
    return found


def _contours(ground: GroundPicture, units: Units, view: Bounds) -> Iterator[dict[str, Any]]:
    interval, lines = contour_lines(ground, units, view)
    west, south = ground.grid.bounds[:2]
    for level, parts in lines:
        fifth = round(level / interval) % 5 == 0
        for part in parts:
            line = shapely.simplify(shapely.LineString(part), 0.05)
            yield {
                "layer": "contours", "heavy": fifth, "words": format_quantity(level, "level", units) if fifth else "",
                "lines": [_moved(line.coords, west, south)],
            }  # fmt: skip


def _water(stages: LotStages, bounds: Bounds) -> Iterator[dict[str, Any]]:
    """Low spots and lines of flow as found, drawn as the report draws them."""
    situation, units = stages.situation, unit_system(stages.lot.opened.site.units)
    window, on_parcel = shapely.box(*bounds), situation.on_parcel.ravel()
    outer = [spot for spot in situation.spots if spot.contained_in is None]
    own = sorted((spot for spot in outer if on_parcel[spot.cells].any()), key=lambda spot: -spot.volume)
    told = {spot.id for spot in own[:MOST_LABELLED]}
    for spot in outer:
        shape = cells_polygon(spot.cells, situation.grid).intersection(window)
        symbol = symbols()["low_spots"][symbol_of("low_spots", {"depth": spot.depth})]
        words = f"low, {format_quantity(spot.depth, 'depth', units)} deep" if spot.id in told else ""
        if shape.area > 0.0:
            yield {"layer": "low_spots", "look": look(symbol), "words": words, "rings": _rings(shape, bounds)}
    for path in stages.flow_paths:
        values = {"when_full": path.when_full, "run_on": path.run_on, "contributing_area": path.contributing_area}
        symbol = symbols()["flow_paths"][symbol_of("flow_paths", values)]
        parts = [part for part in shapely.get_parts(path.line.intersection(window)) if part.length > 0.0]
        if parts:
            lines = [_moved(shapely.simplify(part, 0.1).coords, *bounds[:2]) for part in parts]
            yield {"layer": "flow_paths", "look": look(symbol), "words": "", "lines": lines}


def _rings(shape: Any, bounds: Bounds) -> list[list[list[list[float]]]]:
    """Polygons as rings of the page's metres, the largest first."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return [
        [_moved(ring.coords, bounds[0], bounds[1]) for ring in (part.exterior, *part.interiors)]
        for part in sorted(parts, key=lambda part: -part.area)
    ]  # fmt: skip


def _moved(points: Iterable[Any], west: float, south: float) -> list[list[float]]:
    moved: list[list[float]] = np.round([(x - west, y - south) for x, y, *_ in points], 3).tolist()
    return moved


def _photo(picture: UnderPicture, bounds: Bounds) -> dict[str, Any]:
    west, south, east, north = picture.bounds
    extent = [west - bounds[0], south - bounds[1], east - bounds[0], north - bounds[1]]
    return {"image": _address("image/jpeg", photo_jpeg(picture.pixels)), "extent": extent}


def _address(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def _asset(name: str) -> str:
    return resources.files("pipelines.tracing").joinpath("assets", *name.split("/")).read_text(encoding="utf-8")


@cache
def _template(name: str) -> Any:
    environment = Environment(autoescape=True, undefined=StrictUndefined, keep_trailing_newline=True)
    # what these let through unescaped is made here, never by a user
    environment.filters.update(raw=Markup, drawing=Markup, json=embedded_json)
    return environment.from_string(_asset(name))
