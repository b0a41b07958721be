"""A town's site file: the parcel's table selects many lots, and the heights may lie in many rasters.

`read_town_file(path, mosaic=...) -> TownFile`. A folder or list of rasters is read through a virtual raster over them,
whose text is `TownFile.mosaic`; whoever writes it puts it where `mosaic` says before anything is opened.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.inputs.errors import SiteFileError
from pipelines.inputs.site_file import SiteFile, read_site_file
from terrain.reading.mosaic import mosaic_text
from terrain.shown_text import quoted

RASTERS = (".tif", ".tiff", ".img", ".asc")
"""Endings of the files of a folder that are taken for its rasters."""


@dataclass(frozen=True, slots=True, eq=False)
class TownFile:
    """A town's site file.

    Attributes
    ----------
    site : SiteFile
        With `[elevation] file` the one raster, or the virtual one over several.
    rasters : tuple of Path
        That hold the heights.
    mosaic : str or None
        Text of the virtual raster; None where the file names one raster.
    """

    site: SiteFile
    rasters: tuple[Path, ...]
    mosaic: str | None


def read_town_file(path: Path, *, mosaic: Path, where: str | None = None) -> TownFile:
    """Read a town's site file.

    Parameters
    ----------
    path : Path
        The file.
    mosaic : Path
        Where a virtual raster over several will lie.
    where : str, optional
        Filter of parcels in place of what the file says.

    Returns
    -------
    TownFile
        The site and its rasters.

    Raises
    ------
    LotshedError
        If it cannot be read, or names what cannot be used.
    """
    found: list[Path] = []

    def one_raster(table: dict[str, Any]) -> dict[str, Any]:
        section = table.get("elevation")
        named = section.get("file") if isinstance(section, dict) else None
        if where is not None and isinstance(table.get("parcel"), dict):
            table = {**table, "parcel": {**table["parcel"], "where": where}}
        several = isinstance(named, list) or (isinstance(named, str) and Path(path.parent, named).is_dir())
        if not several or not isinstance(section, dict):
            return table
        found.extend(_rasters(path, named))
        # stands in for the mosaic, which is not written yet; all are checked to be alike
        return {**table, "elevation": {**section, "file": str(found[0])}}

    site = read_site_file(path, changed=one_raster)
    if not found:
        return TownFile(site, (site.elevation.file,), None)
    text = mosaic_text(found)
    elevation = site.elevation.model_copy(update={"file": mosaic.absolute()})
    return TownFile(site.model_copy(update={"elevation": elevation}), tuple(found), text)


def _rasters(path: Path, named: Any) -> list[Path]:
    if isinstance(named, str):
        folder = Path(path.parent, named)
        rasters = sorted(each for each in folder.iterdir() if each.suffix.lower() in RASTERS)
        if not rasters:
            raise SiteFileError(
                f"site file {path}: [elevation] file = {quoted(named)} is a folder without rasters "
                f"({', '.join(RASTERS)}); name the folder that holds them"
            )
        return [each.absolute() for each in rasters]
    rasters = [Path(path.parent, each).absolute() for each in named if isinstance(each, str)]
    missing = [str(each) for each in rasters if not each.is_file()]
    if missing or len(rasters) != len(named) or not rasters:
        what = quoted(missing[0]) + " does not exist" if missing else "holds something that is no path"
        raise SiteFileError(f"site file {path}: [elevation] file: {what}; list paths in quotes")
    return rasters
