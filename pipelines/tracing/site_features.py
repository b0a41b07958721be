"""What a site's tables hold, as the page and `traced.geojson` hold it."""

import math
from typing import Any

import pandas as pd
import shapely
from pyproj import CRS, Transformer

from pipelines.deliverables.files.geojson import on_globe
from pipelines.inputs.shapes.layer_columns import Attribute
from pipelines.inputs.site_file import SiteFile
from pipelines.inputs.site_ground import SiteInputs
from pipelines.inputs.traced.traced_file import PLACES, TRACED_KINDS


def site_features(opened: SiteInputs) -> list[dict[str, Any]]:
    """Features of every table that may be traced, in longitude and latitude; those off the raster are left out."""
    frame, whole = opened.source.grid.frame, shapely.box(*opened.source.grid.bounds)
    to_globe = Transformer.from_crs(frame.crs, CRS("OGC:CRS84"), always_xy=True)
    found: list[dict[str, Any]] = []
    for table, kind in TRACED_KINDS.items():
        if table == "house":
            continue
        rows = getattr(opened.layers, "soils" if table == "soil" else table)
        values = {column: rows[column.inside] for column in kind.columns}
        for shape, placed, *row in zip(rows.geometry, frame.to_map(rows.geometry), *values.values(), strict=True):
            if shape.intersects(whole):
                told = {column.inside: _told(value, column) for column, value in zip(values, row, strict=True)}
                found.append({
                    "type": "Feature", "id": len(found) + 1, "geometry": on_globe(placed, to_globe),
                    "properties": {"table": table} | {name: value for name, value in told.items() if value is not None},
                })  # fmt: skip
    return found


def site_answers(site: SiteFile) -> dict[str, Any]:
    """What the site file says of what the page asks, as a traced file says it."""
    found = {name: getattr(getattr(site, section), key) for name, (section, key) in PLACES.items()}
    return {
        name: f"{value:.3f} m" if isinstance(value, float) else value
        for name, value in found.items() if value is not None and value != ()
    }  # fmt: skip


def _told(value: Any, column: Attribute) -> Any:
    """A value as JSON holds it; None where a feature is silent."""
    if value is None or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)) or value == "":
        return None
    if column.form == "yes_no":
        return bool(value)
    if column.allowed and isinstance(value, str):
        return value.lower()
    return value.item() if hasattr(value, "item") else value
