"""What lots are called: by an attribute of their feature that names them."""

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

from pipelines.inputs.shapes.layer_table import PARCEL_NUMBERS

LAYER_WORDS = ("parcel", "parcels", "lot", "lots", "site")
"""What files and layers are called for what they hold, which names no lot."""


def feature_name(row: Any) -> str:
    """Name of a feature by its attributes name, lot or address, the first that is given; a bare number is a lot's."""
    given = next((text for text in (row.name, row.lot, row.address) if text), "")
    number = given.removesuffix(".0")
    return f"lot {number}" if number.isdigit() else given


def first_of(parcels: Any) -> Any:
    """The first feature of a layer, its attributes by name."""
    return SimpleNamespace(**parcels.iloc[0].to_dict())


def lot_name(row: Any, stems: Sequence[str]) -> str:
    """Name of a lot's feature: by its attributes, else its parcel number, else the first stem that names one."""
    number = next((text for key in PARCEL_NUMBERS if (text := getattr(row, key).removesuffix(".0"))), "")
    named = feature_name(row) or (f"parcel {number}" if number else "")
    if named:
        return named[:1].upper() + named[1:]
    return next((stem for stem in stems if stem.lower() not in LAYER_WORDS), "The lot")
