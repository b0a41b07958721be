"""What is wrong on some of the possible grounds: when "nothing to build" is sure, and what is only possible."""

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from shapely import box

from pipelines.deliverables.findings.possible import not_needed_on, possible_troubles, told_by_number
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.report.blocks import plain
from pipelines.deliverables.report.lot.answer import standing_words
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.report.lot.report import lot_report
from pipelines.deliverables.words.say import say, sentence
from pipelines.layout.diagnosis.possible_troubles import PlaceOnGrounds, _arrives, level_of
from pipelines.layout.diagnosis.troubles import BESIDE_HOUSE, LAWN, Trouble
from pipelines.layout.verdict_parts import wet_on_grounds
from pipelines.lot import findings_of
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.reason import reason

ROWS, COLUMNS, CELL = 100, 90, 0.5
RAIN = '[rain]\ndepth = "75 mm"\nduration = "60 min"\ndistribution = "constant"\n'
SHAPES: dict[str, list[dict[str, Any]]] = {
    "parcel": [{"geometry": box(8.0, 8.0, 36.0, 42.0)}],
    "roofs": [{"geometry": box(14.0, 24.0, 26.0, 32.0), "foundation": "slab"}],
    "hardscape": [{"geometry": box(16.0, 18.0, 22.0, 24.0), "kind": "patio", "protect": True}],
}


def falling_away(slope: float) -> np.ndarray:
    """A roof-shaped hill with the house on top: nothing stands, and nothing runs at the house."""
    row, column = np.indices((ROWS, COLUMNS), dtype=float)
    x, y = (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL
    return 100.0 - slope * np.maximum(np.abs(x - 20.0) - 6.0, np.abs(y - 25.0) - 7.0)


@pytest.fixture
def stages_of(make_lot: Callable[..., Any]) -> Callable[..., LotStages]:
    def made(slope: float, rmse: str, *, hollows: bool = False) -> LotStages:
        ground = falling_away(slope)
        if hollows:
            # many that noise could make, one that it could not
            ground += 0.15 * gaussian_filter(np.random.default_rng(1).normal(size=ground.shape), 2.0)
            ground[20:32, 60:72] -= 0.6
        site = make_lot(ground, SHAPES, more=RAIN, cell=CELL)
        text = site.read_text(encoding="utf-8")
        text = text.replace('rmse = "2 cm"', f'rmse = "{rmse}"').replace("grounds = 1\n", "grounds = 100\n")
        site.write_text(text, encoding="utf-8")
        return LotStages(open_lot(site))

    return made


def test_a_pond_stands_where_its_volume_says() -> None:
    rng = np.random.default_rng(3)
    heights = rng.uniform(10.0, 11.0, 60)
    for level in (10.2, 10.5, 10.99):
        volume = float(np.clip(level - heights, 0.0, None).sum()) * 0.25
        assert level_of(heights, 11.5 - heights, volume, 0.25) == pytest.approx(level, abs=1e-9)
    # no higher than where it spills
    assert level_of(heights, 11.5 - heights, 1e6, 0.25) == pytest.approx(11.5)


@pytest.mark.parametrize(("wet", "sure"), [(0, True), (10, True), (11, False), (100, False)])
def test_nothing_to_build_is_sure_where_nine_of_ten_grounds_are_dry(wet: int, sure: bool) -> None:
    # half of the wet grounds by one place, all of them by the other
    each = np.arange(100) < wet
    places = [
        PlaceOnGrounds(reason("place_lawn"), "lawn", np.where(each, 0.1, -0.1), each, 0),
        PlaceOnGrounds(reason("place_beside_house"), "wall", np.full(100, -0.1), each & (np.arange(100) % 2 == 0), 0),
    ]
    why = wet_on_grounds(places)
    assert (why is None) == sure
    if why is not None:
        assert (why["wet"], why["most"], why["place"]) == (wet, wet, reason("place_lawn"))
    assert wet_on_grounds(()) is None


def test_what_arrives_on_each_ground_is_its_area_s_runoff() -> None:
    house = SimpleNamespace(kind="wall", on_grounds=np.array([0.0, 100.0, 200.0, 400.0]))
    situation = SimpleNamespace(grounds=SimpleNamespace(count=4), edges=(house,))
    rules = SimpleNamespace(arriving_wall=0.0015, arriving_paving=0.0)
    # of 10 mm in 1000 s: 0, 1, 2 and 4 l/s
    assert _arrives(situation, BESIDE_HOUSE, "wall", 1e-5, rules).tolist() == [False, False, True, True]  # type: ignore[arg-type]


def test_a_lot_that_falls_away_is_sure_and_the_same_almost_flat_is_not(stages_of: Callable[..., LotStages]) -> None:
    steep = findings_of(stages_of(0.04, "3 cm")).plan
    assert steep.parts.verdict == "sure"
    assert say(steep.verdict, "us").startswith("Nothing to build")
    stages = stages_of(0.002, "15 cm")
    flat = findings_of(stages).plan
    assert not stages.diagnosis.troubles
    assert flat.parts.cause.state == flat.parts.verdict == "cannot_tell"
    assert not flat.catch_basins
    assert not flat.take_off
    places = stages.places_on_grounds
    wet = sum(any(each.wet[number] for each in places) for number in range(100))
    assert wet > 10
    said = say(flat.verdict, "us")
    assert f"on {wet} of the 100 grounds that this lidar allows" in said
    assert "Nothing to build" not in said
    assert {line.verdict for line in flat.discharges} == {"cannot_tell"}


@pytest.mark.parametrize(("wet", "told"), [(9, False), (10, True), (66, True), (67, False)])
def test_water_beside_the_house_is_possible_from_ten_of_a_hundred_grounds_to_two_in_three(wet: int, told: bool) -> None:
    each = np.arange(100) < wet
    place = PlaceOnGrounds(BESIDE_HOUSE, "wall", np.where(each, 0.1, -0.1), each, 0)
    found = possible_troubles([place, replace(place, name=LAWN, kind="lawn")], {}, (), called_from=0.67)
    assert [say(why.why, "us") for why in found] == (
        [f"Water may stand or run at the ground beside the house beyond what is tolerated: it does on {wet} of the 100 "
         "grounds that this lidar allows. Nothing is built for it unless somebody has seen it there."]
        if told else []
    )
    # what is called already is not told as possible too
    called = Trouble("standing", BESIDE_HOUSE, reason("place_lawn"), None, None)
    assert possible_troubles([place], {}, [called], called_from=0.67) == ()


def test_only_called_and_possible_low_spots_are_listed_by_number(stages_of: Callable[..., LotStages]) -> None:
    findings = findings_of(stages_of(0.002, "15 cm", hollows=True))
    layers = lot_tables(findings, "us")
    listed = told_by_number(findings.low_spots, findings.possible)
    assert {each.spot.id for each in findings.low_spots if not each.spot.within_lidar_error} >= listed - {
        name for each in findings.possible for name in each.spots
    }
    assert 0 < len(listed) < len(layers["low_spots"])
    report = lot_report(findings, layers, "us", lot_map(findings, layers, "us"))
    tables = [each for each in report.tables if each.title == "Low spots"]
    rows = [row[0] for each in tables for row in each.rows]
    assert set(rows) == listed
    answer = " ".join(plain(words) for words in standing_words(findings, layers, "us"))
    assert all(say(each.why, "us") in answer for each in findings.possible)


@pytest.mark.parametrize(("dry", "told"), [(9, False), (10, True), (50, True)])
def test_works_that_a_tenth_of_the_grounds_do_not_need_may_cost_nothing(dry: int, told: bool) -> None:
    wet = np.arange(100) >= dry
    # either place is dry on more grounds than the lot is
    places = [
        PlaceOnGrounds(BESIDE_HOUSE, "wall", np.where(each, 0.1, -0.1), each, 0)
        for each in (wet & (np.arange(100) % 2 == 0), wet & (np.arange(100) % 2 == 1))
    ]
    called = Trouble("standing", BESIDE_HOUSE, reason("place_lawn"), None, None, 0.8)
    why = not_needed_on(places, [called])
    assert (why is not None) == told
    if why is not None:
        assert sentence(why, "us") == (
            f"On {dry} of the 100 grounds that this lidar allows nothing is wrong on this lot: there the cost is 0."
        )
    # somebody has seen it, so that it is there whatever lidar says
    assert not_needed_on(places, [called, replace(called, found=None)]) is None
    assert not_needed_on(places, []) is None
    assert not_needed_on((), [called]) is None
