"""Default styles of the layers, in the markup that desktop GIS reads from a layer_styles table."""

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from xml.etree import ElementTree

from pipelines.deliverables.files.glyphs import glyph_data, glyphs
from pipelines.deliverables.files.layer_table import DECIMALS, Column, Layer, read_rows
from pipelines.deliverables.files.symbols import Condition, Symbol
from pipelines.deliverables.unit_systems import from_si
from terrain.unit_table import Units

INSIDE = 0.45
"""Width of a barrel's inside of that of the barrel. [-]"""
HATCHES = {"rafters": "b_diagonal", "pavers": "cross", "no_entry": "diagonal_x", "furrows": "horizontal"}
"""Hatches by what that markup calls them."""
PLACEMENTS = {"Point": "0", "Line": "2", "Polygon": "1"}
"""Around a point, along a line, over ground, by what that markup calls them."""
PRIORITIES = {"Point": "8", "Line": "6", "Polygon": "2"}
"""Of texts where there is no room for all. [0 to 10]"""
MANY_HEADS = 0.9
"""Width of a line from which on its direction is shown more than once. [mm]"""
GLYPH = 10.0
"""Half size of a glyph in its drawing. [-]"""
REACH = 1.15
"""Of a glyph's drawing, its lines' width counted in. [-]"""


def style_document(layer: Layer, layer_symbols: Sequence[Symbol], units: Units) -> str:
    """A style document (QML) for the symbols of one layer."""
    told = labels().get(layer.name, LayerLabel((), None, None))
    root = ElementTree.Element(
        "qgis", version="3.22.0", styleCategories="Symbology|Labeling|Fields|Rendering",
        labelsEnabled="1" if told.columns else "0", hasScaleBasedVisibilityFlag="1" if told.shown_to else "0",
        minScale=str(told.shown_to or 0), maxScale="0",
    )  # fmt: skip
    by_rule = bool(layer_symbols[0].conditions)
    renderer = ElementTree.SubElement(
        root, "renderer-v2", type="RuleRenderer" if by_rule else "singleSymbol", symbollevels="0"
    )
    if by_rule:
        rules = ElementTree.SubElement(renderer, "rules", key=f"{layer.name}-rules")
        for number, symbol in enumerate(layer_symbols):
            tests = " AND ".join(_test(condition, layer, units) for condition in symbol.conditions)
            ElementTree.SubElement(
                rules, "rule", key=f"{layer.name}-{number}", symbol=str(number), filter=tests, label=symbol.label(units)
            )
    drawn = ElementTree.SubElement(renderer, "symbols")
    for number, symbol in enumerate(layer_symbols):
        _add_symbol(drawn, str(number), symbol)
    if told.columns:
        _add_labels(root, layer, told, units)
    aliases = ElementTree.SubElement(root, "aliases")
    for index, (written, column) in enumerate(layer.written(units), start=1):
        # the key stands before the columns
        name, unit = column.name.replace("_", " "), column.unit(units).replace("_", "/").replace("pct", "%")
        ElementTree.SubElement(aliases, "alias", field=written, index=str(index),
                               name=f"{name} [{unit}]" if unit else name)  # fmt: skip
    ElementTree.indent(root, " ")
    return ElementTree.tostring(root, encoding="unicode") + "\n"


@dataclass(frozen=True, slots=True)
class LayerLabel:
    """What is written beside features: columns, and to which scale that and the layer are shown. [1 to so many]"""

    columns: tuple[str, ...]
    label_to: int | None
    shown_to: int | None


@cache
def labels() -> dict[str, LayerLabel]:
    """What is written, by layer."""
    return {
        row["layer"]: LayerLabel(
            tuple(part for part in row["columns"].split(";") if part),
            int(row["label_to"]) if row["label_to"] else None, int(row["shown_to"]) if row["shown_to"] else None,
        )
        for row in read_rows("layer_labels.csv")
    }  # fmt: skip


def _add_labels(root: ElementTree.Element, layer: Layer, told: LayerLabel, units: Units) -> None:
    written = {column.name: (name, column) for name, column in layer.written(units)}
    parts = [_told(*written[column], units) for column in told.columns if column in written]
    first, *rest = parts
    expression = " || ".join([first, *(f"coalesce(', ' || {part}, '')" for part in rest)])
    labeling = ElementTree.SubElement(root, "labeling", type="simple")
    settings = ElementTree.SubElement(labeling, "settings", calloutType="simple")
    style = ElementTree.SubElement(
        settings, "text-style", fieldName=expression, isExpression="1", fontSize="8", fontSizeUnit="Point",
        textColor="26,26,26,255", multilineHeight="1",
    )  # fmt: skip
    ElementTree.SubElement(style, "text-buffer", bufferDraw="1", bufferSize="0.8", bufferSizeUnits="MM",
                           bufferColor="255,255,255,255", bufferOpacity="1")  # fmt: skip
    ElementTree.SubElement(settings, "text-format", wrapChar="", autoWrapLength="28")
    shape = next(each for each in PLACEMENTS if each in (layer.geometry or ""))
    options = {"placement": PLACEMENTS[shape], "placementFlags": "10", "priority": PRIORITIES[shape]}
    # a text longer than its line stands out over its ends
    ElementTree.SubElement(settings, "placement", options, dist="1", distUnits="MM", overrunDistance="25",
                           overrunDistanceUnit="MM")  # fmt: skip
    # ground is no obstacle: inside of it everything else is written
    ElementTree.SubElement(settings, "rendering", drawLabels="1", scaleVisibility="1", scaleMin="0",
                           scaleMax=str(told.label_to or 0), obstacle="1" if shape == "Point" else "0",
                           displayAll="0")  # fmt: skip


def _told(name: str, column: Column, units: Units) -> str:
    """A column as it is written beside a feature: a number with its unit."""
    if column.type != "real":
        return f'"{name}"'
    unit = column.unit(units)
    places = min(DECIMALS[unit], 2)
    return f"round(\"{name}\", {places}) || ' {unit.replace('_', '/').replace('pct', '%')}'"


def _test(condition: Condition, layer: Layer, units: Units) -> str:
    """A condition as an expression on the column as it is written."""
    name, column = next(each for each in layer.written(units) if each[1].name == condition.attribute)
    if column.type == "boolean":
        # compared with a number, true is no 1 there
        return f'"{name}"' if condition.value == "1" else f'NOT "{name}"'
    if condition.word is not None:
        return f"\"{name}\" {'' if condition.wanted else 'NOT '}LIKE '%{condition.word}%'"
    if condition.value is not None:
        return f"\"{name}\" = '{condition.value}'" if column.type == "text" else f'"{name}" = {condition.value}'
    low, high = from_si((condition.low, condition.high), column.unit(units)).tolist()
    tests = [f'"{name}" >= {low!r}'] if math.isfinite(condition.low) else []
    if math.isinf(condition.high):
        return f'({" AND ".join(tests)} OR "{name}" IS NULL)'
    return " AND ".join([*tests, f'"{name}" < {high!r}'])


def _add_symbol(parent: ElementTree.Element, name: str, symbol: Symbol) -> None:
    element = ElementTree.SubElement(parent, "symbol", name=name, type=symbol.kind, alpha="1")
    # of a barrel the inside alone is broken
    outer = replace(symbol, dash=()) if symbol.shape == "barrel" else symbol
    drawing, options = {"fill": _fill, "line": _line, "marker": _marker}[symbol.kind](outer)
    _add_layer(element, drawing, options)
    if symbol.shape == "barrel":
        inside = replace(symbol, colour=symbol.edge, width=INSIDE * symbol.width)
        _add_layer(element, *_line(inside))
    if symbol.shape in ("arrow", "barrel"):
        # a long line needs more than one, and a short one has no room for them
        often = symbol.shape == "arrow" and symbol.width >= MANY_HEADS
        along = _add_layer(element, "MarkerLine", {
            "placement": "interval" if often else "centralpoint", "rotate": "1",
            "interval": "40", "interval_unit": "MM",
            "offset_along_line": "8" if often else "0", "offset_along_line_unit": "MM",
        })  # fmt: skip
        head = ElementTree.SubElement(along, "symbol", name=f"@{name}@1", type="marker", alpha="1")
        _add_layer(head, "SimpleMarker", _head(symbol))
    elif symbol.shape in HATCHES and symbol.kind == "fill":
        _add_layer(element, "SimpleFill", {
            "color": _colour(symbol.edge, 0.8), "style": HATCHES[symbol.shape], "outline_style": "no",
        })  # fmt: skip


def _add_layer(parent: ElementTree.Element, drawing: str, options: dict[str, str]) -> ElementTree.Element:
    layer = ElementTree.SubElement(parent, "layer", {"class": drawing, "enabled": "1", "locked": "0", "pass": "0"})
    listed = ElementTree.SubElement(layer, "Option", type="Map")
    for option, value in options.items():
        ElementTree.SubElement(listed, "Option", type="QString", name=option, value=value)
    return layer


def _head(symbol: Symbol) -> dict[str, str]:
    """An arrow head in the colour of its line."""
    return {
        "name": "filled_arrowhead",
        "color": _colour(symbol.colour, symbol.opacity),
        "outline_style": "no",
        "size": f"{1.6 + 1.6 * symbol.width:g}",
        "size_unit": "MM",
    }


def _fill(symbol: Symbol) -> tuple[str, dict[str, str]]:
    return "SimpleFill", {
        "color": _colour(symbol.colour, symbol.opacity),
        "style": "solid" if symbol.opacity else "no",
        "outline_color": _colour(symbol.edge, 1.0),
        "outline_style": "dash" if symbol.dash else "solid",
        "outline_width": f"{symbol.width:g}",
        "outline_width_unit": "MM",
    }


def _line(symbol: Symbol) -> tuple[str, dict[str, str]]:
    return "SimpleLine", {
        "line_color": _colour(symbol.colour, symbol.opacity),
        "line_style": "solid",
        "line_width": f"{symbol.width:g}",
        "line_width_unit": "MM",
        "capstyle": "flat" if symbol.dash else "round",
        "joinstyle": "round",
        "use_custom_dash": "1" if symbol.dash else "0",
        "customdash": ";".join(f"{part:g}" for part in symbol.dash) or "5;2",
        "customdash_unit": "MM",
    }


def _marker(symbol: Symbol) -> tuple[str, dict[str, str]]:
    """The glyph goes along as a drawing."""
    drawing = base64.b64encode(marker_svg(symbol).encode()).decode("ascii")
    size = symbol.width * _half(symbol) / GLYPH
    return "SvgMarker", {"name": f"base64:{drawing}", "size": f"{size:g}", "size_unit": "MM"}


def marker_svg(symbol: Symbol) -> str:
    """A glyph as a drawing by itself; one that stands aside with the line from its place, which is the middle."""
    glyph, half = glyphs()[symbol.shape], _half(symbol)
    right, below = _aside(symbol)
    tie = f'<path d="M0 0L{right:g} {below:g}" stroke="{symbol.edge}" stroke-width="2"/><circle r="2.5"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-half:g} {-half:g} {2 * half:g} {2 * half:g}">'
        f'{tie if any(symbol.aside) else ""}<g transform="translate({right:g} {below:g})">'
        f'<path d="{glyph_data(glyph.face, GLYPH, closed=True)}" fill="{symbol.colour}"/>'
        f'<path d="{glyph_data(glyph.line, GLYPH, closed=False)}" fill="none" stroke="{symbol.edge}" stroke-width="2"/>'
        f'<path d="{glyph_data(glyph.solid, GLYPH, closed=True)}" fill="{symbol.edge}"/></g></svg>'
    )


def _aside(symbol: Symbol) -> tuple[float, float]:
    """How far from its place it stands, its own half size `GLYPH`."""
    right, below = symbol.aside
    return right * 2.0 * GLYPH / symbol.width, below * 2.0 * GLYPH / symbol.width


def _half(symbol: Symbol) -> float:
    """Half of what its drawing takes about its place, its own half size `GLYPH`."""
    return GLYPH * REACH + max(map(abs, _aside(symbol)))


def _colour(text: str, opacity: float) -> str:
    red, green, blue = (int(text[start : start + 2], 16) for start in (1, 3, 5))
    return f"{red},{green},{blue},{round(255 * opacity)}"
