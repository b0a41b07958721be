"""Layers as GeoParquet, a file a layer, as tables of columns that a database or a notebook reads at once.

References
----------
.. [1] Open Geospatial Consortium, "GeoParquet", version 1.1.0, 2024.
"""

import importlib.util
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.geopackage import fit_to_show

FOLDER = "parquet"


def refuse_without_parquet() -> None:
    """Raise where what writes GeoParquet is not installed; asked before the work is done."""
    try:
        found = importlib.util.find_spec("pyarrow")
    except ValueError:
        found = None
    if found is None:
        raise HandoverError(
            'layers cannot be written as GeoParquet: that needs pyarrow. pip install "lotshed[parquet]", or leave out '
            "--also parquet."
        )


def write_geoparquet(path: Path, layer: gpd.GeoDataFrame, *, crs: CRS) -> None:
    """Write one layer with its CRS; z stays, and so does what is unknown."""
    fit = gpd.GeoDataFrame(fit_to_show(layer), crs=None).set_crs(crs, allow_override=True)
    fit.reset_index(drop=True).to_parquet(path, index=False, compression="zstd", schema_version="1.1.0")
