"""What GDAL may do while it reads for us: no script, no address, and only formats that hold their own numbers.

There are two GDALs in a run, rasterio's and pyogrio's; each is told by its own way.
"""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from terrain.errors import LotshedError
from terrain.reading.database_file import is_database, refuse_odd_database
from terrain.reading.linked_files import RASTER_ROOT, first_bytes, is_virtual, refuse_links
from terrain.reading.named_file import address_of, refuse_no_file, refuse_odd_siblings

RASTER_DRIVERS = (
    "GTiff", "HFA", "AAIGrid", "GRASSASCIIGrid", "EHdr", "ENVI", "USGSDEM", "SRTMHGT", "DTED", "GSAG",
    "GSBG", "GS7BG", "BT", "SAGA", "RST", "XYZ", "GPKG", "PNG", "JPEG", "JP2OpenJPEG", "WEBP", "GIF", "BMP",
)  # fmt: skip
VECTOR_DRIVERS = (
    "GPKG", "SQLite", "ESRI Shapefile", "GeoJSON", "GeoJSONSeq", "ESRIJSON", "TopoJSON", "JSONFG", "FlatGeobuf", "KML",
    "LIBKML", "GPX", "MapInfo File", "CSV", "OpenFileGDB", "OGR_VRT", "DXF",
)  # fmt: skip
_OPTIONS = {
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "GDAL_VRT_ENABLE_RAWRASTERBAND": "NO",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
    "OGR_SQLITE_LIST_VIRTUAL_OGR": "NO",
    "GML_DOWNLOAD_SCHEMA": "NO",
    "LIBKML_RESOLVE_STYLE": "NO",
    # blocks of a drawing may hold each other many times over
    "DXF_INLINE_BLOCKS": "FALSE",
    # the only address that may be read; none is called this
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "/vsicurl/none",
}
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_BESIDE = {".ovr": _TIFF, ".msk": _TIFF, ".aux": (b"EHFA_HEADER_TAG",)}


@contextlib.contextmanager
def raster_options(path: Path) -> Iterator[None]:
    """Hold rasterio's GDAL to one file, or to one address that a person typed."""
    import rasterio

    address = address_of(path)
    one = {} if address is None else {
        "CPL_VSIL_CURL_ALLOWED_FILENAME": f"/vsicurl/{address}", "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    }  # fmt: skip
    with rasterio.Env(**{**_OPTIONS, **one}):
        yield


@contextlib.contextmanager
def vector_options() -> Iterator[None]:
    """Hold pyogrio's GDAL to its own files."""
    import pyogrio

    before = {name: pyogrio.get_gdal_config_option(name) for name in _OPTIONS}
    pyogrio.set_gdal_config_options(dict(_OPTIONS))
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def open_named_raster(path: Path, what: str, error: type[LotshedError]) -> Any:
    """Open a raster with rasterio, once it is known to be one that holds its own numbers; options must be held."""
    # `rasterio.open` takes one driver alone
    from rasterio.io import DatasetReader

    address = address_of(path)
    if address is not None:
        return DatasetReader(f"/vsicurl/{address}", driver=["GTiff"])
    path = Path(os.path.abspath(path))
    refuse_no_file(path, what, error)
    refuse_odd_siblings(path, what, error)
    drivers = list(RASTER_DRIVERS)
    if is_virtual(path, RASTER_ROOT):
        for source in refuse_links(path, RASTER_ROOT, what, error):
            refuse_odd_siblings(source, what, error)
            _refuse_beside(source, what, error)
        drivers = ["VRT"]
    _refuse_beside(path, what, error)
    if is_database(path):
        refuse_odd_database(path, what, error)
    file = DatasetReader(str(path), driver=drivers)
    if drivers != ["VRT"]:
        _refuse_elsewhere(path, file, what, error)
    if "OVERVIEW_FILE" in file.tags(ns="OVERVIEWS"):
        file.close()
        raise error(f"{what} keeps its overviews in another file, which is not read; write it to one file")
    return file


def _refuse_elsewhere(path: Path, file: Any, what: str, error: type[LotshedError]) -> None:
    """Raise where a raster keeps its numbers in a file that does not lie beside it, as an IMG may name one."""
    for each in (Path(os.path.abspath(name)) for name in file.files):
        if each.parent != path.parent:
            file.close()
            raise error(
                f"{what} keeps numbers in {each.name}, which lies outside its folder {path.parent}; move it there"
            )
        refuse_no_file(each, f"{what} keeps numbers in {each.name}, which", error)


def _refuse_beside(path: Path, what: str, error: type[LotshedError]) -> None:
    """Raise where what GDAL opens along with a raster is not what its name says."""
    for beside in (path.with_name(path.name + ".aux.xml"), path.with_suffix(".aux.xml")):
        if beside.is_file() and b"OVERVIEW_FILE" in first_bytes(beside, 10_000_000):
            raise error(f"{what}: {beside.name} beside it points at another file, which is not read; delete it")
    for ending, starts in _BESIDE.items():
        for beside in (path.with_name(path.name + ending), path.with_suffix(ending)):
            if beside != path and beside.is_file() and not first_bytes(beside, 16).startswith(starts):
                raise error(f"{what}: {beside.name} beside it is not what its name says; delete it")
