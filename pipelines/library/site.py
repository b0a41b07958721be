"""A site as a notebook holds it: arrays, GeoDataFrames and quantities as text, or a site file."""

import json
import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio

from pipelines.inputs.errors import InputFileError, LayerError
from pipelines.inputs.site_file import SECTIONS
from terrain.errors import GroundError
from terrain.reading.named_file import address_of

NODATA = -999999.0
SHAPES = (
    "parcel", "roofs", "hardscape", "barriers", "keep_out", "utilities", "right_of_way", "downspouts", "culverts",
    "outfalls", "complaints", "swales",
)  # fmt: skip
TABLES = {"elevation": "file", "rain": "table", "pump": "curve", "prices": "file", "levels": "file", "traced": "file"}
"""Further sections that may be a file alone, and the key that names it."""
FILES = ("file", "table", "curve")


class Site:
    """One site to screen or to check.

    Parameters
    ----------
    elevation : path, (array, transform, crs) or mapping
        Bare ground: a raster file; or a (rows, cols) array, its affine transform and its CRS, NaN where unknown; or
        the keys of `[elevation]` with either of these under `file`, such as `{"file": "ground.tif", "rmse": "10 cm"}`.
        Heights in metres, or in `unit`. [m]
    parcel : path, GeoDataFrame, GeoSeries or mapping
        The lot, in any CRS; a mapping takes the keys of the site file: file, layer, where, crs.
    name : str
        Of the site.
    units : str
        us or si, of layers and tables.
    **sections : mapping, path, GeoDataFrame or DataFrame
        Whatever else a site file holds, under the same names: `roofs`, `hardscape`, `outfalls`, ... as `parcel`;
        `rain={"depth": "3 in", "duration": "60 min"}`, `soil={"group": "B"}`, `rules={"cover_lawn": "8 in"}`; rain,
        pump and prices also as a DataFrame with the columns of their files.

    Raises
    ------
    LotshedError
        If a section is unknown, an array has no transform or CRS, or shapes have no CRS.

    Examples
    --------
    >>> import geopandas, numpy
    >>> from affine import Affine
    >>> from shapely import box
    >>> ground = numpy.full((40, 40), 100.0)
    >>> lot = geopandas.GeoDataFrame(geometry=[box(500010, 4400010, 500030, 4400030)], crs=32617)
    >>> Site((ground, Affine(1, 0, 500000, 0, -1, 4400040), 32617), lot, name="Flat lot")
    Site 'Flat lot': elevation, parcel
    """

    def __init__(
        self, elevation: Any = None, parcel: Any = None, *, name: str = "", units: str = "us", **sections: Any
    ) -> None:
        unknown = sorted(sections.keys() - set(SECTIONS))
        if unknown:
            raise InputFileError(f"a site has no {', '.join(unknown)}; it may have {', '.join(sorted(SECTIONS))}")
        self.name = name
        self.units = units
        self._given = {"elevation": elevation, "parcel": parcel, **sections}
        missing = [key for key in ("elevation", "parcel") if self._given[key] is None]
        if missing:
            raise InputFileError(f"{' and '.join(missing)} must be given: a path, or what is in memory")
        self._file: Path | None = None

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> "Site":
        """The site of a site file, which is read when a job asks for it.

        Parameters
        ----------
        path : path
            The site file.

        Returns
        -------
        Site
            Nothing of it is checked yet.
        """
        site = cls.__new__(cls)
        site.name, site.units, site._given, site._file = Path(path).stem, "", {}, Path(path)
        return site

    def __repr__(self) -> str:
        if self._file is not None:
            return f"Site of {self._file}"
        return f"Site {self.name!r}: {', '.join(key for key, value in self._given.items() if value is not None)}"

    @contextmanager
    def on_disk(self) -> Iterator[Path]:
        """The site file, and beside it what was in memory, for as long as a job runs.

        All that a site brings goes through the same checks, whether a person or a notebook made it.
        """
        if self._file is not None:
            yield self._file
            return
        with tempfile.TemporaryDirectory(prefix="lotshed-") as folder:
            place = Path(folder)
            table: dict[str, Any] = {"units": self.units} | ({"name": self.name} if self.name else {})
            for key, value in self._given.items():
                if value is not None:
                    table[key] = _section(key, value, place)
            site = place / "site.toml"
            site.write_text("".join(f"{key} = {_toml(value)}\n" for key, value in table.items()), encoding="utf-8")
            yield site


def _section(key: str, value: Any, folder: Path) -> Any:
    if isinstance(value, Mapping):
        return {name: _file(key, each, folder) if name in FILES else each for name, each in value.items()}
    return {TABLES.get(key, "file"): _file(key, value, folder)} if key in SHAPES or key in TABLES else value


def _file(key: str, value: Any, folder: Path) -> str:
    """Path of a file that is there, or of one made from what is in memory."""
    if isinstance(value, str | os.PathLike):
        return address_of(Path(value)) or str(Path(value).resolve())
    if key == "elevation":
        return _write_heights(value, folder)
    if isinstance(value, gpd.GeoDataFrame | gpd.GeoSeries):
        return _write_shapes(key, value, folder)
    if isinstance(value, pd.DataFrame):
        value.to_csv(folder / f"{key}.csv", index=False)
        return f"{key}.csv"
    raise LayerError(f"{key} is a {type(value).__name__}; give a path, or a GeoDataFrame, GeoSeries or DataFrame")


def _write_heights(value: Any, folder: Path) -> str:
    try:
        heights, transform, crs = value
        heights = np.asarray(heights, dtype=np.float64)
    except (TypeError, ValueError):
        raise GroundError(
            "elevation is a path, or an array with its transform and its CRS: (array, transform, crs)"
        ) from None
    if heights.ndim != 2 or crs is None:
        raise GroundError("elevation needs an array of rows and columns, and a CRS")
    with rasterio.open(
        folder / "elevation.tif", "w", driver="GTiff", height=heights.shape[0], width=heights.shape[1], count=1,
        dtype="float64", crs=crs, transform=transform, nodata=NODATA,
    ) as file:  # fmt: skip
        file.write(np.where(np.isfinite(heights), heights, NODATA), 1)
    return "elevation.tif"


def _write_shapes(key: str, shapes: gpd.GeoDataFrame | gpd.GeoSeries, folder: Path) -> str:
    if shapes.crs is None:
        raise LayerError(f"{key} has no CRS; set it with set_crs, such as set_crs(4326)")
    frame = shapes.to_frame("geometry") if isinstance(shapes, gpd.GeoSeries) else shapes
    frame.to_file(folder / f"{key}.gpkg", layer=key, engine="pyogrio")
    return f"{key}.gpkg"


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{json.dumps(str(key))} = {_toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, np.generic):
        value = value.item()
    return json.dumps(str(value) if isinstance(value, os.PathLike) else value, ensure_ascii=False)
