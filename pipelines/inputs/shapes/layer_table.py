"""Which layers a site may bring, of what shape, with which attributes."""

import math
from dataclasses import dataclass

from pipelines.inputs.shapes.layer_columns import Attribute
from pipelines.inputs.site_ranges import HIGHEST, LOWEST

OUTFALL_KINDS = ("swale", "ditch", "curb", "inlet", "pond", "daylight", "soakaway")
SOIL_GROUPS = ("a", "b", "c", "d", "a/d", "b/d", "c/d")
COMPLAINT_PLACES = ("basement", "crawl_space", "wall", "patio", "lawn", "drive", "street")
COMPLAINT_SEASONS = ("in_rain", "days_after", "always", "thaw")
DOWNSPOUT_ENDS = ("lawn", "paving", "bed", "drain", "pipe_to_lawn", "pipe_to_street", "pipe_end_unknown")
"""Where a downspout's water goes now."""
DRAIN_STATES = ("runs", "slow", "clogged", "broken", "unknown")
CROSSINGS = ("never", "careful")
PARCEL_NUMBERS = ("parcel_id", "parcel_no", "apn", "pin", "folio")
"""What assessors number parcels by."""
_UNKNOWN = math.nan
# what a lot is called, the first that is given
_NAMES = (Attribute("name"), Attribute("lot"), Attribute("address"))


@dataclass(frozen=True, slots=True)
class LayerKind:
    """What a layer may hold.

    Attributes
    ----------
    shapes : tuple of str
        polygon, line or point.
    columns : tuple of Attribute
        Attributes that are read; others are passed over.
    single : bool
        Each part of a feature is a feature of its own inside; a lot of several parts is one lot.
    """

    key: str
    shapes: tuple[str, ...]
    columns: tuple[Attribute, ...] = ()
    single: bool = True


LAYER_KINDS = {
    kind.key: kind
    for kind in (
        LayerKind("parcel", ("polygon",), (*_NAMES, *(Attribute(name) for name in PARCEL_NUMBERS)), False),
        LayerKind(
            "roofs",
            ("polygon",),
            (
                Attribute("open_below", "yes_no", False),
                Attribute("part"),
                Attribute("foundation", allowed=("slab", "crawl", "basement")),
                Attribute("floor", "length", _UNKNOWN, least=LOWEST, most=HIGHEST),
                Attribute("built", "number", _UNKNOWN, least=1500.0, most=2200.0),
                # an outline seen from the air is the eaves', and no corner of it can be measured from
                Attribute("outline", default="eaves", allowed=("walls", "eaves")),
                Attribute("found_in_lidar", "yes_no", False),
            ),
        ),
        LayerKind("hardscape", ("polygon",), (Attribute("kind"), Attribute("protect", "yes_no", False))),
        LayerKind(
            "barriers",
            ("line",),
            (Attribute("kind"), Attribute("height", "length", _UNKNOWN, least=0.0, most=30.0)),
        ),
        LayerKind(
            "keep_out",
            ("polygon", "line", "point"),
            (
                Attribute("kind"),
                Attribute("setback", "length", 0.0, least=0.0, most=1000.0),
                # what nobody has said may be crossed is not
                Attribute("crossing", default="never", allowed=CROSSINGS),
                Attribute("trunk", "length", _UNKNOWN, least=0.0, most=10.0),
                Attribute("note"),
            ),
        ),
        LayerKind(
            "utilities",
            ("line",),
            (
                Attribute("kind"),
                Attribute("crossing", default="careful", allowed=CROSSINGS),
                Attribute("depth", "length", _UNKNOWN, least=0.0, most=30.0),
                # of a drain that is there already
                Attribute("diameter", "length", _UNKNOWN, least=0.01, most=10.0),
                Attribute("condition", allowed=DRAIN_STATES),
                Attribute("end"),
            ),
        ),
        LayerKind("right_of_way", ("polygon",), (Attribute("kind"), Attribute("name"))),
        LayerKind(
            "downspouts",
            ("point",),
            (
                Attribute("goes_to", allowed=DOWNSPOUT_ENDS),
                # of the pipe that it runs into, where that is no drain that is drawn
                Attribute("condition", allowed=DRAIN_STATES),
            ),
        ),
        LayerKind(
            "culverts",
            ("line",),
            (
                Attribute("diameter", "length", _UNKNOWN, least=0.01, most=10.0),
                Attribute("material"),
                Attribute("invert_up", "length", _UNKNOWN, least=LOWEST, most=HIGHEST),
                Attribute("invert_down", "length", _UNKNOWN, least=LOWEST, most=HIGHEST),
                Attribute("silt", "length", _UNKNOWN, least=0.0, most=10.0),
            ),
        ),
        LayerKind(
            "outfalls",
            ("point", "line"),
            (
                Attribute("kind", allowed=OUTFALL_KINDS, required=True),
                Attribute("level", "length", _UNKNOWN, least=LOWEST, most=HIGHEST),
                Attribute("highest_level", "length", _UNKNOWN, least=LOWEST, most=HIGHEST), *_NAMES,
            ),
        ),
        LayerKind(
            "complaints",
            ("point", "polygon"),
            (
                Attribute("what"),
                Attribute("date"),
                Attribute("depth", "length", _UNKNOWN, least=0.0, most=10.0),
                Attribute("hours", "number", _UNKNOWN, least=0.0, most=10000.0),
                Attribute("where", allowed=COMPLAINT_PLACES),
                Attribute("season", allowed=COMPLAINT_SEASONS),
            ),
        ),
        LayerKind("soil", ("polygon",), (Attribute("group", allowed=SOIL_GROUPS, required=True), Attribute("name"))),
        LayerKind("swales", ("line",), (Attribute("name"),)),
        LayerKind("layout.basins", ("point",)),
        LayerKind("layout.forbidden", ("polygon", "line", "point")),
    )
}
