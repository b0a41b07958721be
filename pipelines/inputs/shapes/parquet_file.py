"""GeoParquet, read through pyarrow, which comes with the extra `parquet`.

References
----------
.. [1] Open Geospatial Consortium, "GeoParquet", version 1.1.0, 2024.
"""

import io
import json
from pathlib import Path

import geopandas as gpd
import pandas as pd

from pipelines.inputs.errors import InputFileError, LayerError
from pipelines.inputs.shapes.crs_given import crs_given
from terrain.reading.linked_files import first_bytes
from terrain.reading.named_file import read_named_file

_MAGIC = b"PAR1"
_MOST_BYTES, _MOST_UNPACKED, _MOST_ROWS = 500_000_000, 2_000_000_000, 5_000_000
"""Of a file, of what its row groups say they unpack to [byte], and of features [-]."""
NEEDED = 'reading and writing GeoParquet needs pyarrow: pip install "lotshed[parquet]", or use a GeoPackage'


def is_parquet(path: Path) -> bool:
    """Whether a file is a Parquet file, by its first bytes."""
    return path.is_file() and first_bytes(path, 4) == _MAGIC


def read_parquet_shapes(path: Path, where: str, crs: str | None) -> gpd.GeoDataFrame:
    """Shapes with their plain attributes; lists and records among them are passed over."""
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError:
        raise InputFileError(f"{where}: {NEEDED}") from None
    held = read_named_file(path, f"{where}: {path}", InputFileError, most_bytes=_MOST_BYTES)
    try:
        found = parquet.ParquetFile(io.BytesIO(held))
        told = found.metadata
        unpacked = sum(told.row_group(each).total_byte_size for each in range(told.num_row_groups))
        if unpacked > _MOST_UNPACKED or told.num_rows > _MOST_ROWS:
            raise InputFileError(
                f"{where}: it holds {told.num_rows:,} features and unpacks to {unpacked / 1e9:,.1f} GB, and at most "
                f"{_MOST_ROWS:,} and {_MOST_UNPACKED / 1e9:g} GB are read; cut it to the ground that matters"
            )
        said = json.loads((told.metadata or {}).get(b"geo", b"{}"))
        columns = said.get("columns", {}) if isinstance(said, dict) else {}
        if not columns:
            raise LayerError(f"{where}: it is a Parquet file without shapes; write it as GeoParquet or a GeoPackage")
        plain = [each.name for each in found.schema_arrow if each.name in columns or not pa.types.is_nested(each.type)]
        shapes = gpd.read_parquet(io.BytesIO(held), columns=plain)
    except (pa.ArrowException, OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError) as fault:
        if isinstance(fault, InputFileError | LayerError):
            raise
        words = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
        raise InputFileError(f"{where}: it is no GeoParquet that can be read, or is torn: {words[:200]}") from None
    if shapes.crs is None:
        if crs is None:
            raise LayerError(f'{where}: it has no CRS; say it in its table, as in crs = "EPSG:32617"')
        shapes = shapes.set_crs(crs_given(crs, where))
    others = [name for name in shapes.columns[shapes.dtypes == "geometry"] if name != shapes.geometry.name]
    return _named(shapes.drop(columns=others))


def _named(shapes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Names and values that a layer of a database takes."""
    fid = {"fid": "fid_"} if "fid" in shapes.columns else {}
    made = shapes.reset_index(drop=True).rename(columns=fid)
    for name, column in made.items():
        if name != made.geometry.name and isinstance(column.dtype, pd.CategoricalDtype):
            made[name] = column.astype(object)
    return made
