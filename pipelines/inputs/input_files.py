"""Every file that a run read, with the hash that tells whether it is still the same."""

import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

from pipelines.inputs.file_hash import sha256_of
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from terrain.reading.named_file import address_of
from terrain.reading.raster_source import RasterSource

# a shapefile is several files that make one layer, and a large IMG keeps its numbers in a second one
_PARTS = {".shp": (".shx", ".dbf", ".prj", ".cpg"), ".img": (".ige",)}


@dataclass(frozen=True, slots=True)
class FileRead:
    """A file that was read.

    Attributes
    ----------
    key : str
        Tables of the site file that name it, with commas between.
    sha256 : str
        Of its bytes; of a folder, of its files' names and hashes in order.
    cell_size : float or None
        Of a raster, the longer side of its cells. [m]
    """

    key: str
    file: str
    sha256: str
    crs: str | None
    cell_size: float | None


def input_files(site: SiteFile, source: RasterSource, layers: SiteLayers) -> tuple[FileRead, ...]:
    """Files of a run, the site file first, each once."""
    keys: dict[Path, list[str]] = {}
    for key, path in _paths(site, layers):
        names = keys.setdefault(path, [])
        if key not in names:
            names.append(key)
    crs_of = {layer.source.file: _crs_in_words(layer.crs) for layer in layers.sources}
    crs_of[site.elevation.file] = _crs_in_words(source.crs)
    cell = max(source.cell_width, source.cell_height)
    read = []
    for path, names in keys.items():
        for part in (path, *_parts(path)):
            read.append(
                FileRead(
                    key=", ".join(names),
                    file=handed_over_path(site.folder, part),
                    sha256=sha256_of(part),
                    crs=crs_of.get(path) if part == path else None,
                    cell_size=cell if path == site.elevation.file and part == path else None,
                )
            )
    return tuple(read)


def path_from(folder: Path, path: Path) -> str:
    """A path as written in a site file of that folder, with forward slashes; an address as it is."""
    address = address_of(path)
    if address is not None:
        return address
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def handed_over_path(folder: Path, path: Path) -> str:
    """A path as a result names it: none over the root or a home, which would tell whose machine it was; no password."""
    address = address_of(path)
    if address is not None:
        told = urlsplit(address)
        return urlunsplit((told.scheme, told.netloc.rpartition("@")[2], told.path, "", ""))
    ours, theirs = folder.resolve(), path.resolve()
    home = Path(os.path.expanduser("~"))
    shared = next((each for each in theirs.parents if each == ours or each in ours.parents), None)
    if shared is None or shared == Path(shared.anchor) or (shared in home.parents and shared != ours):
        return path.name
    return path_from(folder, path)


def _paths(site: SiteFile, layers: SiteLayers) -> list[tuple[str, Path]]:
    paths = [("site", site.path), ("elevation", site.elevation.file)]
    paths += [(layer.key, layer.source.file) for layer in layers.sources]
    others = {
        "traced": site.traced.file if site.traced else None,
        "picture": site.picture.file if site.picture else None,
        "levels": site.levels.file if site.levels else None,
        "rain": site.rain.table,
        "pump": site.pump.curve if site.pump else None,
        "prices": site.prices.file if site.prices else None,
    }
    paths += [(key, path) for key, path in others.items() if path is not None]
    return paths


def _parts(path: Path) -> tuple[Path, ...]:
    suffixes = _PARTS.get(path.suffix.lower(), ())
    return tuple(part for suffix in suffixes if (part := path.with_suffix(suffix)).exists())


def _crs_in_words(crs: object) -> str:
    from pyproj import CRS

    assert isinstance(crs, CRS)
    authority = crs.to_authority()
    return f"{crs.name} ({authority[0]}:{authority[1]})" if authority else str(crs.name)
