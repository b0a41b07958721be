"""Default styles of the layers, in the markup that desktop GIS reads from a layer_styles table.

The base colours are those of Okabe and Ito, "Color Universal Design", 2008, which the colour-blind can tell
apart; shape, width and dash say the same a second time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from xml.etree import ElementTree

from pipelines.deliverables.layer_table import read_rows


@dataclass(frozen=True, slots=True)
class Symbol:
    """How the features of a layer are drawn, or those of one value of an attribute.

    Attributes
    ----------
    attribute, value, label : str
        Attribute and value that select the features, both empty for all; and the words of the legend.
    kind, colour, edge, shape : str
        fill, line or marker; `#rrggbb`; `#rrggbb` of the outline; square, circle, triangle or pentagon.
    opacity : float
        0 is clear, 1 solid. [-]
    width : float
        Of a line or outline, or the size of a marker. [mm on paper]
    dash : tuple of float
        Lengths drawn and left out by turns, empty for a solid line. [mm on paper]
    """

    attribute: str
    value: str
    label: str
    kind: str
    colour: str
    edge: str
    shape: str
    opacity: float
    width: float
    dash: tuple[float, ...]


@cache
def symbols() -> dict[str, tuple[Symbol, ...]]:
    """Symbols of every layer that has a style, by its name."""
    found: dict[str, list[Symbol]] = {}
    for row in read_rows("symbols.csv"):
        symbol = Symbol(
            row["attribute"],
            row["value"],
            row["label"],
            row["kind"],
            row["colour"],
            row["edge"],
            row["shape"],
            float(row["opacity"]),
            float(row["width_mm"]),
            tuple(float(part) for part in row["dash_mm"].split(";") if part),
        )
        found.setdefault(row["layer"], []).append(symbol)
    return {layer: tuple(listed) for layer, listed in found.items()}


def style_document(layer_symbols: Sequence[Symbol]) -> str:
    """A style document (QML) for the symbols of one layer.

    Parameters
    ----------
    layer_symbols : sequence of Symbol
        One for all features, or one for each value of an attribute.

    Returns
    -------
    str
        Only the part that says how features are drawn.
    """
    root = ElementTree.Element("qgis", version="3.22.0", styleCategories="Symbology")
    attribute = layer_symbols[0].attribute
    renderer = ElementTree.SubElement(
        root, "renderer-v2", type="categorizedSymbol" if attribute else "singleSymbol", symbollevels="0"
    )
    if attribute:
        renderer.set("attr", attribute)
        categories = ElementTree.SubElement(renderer, "categories")
        for number, symbol in enumerate(layer_symbols):
            ElementTree.SubElement(
                categories, "category", symbol=str(number), value=symbol.value, label=symbol.label, render="true"
            )
    drawn = ElementTree.SubElement(renderer, "symbols")
    for number, symbol in enumerate(layer_symbols):
        _add_symbol(drawn, str(number), symbol)
    ElementTree.indent(root, " ")
    return ElementTree.tostring(root, encoding="unicode") + "\n"


def _add_symbol(parent: ElementTree.Element, name: str, symbol: Symbol) -> None:
    element = ElementTree.SubElement(parent, "symbol", name=name, type=symbol.kind, alpha="1")
    drawing, options = {"fill": _fill, "line": _line, "marker": _marker}[symbol.kind](symbol)
    layer = ElementTree.SubElement(element, "layer", {"class": drawing, "enabled": "1", "locked": "0", "pass": "0"})
    listed = ElementTree.SubElement(layer, "Option", type="Map")
    for option, value in options.items():
        ElementTree.SubElement(listed, "Option", type="QString", name=option, value=value)


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
    return "SimpleMarker", {
        "name": symbol.shape,
        "color": _colour(symbol.colour, symbol.opacity),
        "outline_color": _colour(symbol.edge, 1.0),
        "outline_style": "solid",
        "outline_width": "0.4",
        "outline_width_unit": "MM",
        "size": f"{symbol.width:g}",
        "size_unit": "MM",
    }


def _colour(text: str, opacity: float) -> str:
    red, green, blue = (int(text[start : start + 2], 16) for start in (1, 3, 5))
    return f"{red},{green},{blue},{round(255 * opacity)}"
