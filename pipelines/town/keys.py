"""Hashes by which a finished lot is known again: of what was asked, and of what was read."""

import hashlib
import json
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from pipelines.deliverables.findings.lot import InputFile
from pipelines.deliverables.findings.town import Depth
from pipelines.inputs.file_hash import sha256_of
from pipelines.inputs.input_files import handed_over_path
from pipelines.inputs.site_file import SiteFile

SECTIONS = (
    "roofs", "hardscape", "barriers", "keep_out", "utilities", "right_of_way", "downspouts", "culverts", "outfalls",
    "complaints", "parcel", "swales",
)  # fmt: skip
_NOT_ASKED = {"path", "name"}
_WHOLE = {"rain", "traced", "pump", "prices", "levels"}


def files_of(site: SiteFile, rasters: Sequence[Path]) -> tuple[InputFile, ...]:
    """Files that a town's lots are made of, each once, with the hash of its bytes.

    Parameters
    ----------
    site : SiteFile
        Of the town.
    rasters : sequence of Path
        That hold its heights.

    Returns
    -------
    tuple of InputFile
        The site file first.
    """
    keys: dict[Path, list[str]] = {site.path: ["site"]}
    for raster in rasters:
        keys.setdefault(raster, []).append("elevation")
    for name in SECTIONS:
        section = getattr(site, name)
        if section is not None:
            keys.setdefault(section.file, []).append(name)
    others = {
        "layout": site.layout.forbidden.file if site.layout.forbidden else None,
        "soil": site.soil.file, "rain": site.rain.table, "traced": site.traced.file if site.traced else None,
        "pump": site.pump.curve if site.pump else None, "prices": site.prices.file if site.prices else None,
        "levels": site.levels.file if site.levels else None,
    }  # fmt: skip
    for name, path in others.items():
        if path is not None:
            keys.setdefault(path, []).append(name)
    return tuple(
        InputFile(", ".join(names), handed_over_path(site.folder, path), sha256_of(path), None, None)
        for path, names in keys.items()
    )


def asked_key(site: SiteFile, depth: Depth, grounds: int, water: str = "", tables: str = "") -> str:
    """Hash of what is asked of each lot: the version, the site file's choices, the depth, the grounds, the water of the
    town that it is planned with, and the bytes of tables that every lot reads whole."""
    # which lots are selected and what swales they send to changes nothing of a lot's own answer
    chosen = site.model_dump(mode="json", exclude=_NOT_ASKED | {"swales"}, by_alias=True, fallback=str)
    chosen["parcel"].pop("where", None)
    chosen["elevation"].pop("file", None)
    words = json.dumps(chosen, sort_keys=True, default=str)
    return _hash(version("lotshed"), words, depth, str(grounds), water, tables)


def swales_key(site: SiteFile, tables: str) -> str:
    """Hash of what is asked of each group of swales; all that one is made from beside it comes with its task."""
    chosen = site.model_dump(mode="json", exclude=_NOT_ASKED, by_alias=True, fallback=str)
    chosen["parcel"].pop("where", None)
    chosen["elevation"].pop("file", None)
    return _hash(version("lotshed"), json.dumps(chosen, sort_keys=True, default=str), tables)


def read_key(files: Sequence[InputFile]) -> str:
    """Hash of the bytes of all files but the site file, whose choices are asked for."""
    return _hash(*(f"{file.file} {file.sha256}" for file in files if file.key != "site"))


def tables_key(files: Sequence[InputFile]) -> str:
    """Hash of the bytes of the files that every lot reads whole."""
    return _hash(*(f"{file.file} {file.sha256}" for file in files if _WHOLE & set(file.key.split(", "))))


def _hash(*parts: str) -> str:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part.encode("utf-8", "surrogatepass") + b"\0")
    return digest.hexdigest()
