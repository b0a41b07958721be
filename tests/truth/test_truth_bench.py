"""The truth bench itself: its lots, its lidar, its formula, its tables, and a few of its runs."""

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from bench import Run, read_runs, run_bench, screened
from shapely import LineString, Point, box
from truth_lidar import STRENGTHS, _correlated, see
from truth_lots import EAST, LAWN, NORTH, PAVING, ROOF, SWALE_BOTTOM, make_lot
from truth_spare import spare_of
from truth_tables import Figure, interval, right

FOOT = 0.3048


def test_a_few_runs_give_tables_and_are_not_run_again(tmp_path):
    text = run_bench(2, tmp_path)
    rows = read_runs(tmp_path, "runs")
    assert [(row["lot"], row["draw"], row["crash"]) for row in rows] == [("0", "0", ""), ("0", "1", "")]
    assert all(row["true_said"] == "nothing" for row in rows), "the first lot is made dry"
    for wanted in ("sure and wrong", "cannot_tell", "works proposed on dry lots", "works missed", "Lidar: middle"):
        assert wanted in text
    written = (tmp_path / "runs-0.csv").read_text()
    assert run_bench(2, tmp_path) == text
    assert (tmp_path / "runs-0.csv").read_text() == written


@pytest.mark.parametrize("seed, mode", [(4, "gravity"), (9, "pump")])
def test_the_formula_and_the_tool_agree_on_the_exact_ground(seed, mode):
    lot = make_lot(seed)
    found = screened(lot, lot.ground, "1 mm")
    (line,) = [each for each in found.plan.discharges if each.fall_to_spare is not None]
    assert line.mode == mode
    assert spare_of(lot, lot.ground, lot.ground, found.plan, line, 0) == pytest.approx(line.fall_to_spare, abs=0.03)


def test_spare_of_one_pipe_by_hand():
    lot = replace(make_lot(3), house=box(0.0, 40.0, 1.0, 41.0))
    row = np.arange(lot.ground.shape[0])
    y = lot.ground.shape[0] - row - 0.5
    ground = np.broadcast_to((100.0 + 0.02 * y)[:, None], lot.ground.shape)
    start, end = Point(EAST + 20.5, NORTH + 24.3), Point(EAST + 20.5, NORTH + 4.3)
    run = SimpleNamespace(
        id="run-1", from_id="basin-1", to_id="outfall-1", kind="gravity", pipe_key="4 in SDR-35", peak_flow=0.001,
        line=LineString([(start.x, start.y, 99.0), (end.x, end.y, 98.0)]),
    )
    plan = SimpleNamespace(
        catch_basins=[SimpleNamespace(id="basin-1", point=start, peak_flow=0.001)], french_drains=[], pipe_runs=[run],
        outfalls=[SimpleNamespace(id="outfall-1", point=end)],
    )
    line = SimpleNamespace(outfall="outfall-1", serves=("basin-1",), mode="gravity")
    # the ground falls twice as steeply as the pipe, so it binds where its cover may run out, 5 m before the end
    crown = (4.215 - 0.120) * 0.0254
    lowest = 100.0 + 0.02 * 3.5
    at_taper = (100.0 + 0.02 * 9.5) - FOOT - crown - (lowest + FOOT / 2.0 + 0.1 * FOOT + 0.01 * 5.5)
    assert spare_of(lot, ground, ground, plan, line, 0) == pytest.approx(at_taper, abs=1e-9)
    floor = spare_of(lot, ground, ground, plan, line, 1)
    assert floor == pytest.approx(at_taper + FOOT / 2.0 + 0.005 * 5.5, abs=1e-9)


def test_lots_are_what_they_are_said_to_be():
    lots = [make_lot(seed) for seed in range(40)]
    assert np.mean([lot.meant_dry for lot in lots]) == 0.2
    assert all(0.2 <= lot.swale_depth <= 1.0 for lot in lots)
    for kind in ({lot.rolling for lot in lots}, {lot.foundation for lot in lots}, {lot.fenced for lot in lots}):
        assert len(kind) == 2
    np.testing.assert_array_equal(make_lot(7).ground, lots[7].ground)


def test_lidar_errs_as_it_is_said_to():
    off = {each.name: [] for each in STRENGTHS}
    bias = {each.name: {cover: [] for cover in (PAVING, LAWN, SWALE_BOTTOM)} for each in STRENGTHS}
    for seed in range(20):
        lot = make_lot(seed)
        for draw, strength in enumerate(STRENGTHS):
            error = see(lot, strength, draw) - lot.ground
            off[strength.name].append(np.mean(error[lot.cover != ROOF] ** 2))
            for cover, found in bias[strength.name].items():
                found.append(error[lot.cover == cover].mean())
    rmse = {name: float(np.sqrt(np.mean(values))) for name, values in off.items()}
    # the accuracy that is stated is 10 cm, and on the whole it is better than that
    assert np.sqrt(np.mean(np.square(list(rmse.values())))) == pytest.approx(0.074, abs=0.01)
    for strength in STRENGTHS:
        found = {cover: np.mean(values) for cover, values in bias[strength.name].items()}
        assert found[LAWN] - found[PAVING] == pytest.approx(strength.grass, abs=0.02)
        assert found[SWALE_BOTTOM] - found[PAVING] == pytest.approx(strength.swale, abs=0.03)
    seen = see(make_lot(0), STRENGTHS[0], 0)
    np.testing.assert_allclose(seen, np.round(seen, 2), atol=1e-9)


def test_the_correlated_part_forgets_itself_as_two_gaussians():
    rng = np.random.default_rng(5)
    fields = np.array([_correlated(rng, (40, 40), 12.0) for _ in range(400)])
    assert fields.var() == pytest.approx(1.0, abs=0.06)
    for apart in (2, 6, 12):
        expected = 0.5 * np.exp(-((apart / 12.0) ** 2)) + 0.5 * np.exp(-((apart / 4.0) ** 2))
        assert np.mean(fields[:, :, apart:] * fields[:, :, :-apart]) == pytest.approx(expected, abs=0.08)


def test_lidar_and_formula_know_nothing_of_the_error_model():
    here = Path(__file__).parent
    for name in ("truth_lidar.py", "truth_spare.py"):
        imported = re.findall(r"^(?:from|import) (\S+)", (here / name).read_text(), re.MULTILINE)
        assert not [each for each in imported if each.startswith("terrain")]
        assert [each for each in imported if each.startswith("pipelines")] in ([], ["pipelines.layout.plan"])


def test_what_counts_as_right():
    blank = dict.fromkeys(Run.__dataclass_fields__, np.nan)
    cases = [
        ("gravity", "gravity", 0.01, True), ("gravity", "gravity", -0.01, False), ("gravity", "nothing", 0.5, False),
        ("pump", "pump", -0.01, True), ("pump", "gravity", 0.01, False), ("pump", "nothing", -0.5, False),
        ("nothing", "nothing", np.nan, True), ("nothing", "gravity", np.nan, False),
        ("no way", "no way", np.nan, True), ("surface", "gravity", np.nan, False),
    ]
    runs = pd.DataFrame([{**blank, "said": a, "true_said": b, "floor_true_m": c} for a, b, c, _ in cases])
    assert right(runs).tolist() == [good for *_, good in cases]


def test_intervals_draw_lots_and_not_runs():
    values = np.repeat([0.0, 1.0], 50)
    by_lot = interval(np.repeat([1, 2], 50), Figure("", values))
    by_run = interval(np.arange(100), Figure("", values))
    assert by_lot[:3] == (0.5, 0.0, 1.0)
    # of 100 independent runs the 95 % interval of a half is about 0.5 -+ 1.96 sqrt(0.25 / 100)
    assert by_run[1:3] == pytest.approx((0.402, 0.598), abs=0.02)
