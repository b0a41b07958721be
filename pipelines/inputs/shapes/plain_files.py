"""Which vector files are opened: formats that hold their own shapes, told by their first bytes before GDAL is asked."""

import re
import stat
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipelines.inputs.errors import InputFileError
from pipelines.inputs.shapes.drawing import MOST_BYTES, is_drawing
from terrain.reading.database_file import is_database, refuse_odd_database
from terrain.reading.linked_files import VECTOR_ROOT, first_bytes, is_virtual, refuse_links
from terrain.reading.named_file import refuse_no_file, refuse_odd_siblings

FORMATS = "a GeoPackage, shapefile, GeoJSON or another file of shapes"
ALONE_IN_ZIP = (".gpkg", ".geojson", ".json", ".fgb", ".kml", ".gpx", ".dxf", ".parquet", ".geoparquet", ".csv", ".gdb")
"""What may lie alone in a zip, with texts about it beside."""
_SHAPEFILE = {".shp", ".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".qpj", ".xml", ".txt", ".pdf", ".html"}
_ROOTS = re.compile(rb"\s*(?:<\?xml[^>]*\?>\s*)?(?:<!--.*?-->\s*)*<(?:\w+:)?(kml|gpx)\b", re.DOTALL)
# a step of GDAL's own that is written as JSON, and may read and fetch what it likes
_RUNS = b"gdal_streamed_alg"
MOST_UNPACKED = 1_000_000_000
"""Of shapes kept as text, and of what a zip unpacks to. [byte]"""
_MOST_IN_ZIP = 2_000
_TEXTS = {".txt", ".md", ".pdf", ".html", ".xml"}


def refuse_no_plain_file(path: Path, where: str) -> None:
    """Raise unless a vector file is one that holds its own shapes: regular, of a known format, leading nowhere."""
    if path.is_dir() and path.suffix.lower() == ".gdb":
        return _refuse_odd_folder(path, where)
    refuse_no_file(path, f"{where}: {path}", InputFileError)
    refuse_odd_siblings(path, where, InputFileError)
    if is_database(path):
        return refuse_odd_database(path, where, InputFileError)
    start = first_bytes(path)
    if start.startswith(b"PK\3\4"):
        return _refuse_odd_zip(path, where)
    if is_virtual(path, VECTOR_ROOT):
        for source in refuse_links(path, VECTOR_ROOT, where, InputFileError):
            if not is_virtual(source, VECTOR_ROOT):
                refuse_no_plain_file(source, f"{where}, {source.name}")
        return None
    if not _is_known(start, path.suffix.lower()):
        raise InputFileError(f"{where}: it is no vector file that can be read, or is torn; give {FORMATS}")
    if is_drawing(start) and path.stat().st_size > MOST_BYTES:
        raise InputFileError(f"{where}: it is larger than {MOST_BYTES / 1e6:g} MB; cut the drawing to what matters")
    if _is_text(start):
        _refuse_steps(path, where)
    return None


def _is_known(start: bytes, suffix: str) -> bool:
    text = start.removeprefix(b"\xef\xbb\xbf").lstrip()
    lower = text[:4096].lower()
    return (
        start.startswith((b"\0\0\x27\x0a", b"fgb\x03"))
        or (suffix in (".dbf", ".shx") and start[:1] in b"\x03\x30\x83\x8b\0")
        or text.startswith((b"{", b"[", b"\x1e"))
        or (_ROOTS.match(text) is not None and b"datasource" not in lower)
        or (lower.startswith(b"!table") and b"view" not in lower and b"open" not in lower)
        or (suffix == ".mif" and lower.startswith(b"version"))
        or (suffix == ".dxf" and is_drawing(start))
        or (suffix in (".csv", ".tsv") and not text.startswith(b"<"))
    )


def _is_text(start: bytes) -> bool:
    return start.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"{", b"[", b"<", b"\x1e")


def _refuse_steps(path: Path, where: str) -> None:
    if path.stat().st_size > MOST_UNPACKED:
        raise InputFileError(f"{where}: it is larger than {MOST_UNPACKED / 1e9:g} GB; give a GeoPackage or cut it down")
    before = b""
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            if _RUNS in before + block:
                raise InputFileError(f"{where}: it is a step that GDAL would run, and holds no shapes; give {FORMATS}")
            before = block[-len(_RUNS) :]


def _refuse_odd_folder(path: Path, where: str) -> None:
    for each in path.iterdir():
        if not stat.S_ISREG(each.lstat().st_mode):
            raise InputFileError(f"{where}: {each.name} in it is no regular file; copy the geodatabase again")
    if not (path / "a00000001.gdbtable").exists():
        raise InputFileError(f"{where}: it is no geodatabase that can be read; give {FORMATS}")


def held_in_zip(path: Path, where: str) -> str | None:
    """The one file or geodatabase of a zip that is to be unpacked; None where GDAL reads the zip itself."""
    if path.is_dir() or first_bytes(path, 4) != b"PK\3\4" or path.suffix.lower() == ".kmz":
        return None
    with _opened_zip(path, where) as archive:
        return _alone([each.filename for each in archive.infolist() if not each.is_dir()])


def _alone(names: list[str]) -> str | None:
    found = set()
    for name in names:
        at = Path(name)
        if at.parent.suffix.lower() == ".gdb":
            found.add(str(at.parent))
        elif at.suffix.lower() not in _TEXTS:
            found.add(name)
    (one, *more) = sorted(found) or [""]
    return None if more or Path(one).suffix.lower() not in ALONE_IN_ZIP else one


@contextmanager
def _opened_zip(path: Path, where: str) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            if len(archive.infolist()) > _MOST_IN_ZIP:
                raise InputFileError(f"{where}: it holds more than {_MOST_IN_ZIP:,} files; unpack it first")
            yield archive
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as error:
        if isinstance(error, InputFileError):
            raise
        raise InputFileError(f"{where}: it is no vector file that can be read, or is torn; give {FORMATS}") from None


def _refuse_odd_zip(path: Path, where: str) -> None:
    """Of a zip a shapefile is read, which cannot lead elsewhere, or one file alone; of a KMZ its KML."""
    allowed = {".kml", ".png", ".jpg"} if path.suffix.lower() == ".kmz" else _SHAPEFILE
    with _opened_zip(path, where) as archive:
        held = archive.infolist()
        alone = path.suffix.lower() != ".kmz" and _alone([each.filename for each in held if not each.is_dir()])
        for each in held:
            name = Path(each.filename)
            if alone or each.is_dir():
                continue
            if name.suffix.lower() not in allowed:
                raise InputFileError(
                    f"{where}: {name.name[:80]} in it is no part of a shapefile, nor one file of shapes alone; unpack "
                    "it first"
                )
            if name.suffix.lower() == ".shp" and archive.open(each).read(4) != b"\0\0\x27\x0a":
                raise InputFileError(f"{where}: {name.name[:80]} in it is no shapefile; unpack it first")
    if sum(each.file_size for each in held) > MOST_UNPACKED:
        raise InputFileError(f"{where}: it unpacks to more than {MOST_UNPACKED / 1e9:g} GB; unpack it and cut it down")
