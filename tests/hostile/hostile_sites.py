"""Whole sites broken in one to three ways, each from a seed alone: a good small lot, and what a bad day makes of it."""

import json
import math
import shutil
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from hostile_values import any_value
from shapely import LineString, Point, box
from shapely.affinity import translate

from pipelines.inputs.rules import load_rules
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.site_file import SiteFile

EAST, NORTH, SIDE, CRS = 500_000.0, 4_400_000.0, 30, "EPSG:32617"
LAYERS: dict[str, list[dict[str, Any]]] = {
    "parcel": [{"lot": 1, "name": "Lot 1", "geometry": box(5.2, 4.0, 24.8, 25.7)}],
    "roofs": [{"open_below": False, "part": "house", "floor_m": 101.5, "geometry": box(10.2, 11.2, 19.8, 17.8)}],
    "hardscape": [{"kind": "patio", "protect": True, "geometry": box(11.2, 19.2, 18.8, 23.8)}],
    "barriers": [{"kind": "wall", "height_m": 0.5, "geometry": LineString([(6.0, 24.0), (9.0, 25.0)])}],
    "keep_out": [
        {
            "kind": "tree",
            "setback_m": 1.0,
            "crossing": "careful",
            "trunk_m": 0.3,
            "note": "old",
            "geometry": Point(7.0, 10.0),
        }
    ],
    "utilities": [
        {"kind": "gas", "crossing": "careful", "depth_m": 0.6, "geometry": LineString([(5.0, 8), (25.0, 8)])}
    ],
    "right_of_way": [{"kind": "street", "name": "street", "geometry": box(0.0, 0.0, 30.0, 4.0)}],
    "downspouts": [{"geometry": Point(10.2, 11.2)}, {"geometry": Point(19.8, 11.2)}],
    "culverts": [
        {
            "diameter_m": 0.3,
            "material": "pvc",
            "invert_up_m": 99.2,
            "invert_down_m": 99.1,
            "silt_m": 0.0,
            "geometry": LineString([(12.0, 1.6), (18.0, 1.6)]),
        }
    ],
    "outfalls": [
        {
            "kind": "swale",
            "level_m": 99.3,
            "highest_level_m": 99.5,
            "name": "swale",
            "geometry": LineString([(0.35, 1.62), (29.9, 1.62)]),
        }
    ],
    "complaints": [
        {
            "what": "stands on the patio",
            "date": "2026-03-01",
            "depth_m": 0.05,
            "hours": 10.0,
            "where": "patio",
            "season": "in_rain",
            "geometry": Point(15.1, 22.1),
        }
    ],
    "soil": [{"group": "B", "name": "loam", "geometry": box(0.0, 0.0, 30.0, 30.0)}],
    "swales": [{"name": "north side", "geometry": LineString([(0.5, 1.6), (29.5, 1.6)])}],
}
TABLES = {
    "rain.csv": "duration_min,depth_in_2yr,depth_in_10yr\n10,0.7,1.0\n60,1.5,2.1\n1440,3.0,4.4\n",
    "pump.csv": "flow_gpm,head_ft\n0,26\n40,17\n66,3\n",
    "prices.csv": "item,unit,low,likely,high\nsod,ft2,0.5,0.9,1.6\nfilter,each,1,2,3\n",
    "shots.csv": "point,easting,northing,height_m\nA,500015,4400009,100.3\nB,500007,4400022,100.7\n",
}
COMMANDS = ("screen", "screen", "screen", "screen", "swale", "start", "pump", "storm", "step", "step")
STEPS = (
    "ground",
    "surfaces",
    "rain",
    "runoff",
    "standing-water",
    "troubles",
    "siting",
    "surface-works",
    "fall-to-spare",
    "routing",
    "sizing",
    "take-off",
    "outfall-check",
    "report",
    "low-spots",
    "flow-paths",
    "filled-ground",
)
ENDINGS = {
    "ground": ".tif",
    "surfaces": ".tif",
    "filled-ground": ".tif",
    "rain": ".csv",
    "take-off": ".csv",
    "report": ".html",
}


@dataclass(slots=True)
class HostileSite:
    """A site under way: its folder, what its file will say, what was done to it, and what is asked of it."""

    folder: Path
    says: dict[str, Any]
    draw: np.random.Generator
    done: list[str] = field(default_factory=list)
    raw: bytes | None = None

    @property
    def file(self) -> Path:
        return self.folder / "site.toml"


def write_base(folder: Path) -> Path:
    """The files of the good lot, from which each site starts."""
    folder.mkdir(parents=True, exist_ok=True)
    write_ground(folder / "ground.tif", good_ground())
    for name, rows in LAYERS.items():
        layer_frame(name, rows).to_file(folder / "shapes.gpkg", layer=name, engine="pyogrio")
    layer_frame("parcel", LAYERS["parcel"]).to_file(folder / "parcel.gpkg", engine="pyogrio")
    for name, text in TABLES.items():
        (folder / name).write_text(text)
    return folder


def good_ground() -> np.ndarray:
    row, column = np.mgrid[0:SIDE, 0:SIDE]
    x, y = column + 0.5, SIDE - (row + 0.5)
    swale = np.where(y < 3.2, 0.6 * (1.0 - np.abs(y - 1.6) / 1.6), 0.0)
    hollow = 0.25 * np.exp(-((x - 15.1) ** 2 + (y - 22.1) ** 2) / 4.0)
    ground: np.ndarray = 100.0 + 0.03 * y + 0.002 * x - swale - hollow
    return ground + np.random.default_rng(7).normal(0.0, 0.002, ground.shape)


def write_ground(path: Path, ground: np.ndarray, **said: Any) -> None:
    options: dict[str, Any] = {
        "driver": "GTiff",
        "height": ground.shape[0],
        "width": ground.shape[1],
        "count": 1,
        "dtype": ground.dtype,
        "crs": CRS,
        "transform": Affine(1.0, 0.0, EAST, 0.0, -1.0, NORTH + SIDE),
        "nodata": -999999.0,
    }
    scales, offsets = said.pop("scales", None), said.pop("offsets", None)
    options.update(said)
    with rasterio.open(path, "w", **options) as file:
        for band in range(1, options["count"] + 1):
            file.write(ground, band)
        if scales is not None:
            file.scales, file.offsets = (scales,) * options["count"], (offsets,) * options["count"]


def layer_frame(name: str, rows: list[dict[str, Any]], crs: str | None = CRS) -> gpd.GeoDataFrame:
    shapes = [None if row["geometry"] is None else translate(row["geometry"], EAST, NORTH) for row in rows]
    keys = [key for key in rows[0] if key != "geometry"]
    return gpd.GeoDataFrame({key: [row.get(key) for row in rows] for key in keys}, geometry=shapes, crs=crs)


def make_site(base: Path, folder: Path, seed: int) -> tuple[list[str], list[str]]:
    """Write the site of a seed; give the arguments of the command to run on it, and what was broken."""
    from hostile_breaks import BREAKS

    draw = np.random.default_rng(seed)
    shutil.copytree(base, folder)
    says = good_site(draw)
    site = HostileSite(folder, says, draw)
    with warnings.catch_warnings():
        # shapes of no numbers are meant here
        warnings.simplefilter("ignore")
        for _ in range(int(draw.choice([1, 1, 1, 2, 3]))):
            BREAKS[int(draw.integers(len(BREAKS)))](site)
    site.file.write_bytes(site.raw if site.raw is not None else toml_text(site.says).encode("utf-8", "replace"))
    return arguments_of(site), site.done


def good_site(draw: np.random.Generator) -> dict[str, Any]:
    """What a good site says: everything, less some tables."""
    says: dict[str, Any] = {
        "name": "Made lot",
        "units": str(draw.choice(["us", "si"])),
        "elevation": {"file": "ground.tif", "unit": "m", "rmse": "2 cm", "grounds": 1},
    }
    for name in LAYERS:
        if name in ("parcel", "swales", "roofs", "hardscape", "outfalls") or draw.random() < 0.4:
            says[name] = {"file": "shapes.gpkg", "layer": name}
    says["soil"] = says.get("soil", {"group": "B"})
    says["house"] = {"foundation": str(draw.choice(["slab", "crawl", "basement"]))}
    says["rain"] = (
        {"depth": "3 in", "duration": "60 min"}
        if draw.random() < 0.7
        else {"table": "rain.csv", "return_period": "10 yr"}
    )
    for key, table in {
        "pump": {"curve": "pump.csv"},
        "prices": {"file": "prices.csv"},
        "levels": {"file": "shots.csv"},
        "layout": {"cover": "6 in"},
    }.items():
        if draw.random() < 0.4:
            says[key] = table
    return says


def toml_text(says: dict[str, Any]) -> str:
    """A site file's text: plain values first, then tables."""
    plain = [f"{_key(key)} = {_value(value)}" for key, value in says.items() if not isinstance(value, dict)]
    tables = [
        f"[{_key(name)}]\n" + "\n".join(f"{_key(key)} = {_value(value)}" for key, value in table.items())
        for name, table in says.items()
        if isinstance(table, dict)
    ]
    return "\n".join((*plain, *tables)) + "\n"


def _key(text: str) -> str:
    return text if text.replace("_", "").isascii() and text.replace("_", "").isalnum() else json.dumps(text)


def _value(value: Any) -> str:
    if isinstance(value, RawToml):
        return value.text
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return "nan" if math.isnan(value) else ("-inf" if value < 0 else "inf") if math.isinf(value) else repr(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)} = {_value(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value) if isinstance(value, str) else str(value)


@dataclass(frozen=True, slots=True)
class RawToml:
    """A value as TOML text."""

    text: str


def arguments_of(site: HostileSite) -> list[str]:
    """The command that is run on a site."""
    draw, out = site.draw, str(site.folder / "out")
    command = str(draw.choice(COMMANDS))
    some = lambda *options: [each for each in options if draw.random() < 0.3]  # noqa: E731
    if command in ("screen", "swale"):
        options = some("--json", "--full", "--strict", "--dry-run", *(("--self-check",) if command == "screen" else ()))
        more = ["--also", "geojson"] if command == "screen" and draw.random() < 0.3 else []
        return [command, str(site.file), "--out", out, *options, *more]
    if command == "start":
        parcel = _named(site, "parcel", "file", "parcel.gpkg").replace("shapes.gpkg", "parcel.gpkg")
        return ["start", _named(site, "elevation", "file", "ground.tif"), parcel, "--out", f"{out}.toml"]
    if command == "pump":
        lift, length, inflow = (_quantity(draw, good) for good in ("8 ft", "120 ft", "35 gpm"))
        return [
            "pump",
            "--curve",
            str(site.folder / "pump.csv"),
            "--static-lift",
            lift,
            "--pipe",
            "2 in sch 40",
            "--length",
            length,
            "--inflow",
            inflow,
            *some("--json"),
        ]
    if command == "storm":
        depth, duration = (_quantity(draw, good) for good in ("2 in", "60 min"))
        return [
            "storm",
            "--table",
            str(site.folder / "rain.csv"),
            "--depth",
            depth,
            "--duration",
            duration,
            *some("--json"),
        ]
    step = str(draw.choice(STEPS))
    if step in ("low-spots", "flow-paths", "filled-ground"):
        return [
            "step",
            step,
            "--elevation",
            _named(site, "elevation", "file", "ground.tif"),
            "--out",
            out + ENDINGS.get(step, ".gpkg"),
        ]
    return ["step", step, "--site", str(site.file), "--out", out + ENDINGS.get(step, ".gpkg")]


def _named(site: HostileSite, table: str, key: str, good: str) -> str:
    said = site.says.get(table)
    value = said.get(key, good) if isinstance(said, dict) else good
    return str(site.folder / (value if isinstance(value, str) and "\0" not in value else good))


def _quantity(draw: np.random.Generator, good: str) -> str:
    if draw.random() < 0.85:
        return good
    value = any_value(draw)
    return str(value).replace("\0", "")[:20000] if not isinstance(value, int) or abs(value) < 10**4000 else good


def site_keys() -> list[tuple[str, str]]:
    """Every key of a site file, with its table."""
    found = []
    for name, described in SiteFile.model_fields.items():
        if name == "path":
            continue
        kinds = [
            each
            for each in (described.annotation, *getattr(described.annotation, "__args__", ()))
            if hasattr(each, "model_fields")
        ]
        table = described.alias or name
        found += [(table, key) for kind in kinds for key in kind.model_fields] or [("", table)]
    return found


def rule_keys() -> list[str]:
    return list(load_rules())


def layer_kinds() -> list[str]:
    return [name for name in LAYER_KINDS if name in LAYERS]


Break = Callable[[HostileSite], None]
