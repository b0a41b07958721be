"""A traced file in the place of a site's tables, before the site file is checked."""

from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.shape_repair import some
from pipelines.inputs.traced.traced_file import PLACES, TracedFile, read_traced
from terrain.grid import Grid
from terrain.metric_frame import moved_shapes


def with_traced(table: dict[str, Any], folder: Path) -> dict[str, Any]:
    """A site file's tables with those that its traced file replaces; as they are where it names none that is there."""
    section = table.get("traced")
    name = section.get("file") if isinstance(section, dict) else None
    if not isinstance(name, str) or not Path(folder, name).exists():
        # the site file's own check says what is wrong
        return table
    traced = read_traced(Path(folder, name))
    found = {key: value for key, value in table.items() if key not in traced.replaces or key in ("soil", "house")}
    for key in traced.tables:
        if key != "house":
            source = {"file": name, "where": f"\"table\" = '{key}'"}
            found[key] = {**_kept(table, key), **source} if key == "soil" else source
    if "soil" in traced.replaces and "soil" not in traced.tables and "soil" in table:
        found["soil"] = _kept(table, "soil")
    for section_name, key, answer in _answers(traced):
        # an answer stands for a layer that the site file names, and outside what was drawn
        instead = section_name == "soil" and "soil" not in traced.tables
        kept = _kept(found, "soil") if instead else found.get(section_name, {})
        if isinstance(kept, dict):
            found[section_name] = {**kept, key: answer}
    return found


def refuse_outside(path: Path, grid: Grid) -> None:
    """Refuse a traced file of another place: each shape must touch the raster."""
    traced = read_traced(path)
    whole = shapely.box(*grid.bounds)
    outside: list[str] = []
    for key, shapes in traced.tables.items():
        placed = grid.frame.from_map(moved_shapes(CRS("OGC:CRS84"), grid.frame.crs, shapes.geometry.to_numpy()))
        finite = np.isfinite(shapely.bounds(placed)).all(axis=1)
        off = ~(finite & shapely.intersects(placed, whole))
        outside += [f"{each} ({key})" for each in shapes["id"][off]]
    if outside:
        raise LayerError(
            f"[traced] {path.name}: feature {some(outside)} lies outside the ground raster; it was drawn of another "
            "place, or its coordinates are not longitude and latitude"
        )


def _answers(traced: TracedFile) -> list[tuple[str, str, Any]]:
    """Table, key and value of each answer; a placed sill is the floor's level."""
    found = [(*PLACES[name], answer) for name, answer in traced.answers.items() if answer is not None]
    sills = traced.tables["house"]["floor_m"].dropna() if "house" in traced.tables else ()
    if len(sills):
        found.append(("house", "floor", f"{float(min(sills)):.3f} m"))
    return found


def _kept(table: dict[str, Any], key: str) -> dict[str, Any]:
    """A table of soil without what said which layer or group."""
    section = table.get(key, {})
    if not isinstance(section, dict):
        return {}
    return {name: value for name, value in section.items() if name not in ("file", "layer", "where", "group")}
