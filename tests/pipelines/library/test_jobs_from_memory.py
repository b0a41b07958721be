"""Jobs called from Python: what is in memory gives what the same files give, and errors are ours."""

import doctest
import importlib
import pkgutil
import re
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from shapely import Point, box

import pipelines
from pipelines import Site, check_swale, screen
from pipelines.library.reference import own_steps, reference_text
from terrain.errors import LotshedError

SAMPLES = Path(__file__).parents[3] / "sample_data"
LOT = 11
OWN = ("parcel", "outfalls", "complaints")


@pytest.fixture(scope="module")
def heights():
    with rasterio.open(SAMPLES / "ground.tif") as file:
        band = file.read(1).astype(float)
        return np.where(band == file.nodata, np.nan, band), file.transform, file.crs


def layer(name, crs=None):
    frame = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer={"parcel": "parcels"}.get(name, name))
    frame = frame[frame.lot == LOT] if name in OWN else frame
    return frame if crs is None else frame.to_crs(crs)


@pytest.fixture(scope="module")
def in_memory(heights):
    names = ("roofs", "hardscape", "barriers", "keep_out", "utilities", "right_of_way", "downspouts", "culverts",
             "outfalls", "complaints")  # fmt: skip
    return screen(
        elevation={"file": heights, "unit": "m", "rmse": "10 cm", "flown": 2021, "grounds": 1},
        parcel=layer("parcel"),
        name="Claywick Hills, lot 11",
        house={"foundation": "crawl", "floor": "702.91 ft", "footing_depth": "2 ft", "built": 1994},
        rain={"table": SAMPLES / "rain.csv", "return_period": "10 yr"},
        soil={"file": gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="soils"), "cover": "lawn, fair"},
        pump=pd.read_csv(SAMPLES / "pump.csv", comment="#"),
        prices=SAMPLES / "prices.csv",
        **{name: layer(name) for name in names},
    )


@pytest.fixture(scope="module")
def from_files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("files")
    for held in SAMPLES.iterdir():
        (folder / held.name).symlink_to(held)
    site = folder / "one_ground.toml"
    site.write_text((SAMPLES / "lot_11.toml").read_text().replace("[elevation]\n", "[elevation]\ngrounds = 1\n"))
    return screen(site)


def test_memory_gives_what_files_give(in_memory, from_files):
    assert in_memory.layers.keys() == from_files.layers.keys()
    for name, table in from_files.layers.items():
        if name != "run_info":
            # complaints are numbered as their table holds them, of which memory was given one lot's
            numbered = ["id"] if name == "complaints" else []
            pd.testing.assert_frame_equal(
                in_memory.layers[name].drop(columns=numbered), table.drop(columns=numbered), check_like=True
            )
    assert in_memory.headline == from_files.headline
    assert in_memory.verdict == from_files.verdict


def test_layers_know_their_crs_and_units(in_memory):
    pipes = in_memory.layers["pipe_runs"]
    west, south, east, north = pipes.to_crs(4326).total_bounds
    known = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="parcels").to_crs(4326).total_bounds
    assert known[0] < west <= east < known[2]
    assert known[1] < south <= north < known[3]
    assert "length_ft" in pipes
    assert "length_m" not in pipes


def test_two_results_do_not_disturb_each_other(in_memory, heights, capsys):
    before = in_memory.layers["low_spots"].copy()
    other = screen(elevation=heights, parcel=layer("parcel", 4326), units="si", name="Bare lot")
    assert "depth_m" in other.layers["low_spots"]
    assert other.verdict == "cannot_tell"
    pd.testing.assert_frame_equal(in_memory.layers["low_spots"], before)
    assert any("roofs" in warning.lower() for warning in other.warnings)
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err == ""


def test_a_result_shows_itself(in_memory):
    assert len(repr(in_memory)) < 400
    assert "lot 11" in repr(in_memory)
    page = in_memory._repr_html_()
    assert page.count("<svg") == 1
    assert "basin-1" in page


def test_a_result_draws_itself(in_memory):
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    ax = in_memory.plot()
    labels = {text.get_text() for text in ax.get_legend().get_texts()}
    assert {"Lot", "Roof", "Catch basin", "Pressure line"} <= labels
    west, east = ax.get_xlim()
    lot = in_memory.layers["parcel"].total_bounds
    assert west < lot[0] < lot[2] < east
    matplotlib.pyplot.close(ax.figure)


def test_a_result_is_saved_as_the_command_line_saves_it(in_memory, tmp_path):
    folder = in_memory.save(tmp_path / "lot")
    assert {path.name for path in folder.iterdir()} >= {"lot.gpkg", "runoff.csv", "summary.json", "report.html"}
    read = gpd.read_file(folder / "lot.gpkg", layer="catch_basins")
    assert list(read["id"]) == list(in_memory.layers["catch_basins"]["id"])
    with pytest.raises(LotshedError, match="overwrite"):
        in_memory.save(tmp_path / "lot")


def test_the_summary_is_plain(in_memory):
    assert in_memory.summary["parcel_area_m2"] == pytest.approx(in_memory.findings.parcel_area)
    assert isinstance(in_memory.summary["verdict"], str)


def test_swales():
    result = check_swale(SAMPLES / "swale.toml")
    assert set(result.verdict.values()) <= {"takes_it", "short", "holds_water", "cannot_tell"}
    assert result.layers["stations"].crs is not None
    assert len(repr(result)) < 400
    assert result._repr_html_().count("<svg") == 1


FLAT = (np.full((40, 40), 100.0), Affine(1, 0, 500_000, 0, -1, 4_400_040), 32617)
SQUARE = gpd.GeoDataFrame(geometry=[box(500_010, 4_400_010, 500_030, 4_400_030)], crs=32617)


@pytest.mark.parametrize(
    "given, said",
    [
        ({"elevation": FLAT}, "parcel must be given"),
        ({"elevation": FLAT, "parcel": SQUARE, "roof": SQUARE}, "no roof"),
        ({"elevation": FLAT[:2], "parcel": SQUARE}, "its transform and its CRS"),
        ({"elevation": FLAT, "parcel": SQUARE.set_crs(None, allow_override=True)}, "parcel has no CRS"),
        ({"elevation": FLAT, "parcel": [1, 2]}, "parcel is a list"),
        ({"elevation": FLAT, "parcel": SQUARE, "rain": {"depth": "3 furlongs", "duration": "1 h"}}, "depth"),
        ({"elevation": FLAT, "parcel": SQUARE, "rules": {"cover_lwn": "8 in"}}, "cover_lawn"),
        ({"elevation": "no_such.tif", "parcel": SQUARE}, "no_such.tif"),
        ({"elevation": FLAT, "parcel": SQUARE.translate(5000.0)}, "parcel"),
    ],
)
def test_what_cannot_be_used_is_an_error_of_ours(given, said):
    with pytest.raises(LotshedError, match=re.escape(said)):
        screen(**given)


def test_a_site_and_keywords_are_not_mixed():
    with pytest.raises(TypeError, match="units belong in the site"):
        screen(SAMPLES / "lot_11.toml", units="si")


ROWS, COLUMNS = np.mgrid[0:60, 0:60]
HOLLOW = 100.0 + 0.02 * ROWS - 0.3 * np.exp(-((ROWS - 30.0) ** 2 + (COLUMNS - 30.0) ** 2) / 50.0)
WITH_HOLLOW = (HOLLOW, Affine(1, 0, 500_000, 0, -1, 4_400_060), 32617)
ROUND_LOT = gpd.GeoSeries([Point(500_030, 4_400_030).buffer(25.0)], crs=32617)


@pytest.mark.parametrize("crs", [4326, 3857, 2264])
def test_shapes_may_be_in_any_crs(crs):
    own, other = (screen(elevation=WITH_HOLLOW, parcel=lot, units="si") for lot in (ROUND_LOT, ROUND_LOT.to_crs(crs)))
    for name in ("parcel", "low_spots", "flow_paths"):
        assert len(own.layers[name]) > 0
        assert other.layers[name].crs == own.layers[name].crs == 32617
        assert other.layers[name].geom_equals_exact(own.layers[name], 1e-3).all()
    assert other.verdict == own.verdict


def test_the_lines_of_the_readme_run_as_they_stand(tmp_path, monkeypatch):
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    monkeypatch.chdir(tmp_path)
    text = (SAMPLES.parent / "README.md").read_text(encoding="utf-8").split("## From Python")[1].split("\n## ")[0]
    lines = [line.strip() for line in text.splitlines() if line.startswith("    ")]
    assert 3 <= len(lines) <= 10
    heights, transform, crs = WITH_HOLLOW
    exec("\n".join(lines), {"heights": heights, "transform": transform, "crs": crs, "lot": ROUND_LOT})
    assert (tmp_path / "folder" / "lot.gpkg").exists()
    matplotlib.pyplot.close("all")


def test_the_reference_is_current():
    assert (SAMPLES.parent / "REFERENCE.md").read_text(encoding="utf-8") == reference_text(), (
        "make it anew: python -m pipelines.library.reference > REFERENCE.md"
    )
    offered = tomllib.loads((SAMPLES.parent / "pyproject.toml").read_text())["project"]["entry-points"]["lotshed.steps"]
    assert {step.name for step in own_steps()} == set(offered)
    for step in own_steps():
        assert offered[step.name] == f"{step.function.__module__}:{step.function.__name__}"


def test_every_name_that_is_offered_can_be_imported():
    for name in pipelines.__all__:
        assert getattr(pipelines, name).__doc__
    assert pipelines.LotshedError is LotshedError
    with pytest.raises(AttributeError, match="no attribute 'screens'"):
        pipelines.screens  # noqa: B018


def test_a_hobbyist_needs_a_raster_and_a_polygon_only():
    result = screen(elevation=WITH_HOLLOW, parcel=ROUND_LOT, units="si")
    deepest = result.layers["low_spots"].sort_values("rank").iloc[0]
    assert deepest["depth_m"] > 0.05
    assert deepest.geometry.contains(Point(500_030.5, 4_400_029.5))


def modules():
    for package in (pipelines, importlib.import_module("terrain")):
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            yield importlib.import_module(found.name)


def test_every_example_in_a_docstring_runs():
    tried = 0
    for module in modules():
        outcome = doctest.testmod(module)
        assert outcome.failed == 0, module.__name__
        tried += outcome.attempted
    assert tried > 0


def test_the_packages_say_that_they_are_typed():
    for name in ("terrain", "pipelines", "cli"):
        assert (Path(importlib.import_module(name).__file__).parent / "py.typed").exists()
    assert Site.read(SAMPLES / "lot_11.toml").name == "lot_11"
