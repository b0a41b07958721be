"""Banks beside a swale that may hide a culvert: named once, and not where the drive over the swale is known already."""

import numpy as np
import pytest

from pipelines.deliverables.report.swale_answer import swale_answer_blocks
from pipelines.deliverables.swale.layers import swale_tables
from pipelines.deliverables.swale.summary import swale_summary
from pipelines.deliverables.words.say import say
from pipelines.swale import check_swale


def swale(y):
    return np.clip((np.abs(y) - 0.5) / 3.0, 0.0, 0.6)


def beside(bank):
    """A side valley that comes down to the swale, with or without a level bank across it 14 m from the swale."""

    def ground(x, y, z):
        z = z + np.where(y > 3.0, 0.04 * (y - 3.0) + 0.03 * np.abs(x), 0.0)
        top = 100.6 + 0.04 * 11.0 + 1.2 - np.maximum(np.abs(y - 14.0) - 2.0, 0.0) / 2.0
        return np.maximum(z, top) if bank else z

    return ground


def across(x, y, z):
    """A road embankment over the swale, in a valley that falls 1.8 % more than the swale of the other tests."""
    z = z - 0.018 * x + 0.03 * np.maximum(np.abs(y) - 3.0, 0.0)
    top = 101.5 - np.maximum(np.abs(x) - 3.0, 0.0) / 2.0 - np.where(np.abs(y) < 3.0, 0.1, 0.0)
    return np.maximum(z, top)


@pytest.fixture
def check(write_swale_site, tmp_path):
    def run(ground, name="site", **options):
        site = write_swale_site(tmp_path / name, swale, lambda s: -0.002 * s, ground=ground, beside=60.0,
                                elevation='rmse = "5 cm"', **options)  # fmt: skip
        return check_swale(site)

    return run


def test_a_bank_across_a_side_valley_is_told_in_warnings_checks_layer_and_summary(check):
    found = check(beside(True))
    (bank,) = found.hidden_culverts
    assert abs(bank.bank.point.x - 500_000.0) < 6.0
    assert bank.bank.point.y - 3_300_000.0 == pytest.approx(14.0, abs=2.0)
    assert bank.depth_open < 0.1 < 0.5 < bank.bank.spot.depth
    assert bank.why in found.warnings
    layer = swale_tables(found)["suspected_culverts"]
    assert list(layer["id"]) == ["bank-1"]
    assert layer["why"].iloc[0] == say(bank.why, "si")
    assert [each["id"] for each in swale_summary(found)["hidden_culverts"]] == ["bank-1"]
    assert say(bank.measure, "si") in repr(swale_answer_blocks(found))


def test_without_the_bank_none_is_named(check):
    assert check(beside(False)).hidden_culverts == ()


def test_a_road_over_the_swale_is_named_once(check):
    found = check(across)
    assert found.hidden_culverts == ()
    assert [each.crossing.given for each in found.swales[0].crossings] == [False]


def test_turning_the_site_changes_nothing(check):
    (straight,), (turned,) = (
        check(beside(True), name=f"turned {turns}", quarter_turns=turns).hidden_culverts for turns in (0, 1)
    )
    assert turned.bank.height == pytest.approx(straight.bank.height, abs=0.05)
    assert turned.depth_open == pytest.approx(straight.depth_open, abs=0.05)


def far_below(road):
    """Ground that falls away on one side of the swale, with or without a road on a bank across it 85 m below."""

    def ground(x, y, z):
        below = np.clip(-y - 3.0, 0.0, None)
        z = z - 0.01 * below + np.where(below > 0.0, 0.02 * np.abs(x), 0.0)
        top = 100.45 + 0.005 * np.abs(x) - np.maximum(np.abs(y + 85.0) - 3.0, 0.0) / 2.0
        return np.maximum(z, top) if road else z

    return ground


@pytest.mark.parametrize("road", [True, False])
def test_a_road_far_below_whose_pond_comes_near_the_swale_is_seen(write_swale_site, tmp_path, road):
    found = check_swale(write_swale_site(
        tmp_path / "site", swale, lambda s: -0.002 * s, ground=far_below(road), beside=115.0,
        elevation='rmse = "5 cm"',
    ))  # fmt: skip
    places = [bank.bank.point.y - 3_300_000.0 for bank in found.hidden_culverts]
    assert places == ([pytest.approx(-85.0, abs=4.0)] if road else [])
    # no farther is read where nothing dams the ground
    _, south, _, _ = found.grid.bounds
    assert (south < 3_300_000.0 - 90.0) == road
