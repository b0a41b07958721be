"""Ground and roofs found in lidar, as files beside the site file that names them."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pyogrio
import rasterio

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.geotiff import write_geotiff
from pipelines.deliverables.files.layer_table import Column, Layer
from pipelines.deliverables.files.place import refuse_if_open
from pipelines.deliverables.unit_systems import from_si
from pipelines.inputs.lidar_finds import GroundFinds, LidarFinds
from terrain.unit_table import Units

_COLUMNS = (
    Column("id", "text", "", "", "number of the outline"),
    Column("found_in_lidar", "boolean", "", "", "found in lidar rather than drawn or surveyed"),
    Column("by_class", "boolean", "", "", "the producer of the points classed it; else it stands 2 m up and is planar"),
    Column("area", "real", "m2", "ft2", "of the outline"),
)
_LAYERS = {
    "roofs": Layer("roofs", "Roofs", "Outlines of eaves, found in lidar. Check them before use.", "Polygon", _COLUMNS),
    "water": Layer("water", "Water", "Standing water, as the points are classed.", "Polygon", _COLUMNS),
}
_PROGRAM = "lotshed"
_MADE_BY = "made_by"


@dataclass(frozen=True, slots=True)
class FoundPlaces:
    """Where the ground raster and the outlines go, beside a site file."""

    ground: Path
    outlines: Path

    @classmethod
    def beside(cls, site: Path) -> "FoundPlaces":
        """`ground.tif` and `found.gpkg`, with the site file's name before them where it has one of its own."""
        before = "" if site.stem == "site" else f"{site.stem}_"
        return cls(site.with_name(f"{before}ground.tif"), site.with_name(f"{before}found.gpkg"))

    def check(self, *, ground: bool, overwrite: bool) -> None:
        """Refuse to write over what is not ours, or without being asked to, before the work is done."""
        for path in (self.ground, self.outlines) if ground else (self.outlines,):
            if not path.exists():
                continue
            if not _is_ours(path):
                raise HandoverError(
                    f"{path} exists and was not written by {_PROGRAM}, so it stays. Give the site file another name or "
                    "folder with --out."
                )
            if not overwrite:
                raise HandoverError(f"{path} exists. Give another name with --out, or --overwrite to replace it.")
            refuse_if_open(path)


@contextmanager
def found_files(
    places: FoundPlaces, ground: GroundFinds | None, found: LidarFinds, units: Units
) -> Iterator[tuple[Path | None, Callable[[], None]]]:
    """Write what was found into a hidden folder; gives the ground's file there, and what moves all into place."""
    folder = places.outlines.resolve().parent
    try:
        hidden = Path(tempfile.mkdtemp(prefix=".found.building-", dir=folder))
    except OSError as error:
        raise HandoverError(f"{folder} cannot be written: {error.strerror or error}. Give another --out.") from error
    written: dict[Path, Path] = {}
    try:
        if ground is not None:
            written[hidden / places.ground.name] = places.ground
            write_geotiff(hidden / places.ground.name, ground.raster, crs=ground.crs, tags=_tags(ground, found))
        if found.roofs or found.water:
            written[hidden / places.outlines.name] = places.outlines
            _write_outlines(hidden / places.outlines.name, found, units)

        def move() -> None:
            for path, place in written.items():
                os.replace(path, place)

        yield hidden / places.ground.name if ground is not None else None, move
    finally:
        shutil.rmtree(hidden, ignore_errors=True)


def _is_ours(path: Path) -> bool:
    if not path.is_file():
        return False
    try:
        if path.suffix == ".gpkg":
            return "found_in_lidar" in pyogrio.read_info(path, layer="roofs")["fields"]
        with rasterio.open(path) as file:
            return str(file.tags().get(_MADE_BY, "")).startswith(_PROGRAM)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, rasterio.errors.RasterioError):
        return False


def _tags(ground: GroundFinds, found: LidarFinds) -> dict[str, str]:
    return {
        _MADE_BY: _PROGRAM,
        "made_from": ", ".join(path.name for path in found.files),
        "made_how": "linear interpolation in the triangulation of ground (class 2) and water (class 9) of the LAS "
        "specification; nodata farther than three point spacings from any, but under roofs",
        "vertical_unit": ground.raster.unit,
        "points_used": str(ground.points),
        "points_left_out": str(ground.left_out),
        "ground_point_spacing_m": f"{ground.spacing:.3f}",
    }


def _write_outlines(path: Path, found: LidarFinds, units: Units) -> None:
    area = "area_ft2" if units == "us" else "area_m2"
    tables = {}
    for name, shapes in (("roofs", found.roofs), ("water", found.water)):
        values = {
            "id": [f"{name[0].upper()}{number}" for number in range(1, len(shapes) + 1)],
            "found_in_lidar": [True] * len(shapes),
            "by_class": [found.by_class or name == "water"] * len(shapes),
            area: from_si([shape.area for shape in shapes], area.rpartition("_")[2]),
        }
        tables[name] = gpd.GeoDataFrame(values, geometry=gpd.GeoSeries([found.frame.to_map(each) for each in shapes]))
    write_geopackage(path, tables, crs=found.frame.crs, units=units, others=_LAYERS)
