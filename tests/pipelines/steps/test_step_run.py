from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
from affine import Affine
from geopandas import GeoDataFrame
from pandas import DataFrame
from pydantic import BaseModel
from shapely import Point

from pipelines.deliverables.errors import HandoverError
from pipelines.inputs.errors import InputFileError, TableError
from pipelines.steps.registry import Step, StepError, load_step, read_step
from pipelines.steps.run import StepFile, run_step
from terrain.raster import Raster
from terrain.reading.surface import Surface

US_FOOT = 1200 / 3937  # NIST SP 811, appendix B


@pytest.fixture
def ground(tmp_path: Path) -> Path:
    """A bowl 2 ft deep on level ground, on a map in US survey feet whose heights are in feet too."""
    path = tmp_path / "ground.tif"
    heights = np.full((30, 40), 500.0)
    heights[10:14, 10:15] = 498.0
    with rasterio.open(
        path, "w", driver="GTiff", width=40, height=30, count=1, dtype="float64", crs="EPSG:2264",
        transform=Affine(3, 0, 1_300_000, 0, -3, 500_000),
    ) as file:  # fmt: skip
        file.write(heights, 1)
    return path


@pytest.fixture
def places(tmp_path: Path) -> Path:
    path = tmp_path / "places.gpkg"
    table = gpd.GeoDataFrame(
        {"name": ["a", "b"], "count": [3, 4]},
        geometry=[Point(1_300_003, 499_990), Point(1_300_009, 499_990)], crs=2264,
    )  # fmt: skip
    pyogrio.write_dataframe(table, path, layer="places")
    return path


def _step(function: object) -> Step:
    return read_step("made-step", function, offered_by="elsewhere")  # type: ignore[arg-type]


def test_a_layer_comes_back_on_the_map_in_its_own_feet(ground: Path, tmp_path: Path) -> None:
    out = tmp_path / "low.gpkg"
    said = run_step(
        load_step("low-spots"), {"elevation": StepFile(ground, {"unit": "ftUS"})}, {"units": "us"}, out, overwrite=False
    )
    found = gpd.read_file(out, layer="low_spots")
    assert found.crs == "EPSG:2264"
    assert found.geometry[0].bounds == pytest.approx((1_300_030, 499_958, 1_300_045, 499_970), abs=1e-6)
    assert found.geometry[0].area == pytest.approx(15 * 12)
    assert found["depth_in"][0] == pytest.approx(24 * US_FOOT / 0.3048)
    assert found["area_ft2"][0] == pytest.approx(20 * 9 * (US_FOOT / 0.3048) ** 2)
    assert all("unit" not in line for line in said)
    assert dict(pyogrio.list_layers(out)) == {"low_spots": "MultiPolygon", "layer_styles": None}


def test_a_raster_comes_back_as_a_geotiff_with_its_unit(ground: Path, tmp_path: Path) -> None:
    out = tmp_path / "accumulation.tif"
    run_step(load_step("flow-accumulation"), {"elevation": StepFile(ground)}, {}, out, overwrite=False)
    with rasterio.open(out) as file, rasterio.open(ground) as given:
        assert file.transform == given.transform
        assert file.crs == given.crs
        assert file.units == ("m2",)
        assert file.descriptions == ("ground that drains through the cell",)
        # every cell is counted where it leaves
        values = file.read(1)
        assert values.min() == pytest.approx(9 * US_FOOT**2)


def test_a_step_of_others_gets_layers_with_all_their_attributes_and_tables(places: Path, tmp_path: Path) -> None:
    class Choice(BaseModel):
        reach: float = 1.0

    def grow(spots: GeoDataFrame, weights: DataFrame, *, parameters: Choice) -> GeoDataFrame:
        """Grow places."""
        assert spots.crs is None
        assert list(spots["name"]) == ["b"]
        assert list(weights["weight"]) == [2.5]
        return spots.assign(weight=weights["weight"].to_numpy()).set_geometry(spots.buffer(parameters.reach))

    (tmp_path / "weights.csv").write_text("# invented\nname,weight\na,2.5\n")
    files = {"spots": StepFile(places, {"where": "count > 3"}), "weights": StepFile(tmp_path / "weights.csv")}
    run_step(_step(grow), files, {"reach": "3.0"}, tmp_path / "grown.gpkg", overwrite=False)
    grown = gpd.read_file(tmp_path / "grown.gpkg", layer="made_step")
    assert grown["name"].tolist() == ["b"]
    # 3 m in true metres, back on a map in feet
    assert grown.geometry[0].bounds[0] == pytest.approx(1_300_009 - 3.0 / US_FOOT, abs=1e-3)


def test_tables_and_heights_can_be_given_back(ground: Path, tmp_path: Path) -> None:
    def levels(elevation: Surface) -> DataFrame:
        return pd.DataFrame({"place": ["=low"], "level_m": [float(elevation.elevation.min())]})

    def lifted(elevation: Surface) -> Surface:
        return elevation

    files = {"elevation": StepFile(ground, {"unit": "m"})}
    run_step(_step(levels), files, {}, tmp_path / "levels.csv", overwrite=False)
    assert (tmp_path / "levels.csv").read_text() == "place,level_m\n'=low,498\n"
    run_step(_step(lifted), files, {}, tmp_path / "lifted.tif", overwrite=False)
    with rasterio.open(tmp_path / "lifted.tif") as file:
        assert file.read(1).min() == 498.0


def test_the_place_is_checked_before_the_work(ground: Path, tmp_path: Path) -> None:
    def never(elevation: Surface) -> Raster:
        raise AssertionError("the work was begun")

    files = {"elevation": StepFile(ground)}
    (tmp_path / "there.tif").write_text("mine")
    for name, told in (
        ("there.tif", "exists. Give another name"),
        ("there.gpkg", "would hold the wrong kind of file"),
        ("nowhere/out.tif", "is not a folder"),
    ):
        with pytest.raises(HandoverError, match=told):
            run_step(_step(never), files, {}, tmp_path / name, overwrite=False)
    assert (tmp_path / "there.tif").read_text() == "mine"


def test_a_failing_step_leaves_the_earlier_file(ground: Path, tmp_path: Path) -> None:
    def fail(elevation: Surface) -> Raster:
        raise ZeroDivisionError

    (tmp_path / "there.tif").write_text("mine")
    with pytest.raises(ZeroDivisionError):
        run_step(_step(fail), {"elevation": StepFile(ground)}, {}, tmp_path / "there.tif", overwrite=True)
    assert (tmp_path / "there.tif").read_text() == "mine"


def test_bad_parameters_and_files_are_named(ground: Path, tmp_path: Path) -> None:
    files = {"elevation": StepFile(ground, {"unit": "ftUS"})}
    with pytest.raises(StepError) as told:
        run_step(load_step("low-spots"), files, {"units": "uk", "min_depth": "3"}, tmp_path / "x.gpkg", overwrite=False)
    assert 'units: "uk" is not known' in str(told.value)
    assert 'min_depth: "3" is not one number and one unit' in str(told.value)
    missing = files | {"roofs": StepFile(tmp_path / "no.gpkg")}
    with pytest.raises(InputFileError, match=r"\[roofs\] no.gpkg: the file does not exist"):
        run_step(load_step("low-spots"), missing, {}, tmp_path / "x.gpkg", overwrite=False)

    def count(numbers: DataFrame) -> DataFrame:
        return numbers

    with pytest.raises(InputFileError, match=r"no.csv does not exist"):
        run_step(_step(count), {"numbers": StepFile(tmp_path / "no.csv")}, {}, tmp_path / "x.csv", overwrite=False)
    (tmp_path / "empty.csv").write_text("")
    with pytest.raises(TableError, match=r"empty.csv is no CSV table"):
        run_step(_step(count), {"numbers": StepFile(tmp_path / "empty.csv")}, {}, tmp_path / "x.csv", overwrite=False)
