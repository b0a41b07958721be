"""The map drawn as SVG: the same drawing for a page, where it can be moved, and for paper, where it stands still."""

import base64
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from shapely import Geometry

from pipelines.deliverables.files.glyphs import glyph_data, glyphs
from pipelines.deliverables.files.styles import INSIDE
from pipelines.deliverables.files.symbols import Symbol, symbols
from pipelines.deliverables.report.figures.ground_picture import Bounds, contour_lines, photo_jpeg, shaded_png
from pipelines.deliverables.report.figures.map_labels import (
    SMALL,
    Label,
    ToPixels,
    map_labels,
    place_labels,
    roofs_seen,
    symbol_boxes,
)
from pipelines.deliverables.report.figures.map_picture import MapFeature, MapLayer, MapPicture
from pipelines.deliverables.report.figures.svg import INK, Drawing, path_data
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.quantities import unit_of
from pipelines.inputs.under_picture import UnderPicture
from terrain.arrays import FloatArray

PX = 96.0 / 25.4
"""Pixels in a millimetre on paper."""
WIDTH = 760.0
HATCH = 7.0
LETTERS = 11.0
EARTH = "#5c3c00"
FEW_CONTOURS = 12
"""Of more, only every fifth says its level."""


class MapSheet(ToPixels):
    """Places on a map's drawing: metres to pixels, north up. [px]"""

    def at(self, coordinates: Iterable[Iterable[float]]) -> list[tuple[float, float]]:
        """Pixels of eastings and northings."""
        return [self(x, y) for x, y, *_ in coordinates]


def map_drawing(picture: MapPicture, *, moving: bool) -> str:
    """Draw a map."""
    west, south, east, north = picture.view
    sheet = MapSheet(west, north, WIDTH / (east - west))
    height = WIDTH * (north - south) / (east - west)
    drawing = Drawing(WIDTH, height)
    drawing.root.set("class", "map")
    if not moving:
        drawing.root.set("width", f"{WIDTH:g}")
        drawing.root.set("height", f"{height:g}")
    _patterns(drawing)
    levels = _ground(drawing, sheet, picture)
    # a page paints water by the hour
    for layer in picture.layers if not moving else [each for each in picture.layers if each.name != "water_depth"]:
        drawing.open("g", id=f"layer-{layer.name}", class_="layer", data_layer=layer.name,
                     display=None if layer.on else "none")  # fmt: skip
        for feature in layer.features:
            _feature(drawing, sheet, layer, feature, moving=moving)
        drawing.close()
        if layer.name == "low_spots" and moving:
            drawing.add("image", id="water", width=0.0, height=0.0, preserveAspectRatio="none", pointer_events="none")
    _labels(drawing, sheet, picture, levels, height, moving=moving)
    if not moving:
        _scale_bar(drawing, sheet, picture, height)
        _north(drawing, WIDTH - 26.0, 40.0)
    return drawing.markup()


def draw_layers(drawing: Drawing, sheet: MapSheet, layers: Iterable[MapLayer]) -> None:
    """Draw layers that stand still, with an arrow along each pipe."""
    _patterns(drawing)
    for layer in layers:
        for feature in layer.features:
            _feature(drawing, sheet, layer, feature, moving=False)
        for feature in layer.features if layer.name == "pipe_runs" else ():
            symbol = symbols()[layer.name][feature.symbol]
            for x, y, turn in _arrows(sheet, feature.shape):
                drawing.add("path", d=_arrow(symbol), fill=symbol.colour, stroke="#ffffff", stroke_width=0.8,
                            transform=f"translate({x:.2f} {y:.2f}) rotate({turn:.0f})")  # fmt: skip


def draw_north(drawing: Drawing, x: float, y: float) -> None:
    """An arrow to the north. [px]"""
    _north(drawing, x, y)


def legend_mark(symbol: Symbol) -> str:
    """A small drawing of a symbol for the legend."""
    drawing = Drawing(34.0, 18.0)
    drawing.root.set("class", "mark")
    drawing.root.set("aria-hidden", "true")
    if symbol.kind == "fill":
        drawing.add("rect", x=2.0, y=2.0, width=30.0, height=14.0, **_style(symbol))
        if symbol.shape:
            _hatched(drawing, symbol, 30.0, 14.0, (2.0, 2.0))
    elif symbol.kind == "line":
        _line(drawing, "M2 9L32 9", symbol)
        if symbol.shape in ("arrow", "barrel"):
            drawing.add("path", d=_arrow(symbol), fill=symbol.colour, transform="translate(19 9)")
    else:
        drawing.open("g", transform="translate(17 9)")
        marker(drawing, symbol)
        drawing.close()
    return drawing.markup()


def marker_picture(symbol: Symbol) -> str:
    """A point symbol alone, as an SVG file of its own size."""
    side = symbol.width * PX + 4.0
    drawing = Drawing(side, side)
    drawing.root.set("width", f"{side:g}")
    drawing.root.set("height", f"{side:g}")
    drawing.open("g", transform=f"translate({side / 2.0:g} {side / 2.0:g})")
    marker(drawing, symbol)
    drawing.close()
    return drawing.markup()


def _hatched(drawing: Drawing, symbol: Symbol, wide: float, high: float, at: tuple[float, float] = (0.0, 0.0)) -> None:
    """Lines of a hatch over a rectangle."""
    x, y = at
    across = [f"M{x:g} {y + row:g}h{wide:g}" for row in np.arange(0.5 * HATCH, high, HATCH)]
    down = [f"M{x + column:g} {y:g}v{high:g}" for column in np.arange(0.5 * HATCH, wide, HATCH)]
    columns: list[float] = np.arange(0.0, wide, HATCH).tolist()
    sides = [(column, min(high, wide - column)) for column in columns]
    rise = [f"M{x + column:g} {y + high:g}l{side:g} {-side:g}" for column, side in sides]
    fall = [f"M{x + column:g} {y:g}l{side:g} {side:g}" for column, side in sides]
    lines = {"rafters": rise, "pavers": across + down, "no_entry": rise + fall, "furrows": across}[symbol.shape]
    drawing.add("path", d="".join(lines), stroke=symbol.edge, stroke_width=0.6, fill="none")


def marker(drawing: Drawing, symbol: Symbol) -> None:
    """A point symbol about the origin."""
    glyph, reach = glyphs()[symbol.shape], symbol.width * PX / 2.0
    drawing.open("g", class_="symbol")
    drawing.add("path", d=glyph_data(glyph.face, reach, closed=True), fill=symbol.colour)
    drawing.add("path", d=glyph_data(glyph.line, reach, closed=False), fill="none", stroke=symbol.edge,
                stroke_width=1.4, stroke_linejoin="round")  # fmt: skip
    if glyph.solid:
        drawing.add("path", d=glyph_data(glyph.solid, reach, closed=True), fill=symbol.edge)
    drawing.close()


def _line(drawing: Drawing, d: str, symbol: Symbol) -> None:
    drawing.add("path", d=d, vector_effect="non-scaling-stroke", **_style(symbol))
    if symbol.shape == "barrel":
        drawing.add("path", d=d, vector_effect="non-scaling-stroke", fill="none", stroke=symbol.edge,
                    stroke_width=INSIDE * symbol.width * PX, stroke_dasharray=_dash(symbol))  # fmt: skip


def _patterns(drawing: Drawing) -> None:
    drawing.open("defs")
    for name, listed in symbols().items():
        for position, symbol in enumerate(listed):
            if symbol.kind != "fill" or not symbol.shape:
                continue
            drawing.open("pattern", id=f"hatch-{name}-{position}", width=HATCH, height=HATCH,
                         patternUnits="userSpaceOnUse", class_="hatch")  # fmt: skip
            drawing.add("rect", width=HATCH, height=HATCH, fill=symbol.colour, fill_opacity=symbol.opacity)
            _hatched(drawing, symbol, HATCH, HATCH)
            drawing.close()
    drawing.close()


def _ground(drawing: Drawing, sheet: MapSheet, picture: MapPicture) -> list[Label]:
    """Draw the ground and its contours; give the contours' levels."""
    ground = picture.ground
    west, south, east, north = ground.grid.bounds
    (x, y), (right, bottom) = sheet.at([(west, north), (east, south)])
    shade = base64.b64encode(shaded_png(ground)).decode("ascii")
    drawing.open("g", id="layer-ground", class_="layer", data_layer="ground")
    drawing.add("image", x=x, y=y, width=right - x, height=bottom - y, href=f"data:image/png;base64,{shade}",
                preserveAspectRatio="none")  # fmt: skip
    drawing.close()
    if picture.under is not None:
        _photo(drawing, sheet, picture.under)
    interval, lines = contour_lines(ground, picture.units, picture.view)
    symbol = symbols()["contours"][0]
    drawing.open("g", id="layer-contours", class_="layer", data_layer="contours", pointer_events="none")
    for level, parts in lines:
        index = round(level / interval) % 5 == 0
        style = _style(symbol) | {"stroke_width": symbol.width * PX * (2.0 if index else 1.0)}
        d = "".join(path_data(sheet.at(shapely.get_coordinates(_thinner(part)))) for part in parts)
        drawing.add("path", d=d, vector_effect="non-scaling-stroke", **style)
    drawing.close()
    return [
        Label("contours", number(level, "level", picture.units).bare.rstrip("0").rstrip("."),
              tuple(sheet.at(_spread(max(parts, key=len)))), 0.0, float("inf"), True, True, True)
        for level, parts in lines
        if len(lines) <= FEW_CONTOURS or round(level / interval) % 5 == 0
    ]  # fmt: skip


def _photo(drawing: Drawing, sheet: MapSheet, under: UnderPicture) -> None:
    west, south, east, north = under.bounds
    (x, y), (right, bottom) = sheet.at([(west, north), (east, south)])
    shown = base64.b64encode(photo_jpeg(under.pixels)).decode("ascii")
    drawing.open("g", id="layer-picture", class_="layer", data_layer="picture")
    drawing.add("image", x=x, y=y, width=right - x, height=bottom - y, href=f"data:image/jpeg;base64,{shown}",
                preserveAspectRatio="none")  # fmt: skip
    drawing.close()


def _spread(part: FloatArray) -> list[list[float]]:
    """Places along a contour where its level may be written."""
    rows: list[list[float]] = part[(np.array([0.5, 0.3, 0.7, 0.15, 0.85]) * (len(part) - 1)).astype(int)].tolist()
    return rows


def _thinner(part: Iterable[Iterable[float]]) -> Geometry:
    return shapely.simplify(shapely.LineString(part), 0.05)


def _feature(drawing: Drawing, sheet: MapSheet, layer: MapLayer, feature: MapFeature, *, moving: bool) -> None:
    symbol = symbols()[layer.name][feature.symbol]
    tapped = bool(feature.rows) and moving
    drawing.open("g", class_="feature" if tapped else None, data_id=feature.id if tapped else None,
                 pointer_events=None if tapped else "none")  # fmt: skip
    if symbol.kind == "marker":
        for x, y in sheet.at(shapely.get_coordinates(feature.shape)):
            drawing.open("g", class_="still", transform=_placed(x, y))
            right, below = (PX * part for part in symbol.aside)
            if any(symbol.aside):
                drawing.line([(0.0, 0.0), (right, below)], colour=symbol.edge, width=1.2)
                drawing.add("circle", r=1.8, fill=symbol.edge)
            if tapped:
                drawing.add("circle", cx=right, cy=below, r=15.0, fill="#000000", fill_opacity=0.0)
            drawing.open("g", transform=_placed(right, below))
            marker(drawing, symbol)
            drawing.close()
            drawing.close()
    else:
        d = _shape_data(sheet, feature.shape)
        if tapped and symbol.kind == "line":
            drawing.add("path", d=d, fill="none", stroke="#000000", stroke_opacity=0.0, stroke_width=16.0,
                        vector_effect="non-scaling-stroke", pointer_events="stroke")  # fmt: skip
        if symbol.kind == "line":
            _line(drawing, d, symbol)
        else:
            hatch = {"fill": f"url(#hatch-{layer.name}-{feature.symbol})", "fill_opacity": 1.0} if symbol.shape else {}
            drawing.add("path", d=d, vector_effect="non-scaling-stroke", **(_style(symbol) | hatch))
        if symbol.shape in ("arrow", "barrel"):
            for x, y, turn in _arrows(sheet, feature.shape):
                drawing.open("g", class_="still", transform=_placed(x, y))
                drawing.add("path", d=_arrow(symbol), fill=symbol.colour, transform=f"rotate({turn:.0f})")
                drawing.close()
    drawing.close()


def _labels(
    drawing: Drawing, sheet: MapSheet, picture: MapPicture, levels: Sequence[Label], height: float, *, moving: bool
) -> None:
    """Names and numbers: on paper those that find room, on a page all, for the page to place."""
    seen_first = [layer for layer in picture.layers if layer.on]
    drawing.open("g", class_="labels", pointer_events="none")
    if moving:
        for label in (*map_labels(picture.layers, sheet), *levels):
            drawing.open("g", class_="still label", data_for=label.layer, visibility="hidden",
                         data_at=";".join(f"{x:.1f} {y:.1f}" for x, y in label.at), data_reach=label.reach,
                         data_long=label.long if math.isfinite(label.long) else None,
                         data_inside="" if label.inside else None, data_once="" if label.once else None,
                         data_small="" if label.small else None)  # fmt: skip
            _write(drawing, label, 0.0, 0.0)
            drawing.close()
    else:
        taken, roofs = symbol_boxes(seen_first, sheet), roofs_seen(seen_first, sheet)
        for label, left, top in place_labels((*map_labels(seen_first, sheet), *levels), taken, roofs, WIDTH, height):
            _write(drawing, label, left, top + 0.78 * label.size[1])
    drawing.close()


def _write(drawing: Drawing, label: Label, x: float, y: float) -> None:
    drawing.text(x, y, label.text, size=LETTERS * (SMALL if label.small else 1.0), halo=True,
                 weight=None if label.small else "bold", fill=INK if label.layer != "contours" else EARTH)  # fmt: skip


def _placed(x: float, y: float) -> str:
    return f"translate({x:.2f} {y:.2f})"


def _shape_data(sheet: MapSheet, shape: Geometry) -> str:
    parts = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            rings = [part.exterior, *part.interiors]
            parts += [path_data(sheet.at(ring.coords)) + "Z" for ring in rings]
        elif part.geom_type.endswith("String"):
            parts.append(path_data(sheet.at(part.coords)))
    return "".join(parts)


def _arrows(sheet: MapSheet, line: Any) -> Iterator[tuple[float, float, float]]:
    """Places of arrow heads along a line of flow: its middle, and every so often where it is long."""
    length = float(line.length)
    count = max(1, int(length * sheet.scale / 120.0))
    for number_ in range(count):
        at = (number_ + 0.5) / count * length
        (x0, y0), (x1, y1) = sheet.at(
            shapely.get_coordinates([shapely.line_interpolate_point(line, max(at - 0.6, 0.0)),
                                     shapely.line_interpolate_point(line, min(at + 0.6, length))])
        )  # fmt: skip
        yield (x0 + x1) / 2.0, (y0 + y1) / 2.0, math.degrees(math.atan2(y1 - y0, x1 - x0))


def _style(symbol: Symbol) -> dict[str, object]:
    if symbol.kind == "line":
        return {"fill": "none", "stroke": symbol.colour, "stroke_opacity": symbol.opacity,
                "stroke_width": symbol.width * PX, "stroke_linejoin": "round",
                "stroke_dasharray": None if symbol.shape == "barrel" else _dash(symbol)}  # fmt: skip
    return {"fill": symbol.colour, "fill_opacity": symbol.opacity, "fill_rule": "evenodd", "stroke": symbol.edge,
            "stroke_width": symbol.width * PX, "stroke_dasharray": _dash(symbol)}  # fmt: skip


def _dash(symbol: Symbol) -> str | None:
    return " ".join(f"{part * PX:.1f}" for part in symbol.dash) or None


def _arrow(symbol: Symbol) -> str:
    reach = 2.6 + 0.9 * symbol.width * PX
    return f"M{reach:.2f} 0L{-reach:.2f} {-0.8 * reach:.2f}L{-0.5 * reach:.2f} 0L{-reach:.2f} {0.8 * reach:.2f}Z"


def scale_step(picture: MapPicture, share: float = 0.25) -> tuple[float, str]:
    """A round length for a scale bar. [m]"""
    unit, one, _ = unit_of("length", picture.units)
    room = share * (picture.view[2] - picture.view[0]) / one
    power = 10.0 ** math.floor(math.log10(room))
    length = max(factor * power for factor in (1.0, 2.0, 5.0) if factor * power <= room)
    return length * one, f"{length:g} {unit}"


def _scale_bar(drawing: Drawing, sheet: MapSheet, picture: MapPicture, height: float) -> None:
    length, words = scale_step(picture)
    wide = length * sheet.scale
    drawing.add("rect", x=10.0, y=height - 38.0, width=wide + 20.0, height=30.0, fill="#ffffff", fill_opacity=0.85)
    drawing.line([(20.0, height - 22.0), (20.0, height - 15.0), (20.0 + wide, height - 15.0),
                  (20.0 + wide, height - 22.0)], width=2.0)  # fmt: skip
    drawing.text(20.0 + wide / 2.0, height - 22.0, words, size=11.0, anchor="middle", weight="bold")


def _north(drawing: Drawing, x: float, y: float) -> None:
    drawing.add("circle", cx=x, cy=y - 8.0, r=22.0, fill="#ffffff", fill_opacity=0.85)
    needle = path_data([(x, y - 26.0), (x + 7.0, y), (x, y - 5.0), (x - 7.0, y)])
    drawing.add("path", d=needle + "Z", fill="#1a1a1a")
    drawing.text(x, y + 11.0, "N", size=11.0, anchor="middle", weight="bold")


def seen(bounds: Bounds, margin: float, shape: float) -> Bounds:
    """A rectangle widened by a margin and to a shape."""
    west, south, east, north = bounds
    wide, high = max(east - west + 2.0 * margin, 1.0), max(north - south + 2.0 * margin, 1.0)
    wide, high = max(wide, high * shape), max(high, wide / shape)
    x, y = (west + east) / 2.0, (south + north) / 2.0
    return x - wide / 2.0, y - high / 2.0, x + wide / 2.0, y + high / 2.0
