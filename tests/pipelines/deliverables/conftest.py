"""A small made-up lot: every kind of thing a run can find, with round numbers."""

import functools
import re
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner
from pyproj import CRS
from shapely import LineString, Point, box

from cli.main import app
from pipelines import swale
from pipelines.deliverables.files.text_file import summary_text
from pipelines.deliverables.findings.lot import Balance, Caution, Findings, FlowPath, InputFile, StandingWater
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.lot.written import answer_text, lot_files
from pipelines.deliverables.unit_systems import unit_system
from pipelines.hydrology.sub_catchment import Hydrograph, SubCatchment, SurfaceShare
from pipelines.layout import plan as works
from pipelines.layout.parts import Part, Parts
from terrain.flow.low_spots import LowSpot
from terrain.grid import Frame, Grid
from terrain.reason import reason
from tests.screened_samples import checked, screened

FOOT_US = 1200 / 3937


def make_findings(**changes: Any) -> Findings:
    """A lot of 30 by 20 m on a map in US survey feet, with a patio that is pumped and a roof line by gravity."""
    frame = Frame(CRS.from_epsg(2264), FOOT_US, FOOT_US, FOOT_US)
    grid = Grid((20, 30), 400_000.0, 150_020.0, 1.0, 1.0, frame)
    return replace(
        Findings(
            name="Lot 7",
            version="0.0",
            units="us",
            frame=frame,
            parcel=gpd.GeoDataFrame(geometry=[_box(0, 0, 30, 20)]),
            roofs=gpd.GeoDataFrame(geometry=[_box(10, 5, 20, 12)]),
            hardscape=gpd.GeoDataFrame(geometry=[_box(10, 2, 20, 5)]),
            given={
                "roofs": gpd.GeoDataFrame({"id": ["1"], "open_below": [False]}, geometry=[_box(10, 5, 20, 12)]),
                "hardscape": gpd.GeoDataFrame({"id": ["1"]}, geometry=[_box(10, 2, 20, 5)]),
            },
            ground=np.full((20, 30), 100.0),
            grid=grid,
            inputs=(InputFile("elevation", "ground.tif", "ab" * 32, "NAD83 / North Carolina (ftUS)", 1.0),),
            studied_area=700.0,
            parcel_area=600.0,
            run_on_area=100.0,
            roof_area=70.0,
            flow_paths=(FlowPath("path-1", _line((0, 19), (15, 4)), 120.0, run_on=True, certain=False),),
            low_spots=(_standing_water(),),
            runoff=(_sub_catchment("sub-2", "low-1", 600.0, False), _sub_catchment("sub-1", "edge_n", 100.0, True)),
            plan=make_plan(),
            balance=Balance(rain=50.0, infiltrated=30.0, leaves=12.0, stands=3.0, collected=5.0),
            leaving=(("edge_n", 0.002, 4.0, 0.002, 4.0), ("out-1", 0.0, 0.0, 0.004, 5.0)),
            warnings=("No soil was given; group B is assumed.",),
            cautions=(Caution("before_you_dig", "Call before you dig."),),
            parameters=(("cover", "12 in", "CP"),),
            vertical_datum="as in the raster, not stated",
        ),
        **changes,
    )


def make_plan() -> works.Plan:
    """One basin that is pumped to the swale, one downspout line that runs to it by gravity."""
    ends = {"under_paving": 0.0, "crossings": (), "ground": (100.0, 99.8), "least_cover": 0.3, "deepest": 0.6}
    gravity = works.PipeRun(
        "run-1", "spout-1", "out-1", "gravity", "downspout", "4 in", "SDR-35", "4 in SDR-35",
        _line((20, 12, 99.5), (30, 12, 99.4)), length=10.0, slope=0.01, invert_up=99.5, invert_down=99.4,
        peak_flow=0.002, velocity=0.8, capacity=0.008, filled=0.4, **ends,
    )  # fmt: skip
    pressure = works.PipeRun(
        "run-2", "sump-1", "out-1", "pressure", "discharge", "1-1/2 in", "sch 40", "1-1/2 in sch 40",
        _line((15, 3, 98.5), (30, 12, 99.6)), length=17.5, slope=None, invert_up=98.5, invert_down=99.6,
        peak_flow=0.003, velocity=2.1, capacity=0.003, filled=None, **ends,
    )  # fmt: skip
    return works.Plan(
        verdict="Roof water leaves by gravity; the patio is pumped.",
        parts=Parts(
            Part("sure", "It is rain."), Part("sure", "It falls."), Part("cannot_tell", "No bottom is shot."),
            Part("no", "Water stays on the patio."),
        ),
        catch_basins=(
            works.CatchBasin("basin-1", "sump-1", _point(14, 3), "12 in", 0.003, 0.005, "grate", 0.02, 99.9, 99.5,
                             False, "Water stands on the patio."),
        ),
        french_drains=(
            works.FrenchDrain("drain-1", "basin-1", _line((10, 2, 99.6), (14, 3, 99.5)), 4.1, 0.3, 0.5,
                              "4 in perforated", 0.01, 0.001, "Sheet flow reaches the patio."),
        ),
        pipe_runs=(pressure, gravity),
        sumps=(
            works.Sump("sump-1", "run-2", _point(15, 3), 1.2, 0.0031, 4.0, 2.7, 0.003, 12.0, "24 x 36 in", 99.9,
                       99.4, 98.4, 98.2, 1.5, ("The power can fail.",)),
        ),
        outfalls=(
            works.Outfall("out-1", "swale", _point(30, 12), True, 99.35, 0.05, 0.04, "cannot_tell",
                          "Level of its bottom."),
        ),
        fittings=(works.Fitting("fit-1", "4 in cleanout", "run-1", _point(20, 12)),),
        discharges=(
            works.Discharge(("spout-1",), "out-1", "gravity", "cannot_tell", "0.05 m to spare.", 0.05, 0.04, None),
            works.Discharge(("basin-1",), "out-1", "pump", "sure", "The patio lies below.", None, None, 1.2),
        ),
        alternatives=(
            works.Alternative("pump", True, 900.0, 1_400.0, 2_100.0, 0.9, None, "power at the sump", True),
            works.Alternative("soakaway", False, None, None, None, None, None, "a tested rate", False),
        ),
        take_off=(works.TakeOffLine("4 in SDR-35", 11.0, "length", 72.0, 101.0, 144.0, "material"),),
        cures=(works.Cure("cure-1", "Clean the gutters.", "They overflow.", "Less water on the patio."),),
        site_checks=("Level shots at the patio low and the swale's bottom.",),
    )  # fmt: skip


def _standing_water() -> StandingWater:
    spot = LowSpot(
        "low-1", np.array([42]), 42, 43, 100.1, 100.0, 0.1, 30.0, 1.5, None, False,
        np.array([100.0, 100.1]), np.array([1.0, 30.0]), np.array([0.0, 1.5]), True,
    )  # fmt: skip
    return StandingWater(
        spot, _box(12, 2, 18, 7), True, hours=26.0, hours_after=None, storm_depth=0.1, storm_depth_after=0.0,
        storm_volume=1.5, storm_volume_after=0.0, spilled=2.0, spilled_after=0.0, rank=1,
        why=reason("low_spot_in_trouble", why="it lies on a patio", spills_above=None),
        depth_on_lot=0.1, depth_on_lot_after=0.0, area_on_lot=30.0, volume_on_lot=1.5, hours_on_lot=26.0,
        hours_on_lot_after=None,
    )  # fmt: skip


def _sub_catchment(name: str, drains_to: str, area: float, run_on: bool) -> SubCatchment:
    shape = _box(0, 20, 30, 20 + area / 30) if run_on else _box(0, 0, 30, 20)
    return SubCatchment(
        name, drains_to, shape, run_on, (SurfaceShare("lawn", area, 69.0, 0.3, False),), area,
        impervious_fraction=0.25, runoff_coefficient=0.3, curve_number=69.0, flow_length=25.0, slope=0.02,
        time_of_concentration=300.0, intensity=0.15 / 3600, rational_peak=0.3 * 0.15 / 3600 * area, storm_depth=0.1,
        runoff_depth=0.03, runoff_volume=0.03 * area, hydrograph=Hydrograph(60.0, np.array([0.0, 0.001, 0.0])),
    )  # fmt: skip


def _box(west: float, south: float, east: float, north: float) -> Any:
    return box(400_000 + west, 150_000 + south, 400_000 + east, 150_000 + north)


def _line(*points: tuple[float, ...]) -> LineString:
    return LineString([(400_000 + x, 150_000 + y, *z) for x, y, *z in points])


def _point(x: float, y: float) -> Point:
    return Point(400_000 + x, 150_000 + y)


@dataclass(frozen=True)
class HandedOver:
    """What a sample's run says to readers: on the terminal, on the page, in layers, and for scripts."""

    terminal: str
    page: str
    layers: str
    summary: str


SAMPLES = Path(__file__).parents[3] / "sample_data"


@pytest.fixture(scope="session")
def handed_over(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], HandedOver]:
    """What runs a sample in a system of units, each once, and gives what it says."""
    folder = tmp_path_factory.mktemp("samples") / "sample_data"
    shutil.copytree(SAMPLES, folder)

    @functools.cache
    def made(name: str, units: str) -> HandedOver:
        site = folder / f"{name}_{units}.toml"
        site.write_text((folder / f"{name}.toml").read_text().replace('units = "us"', f'units = "{units}"'))
        page = folder / f"{name}_{units}.html"
        if name == "swale":
            return _swale_handed_over(site, folder / f"{name}_{units}", units)
        findings = replace(screened(name), units=units)
        lot_files(findings, made_on=date(2025, 3, 4))["report.html"](page)
        layers = lot_tables(findings, unit_system(units), outputs=["lot.gpkg"])
        return HandedOver(
            answer_text(findings, 100), text_of_page(page), text_of_layers(layers), summary_text(summary(findings))
        )

    return made


def _swale_handed_over(site: Path, out: Path, units: str) -> HandedOver:
    with pytest.MonkeyPatch.context() as patch:
        # units are what is written in alone
        patch.setattr(swale, "check_swale", lambda *_, **__: replace(checked("swale"), units=units))
        result = CliRunner().invoke(app, ["swale", str(site), "--out", str(out)])
    assert result.exit_code == 0, result.stderr
    layers = {name: pyogrio.read_dataframe(out / "swale.gpkg", layer=name, read_geometry=False)
              for name in pyogrio.list_layers(out / "swale.gpkg")[:, 0] if name != "layer_styles"}  # fmt: skip
    return HandedOver(
        result.stdout, text_of_page(out / "report.html"), text_of_layers(layers), (out / "summary.json").read_text()
    )


class _PageText(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._inside: list[str] = []
        self._unit = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside.append(tag)
        self._unit = dict(attrs).get("data-unit") or ""
        self.said += [f"\n{value}" for name, value in attrs if name in ("aria-label", "alt", "title") and value]
        if tag in ("p", "li", "td", "th", "dd", "dt", "text", "option", "h2", "h3", "h4", "span", "label"):
            self.said.append("\n")

    def handle_endtag(self, tag: str) -> None:
        while self._inside and self._inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not self._inside or self._inside[-1] not in ("script", "style"):
            self.said.append(data)
            # a number in a table stands under its unit
            if self._inside and self._inside[-1] == "data" and self._unit and not data.endswith(self._unit):
                self.said.append(f" {self._unit}")


def text_of_page(path: Path) -> str:
    """What a reader sees and hears of a page, a line for each piece."""
    page = _PageText()
    page.feed(path.read_text(encoding="utf-8"))
    return re.sub(r"[ \t]+", " ", "".join(page.said))


CODES = {"verdict", "answer", "tailwater", "kind", "mode", "place", "from_id", "to_id", "id", "outfall"}


def text_of_layers(layers: Mapping[str, pd.DataFrame]) -> str:
    """Columns of words of layers, a line for each cell; codes and ids are not words."""
    return "\n".join(
        str(value)
        for frame in layers.values()
        for name in frame.columns
        if name not in CODES and name != "geometry" and not pd.api.types.is_numeric_dtype(frame[name])
        for value in frame[name].dropna()
    )


@pytest.fixture
def findings() -> Findings:
    return make_findings()


@pytest.fixture
def findings_with() -> Callable[..., Findings]:
    return make_findings
