"""What outlets and lots are called: as their layers name them, and by the parcel that holds them."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

from shapely import Point

from pipelines.inputs.shapes.parcel_names import feature_name


def names_of(layer: Any) -> list[str]:
    """Name of each feature, empty where it has none."""
    return [feature_name(row) for row in layer.itertuples(index=False)]


def name_at(point: Point, parcels: Any) -> str:
    """Name of the parcel that holds a point, empty for none."""
    return next((name for name, holds in zip(names_of(parcels), parcels.covers(point), strict=True) if holds), "")


def told_apart(names: Sequence[str], ids: Sequence[str]) -> list[str]:
    """Names, each with its id where another has the same; the id alone where there is none."""
    often = Counter(names)
    return [
        id if not name else name if often[name] == 1 else f"{name} ({id})" for name, id in zip(names, ids, strict=True)
    ]
