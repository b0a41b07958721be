"""Numbers that mean nothing are refused in one message, and none is ever printed."""

import csv
import math
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from click.testing import CliRunner
from hostile_sites import CRS, EAST, NORTH, good_ground, write_base, write_ground
from many import result_faults
from shapely import LineString

from cli.main import app
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.words.quantities import KINDS, format_quantity
from pipelines.inputs.errors import QuantityError, SiteFileError
from pipelines.inputs.rules import load_rules, read_overrides
from pipelines.inputs.site_ranges import SITE_RANGES, quantity_in_range
from terrain.unit_table import si_factor

RANGES = list(
    csv.DictReader(files("pipelines.inputs").joinpath("rule_ranges.csv").read_text(encoding="utf-8").splitlines())
)
SITE = """
name = "Made lot"
[elevation]
file = "ground.tif"
unit = "m"
rmse = "2 cm"
grounds = 1
[parcel]
file = "parcel.gpkg"
[rain]
depth = "3 in"
duration = "60 min"
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """The site file of a good lot, beside its files."""
    write_base(tmp_path)
    (tmp_path / "site.toml").write_text(SITE)
    return tmp_path / "site.toml"


def refusal(site: Path, *options: str) -> str:
    done = CliRunner().invoke(app, ["screen", str(site), "--out", str(site.parent / "out"), *options])
    assert (done.exit_code, done.stdout) == (2, ""), done.stderr
    assert done.stderr.count("Error: ") == 1
    assert "Traceback" not in done.stderr
    assert not (site.parent / "out").exists()
    return done.stderr


def test_every_rule_that_is_a_number_has_a_range_around_its_default() -> None:
    rules = load_rules()
    assert [row["key"] for row in RANGES] == [key for key, rule in rules.items() if not rule.names]
    for rule in rules.values():
        if not rule.names:
            told = rule.values or (rule.low, rule.likely, rule.high)
            assert 0.0 <= rule.least < rule.most < math.inf, rule.key
            assert all(rule.least <= value <= rule.most for value in told), rule.key


@pytest.mark.parametrize("row", RANGES, ids=[row["key"] for row in RANGES])
def test_a_rule_is_taken_within_its_range_and_refused_outside(row: dict[str, str]) -> None:
    rule = load_rules()[row["key"]]

    def told(value: float) -> Any:
        text: Any = value if rule.unit == "1" else f"{value:.12g} {rule.unit}"
        return {rule.key: [text] if rule.values else text}

    least, most = float(row["least"]), float(row["most"])
    for value in (least, most):
        (read,) = read_overrides(told(value))
        assert (read.values or (read.likely,))[0] == pytest.approx(value * si_factor(rule.unit))
    for value in (1.01 * most, 0.99 * least if least else -1e-9 - most, -1.0, 1e300):
        with pytest.raises(SiteFileError, match=f"{rule.key}: .* from .* to "):
            read_overrides(told(value))


@pytest.mark.parametrize("key", SITE_RANGES)
def test_a_site_key_is_taken_within_its_range_and_refused_outside(key: str) -> None:
    _, *ends = SITE_RANGES[key]
    for text in ends:
        assert math.isfinite(quantity_in_range(text, key))
    number, unit = ends[1].split(" ")
    with pytest.raises(QuantityError, match=f"out of range; it may be from {ends[0]} to {ends[1]}"):
        quantity_in_range(f"{1.01 * float(number):.9g} {unit}", key)
    number, unit = ends[0].split(" ")
    below = float(number) * (0.99 if float(number) > 0.0 else 1.01) or -0.01
    with pytest.raises(QuantityError, match=r"out of range|must not be negative"):
        quantity_in_range(f"{below:.9g} {unit}", key)
    for text in (f"1e300 {unit}", f"-1e300 {unit}", f"nan {unit}", f"inf {unit}", math.nan, math.inf, 10**5000):
        with pytest.raises(QuantityError):
            quantity_in_range(text, key)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("x = " + "9" * 5000, "broken TOML"),
        ("x = " + "[" * 5000 + "]" * 5000, "nests too deep"),
        (".".join(["a"] * 5000) + " = 1", "unknown key"),
        (
            "[rules]\nhand_trench_rate = '0 ft/h'",
            'hand_trench_rate: "0 ft/h" is no quantity in ft/h or m/h from 0.2 to 1200',
        ),
        ("[rules]\nstone_porosity = nan", "stone_porosity: nan is no plain number from 0.05 to 0.9"),
        ("[rules]\nstone_porosity = " + "9" * 4000, "a whole number of about 4,000 digits is no plain number"),
        ("[layout]\ncover = '1e9 m'", '[layout] cover: "1e9 m" is out of range; it may be from 1 mm to 30 m'),
        ("[layout]\nbasins = [[nan, 1.0]]", "[layout] basins"),
        ("[house]\nfloor = '1e9 m'", '"1e9 m" is out of range; it may be from -500 m to 9000 m'),
        ("[swales]\nfile = 'parcel.gpkg'\nroughness = nan", "[swales] roughness"),
    ],
)
def test_a_number_that_means_nothing_is_one_message(site: Path, more: str, told: str) -> None:
    # plain keys stand before the first table
    text = SITE + more if more.startswith("[") else more + SITE
    site.write_text(text)
    assert told in refusal(site, "--dry-run")


@pytest.mark.parametrize("level", [-1e9, 1e9, -400.0, 300.0])
def test_an_outfall_far_under_or_over_the_ground_is_refused(site: Path, level: float) -> None:
    line = LineString([(EAST + 0.35, NORTH + 1.62), (EAST + 29.9, NORTH + 1.62)])
    gpd.GeoDataFrame({"kind": ["swale"], "level_m": [level]}, geometry=[line], crs=CRS).to_file(
        site.parent / "out.gpkg"
    )
    site.write_text(SITE + '[outfalls]\nfile = "out.gpkg"\n')
    told = refusal(site)
    assert (
        ("check its unit" in told or "is less than -500 m" in told)
        if abs(level) > 1e4
        else "the ground there lies" in told
    )


@pytest.mark.parametrize("height", ["1e9", "-1e9", "1e300"])
def test_shots_of_no_land_are_refused(site: Path, height: str) -> None:
    (site.parent / "shots.csv").write_text(f"point,easting,northing,height_m\nA,500015,4400009,{height}\n")
    site.write_text(SITE + '[levels]\nfile = "shots.csv"\n')
    assert "is no height of land; it may be from -500 to 9,000 m" in refusal(site)


@pytest.mark.parametrize(("scale", "offset"), [(0.0, 0.0), (math.nan, 0.0), (1.0, math.inf), (1e9, 0.0)])
def test_a_band_whose_scale_makes_no_heights_is_refused(site: Path, scale: float, offset: float) -> None:
    (site.parent / "ground.tif").unlink()
    write_ground(site.parent / "ground.tif", good_ground(), scales=scale, offsets=offset)
    with rasterio.open(site.parent / "ground.tif") as file:
        assert np.isclose(file.scales[0], scale, equal_nan=True)
    assert "which make no heights of its numbers" in refusal(site)


def test_a_pump_beyond_any_is_refused(tmp_path: Path) -> None:
    (tmp_path / "pump.csv").write_text("flow_gpm,head_ft\n0,1e12\n40,17\n")
    done = CliRunner().invoke(
        app,
        [
            "pump",
            "--curve",
            str(tmp_path / "pump.csv"),
            "--static-lift",
            "8 ft",
            "--pipe",
            "2 in sch 40",
            "--length",
            "120 ft",
        ],
    )
    assert (done.exit_code, done.stdout) == (2, "")
    assert "is no pump for a lot" in done.stderr


def test_what_is_written_holds_no_number_that_is_none(site: Path) -> None:
    done = CliRunner().invoke(
        app, ["screen", str(site), "--out", str(site.parent / "out"), "--also", "geojson", "--full"]
    )
    assert done.exit_code == 0, done.stderr
    new = [path for path in (site.parent / "out").iterdir() if path.is_file()]
    assert result_faults(done.stdout, done.stderr, new, site.parent) == []


def test_a_look_for_such_numbers_finds_them(tmp_path: Path) -> None:
    spoilt: dict[str, Callable[[], str]] = {
        "a.csv": lambda: "x\nnan\n",
        "b.csv": lambda: "x\n-0.0\n",
        "c.json": lambda: '{"x": NaN}',
        "d.csv": lambda: "x\n=1+1\n",
        "e.json": lambda: f'"{tmp_path}"',
    }
    for name, text in spoilt.items():
        (tmp_path / name).write_text(text())
        assert result_faults("", "", [tmp_path / name], tmp_path), name
    assert result_faults("-0.00 ft", "", [], tmp_path)
    assert result_faults("\x1b[31m", "", [], tmp_path)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, -0.0, -1e-12])
def test_no_quantity_reads_as_none(kind: str, value: float) -> None:
    text = format_quantity(value, kind)
    assert text == "unknown" if not math.isfinite(value) else not text.startswith("-"), text


def test_no_cell_of_a_table_reads_as_none() -> None:
    import pandas as pd

    table = pd.DataFrame({"x": [math.nan, math.inf, -math.inf, -0.0, 1.5]})
    assert csv_text(table).split("\n") == ["x", '""', '""', '""', "0", "1.5", ""]
