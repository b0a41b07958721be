"""What the site gave, on a map: under and beside what is proposed."""

from collections.abc import Mapping

import pandas as pd

from pipelines.deliverables.files.context_layers import CONTEXT
from pipelines.deliverables.files.layer_table import layers as table_of_layers
from pipelines.deliverables.files.symbols import symbol_of
from pipelines.deliverables.report.figures.map_picture import MapFeature, MapLayer
from pipelines.deliverables.report.numbers import LayerWords, Shown
from terrain.grid import Frame
from terrain.unit_table import Units

UNDER = ("hardscape", "roofs", "right_of_way", "frontage", "keep_out", "barriers", "utilities", "site_culverts")
"""What lies under what is proposed; the rest are marks over it."""
COLUMNS: dict[str, tuple[Shown, ...]] = {
    "hardscape": (Shown("kind", "Kind"), Shown("protect", "Must stay dry")),
    "roofs": (Shown("part", "Part"), Shown("open_below", "Open below"), Shown("outline", "Outline drawn along")),
    "right_of_way": (Shown("name", "Name"), Shown("kind", "Kind")),
    "frontage": (Shown("side", "Side"), Shown("width", "To the parcels across", "length"),
                 Shown("known_by", "Known by")),
    "keep_out": (Shown("kind", "What"), Shown("setback", "Setback", "length"), Shown("crossing", "May be crossed"),
                 Shown("note", "Note")),
    "keep_out_marks": (Shown("kind", "What"),),
    "barriers": (Shown("kind", "What"), Shown("height", "Height", "depth")),
    "utilities": (Shown("kind", "What"), Shown("depth", "Depth where known", "length"),
                  Shown("crossing", "May be crossed")),
    "site_culverts": (Shown("diameter", "Diameter", "depth"), Shown("material", "Material")),
    "downspouts": (Shown("id", "Downspout"),),
    "complaints": (Shown("what", "What was seen"), Shown("date", "When"), Shown("depth", "How deep", "depth"),
                   Shown("hours", "How long", "time"), Shown("where", "Where"), Shown("season", "In which season")),
}  # fmt: skip
NAMED = {"right_of_way": "name", "utilities": "kind", "keep_out_marks": "kind"}
"""What is written beside a feature."""


def context_map(tables: Mapping[str, pd.DataFrame], frame: Frame, units: Units) -> dict[str, MapLayer]:
    """Map layers of what was given, by name; the shapes in the metric frame."""
    return {name: _layer(name, tables, frame, units) for name in CONTEXT}


def _layer(name: str, tables: Mapping[str, pd.DataFrame], frame: Frame, units: Units) -> MapLayer:
    table, title = tables[name], table_of_layers()[name].title
    classes = table["class"] if "class" in table else [None] * len(table)
    labels = table[NAMED[name]] if name in NAMED else [""] * len(table)
    words = LayerWords(tables, name, units, COLUMNS[name])
    return MapLayer(name, title, tuple(
        MapFeature(each, f"{title}: {label or each}", shape, symbol_of(name, {"class": kind}),
                   words[each], label or "")
        for each, shape, kind, label in zip(table["id"], frame.from_map(table.geometry.array), classes, labels,
                                            strict=True)
    ))  # fmt: skip
