"""One new GeoPackage a run: written beside its place, checked, and moved into it whole."""

import os
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
from pyproj import CRS

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.layer_table import Layer, layers
from pipelines.deliverables.files.place import OPEN_ELSEWHERE, refuse_if_open
from pipelines.deliverables.files.styles import style_document
from pipelines.deliverables.files.symbols import symbols
from terrain.shown_text import shown
from terrain.unit_table import Units

LITTLE = 1_000_000
"""What is free on a disk that is full: GDAL and SQLite do not always say so. [bytes]"""
HURRIED = {"OGR_SQLITE_SYNCHRONOUS": "OFF", "OGR_SQLITE_JOURNAL": "MEMORY"}
"""What makes GDAL neither wait for the disk nor note there how to take a write back."""
AS_OLD = {"VERSION": "1.2"}
"""Nothing here needs a newer version of the standard, and a GIS some years old warns of each layer of a newer one."""

SCHEMA_TABLES = """
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
  max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""
SCHEMA_EXTENSION = ("gpkg_schema", "http://www.geopackage.org/spec121/#extension_schema", "read-write")

# a layer's default style is looked for in this table by its name, the schema being the empty string
STYLE_TABLE = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), update_time DATETIME);
"""


def write_geopackage(
    path: Path,
    tables: Mapping[str, pd.DataFrame],
    *,
    crs: CRS | None,
    units: Units,
    others: Mapping[str, Layer] | None = None,
) -> None:
    """Write layers and tables as one new file, replacing an earlier one only when whole."""
    refuse_if_open(path)
    kinds = {**layers(), **(others or {})}
    beside = path.with_name(f"{path.stem}.tmp.gpkg")
    try:
        _remove(beside)
        with _left_to_last():
            for name, table in tables.items():
                _write_layer(beside, kinds[name], table, crs)
        _describe(beside, [kinds[name] for name in tables], units)
        _check(beside, tables)
        os.replace(beside, path)
    except (OSError, sqlite3.Error, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        words = shown(str(error), most=200)
        if shutil.disk_usage(path.parent).free < LITTLE:
            words = "No space left on device"
        raise HandoverError(f"{path} cannot be written: {words}. Give a folder with room to write in.") from error
    finally:
        _remove(beside)


@contextmanager
def _left_to_last() -> Iterator[None]:
    """Layers written in a hurry, since nobody sees the file before it is whole; `_describe`, the last, waits for it."""
    before = {option: pyogrio.get_gdal_config_option(option) for option in HURRIED}
    pyogrio.set_gdal_config_options(HURRIED)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _write_layer(path: Path, layer: Layer, table: pd.DataFrame, crs: CRS | None) -> None:
    table = fit_to_show(table)
    options = {"FID": "fid", "IDENTIFIER": layer.title, "DESCRIPTION": layer.description}
    if layer.geometry is None:
        pyogrio.write_dataframe(
            table, path, layer=layer.name, driver="GPKG", layer_options=options, dataset_options=AS_OLD
        )
        return
    placed = gpd.GeoDataFrame(table, crs=None).set_crs(crs, allow_override=True)
    pyogrio.write_dataframe(
        placed,
        path,
        layer=layer.name,
        driver="GPKG",
        geometry_type=layer.geometry,
        layer_options={**options, "GEOMETRY_NAME": "geom"},
        dataset_options=AS_OLD,
    )


def fit_to_show(table: pd.DataFrame) -> pd.DataFrame:
    """The table with its texts as the page shows them, whole, and no -0."""
    shapes = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    fit = {
        str(name): column.map(lambda value: shown(value, most=len(value)) if isinstance(value, str) else value)
        if column.dtype == object
        else column + 0.0
        for name, column in table.items()
        if name != shapes and column.dtype in (object, "float64")
    }
    return table.assign(**fit)


def _describe(path: Path, written: list[Layer], units: Units) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        _add_meanings(connection, written, units)
        _add_styles(connection, written, units)


def _add_meanings(connection: sqlite3.Connection, written: list[Layer], units: Units) -> None:
    """Say the unit and meaning of each column, by the schema extension of the standard."""
    _create(connection, SCHEMA_TABLES)
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        connection.execute("INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, ?)", (table, *SCHEMA_EXTENSION))
    for layer in written:
        for name, column in layer.written(units):
            unit, words = column.unit(units), column.name.replace("_", " ")
            connection.execute(
                "INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, NULL)",
                (layer.name, name, name, f"{words} [{unit}]" if unit else words, column.meaning),
            )


def _add_styles(connection: sqlite3.Connection, written: list[Layer], units: Units) -> None:
    now = os.environ.get("OGR_CURRENT_DATE") or datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    _create(connection, STYLE_TABLE)
    connection.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id)"
        " VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?, 0)",
        (now,),
    )
    for layer in written:
        if layer.name in symbols():
            connection.execute(
                "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column,"
                " styleName, styleQML, styleSLD, useAsDefault, description, owner, ui, update_time)"
                " VALUES ('', '', ?, 'geom', ?, ?, '', 1, ?, '', NULL, ?)",
                (layer.name, layer.name, style_document(layer, symbols()[layer.name], units), layer.title, now),
            )


def _create(connection: sqlite3.Connection, statements: str) -> None:
    # executescript would commit at once; one transaction a file keeps the bytes the same from run to run
    for statement in statements.split(";\n"):
        if statement.strip():
            connection.execute(statement)


def _check(path: Path, tables: Mapping[str, pd.DataFrame]) -> None:
    with closing(sqlite3.connect(path)) as connection:
        (state,) = connection.execute("PRAGMA integrity_check").fetchone()
        if state != "ok":
            raise OSError(f"the written file is damaged: {state}")
        for name, table in tables.items():
            (count,) = connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()
            if count != len(table):
                raise OSError(f"layer {name} holds {count} of {len(table)} features")


def _remove(path: Path) -> None:
    for ending in ("", *OPEN_ELSEWHERE):
        path.with_name(path.name + ending).unlink(missing_ok=True)
