"""The plugin of a desktop GIS as one file: its source, what lotshed can do, metadata and icon."""

import io
import json
import zipfile
from importlib.metadata import metadata
from importlib.resources import files
from typing import Any

NAME = "lotshed_plugin"
"""Of the folder in it, which is the plugin's name to the host."""
LEAST_HOST = "3.22"
"""The host's oldest version that it was tried with."""
ABOUT = (
    "The steps and jobs of lotshed as algorithms: where water comes from, where it stands, where it may leave, and "
    "what that takes, from public lidar and a parcel line. lotshed runs beside this GIS in a Python environment of its "
    "own; the plugin finds it or asks where it is. A pre-screen, not a survey and not an engineer's design: local code "
    "and licensed practice come first. Call before you dig."
)
WHEN = (2026, 1, 1, 0, 0, 0)
"""Of every file in it, so that the same version gives the same bytes."""


def plugin_bytes(description: dict[str, Any]) -> bytes:
    """The plugin as a zip file that the host installs."""
    from pipelines.deliverables.files.styles import marker_svg
    from pipelines.deliverables.files.symbols import symbols

    source = files("cli.gis") / "host" / NAME
    held = {each.name: each.read_text(encoding="utf-8") for each in source.iterdir() if each.name.endswith(".py")}
    held |= {
        "description.json": json.dumps(description, indent=1, sort_keys=True) + "\n",
        "metadata.txt": plugin_metadata(),
        "icon.svg": marker_svg(symbols()["catch_basins"][0]),
        "LICENSE": _licence(),
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in sorted(held.items()):
            archive.writestr(zipfile.ZipInfo(f"{NAME}/{name}", WHEN), text, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def plugin_metadata() -> str:
    """What the host reads first; addresses only where the package has them."""
    package = metadata("lotshed")
    told = {key: package[key] for key in package}
    addresses = dict(line.split(", ", 1) for line in package.get_all("Project-URL") or [])
    rows = {
        "name": "lotshed",
        "qgisMinimumVersion": LEAST_HOST,
        "description": told["Summary"],
        "about": ABOUT,
        "version": told["Version"],
        "author": told.get("Author") or "the maintainers of lotshed",
        "email": told.get("Author-email") or "",
        "homepage": addresses.get("Homepage", ""),
        "repository": addresses.get("Repository", ""),
        "tracker": addresses.get("Issues", ""),
        "hasProcessingProvider": "yes",
        "category": "Analysis",
        "tags": (told.get("Keywords") or "").replace(" ", ","),
        "icon": "icon.svg",
        "experimental": "False",
        "deprecated": "False",
        "server": "False",
    }
    lines = [f"{key}={value}" for key, value in rows.items() if value]
    return "\n".join(["[general]", *lines]) + "\n"


def _licence() -> str:
    package = metadata("lotshed")
    told = {key: package[key] for key in package}
    return f"lotshed and this plugin: {told.get('License-Expression') or told.get('License') or 'GPL-3.0-or-later'}\n"
