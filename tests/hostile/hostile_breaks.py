"""Ways to break a site: its keys, its rules, its text, its raster, its layers, its tables."""

from typing import Any

import geopandas as gpd
import numpy as np
from affine import Affine
from hostile_sites import (
    CRS,
    EAST,
    LAYERS,
    NORTH,
    SIDE,
    TABLES,
    Break,
    HostileSite,
    RawToml,
    good_ground,
    layer_frame,
    layer_kinds,
    rule_keys,
    site_keys,
    toml_text,
    write_ground,
)
from hostile_values import any_number, any_text, any_value
from shapely import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box
from shapely.affinity import scale, translate

from pipelines.inputs.rules import load_rules
from terrain.unit_table import si_factor


def break_key(site: HostileSite) -> None:
    """Some key of the site file says something hostile."""
    keys = site_keys()
    table, key = keys[int(site.draw.integers(len(keys)))]
    value = any_value(site.draw)
    if key in ("file", "table", "curve", "discharges") and isinstance(value, str):
        value = str(
            site.draw.choice(
                [
                    "ground.tif",
                    "shapes.gpkg",
                    "rain.csv",
                    ".",
                    "none.tif",
                    "n" * 300 + ".tif",
                    "site.toml",
                    "../../..",
                    "/dev/null",
                    "a\nb.tif",
                ]
            )
        )
    if table:
        said = site.says.setdefault(table, {})
        if isinstance(said, dict):
            said[key] = value
    else:
        site.says[key] = value
    site.done.append(f"key {table}.{key} = {str(value)[:40]!r}" if not isinstance(value, int) else f"key {table}.{key}")


def break_rules(site: HostileSite) -> None:
    """Rules at the ends of their range, within it, or hostile."""
    rules, keys = load_rules(), rule_keys()
    table = site.says.setdefault("rules", {})
    if not isinstance(table, dict):
        return
    for _ in range(int(site.draw.choice([1, 1, 2, 5, 20]))):
        key = keys[int(site.draw.integers(len(keys)))]
        table[key] = rule_value(rules[key], site.draw)
        site.done.append(f"rule {key} = {str(table[key])[:40]!r}")


def rule_value(rule: Any, draw: np.random.Generator) -> Any:
    if rule.names:
        return any_text(draw) if draw.random() < 0.5 else [any_text(draw)]
    if draw.random() < 0.02:
        return any_value(draw)
    ends = (rule.least, rule.most, rule.least + (rule.most - rule.least) * float(draw.random()) ** 4)
    value = ends[int(draw.integers(3))] / si_factor(rule.unit)
    text: Any = float(f"{value:.6g}") if rule.unit == "1" else f"{value:.6g} {rule.unit}"
    return [text] if rule.values else text


def break_text(site: HostileSite) -> None:
    """The site file's own text is torn."""
    good = toml_text(site.says).encode("utf-8", "replace")
    at = int(site.draw.integers(1, len(good)))
    torn = [
        good[:at],
        good[:at] + b"\x00" + good[at:],
        b"\xef\xbb\xbf" + good,
        good.replace(b"\n", b"\r\n"),
        good + good,
        b"",
        good[:at] + b"\xff\xfe" + good[at:],
        b"x = " + b"[" * 20000 + b"]" * 20000 + b"\n" + good,
        b"n = " + b"9" * 6000 + b"\n" + good,
        b".".join([b"a"] * 3000) + b" = 1\n" + good,
        b"x = " + b"{a=" * 3000 + b"1" + b"}" * 3000 + b"\n" + good,
        good.decode("utf-8", "replace").encode("utf-16"),
        b"".join(b"k%d = 1\n" % number for number in range(3000)) + good,
    ]
    which = int(site.draw.integers(len(torn)))
    site.raw = torn[which]
    site.done.append(f"text {which}")


def break_ground(site: HostileSite) -> None:
    """The raster is another."""
    good, path, draw = good_ground(), site.folder / "ground.tif", site.draw
    holes = np.where(draw.random(good.shape) < 0.3, np.nan, good)
    spike = good.copy()
    spike[int(draw.integers(SIDE)), int(draw.integers(SIDE))] = float(
        draw.choice([1e9, -1e9, 5e5, -400.0, 1e38, np.inf])
    )
    cell = float(draw.choice([1e-6, 1e-3, 0.2, 10.0, 1e5]))
    cases: list[tuple[str, np.ndarray, dict[str, Any]]] = [
        ("holes", holes, {}),
        ("spike", spike, {}),
        ("all nodata", np.full_like(good, -999999.0), {}),
        ("all NaN", np.full_like(good, np.nan), {}),
        ("flat", np.full_like(good, 100.0), {}),
        ("zeros", np.zeros_like(good), {}),
        (
            "scale",
            good,
            {
                "scales": float(draw.choice([0.0, -1.0, 1e-12, 1e5, 0.3048])),
                "offsets": float(draw.choice([0.0, 1e9, -100.0])),
            },
        ),
        ("scale nan", good, {"scales": float("nan"), "offsets": 0.0}),
        ("heights", good * float(draw.choice([1e6, -1.0, 1e-6, 1e30])), {}),
        ("one cell", good[:1, :1], {}),
        ("one row", good[:1], {}),
        ("integers", good.astype("int16"), {"nodata": None}),
        ("bytes", good.astype("uint8"), {"nodata": 255}),
        ("picture", good.astype("uint8"), {"count": 3, "nodata": None}),
        ("bands", good, {"count": 2}),
        ("no CRS", good, {"crs": None}),
        ("degrees", good, {"crs": "EPSG:4326"}),
        ("feet", good, {"crs": "EPSG:2264"}),
        ("web", good, {"crs": "EPSG:3857"}),
        ("no nodata", holes, {"nodata": None}),
        ("nodata among heights", np.round(good, 1), {"nodata": 100.5}),
        ("cells", good, {"transform": Affine(cell, 0.0, EAST, 0.0, -cell, NORTH + SIDE)}),
        ("upside down", good, {"transform": Affine(1.0, 0.0, EAST, 0.0, 1.0, NORTH)}),
        ("turned", good, {"transform": Affine(0.8, 0.6, EAST, 0.6, -0.8, NORTH + SIDE)}),
        ("elsewhere", good, {"transform": Affine(1.0, 0.0, EAST + 1e5, 0.0, -1.0, NORTH)}),
        ("place NaN", good, {"transform": Affine(1.0, 0.0, float("nan"), 0.0, -1.0, NORTH)}),
        ("steep", good + 50.0 * np.arange(SIDE)[:, None], {}),
        ("rough", good + draw.normal(0.0, 2.0, good.shape), {}),
        ("complex", good.astype("complex64"), {"nodata": None}),
    ]
    which = int(draw.integers(len(cases) + 3))
    if which >= len(cases):
        whole = path.read_bytes()
        path.write_bytes((whole[: len(whole) // 2], b"", b"not a raster\n" * 9)[which - len(cases)])
        site.done.append(f"ground torn {which - len(cases)}")
        return
    name, ground, said = cases[which]
    path.unlink()
    try:
        write_ground(path, ground, **said)
    except Exception as error:  # a driver that refuses to write such a thing leaves a torn file, which is a case too
        site.done.append(f"ground unwritten {type(error).__name__}")
    site.done.append(f"ground {name}")


def break_layer(site: HostileSite) -> None:
    """A layer of shapes with hostile attributes, shapes or file."""
    draw = site.draw
    name = layer_kinds()[int(draw.integers(len(layer_kinds())))]
    rows = [dict(row) for row in LAYERS[name]]
    how = str(draw.choice(["text", "text", "number", "shape", "shape", "shape", "many", "file", "crs"]))
    crs: str | None = CRS
    if how == "text":
        for row in rows:
            row.update(
                {
                    key: any_text(draw)
                    for key in [*row, "name", "kind", "what", "note", "address"]
                    if key != "geometry" and draw.random() < 0.7
                }
            )
    elif how == "number":
        for row in rows:
            row.update(
                {key: any_number(draw) for key, value in row.items() if key != "geometry" and draw.random() < 0.5}
            )
        rows = [{key: float(value) if isinstance(value, int) else value for key, value in row.items()} for row in rows]
    elif how == "shape":
        for row in rows:
            row["geometry"] = hostile_shape(row["geometry"], draw)
    elif how == "many":
        rows = rows * int(draw.choice([2, 30]))
    elif how == "crs":
        crs = str(draw.choice(["EPSG:4326", "EPSG:32618", "EPSG:2264", ""])) or None
    ending = str(draw.choice(["gpkg", "geojson", "shp", "fgb"]))
    path = site.folder / f"hostile_{name}_{len(site.done)}.{ending}"
    try:
        layer_frame(name, rows, crs).to_file(path, engine="pyogrio")
    except Exception as error:  # a format that cannot hold such a thing
        site.done.append(f"layer {name} unwritten {type(error).__name__}")
        gpd.GeoDataFrame({"a": [1]}, geometry=[Point(EAST, NORTH)], crs=CRS).to_file(path, engine="pyogrio")
    if how == "file":
        whole = path.read_bytes()
        path.write_bytes((whole[: len(whole) // 2], b"", b"\x00" * 5000)[int(draw.integers(3))])
    site.says[name] = {"file": path.name}
    site.done.append(f"layer {name} {how} {ending}")


def hostile_shape(good: Any, draw: np.random.Generator) -> Any:
    x, y = good.centroid.x, good.centroid.y
    shapes = [
        None,
        Polygon(),
        LineString(),
        Point(x, y),
        LineString([(x, y), (x, y)]),
        LineString([(x, y), (float("nan"), y)]),
        Polygon([(x, y), (x + 5, y + 5), (x, y + 5), (x + 5, y)]),
        box(x, y, x, y),
        box(-1e7, -1e7, 1e7, 1e7),
        MultiPolygon([box(x, y, x + 2, y + 2), box(x + 1, y + 1, x + 3, y + 3)]),
        GeometryCollection([good, Point(x, y)]),
        translate(good, 1e6, 0.0),
        scale(good, 1e-6, 1e-6),
        scale(good, 3.0, 3.0),
        translate(good, 3.0, 2.0),
        Point(x, y).buffer(3.0, quad_segs=500),
        box(x - 3, y - 3, x + 3, y + 3).difference(box(x - 1, y - 1, x + 1, y + 1)),
        LineString([(x, y, 1e9), (x + 1, y + 4, -1e9)]),
        Polygon([(x, y), (x + 9, y), (x, y)]),
        Point(x, y, float("nan")),
        LineString([(x - 9, y), (x + 9, y), (x - 9, y)]),
        LineString([(x + 4 * np.cos(a), y + 4 * np.sin(a)) for a in np.linspace(0, 60, 400)]),
    ]
    return shapes[int(draw.integers(len(shapes)))]


def break_table(site: HostileSite) -> None:
    """One of the tables of commas is torn or says something hostile."""
    draw = site.draw
    name = str(draw.choice(list(TABLES)))
    lines = TABLES[name].rstrip().split("\n")
    cells = [line.split(",") for line in lines]
    row, column = int(draw.integers(len(cells))), int(draw.integers(len(cells[0])))
    how = str(draw.choice(["cell", "cell", "cell", "text", "header", "double", "bytes", "semicolons", "empty", "rows"]))
    if how == "cell":
        cells[row][column] = repr(any_number(draw))
    elif how == "text":
        cells[row][column] = '"' + any_text(draw).replace('"', '""') + '"'
    elif how == "header":
        cells = cells[1:]
    elif how == "double":
        cells += cells[1:]
    elif how == "rows":
        cells = cells[: int(draw.integers(0, 3))]
    text = "\n".join(",".join(each) for each in cells) + "\n"
    content = text.encode("utf-8", "replace")
    if how == "bytes":
        content = (content[:20] + b"\x00\xff" + content[20:], content.decode().encode("utf-16"))[int(draw.integers(2))]
    elif how == "semicolons":
        content = content.replace(b",", b";")
    elif how == "empty":
        content = b""
    (site.folder / name).write_bytes(content)
    key, word = {
        "rain.csv": ("rain", "table"),
        "pump.csv": ("pump", "curve"),
        "prices.csv": ("prices", "file"),
        "shots.csv": ("levels", "file"),
    }[name]
    site.says[key] = {word: name} | ({"return_period": "10 yr"} if key == "rain" else {})
    site.done.append(f"table {name} {how}")


def break_names(site: HostileSite) -> None:
    """Hostile text wherever it is shown."""
    site.says["name"] = any_text(site.draw)
    if site.draw.random() < 0.3:
        site.says[any_text(site.draw)] = RawToml("1")
    site.done.append("names")


BREAKS: tuple[Break, ...] = (
    break_key,
    break_key,
    break_key,
    break_rules,
    break_rules,
    break_text,
    break_ground,
    break_ground,
    break_layer,
    break_layer,
    break_layer,
    break_table,
    break_table,
    break_names,
)
