"""Which layers a site may bring, of what shape, with which attributes."""

import math
from dataclasses import dataclass

from pipelines.inputs.shapes.layer_columns import Column

OUTFALL_KINDS = ("swale", "ditch", "curb", "inlet", "pond", "daylight", "soakaway")
SOIL_GROUPS = ("a", "b", "c", "d", "a/d", "b/d", "c/d")
CROSSINGS = ("never", "careful")
_UNKNOWN = math.nan


@dataclass(frozen=True, slots=True)
class LayerKind:
    """What a layer may hold.

    Attributes
    ----------
    key : str
        Its table in the site file.
    shapes : tuple of str
        polygon, line or point.
    columns : tuple of Column
        Attributes that are read; others are passed over.
    """

    key: str
    shapes: tuple[str, ...]
    columns: tuple[Column, ...] = ()


LAYER_KINDS = {
    kind.key: kind
    for kind in (
        LayerKind("parcel", ("polygon",)),
        LayerKind(
            "roofs",
            ("polygon",),
            (
                Column("open_below", "yes_no", False),
                Column("part"),
                Column("foundation", allowed=("slab", "crawl", "basement")),
                Column("floor", "length", _UNKNOWN),
                Column("built", "number", _UNKNOWN),
            ),
        ),
        LayerKind("hardscape", ("polygon",), (Column("kind"), Column("protect", "yes_no", False))),
        LayerKind("barriers", ("line",), (Column("kind"), Column("height", "length", _UNKNOWN, least=0.0, most=30.0))),
        LayerKind(
            "keep_out",
            ("polygon", "line", "point"),
            (
                Column("kind"),
                Column("setback", "length", 0.0, least=0.0, most=1000.0),
                # what nobody has said may be crossed is not
                Column("crossing", default="never", allowed=CROSSINGS),
                Column("trunk", "length", _UNKNOWN, least=0.0, most=10.0),
                Column("note"),
            ),
        ),
        LayerKind(
            "utilities",
            ("line",),
            (
                Column("kind"),
                Column("crossing", default="careful", allowed=CROSSINGS),
                Column("depth", "length", _UNKNOWN, least=0.0, most=30.0),
            ),
        ),
        LayerKind("right_of_way", ("polygon",), (Column("kind"), Column("name"))),
        LayerKind("downspouts", ("point",)),
        LayerKind(
            "culverts",
            ("line",),
            (
                Column("diameter", "length", _UNKNOWN, least=0.01, most=10.0),
                Column("material"),
                Column("invert_up", "length", _UNKNOWN),
                Column("invert_down", "length", _UNKNOWN),
            ),
        ),
        LayerKind(
            "outfalls",
            ("point", "line"),
            (
                Column("kind", allowed=OUTFALL_KINDS, required=True), Column("level", "length", _UNKNOWN),
                Column("highest_level", "length", _UNKNOWN),
            ),
        ),
        LayerKind(
            "complaints",
            ("point", "polygon"),
            (
                Column("what"),
                Column("date"),
                Column("depth", "length", _UNKNOWN, least=0.0, most=10.0),
                Column("hours", "number", _UNKNOWN, least=0.0),
            ),
        ),
        LayerKind("soil", ("polygon",), (Column("group", allowed=SOIL_GROUPS, required=True), Column("name"))),
        LayerKind("swales", ("line",), (Column("name"),)),
        LayerKind("layout.basins", ("point",)),
        LayerKind("layout.forbidden", ("polygon", "line", "point")),
    )
}
