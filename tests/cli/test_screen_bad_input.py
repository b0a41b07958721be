"""What `lotshed screen` says to a site that it cannot use, and that an earlier result outlives it."""

import hashlib
import json
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from click.testing import CliRunner, Result
from shapely import LineString, Point, Polygon, box

from cli.main import app
from pipelines.deliverables.words.say import say_all
from pipelines.lot import screen_lot

WEST, SOUTH = 500_000.0, 4_400_000.0
CRS = "EPSG:32617"
TABLES = {
    "rain.csv": "duration_min,depth_in_2yr,depth_in_10yr\n10,0.7,1.0\n60,1.5,2.1\n1440,3.0,4.4\n",
    "pump.csv": "flow_gpm,head_ft\n0,26\n40,17\n66,3\n",
    "prices.csv": "item,unit,low,likely,high\nsod,ft2,0.5,0.9,1.6\n",
    "shots.csv": "point,easting,northing,height_m\nA,500015,4400009,100.3\nB,500007,4400022,100.7\n",
}
RAIN = '[rain]\ndepth = "3 in"\nduration = "60 min"\n'
TABLE = '[rain]\ntable = "rain.csv"\nreturn_period = "10 yr"\n'

Spoil = Callable[[Path], None]
pytestmark = pytest.mark.usefixtures("kept_in_file")


def screen(site: Path, out: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["screen", str(site), "--out", str(out), *options], prog_name="lotshed")


def contents(folder: Path) -> dict[str, str]:
    """Every file of a folder by the hash of its bytes."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, write_small_lot: Callable[..., Path]) -> Path:
    """The lot's files, none of them spoilt."""
    folder = tmp_path_factory.mktemp("made")
    write_small_lot(folder)
    for name, text in TABLES.items():
        (folder / name).write_text(text)
    return folder


@pytest.fixture(scope="module")
def earlier(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The result of a run that went well."""
    out = tmp_path_factory.mktemp("earlier") / "result"
    result = screen(made / "site.toml", out)
    assert result.exit_code == 0, result.stderr
    return out


@pytest.fixture
def lot(made: Path, tmp_path: Path) -> Path:
    """A copy of the lot's files, to spoil."""
    folder = tmp_path / "lot"
    shutil.copytree(made, folder)
    return folder


@pytest.fixture
def refused(lot: Path, earlier: Path) -> Callable[..., str]:
    """The one message of a run that must be refused."""

    def run(out: Path = earlier, site: str = "site.toml", options: tuple[str, ...] = ("--overwrite",)) -> str:
        before = contents(earlier)
        result = screen(lot / site, out, *options)
        assert result.exit_code == 2, result.output
        assert result.stdout == ""
        # one message: nothing but it on stderr, and no library's words on lines of their own
        assert result.stderr.startswith("Error: ")
        assert result.stderr.count("Error") == 1
        assert "Traceback" not in result.stderr
        assert contents(earlier) == before
        assert [path.name for path in earlier.parent.iterdir()] == [earlier.name]
        return result.stderr

    return run


def site(old: str, new: str) -> Spoil:
    """Write something else into the site file."""

    def spoil(folder: Path) -> None:
        path = folder / "site.toml"
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))

    return spoil


def added(text: str) -> Spoil:
    """Write more at the end of the site file."""
    return lambda folder: (folder / "site.toml").write_text((folder / "site.toml").read_text() + text) and None


def layer(name: str, geometry: list[Any], crs: str | None = CRS, file: str = "shapes.gpkg", **columns: Any) -> Spoil:
    """Put other shapes, in metres from the ground's lower left corner, into a layer."""

    def spoil(folder: Path) -> None:
        moved = [None if shape is None else _moved(shape) for shape in geometry]
        frame = gpd.GeoDataFrame({"kind": ["swale"] * len(moved), **columns}, geometry=moved, crs=crs)
        with warnings.catch_warnings():
            # a layer without a CRS is written on purpose
            warnings.simplefilter("ignore")
            frame.to_file(folder / file, layer=name, engine="pyogrio")

    return spoil


def _moved(shape: Any) -> Any:
    from shapely.affinity import translate

    return translate(shape, WEST, SOUTH)


def raster(change: Callable[[np.ndarray], np.ndarray], **profile: Any) -> Spoil:
    """Write other heights into the raster."""

    def spoil(folder: Path) -> None:
        path = folder / "ground.tif"
        with rasterio.open(path) as file:
            heights, old = file.read(1), file.profile
        heights = change(heights)
        shape = {"height": heights.shape[0], "width": heights.shape[1]}
        path.unlink()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with rasterio.open(path, "w", **{**old, **shape, **profile}) as file:
                file.write(heights, 1)

    return spoil


def file(name: str, content: str | bytes) -> Spoil:
    """Put something else into a file."""

    def spoil(folder: Path) -> None:
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())

    return spoil


def both(*spoils: Spoil) -> Spoil:
    def spoil(folder: Path) -> None:
        for each in spoils:
            each(folder)

    return spoil


def torn(folder: Path) -> None:
    path = folder / "ground.tif"
    whole = path.read_bytes()
    # the header stands at the front; the last strips are gone
    path.write_bytes(whole[: len(whole) // 2])


def mostly_unknown(heights: np.ndarray) -> np.ndarray:
    unknown = heights.copy()
    unknown[:, :36] = -999999.0
    return unknown


PRICED = added('[prices]\nfile = "prices.csv"\n')

# what is spoilt, and what the message must hold: the file or key and its place, what was found, what to do
CASES: dict[str, tuple[Spoil, tuple[str, ...]]] = {
    "raster is missing": (
        lambda folder: (folder / "ground.tif").unlink(),
        ("site.toml", "[elevation] file", "ground.tif", "does not exist", "correct the path"),
    ),
    "vector file is missing": (
        site('file = "shapes.gpkg"', 'file = "shape.gpkg"'),
        ("site.toml", "[parcel] file", "shape.gpkg", "does not exist", "correct the path"),
    ),
    "rain table is missing": (
        site(RAIN, '[rain]\ntable = "rains.csv"\n'),
        ("site.toml", "[rain] table", "rains.csv", "does not exist", "correct the path"),
    ),
    "text for a raster": (
        file("ground.tif", "heights, all of them"), ("ground.tif", "no raster", "give a GeoTIFF"),
    ),
    "empty raster": (file("ground.tif", ""), ("ground.tif", "0 bytes", "fetch it again")),
    "torn raster": (torn, ("ground.tif", "torn", "fetch it again")),
    "text for shapes": (
        file("shapes.gpkg", "no shapes"), ("[parcel] shapes.gpkg", "no vector file", "give a GeoPackage"),
    ),
    "empty layer of parcels": (
        layer("parcel", []), ("[parcel] shapes.gpkg, layer parcel", "empty", "give one that holds the parcel"),
    ),
    "empty layer of roofs": (
        layer("roofs", []), ("[roofs] shapes.gpkg, layer roofs", "empty", "leave out the table [roofs]"),
    ),
    "lines for a parcel": (
        layer("parcel", [LineString([(5, 4), (25, 4), (25, 26)])]),
        ("[parcel] shapes.gpkg, layer parcel", "feature 1", "LineString", "needs polygons"),
    ),
    "polygons for outfalls": (
        layer("outfalls", [box(0, 1, 30, 2)]),
        ("[outfalls] shapes.gpkg, layer outfalls", "feature 1", "Polygon", "needs points or lines"),
    ),
    "outfall of no kind": (
        layer("outfalls", [Point(10, 1.6)], kind=["sea"]),
        ("[outfalls] shapes.gpkg, layer outfalls", "feature 1", '"sea"', "swale or ditch"),
    ),
    "where selects nothing": (
        site('layer = "parcel"', 'layer = "parcel"\nwhere = "lot = 2"'),
        ("[parcel] shapes.gpkg, layer parcel", 'where = "lot = 2"', "none of its 1 features", "lot"),
    ),
    "where selects several": (
        layer("parcel", [box(5, 4, 15, 26), box(15, 4, 25, 26)], lot=[1, 2]),
        ("[parcel] shapes.gpkg, layer parcel", "2 parcels (features 1, 2)", "select one", 'where = "fid = 1"'),
    ),
    "where is no expression": (
        site('layer = "parcel"', 'layer = "parcel"\nwhere = "plot = 1"'),
        ("[parcel] shapes.gpkg, layer parcel", 'where = "plot = 1"', "attributes are lot"),
    ),
    "several layers and none named": (
        site('file = "shapes.gpkg"\nlayer = "parcel"', 'file = "shapes.gpkg"'),
        ("[parcel] shapes.gpkg", "several layers (parcel, roofs", 'layer = "parcel"'),
    ),
    "unknown layer": (
        site('layer = "parcel"', 'layer = "lots"'), ("[parcel] shapes.gpkg", 'no layer "lots"', "it has parcel, roofs"),
    ),
    "parcel outside the raster": (
        layer("parcel", [box(3005, 4, 3025, 26)]),
        ("parcel lies outside the raster ground.tif", "longitude, latitude", "give the raster of this place"),
    ),
    "parcel mostly unknown": (
        raster(mostly_unknown), ("ground.tif", "nodata over 6", "of the parcel", "give a raster that covers the lot"),
    ),
    "empty polygon": (
        layer("parcel", [Polygon()]), ("[parcel] shapes.gpkg, layer parcel", "feature 1 has no shape", "draw it again"),
    ),
    "polygon without area": (
        layer("parcel", [Polygon([(5, 4), (25, 4), (15, 4)])]),
        ("[parcel] shapes.gpkg, layer parcel", "feature 1", "no polygon that holds an area", "draw it again"),
    ),
    "raster without a CRS": (raster(lambda heights: heights, crs=None), ("ground.tif", "no CRS", "assign")),
    "layer without a CRS": (
        both(
            site('file = "shapes.gpkg"\nlayer = "parcel"', 'file = "parcel.gpkg"\nlayer = "parcel"'),
            layer("parcel", [box(5, 4, 25, 26)], crs=None, file="parcel.gpkg"),
        ),
        ("[parcel] parcel.gpkg, layer parcel", "no CRS", "crs = "),
    ),
    "raster without a place": (
        raster(lambda heights: heights, transform=Affine.identity()), ("ground.tif", "no place on the map", "georef"),
    ),
    "unknown vertical unit": (
        site('unit = "m"', 'unit = "yards"'), ("site.toml", "[elevation] unit", '"yards"', '"m", "ft" or "ftUS"'),
    ),
    "unknown unit": (
        site('"2 cm"', '"2 furlongs"'), ("site.toml", "[elevation] rmse", '"furlongs"', "m, cm, mm, ft or in"),
    ),
    "a unit of the wrong dimension": (
        site('duration = "60 min"', 'duration = "60 mm"'), ("site.toml", "[rain] duration", '"60 mm" is a length', "h"),
    ),
    "unknown key": (
        site("rmse", "rmsee"), ("site.toml", "[elevation]", 'unknown key "rmsee"', 'did you mean "rmse"?'),
    ),
    "unknown table": (site("[roofs]", "[rooves]"), ("site.toml", 'unknown key "rooves"', 'did you mean "roofs"?')),
    "broken TOML": (
        site('unit = "m"', 'unit = "m'), ("site.toml", "broken TOML", "line 4", "texts stand in quotes"),
    ),
    "no parcel": (
        site('[parcel]\nfile = "shapes.gpkg"\nlayer = "parcel"', ""), ("site.toml", "parcel: is missing; it is needed"),
    ),
    "bare number": (
        site('"2 cm"', "2"), ("site.toml", "[elevation] rmse", "bare number 2 has no unit", "m, cm, mm, ft or in"),
    ),
    "negative rain": (
        site('"3 in"', '"-3 in"'), ("site.toml", "[rain] depth", '"-3 in" must be more than zero'),
    ),
    "absurd rain": (
        site('"3 in"', '"30 m"'), ("site.toml", "rain", "30,000 mm in 60 min", "check depth and duration"),
    ),
    "negative rain in a table": (
        both(site(RAIN, TABLE), file("rain.csv", TABLES["rain.csv"].replace("0.7", "-0.7"))),
        ("rain table rain.csv", "line 2, column depth_in_2yr", "is no rain"),
    ),
    "return period outside the table": (
        site(RAIN, TABLE.replace("10 yr", "100 yr")),
        ("return period 100 yr", "rain.csv, which holds 2 to 10 yr", "ask for one of these"),
    ),
    "unknown soil group": (
        site('group = "B"', 'group = "E"'), ("site.toml", "[soil] group", '"E" is not known', '"A", "B", "C"'),
    ),
    "unknown soil group in a layer": (
        both(site('group = "B"', 'file = "soils.gpkg"'), layer("soils", [box(0, 0, 30, 30)], file="soils.gpkg",
                                                               group=["E"])),
        ("[soil] soils.gpkg, layer soils", "feature 1", '"E" is not known', "a or b or c"),
    ),
    "unknown pipe": (
        added('[layout]\npipe = "9 in SDR-35"\n'),
        ("site.toml", "[layout] pipe", '"9 in SDR-35" is not in the catalogue'),
    ),
    "unknown cover": (
        site('group = "B"', 'group = "B"\ncover = "astroturf"'),
        ("site.toml", "[soil] cover", '"astroturf" is not in the table', "lawn_fair"),
    ),
    "pump curve that rises": (
        both(added('[pump]\ncurve = "pump.csv"\n'), file("pump.csv", "flow_gpm,head_ft\n0,26\n40,17\n66,19\n")),
        ("pump curve pump.csv", "line 4", "head_ft does not fall (17, then 19)"),
    ),
    "prices that are no numbers": (
        both(PRICED, file("prices.csv", "item,unit,low,likely,high\nsod,ft2,a,b,c\n")),
        ("price list prices.csv", "line 2, column low", '"a" is no number'),
    ),
    "prices that fall": (
        both(PRICED, file("prices.csv", "item,unit,low,likely,high\nsod,ft2,3,2,1\n")),
        ("price list prices.csv", "line 2", "sod", "do not rise from low to high"),
    ),
    "shots outside": (
        both(
            added('[levels]\nfile = "shots.csv"\n'),
            file("shots.csv", "point,easting,northing,height_m\nA,400000,4400010,100\nB,400010,4400010,100\n"),
        ),
        ("level shots shots.csv", "none of the 2 level shots", "known ground", "give easting and northing"),
    ),
    "raster too coarse": (
        raster(lambda heights: heights[5::10, 5::10], transform=Affine(5.0, 0.0, WEST, 0.0, -5.0, SOUTH + 30.0)),
        ("ground.tif", "too coarse", "17 cells of 5 x 5 m", "at least 100", "give a finer raster"),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_site_that_cannot_be_used_is_one_message(name: str, lot: Path, refused: Callable[..., str]) -> None:
    spoil, told = CASES[name]
    spoil(lot)
    message = refused()
    for part in told:
        assert part in message


def test_a_site_file_that_is_missing(refused: Callable[..., str]) -> None:
    message = refused(site="no_such.toml")
    assert "no_such.toml does not exist" in message
    assert "`lotshed start` writes one" in message


def test_all_faults_of_a_site_file_are_told_together(lot: Path, refused: Callable[..., str]) -> None:
    both(site('"2 cm"', "2"), site("[roofs]", "[rooves]"), site('"60 min"', '"60 mm"'))(lot)
    message = refused()
    assert "has 3 faults" in message
    for part in ("bare number 2", '"rooves"', '"60 mm"'):
        assert part in message


def test_a_dir_that_holds_a_result_needs_overwrite(earlier: Path, refused: Callable[..., str]) -> None:
    message = refused(options=())
    assert str(earlier) in message
    assert "holds an earlier result (" in message
    assert "--overwrite to replace it" in message


def test_a_dir_that_holds_foreign_files_is_left_alone(tmp_path: Path, refused: Callable[..., str]) -> None:
    place = tmp_path / "photos"
    place.mkdir()
    (place / "patio.jpg").write_bytes(b"a photograph")
    message = refused(out=place)
    assert "patio.jpg" in message
    assert "Give an empty or new folder with --out" in message
    assert contents(place).keys() == {"patio.jpg"}


def test_a_result_with_a_foreign_file_in_it_is_left_alone(
    tmp_path: Path, earlier: Path, refused: Callable[..., str]
) -> None:
    place = tmp_path / "result"
    shutil.copytree(earlier, place)
    (place / "notes.txt").write_text("the owner's wishes")
    before = contents(place)
    assert "notes.txt" in refused(out=place)
    assert contents(place) == before


@pytest.mark.parametrize("below", ["", "result", "deeper/result"])
def test_a_dir_that_is_a_file_or_lies_below_one(tmp_path: Path, below: str, refused: Callable[..., str]) -> None:
    (tmp_path / "file").write_text("mine")
    message = refused(out=tmp_path / "file" / below)
    assert f"{tmp_path / 'file'} is a file" in message
    assert "--out" in message
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.parametrize(
    "name", ["negative rain", "return period outside the table", "unknown cover", "unknown pipe", "raster too coarse",
             "parcel outside the raster", "pump curve that rises"],
)  # fmt: skip
def test_a_dry_run_finds_what_needs_no_heights(name: str, lot: Path, refused: Callable[..., str]) -> None:
    spoil, told = CASES[name]
    spoil(lot)
    message = refused(options=("--dry-run", "--overwrite"))
    assert all(part in message for part in told)


def test_a_polygon_that_crosses_itself_is_repaired_and_said(lot: Path, tmp_path: Path) -> None:
    # the lot of 20 x 22 m with its northern line drawn as a bow of two triangles of 5 m2
    bow = Polygon([(5, 4), (25, 4), (25, 26), (5, 27), (25, 27), (5, 26)])
    layer("parcel", [bow], lot=[1])(lot)
    result = screen(lot / "site.toml", tmp_path / "out", "--json")
    assert result.exit_code == 0, result.stderr
    summary = json.loads(result.stdout)
    (said,) = [text for text in summary["warnings"] if "repaired" in text]
    assert "[parcel] shapes.gpkg, layer parcel: feature 1 (Self-intersection" in said
    assert summary["parcel_area_m2"] == pytest.approx(20.0 * 22.0 + 10.0)


# what can be used in part, and what the warnings must say of the rest
IN_PART: dict[str, tuple[Spoil, tuple[str, ...]]] = {
    "a downspout far from its roof": (
        layer("downspouts", [Point(10.2, 11.2), Point(7.0, 24.0)]),
        ("[downspouts] shapes.gpkg, layer downspouts: feature 2 stands farther than 1.5 m from any roof",),
    ),
    "soils beside the lot": (
        both(site('group = "B"', 'file = "soils.gpkg"'), layer("soils", [box(15, 0, 30, 30)], file="soils.gpkg",
                                                               group=["A"])),
        ("The soils given leave out 50 % of the lot: hydrologic group C is assumed there",),
    ),
    "outfalls off the raster": (
        layer("outfalls", [LineString([(-80, 1), (-40, 1)])]),
        ("[outfalls] shapes.gpkg: its only outfall does not lie on known ground", "none is used"),
    ),
    "a sill in feet written as metres": (
        site('foundation = "slab"', 'foundation = "slab"\nfloor = "331 m"'),
        ("The sill of the house lies", "above all ground beside it. Check its unit"),
    ),
    "a parcel that the raster cuts": (
        layer("parcel", [box(5.2, 4.0, 36.0, 25.7)]),
        ("Raster ground.tif: ground is unknown over 20", "the raster ends on the north and east"),
    ),
    "a layer far away": (
        layer("complaints", [Point(900, 900)], what=["wet"]),
        ("[complaints] shapes.gpkg, layer complaints: its nearest feature lies 1,", "Check its CRS"),
    ),
    "nothing selected of a layer": (
        site('layer = "complaints"', 'layer = "complaints"\nwhere = "what = 1"'),
        ("[complaints] shapes.gpkg, layer complaints (where =", "none of its 1 features is used"),
    ),
}


@pytest.mark.parametrize("name", IN_PART)
def test_what_is_not_used_is_said(name: str, lot: Path) -> None:
    spoil, told = IN_PART[name]
    spoil(lot)
    warned = "\n".join(say_all(screen_lot(lot / "site.toml").warnings, "si"))
    for part in told:
        assert part in warned
