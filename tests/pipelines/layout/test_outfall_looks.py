"""What is found of an outfall: held against the swale check, Manning by hand, and ground whose answer is known."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from scipy.optimize import brentq
from shapely import Point

from pipelines.hydrology.rain.design_rain import design_rain
from pipelines.inputs.site_ground import open_site
from pipelines.inputs.tables.rain_table_file import read_rain_table
from pipelines.layout.swale.found_outfall import OutfallPlace, water_over_grates
from pipelines.layout.swale.outfall_look import look_at_outfalls
from pipelines.swale import check_swale

EAST, NORTH = 500_000.0, 3_300_000.0
CULVERT = [(-4.0, 0.0), (4.0, 0.0)]


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.5) + 0.02 * np.maximum(np.abs(t) - 1.75, 0.0)


def drive_at(middle, crest, width=3.0):
    """Ground with a drive over the swale, its sides one to two."""

    def ground(x, y, z):
        fill = crest - np.maximum(np.abs(x - middle) - width / 2, 0.0) / 2.0
        return np.where((np.abs(y) < 6.0) & (fill > z), fill, z)

    return ground


def without_lines(site: Path) -> Path:
    """The same site with no swale drawn."""
    text = re.sub(r"\[swales\]\n(?:[^\[]*\n)?(?=\[)", "", site.read_text())
    assert "[swales]" not in text
    other = site.with_name("no_lines.toml")
    other.write_text(text)
    return other


def looked(site: Path, *places: OutfallPlace):
    inputs = open_site(site)
    given = inputs.site.rain
    table = None if given.table is None else read_rain_table(given.table)
    return look_at_outfalls(inputs, design_rain(given, table, inputs.site.rules), places)


def place(x, level, *, y=0.0, kind="swale", shot=False, high_water=None, id="outfall-1"):
    return OutfallPlace(id, kind, Point(EAST + x, NORTH + y), level, shot, high_water)


@pytest.mark.parametrize("inches", [6.0, 24.0], ids=["too-small", "large"])
def test_the_level_is_the_one_that_the_swale_check_finds_at_that_outlet(swale_files, inches):
    outfalls = [((-50.0, 0.5), "100.6 m"), ((-2.5, 0.5), "100.1 m"), ((3.0, 0.5), "100.1 m"), ((40.0, 0.5), "99.7 m")]
    site = swale_files(trapezoid, ground=drive_at(0.0, 100.5), culverts=[(CULVERT, inches)], outfalls=outfalls)
    outlets = check_swale(site).swales[0].outlets
    looks = looked(site, *(place(x, float(told.split()[0]), y=y) for (x, y), told in outfalls))
    assert [each.level for each in looks] == [each.tailwater.highest for each in outlets]
    assert [each.submerged for each in looks] == [each.tailwater.submerged for each in outlets]
    # above a drive's crest its headwater stands, below it the tailwater
    (drive,) = check_swale(site).swales[0].crossings
    assert looks[1].level == pytest.approx(drive.headwater, abs=1e-6)
    assert looks[2].level == pytest.approx(drive.tailwater, abs=1e-6)


def test_a_line_that_is_followed_tells_what_one_that_is_drawn_does(swale_files):
    site = swale_files(trapezoid, ground=drive_at(0.0, 100.5), culverts=[(CULVERT, 12.0)], noise=_rough)
    places = [place(-30.0, 100.4, y=0.3), place(20.0, 99.9, y=-0.3, id="outfall-2")]
    for drawn, followed in zip(looked(site, *places), looked(without_lines(site), *places), strict=True):
        assert followed.level == pytest.approx(drawn.level, abs=0.03)
        # flow is counted at the section below, which lies up to 5 m of some 45 m farther on either line
        assert followed.flow == pytest.approx(drawn.flow, rel=0.15)
        assert [each.suspected for each in followed.culverts] == [each.suspected for each in drawn.culverts]


def _rough(shape):
    return np.random.default_rng(3).normal(0.0, 0.005, shape)


def test_the_level_in_an_even_swale_is_uniform_flow_by_manning(swale_files):
    (look,) = looked(without_lines(swale_files(trapezoid, length=200.0)), place(-40.0, 100.4))

    def surplus(depth):
        area, wetted = (1.0 + 2.5 * depth) * depth, 1.0 + 2.0 * depth * np.sqrt(1.0 + 2.5**2)
        return area * (area / wetted) ** (2 / 3) * np.sqrt(0.01) / 0.05 - look.flow

    # the cells cut the trapezoid's corners, which lifts the water by a centimetre or so
    assert look.level == pytest.approx(100.4 + brentq(surplus, 1e-4, 2.0), abs=0.02)
    assert look.level > 100.4
    assert (look.stands, look.culverts) == (0.0, ())


def test_still_water_is_told_whatever_the_outlets_floor_and_submerges_those_below_it(swale_files):
    # a rise over 40 m holds a pond up to 100.2 m, 0.2 m deep at x = 0
    def along(s):
        return np.interp(s, [-75.0, 0.0, 40.0, 75.0], [0.75, 0.0, 0.2, -0.5])

    site = swale_files(trapezoid, along, elevation='rmse = "3 cm"', rain='depth = "20 mm"\nduration = "60 min"')
    floors = [100.1, 100.2, 100.5]
    looks = looked(site, *(place(0.0, floor) for floor in floors))
    assert [each.stands for each in looks] == pytest.approx([0.2] * 3, abs=0.01)
    assert min(looks[0].stage) == pytest.approx(100.2, abs=1e-9)
    below, at, above = (each.submerged for each in looks)
    assert below >= at > above == 0.0
    assert (looks[0].stage > 100.1).all()
    assert not (looks[1].stage > 100.2 + 1e-9).all()
    assert looks[0].level == looks[2].level < 100.5
    # its rise is the ground's own, so that what lies in it lies in a closed depression
    assert looks[0].spill == pytest.approx(100.2, abs=1e-9)
    assert looks[0].depression.covers(looks[0].point)


def test_a_depression_that_the_storm_does_not_fill_stands_as_high_as_its_water_in_both_commands(swale_files):
    # the ground itself closes a bowl half a metre deep
    def along(s):
        return np.interp(s, [-75.0, 0.0, 40.0, 75.0], [1.0, 0.0, 0.5, -0.5])

    site = swale_files(
        trapezoid, along, elevation='rmse = "3 cm"', rain='depth = "20 mm"\nduration = "60 min"', soil='group = "D"',
        outfalls=[((2.0, 0.3), "100.05 m")],
    )  # fmt: skip
    (look,) = looked(site, place(2.0, 100.05, y=0.3))
    (checked,) = check_swale(site).swales
    (outlet,) = checked.outlets
    assert outlet.tailwater.highest == look.level
    assert outlet.tailwater.submerged == look.submerged
    assert 100.2 < look.level < look.spill - 0.05
    # by hand: the cells hold below that level what runs into the bowl
    with rasterio.open(site.with_name("ground.tif")) as file:
        held = np.clip(look.level - file.read(1)[:, : round((75.0 + 40.0) / 0.5)], 0.0, None).sum() * 0.25
    crest = int(np.searchsorted(checked.site.station, 100.0))
    assert held == pytest.approx(checked.flow.volume[crest], rel=0.1)
    # the profile shows that water too, and every section under it stands at its level
    under = checked.site.bottom < look.level - 0.05
    under &= checked.site.station < 95.0
    assert under.sum() >= 3
    assert checked.levels.level[under] == pytest.approx(np.full(under.sum(), look.level), abs=1e-9)


@pytest.mark.parametrize("drawn", [True, False], ids=["drawn", "followed"])
def test_a_drive_that_dams_the_swale_is_named_as_a_suspected_culvert_at_its_place(swale_files, drawn):
    site = swale_files(trapezoid, ground=drive_at(10.0, 100.4))
    (look,) = looked(site if drawn else without_lines(site), place(-10.0, 100.2))
    (culvert,) = look.suspected
    assert culvert.point.distance(Point(EAST + 10.0, NORTH)) <= 1.0
    assert culvert.distance == pytest.approx(20.0, abs=1.0)
    assert culvert.height == pytest.approx(0.5, abs=0.1)
    # without a culvert the water stands up to the drive; with one it may not
    assert look.level >= 100.35
    assert look.state == "cannot_tell"
    assert look.stands == pytest.approx(100.4 - 100.1, abs=0.06)
    # a drive is not the ground that closes a depression
    assert look.depression is None
    assert water_over_grates(look, 99.0)[0] == "cannot_tell"


def test_it_is_sure_only_with_a_shot_bottom_and_measured_culverts(swale_files):
    plain = without_lines(swale_files(trapezoid, name="plain"))
    assert [each.state for each in looked(plain, place(0.0, 100.2), place(0.0, 100.2, shot=True))] == [
        "cannot_tell", "sure",
    ]  # fmt: skip
    # a culvert of unknown inverts that backs water up to the outlet, and one that does not
    site = swale_files(trapezoid, ground=drive_at(0.0, 100.5), culverts=[(CULVERT, 6.0)])
    near, far = looked(site, place(-5.0, 100.2, shot=True), place(-55.0, 100.7, shot=True))
    assert (near.state, near.culverts[0].small, near.culverts[0].assumed) == ("cannot_tell", True, True)
    assert (far.state, far.culverts[0].backs_up) == ("sure", False)


def test_water_over_the_lowest_grate_fails_unless_a_flap_holds_it(swale_files):
    (look,) = looked(without_lines(swale_files(trapezoid)), place(0.0, 100.05, shot=True))
    assert look.level > 100.05
    assert water_over_grates(look, look.level + 0.01) == (look.state, look.why)
    assert water_over_grates(look, look.level - 2.0 * look.error)[0] == "no"
    assert water_over_grates(look, look.level - 0.5 * look.error)[0] == "cannot_tell"
    assert water_over_grates(look, look.level - 2.0 * look.error, flap=True) == (look.state, look.why)
    assert water_over_grates(replace(look, level=None), 0.0) == (look.state, look.why)


def test_what_is_not_followed_is_not_told(swale_files):
    site = without_lines(swale_files(trapezoid))
    kinds = looked(site, *(place(0.0, 100.0, kind=kind) for kind in ("inlet", "pond")))
    off = looked(site, place(74.0, 99.3), place(900.0, 100.0))
    for look in (*kinds, *off):
        assert (look.state, look.level, look.culverts) == ("cannot_tell", None, ())
        assert look.why.code == "outfall_water_unknown"
    # high water that somebody reckoned is kept, and sure only over a shot bottom
    pond = place(0.0, 100.0, kind="pond", high_water=100.3)
    given, shot = looked(site, pond, replace(pond, shot=True))
    assert (given.state, given.level, shot.state, shot.level) == ("cannot_tell", 100.3, "sure", 100.3)


def test_no_more_lines_are_followed_than_the_rules_say(swale_files):
    def two(t):
        return np.minimum(trapezoid(t - 12.0), trapezoid(t + 12.0))

    site = without_lines(swale_files(two))
    at = [(-20.0, 12.0), (-20.0, -12.0), (20.0, 12.0)]
    places = [place(x, 100.2 - 0.01 * x, y=y, id=f"outfall-{k}") for k, (x, y) in enumerate(at)]
    assert all(each.level is not None for each in looked(site, *places))
    site.write_text(site.read_text() + "\n[rules]\noutfalls_followed = 1\n")
    # the third lies on the line that was followed from the first
    assert [each.level is not None for each in looked(site, *places)] == [True, False, True]


@pytest.mark.parametrize("drawn", [True, False])
def test_the_level_in_the_heaviest_storm_is_the_look_s_own_in_that_storm(swale_files, drawn):
    site = swale_files(trapezoid, ground=drive_at(0.0, 100.5), culverts=[(CULVERT, 12.0)], noise=_rough)
    site = site if drawn else without_lines(site)
    inputs, places = open_site(site), [place(-30.0, 100.4, y=0.3), place(20.0, 99.9, y=-0.3, id="outfall-2")]
    given = inputs.site.rain
    table = None if given.table is None else read_rain_table(given.table)
    rain = design_rain(given, table, inputs.site.rules)
    heavy = rain.of_period(100.0) or design_rain(replace(given, depth=2.0 * given.depth), None, inputs.site.rules)
    assert heavy.storm.depth > rain.storm.depth
    both, alone = look_at_outfalls(inputs, rain, places, heavy), look_at_outfalls(inputs, heavy, places)
    for each, other in zip(both, alone, strict=True):
        assert each.heaviest == pytest.approx(other.level, abs=0.005)
        assert each.heaviest > each.level
    assert all(each.heaviest is None for each in look_at_outfalls(inputs, rain, places))
