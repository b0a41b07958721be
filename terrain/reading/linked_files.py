"""Files that name other files: what they name must lie in their own folder or below.

`refuse_links(path, root, what, error)` follows a virtual raster or a virtual vector file through all its levels before
GDAL opens it. Only elements that are known to do no harm may stand in one; nothing in it may name an address.
"""

import contextlib
import re
from collections.abc import Iterator
from contextvars import ContextVar
from pathlib import Path
from xml.etree import ElementTree

from terrain.errors import LotshedError
from terrain.reading.named_file import read_named_file, refuse_no_file

RASTER_ROOT, VECTOR_ROOT = "VRTDataset", "OGRVRTDataSource"
MOST_BYTES = 50_000_000
"""Of a virtual file. [byte]"""
MOST_FILES = 20_000
"""That one virtual file may lead to. [-]"""
MOST_LEVELS = 8
"""Of virtual files that name virtual files. [-]"""
_ANYWHERE: ContextVar[bool] = ContextVar("links_anywhere", default=False)
# what stands at the start of an address or of one of GDAL's names for something that is no file
_NO_PATH = re.compile(r"\s*(<|\{|/vsi|[A-Za-z][A-Za-z0-9+_.-]+:)|.*(://|/vsi)", re.DOTALL | re.IGNORECASE)
_NAMES_A_FILE = {"SourceFilename", "SourceDataset", "SrcDataSource"}
_ELEMENTS = {
    RASTER_ROOT: {
        "VRTDataset", "SRS", "GeoTransform", "Metadata", "MDI", "VRTRasterBand", "ColorInterp", "NoDataValue", "Offset",
        "Scale", "UnitType", "Description", "CategoryNames", "Category", "ColorTable", "Entry", "HideNoDataValue",
        "NODATA", "UseMaskBand", "SimpleSource", "ComplexSource", "AveragedSource", "NoDataFromMaskSource",
        "SourceFilename", "SourceBand", "SourceProperties", "SrcRect", "DstRect", "ScaleOffset", "ScaleRatio", "LUT",
        "ColorTableComponent", "Exponent", "SrcMin", "SrcMax", "DstMin", "DstMax", "Clamp", "MaskBand", "Overview",
        "OverviewList", "Histograms", "HistItem", "HistMin", "HistMax", "BucketCount", "IncludeOutOfRange",
        "Approximate", "HistCounts", "GCPList", "GCP", "BlockXSize", "BlockYSize", "GDALWarpOptions",
        "WarpMemoryLimit", "ResampleAlg", "WorkingDataType", "Option", "SourceDataset", "Transformer",
        "ApproxTransformer", "MaxError", "BaseTransformer", "GenImgProjTransformer", "SrcGeoTransform",
        "SrcInvGeoTransform", "DstGeoTransform", "DstInvGeoTransform", "ReprojectTransformer",
        "ReprojectionTransformer", "SourceSRS", "TargetSRS", "BandList", "BandMapping", "SrcNoDataReal",
        "SrcNoDataImag", "DstNoDataReal", "DstNoDataImag", "SrcAlphaBand", "DstAlphaBand",
    },
    VECTOR_ROOT: {
        "OGRVRTDataSource", "OGRVRTLayer", "SrcDataSource", "SrcLayer", "FID", "GeometryType", "LayerSRS",
        "GeometryField", "SRS", "Field", "ExtentXMin", "ExtentYMin", "ExtentXMax", "ExtentYMax", "FeatureCount",
        "SrcRegion", "UseSpatialSubquery",
    },
}  # fmt: skip
# each of these GDAL tells by its first bytes, whatever the file is called
_RASTER_STARTS = (
    b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"EHFA_HEADER_TAG", b"\x89PNG", b"\xff\xd8\xff", b"\0\0\0\x0cjP",
)  # fmt: skip


@contextlib.contextmanager
def links_anywhere() -> Iterator[None]:
    """Let virtual files name files outside their own folder for as long as this lasts."""
    before = _ANYWHERE.set(True)
    try:
        yield
    finally:
        _ANYWHERE.reset(before)


def is_virtual(path: Path, root: str) -> bool:
    """Whether GDAL would take a file for a virtual one."""
    return f"<{root}".encode() in first_bytes(path)


def first_bytes(path: Path, count: int = 65_536) -> bytes:
    """The first bytes of a file."""
    with path.open("rb") as file:
        return file.read(count)


def refuse_links(path: Path, root: str, what: str, error: type[LotshedError]) -> tuple[Path, ...]:
    """Raise unless all that a virtual file leads to lies in its folder; gives the files at the ends, each once."""
    found: dict[Path, None] = {}
    _follow(path, root, what, error, found, frozenset())
    return tuple(each for each, _ in found.items())


def _follow(
    path: Path, root: str, what: str, error: type[LotshedError], found: dict[Path, None], above: frozenset[Path]
) -> None:
    # GDAL too reads a virtual file by the folder that it really lies in
    real = path.resolve()
    if real in above or len(above) >= MOST_LEVELS:
        raise error(f"{what}: {path.name} leads back to itself, or over more than {MOST_LEVELS} virtual files; mend it")
    for named, relative in _files_named(real, root, what, error):
        source = _source(real, named, relative, what, error)
        if source in found:
            continue
        if is_virtual(source, root):
            _follow(source, root, what, error, found, above | {real})
        elif root == RASTER_ROOT and not first_bytes(source, 16).startswith(_RASTER_STARTS):
            raise error(f"{what} names {source.name}, which is no GeoTIFF, IMG, PNG or JPEG; convert it to a GeoTIFF")
        found[source] = None
        if len(found) > MOST_FILES:
            raise error(f"{what} leads to more than {MOST_FILES:,} files; cut it to the ground that matters")


def _files_named(path: Path, root: str, what: str, error: type[LotshedError]) -> Iterator[tuple[str, bool]]:
    """What a virtual file names, and whether by its own folder."""
    text = read_named_file(path, what, error, most_bytes=MOST_BYTES)
    # what two readers of XML may take in two ways
    if any(each in text for each in (b"<!", b"\0")) or b"<?" in text[2:]:
        raise error(f"{what}: {path.name} holds comments or declarations; write it again without them")
    try:
        tree = ElementTree.fromstring(text)
    except (ElementTree.ParseError, LookupError, ValueError) as fault:
        raise error(f"{what}: {path.name} is no virtual file that can be read ({fault}); write it again") from None
    if tree.tag != root:
        raise error(f"{what}: {path.name} begins with {tree.tag[:40]}, not with {root}; write it again")
    for element in tree.iter():
        if element.tag not in _ELEMENTS[root] or "OVERVIEW_FILE" in element.attrib.values():
            raise error(
                f"{what}: {path.name} holds the element {element.tag[:40]}, and only plain sources of their own folder "
                "are read from a virtual file: no script, no query, no raw bytes; write it to a file of its own"
            )
        if element.tag in _NAMES_A_FILE:
            relative = next((held for name, held in element.attrib.items() if name.lower() == "relativetovrt"), "0")
            if len(element) or relative not in ("0", "1"):
                raise error(f"{what}: {path.name} names a file in a way that is not read; write it again")
            yield element.text or "", relative == "1"


def _source(path: Path, named: str, relative: bool, what: str, error: type[LotshedError]) -> Path:
    if _NO_PATH.match(named) or named != named.strip():
        raise error(
            f'{what} points at "{named.strip()[:80]}", which is no file beside it; nothing that a file points at is '
            "fetched: fetch it yourself and give that file"
        )
    source = (path.parent / named if relative else Path(named)).resolve()
    if not _ANYWHERE.get() and not source.is_relative_to(path.parent):
        raise error(
            f'{what} points at "{named[:80]}", which lies outside its folder {path.parent}; move it there, or allow '
            "that with --allow-linked"
        )
    refuse_no_file(source, f"{what} points at {source.name}, which", error)
    return source
