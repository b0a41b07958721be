"""A rule decides at its own value: just inside and just outside of it the two answers are given."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
from pyproj import CRS
from shapely import LineString, box

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.ground_rules import embankment_rules
from pipelines.inputs.rules import load_rules
from pipelines.inputs.tables.prices import default_prices
from pipelines.layout.diagnosis.troubles import trouble_rules
from pipelines.layout.gate.along_lines import thin_segments
from pipelines.layout.plan import PipeRun
from pipelines.layout.routing.lot_field import _surfaces
from pipelines.layout.ways.outlets.outlet_levels import level_range
from pipelines.layout.ways.soak import _length_needed
from terrain.grid import Frame, Grid
from tests.terrain.test_embankments import found_on, rail, valley

RULES = load_rules()
INCH, FOOT = 0.0254, 0.3048
PIPE = find_pipe("4 in SDR-35")


@pytest.mark.parametrize("waves, found", [(0.19, True), (0.20, False)])
def test_a_bank_is_even_to_15_cm(ground_of, waves: float, found: bool) -> None:
    """Of these waves the crest over the valley's sides departs by 14.9 and by 15.2 cm; common practice, no source."""
    banks = found_on(ground_of, np.maximum(valley(), rail(waves=waves)), embankment_rules(RULES))
    assert bool(banks) == found


@pytest.mark.parametrize("missing, told", [(0.0028, False), (0.0032, True)])
def test_cover_that_misses_3_mm_is_not_told(missing: float, told: bool) -> None:
    """Ours: less than a level rod reads. A lawn's least cover is 6 in."""
    line = LineString([(0.0, 0.0, 99.0), (10.0, 0.0, 98.9)])
    cover = 6.0 * INCH - missing
    ground = tuple(z + PIPE.outside - PIPE.wall + cover for z in (99.0, 98.9))
    run = PipeRun(
        id="run-1", from_id="basin-1", to_id="basin-2", kind="gravity", purpose="collector", size=PIPE.size,
        standard=PIPE.standard, pipe_key=PIPE.key, line=line, ground=ground, length=10.0, slope=0.01, invert_up=99.0,
        invert_down=98.9, peak_flow=0.001, velocity=0.6, capacity=0.005, filled=0.3, least_cover=cover, deepest=0.3,
        under_paving=0.0, crossings=(),
    )  # fmt: skip
    plan = SimpleNamespace(pipe_runs=(run,), outfalls=())
    lot = SimpleNamespace(situation=SimpleNamespace(rules=RULES), layout=SimpleNamespace(cover=None))
    assert [fault["cover"] for fault in thin_segments(plan, lot)] == [pytest.approx(cover)] * told  # type: ignore[arg-type]


def test_a_quarter_of_an_inch_is_a_wet_surface() -> None:
    """Common practice, no source: time is counted from 6 mm where nothing is tolerated, as at a wall."""
    rules = trouble_rules(RULES)
    assert rules.counts_from(rules.wall) == pytest.approx(0.25 * INCH, rel=0.06)


def test_the_water_of_a_pond_may_lie_a_foot_over_what_lidar_shows() -> None:
    """Common practice, no source. Of a ditch what lidar shows is the highest that its bed may lie."""
    taken, _, over = level_range("pond", RULES)
    assert over - (taken - RULES["outlet_under_pond"].low) == pytest.approx(FOOT)
    taken, _, over = level_range("ditch", RULES)
    assert over == pytest.approx(taken - RULES["outlet_under_ditch"].low)


def test_paving_is_patched_over_40_cm_of_width() -> None:
    """Ours: a 4 in pipe between two saw cuts. A metre across a patio costs 0.4 m2 of patch, across lawn its sod."""
    grid = Grid((4, 8), 0.0, 4.0, 1.0, 1.0, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))
    paving = gpd.GeoDataFrame({"kind": ["patio"]}, geometry=[box(0.0, 0.0, 4.0, 4.0)], crs=32617)
    prices = default_prices()
    drives, cost = _surfaces(SimpleNamespace(hardscape=paving), grid, prices, RULES)  # type: ignore[arg-type]
    assert not drives.any()
    assert cost[:, :3] == pytest.approx(0.4 * prices["paving patch"].likely / FOOT**2)
    assert cost[:, 5:] == pytest.approx(RULES["lawn_spoiled_width"].likely * prices["sod"].likely / FOOT**2)


def test_a_dry_well_is_3_to_30_m_long() -> None:
    """Ours: a shorter one is a pit, a longer one is a design of its own. The flows fill ever more of it."""

    def length(volume: float) -> float | None:
        inputs = SimpleNamespace(
            situation=SimpleNamespace(rules=RULES), flows=SimpleNamespace(volumes={"basin-1": volume}),
            wanted=("basin-1",), spouts=(),
        )  # fmt: skip
        return _length_needed(inputs, 2.0 * INCH / 3600.0, 30.0)[0]  # type: ignore[arg-type]

    found = [length(volume) for volume in np.linspace(0.5, 25.0, 99)]
    fit = [each for each in found if each is not None]
    assert (fit[0], fit[-1], found[-1]) == (3.0, 30.0, None)
    assert fit == sorted(fit)
