"""The check of swales as a whole, on made sites."""

import numpy as np
import pytest

from pipelines.deliverables.words.say import say
from pipelines.hydraulics.channel.culvert import culvert_flow
from pipelines.swale import WhatIf, check_swale, plan_of_check
from terrain.errors import LotshedError


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.5) + 0.02 * np.maximum(np.abs(t) - 1.75, 0.0)


def drive_at(middle, crest, width=3.0):
    """Ground with a drive over the swale, its sides one to two."""

    def ground(x, y, z):
        fill = crest - np.maximum(np.abs(x - middle) - width / 2, 0.0) / 2.0
        return np.where((np.abs(y) < 6.0) & (fill > z), fill, z)

    return ground


def test_an_even_swale_takes_the_storm_and_nothing_is_flagged(swale_files):
    found = check_swale(swale_files(trapezoid)).swales[0]
    assert found.answer == "takes_it"
    assert (found.crossings, found.ponds, found.outlets) == ((), (), ())
    assert not any(each.against_grade for each in found.reaches)
    assert found.first_overtops is None
    # its capacity by Manning's formula on the true section, which the cells can only lessen
    area, perimeter = (0.5 * 2 + 2.5 * 0.5) * 0.5, 1.0 + 2 * 0.5 * np.sqrt(1 + 2.5**2)
    full = area * (area / perimeter) ** (2 / 3) * np.sqrt(0.01) / 0.05
    capacity = np.median(found.capacity.bank_full)
    assert 0.85 * full < capacity < 1.03 * full
    assert 0.0 < found.capacity.cell_loss.mean() < 0.15


def test_water_balance_along_the_stations(swale_files):
    findings = check_swale(swale_files(trapezoid), add_discharges=[WhatIf(0.004, 500_010.0, 3_300_000.5)])
    found = findings.swales[0]
    np.testing.assert_allclose(found.flow.volume, np.cumsum(found.flow.side), rtol=1e-9)
    assert findings.discharges[0].station == pytest.approx(70.0, abs=0.5)
    without = check_swale(swale_files(trapezoid, name="without")).swales[0]
    added = 0.004 * 24 * 3600
    # one lot lies south of the swale; both sides drain to it
    runoff = sum(each.volume for each in findings.lots)
    assert 0.3 * without.flow.side.sum() < runoff < 0.5 * without.flow.side.sum()
    assert found.flow.volume[-1] - without.flow.volume[-1] == pytest.approx(added, rel=1e-6)
    assert (found.levels.level >= without.levels.level - 1e-6).all()


def test_still_water_behind_a_hump_is_exact(swale_files):
    # the bottom rises 0.2 m over 40 m, more than the error; its pond is the raster's own
    def along(s):
        return np.interp(s, [-75.0, 0.0, 40.0, 75.0], [0.75, 0.0, 0.2, -0.5])

    findings = check_swale(swale_files(trapezoid, along, elevation='rmse = "3 cm"'))
    (pond,) = findings.swales[0].ponds
    grid = findings.grid
    # the made ground once more, on the window that was read
    x, y = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    z = 100.0 + trapezoid(y - 3_300_000.0) + along(x - 500_000.0)
    level = 100.2
    wet = (z < level) & (x < 500_040.0) & (np.abs(y - 3_300_000.0) < 3.0)
    assert pond.level == pytest.approx(level, abs=1e-9)
    assert pond.volume == pytest.approx(((level - z) * wet).sum() * grid.cell_area, rel=1e-9)
    assert pond.depth == pytest.approx(0.2, abs=0.01)
    assert pond.length == pytest.approx(40.0 + 20.0, abs=2.0)
    assert pond.sure
    answers = [each.verdict.answer for each in findings.swales[0].reaches]
    assert "holds_water" in answers
    assert any(each.against_grade for each in findings.swales[0].reaches)


def test_a_given_culvert_backs_water_up_to_its_published_headwater(swale_files):
    path = swale_files(
        trapezoid, ground=drive_at(0.0, 100.5), culverts=[([(-4.0, 0.0), (4.0, 0.0)], 12.0)]
    )
    found = check_swale(path, add_discharges=[WhatIf(0.05, 499_950.0, 3_300_000.0)]).swales[0]
    (each,) = found.crossings
    culvert = each.crossing.drive.culvert
    assert culvert.barrel.diameter == pytest.approx(0.3048)
    assert culvert.invert_up == pytest.approx(100.04, abs=0.03)
    assert culvert.invert_down == pytest.approx(99.96, abs=0.03)
    published = culvert_flow(culvert, each.through, tailwater=each.tailwater)
    assert each.headwater == pytest.approx(published.headwater, abs=1e-6)
    assert found.levels.level[each.crossing.above] == pytest.approx(each.headwater, abs=1e-6)


def test_a_culvert_too_small_is_told_with_by_how_much(swale_files):
    options = {"ground": drive_at(0.0, 100.45), "culverts": [([(-4.0, 0.0), (4.0, 0.0)], 6.0)]}
    found = check_swale(
        swale_files(trapezoid, **options), add_discharges=[WhatIf(0.1, 499_950.0, 3_300_000.0)]
    ).swales[0]
    (each,) = found.crossings
    assert each.answer == "short"
    assert each.over == pytest.approx(each.flow - each.through)
    assert each.over > 0.5 * each.flow
    assert "runs over the drive" in say(each.why, "us")
    assert found.first_overtops is not None


def test_an_unseen_culvert_is_suspected_where_it_is(swale_files):
    found = check_swale(swale_files(trapezoid, ground=drive_at(10.0, 100.3))).swales[0]
    (each,) = found.crossings
    assert not each.crossing.given
    assert each.answer == "cannot_tell"
    assert each.crossing.ridge.crest == pytest.approx(70.0, abs=2.0)
    above = next(reach for reach in found.reaches if reach.reach.last == each.crossing.above)
    assert above.verdict.answer == "cannot_tell"
    assert "suspected at station 7" in say(above.verdict.why, "si")
    assert (found.ponds[0].behind, found.ponds[0].sure) == (each.crossing.id, True)
    # nothing is dug at it, nor below the bottom at the lower end
    for stretch in found.recut:
        if stretch.recut is not None:
            assert stretch.recut.bottom[-1] >= found.site.bottom[stretch.last] - 1e-9


def test_an_outlet_under_standing_water_is_always_drowned(swale_files):
    found = check_swale(
        swale_files(trapezoid, ground=drive_at(10.0, 100.4), outfalls=[((0.0, 0.5), "100.1 m"), ((50.0, 0.5), "100 m")])
    ).swales[0]
    first, second = found.outlets
    assert first.tailwater.state == "always"
    assert second.tailwater.state == "free"
    assert not first.outlet.invert_assumed
    assert "submerged throughout the storm" in say(first.verdict.why, "us")


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_turning_the_map_changes_nothing(swale_files, quarter_turns):
    def ground(x, y, z):
        rough = np.sin(1.7 * x) * np.cos(2.3 * y + 0.4) * 0.02
        return drive_at(10.0, 100.3)(x, y, z + rough)

    plain = check_swale(swale_files(trapezoid, ground=ground)).swales[0]
    turned = check_swale(swale_files(trapezoid, ground=ground, quarter_turns=quarter_turns, name="turned")).swales[0]
    _assert_alike(plain, turned, rel=1e-4)


def test_moving_the_origin_changes_nothing(swale_files):
    plain = check_swale(swale_files(trapezoid, ground=drive_at(10.0, 100.3))).swales[0]
    moved = check_swale(
        swale_files(trapezoid, ground=drive_at(10.0, 100.3), origin=(600_123.0, 3_400_321.5), name="moved")
    ).swales[0]
    _assert_alike(plain, moved, rel=1e-6)


def test_feet_and_metres_say_the_same(swale_files):
    plain = check_swale(swale_files(trapezoid, ground=drive_at(10.0, 100.3))).swales[0]
    # EPSG:2267, Oklahoma north in US survey feet, near its middle
    foot = 1200.0 / 3937.0
    feet = check_swale(
        swale_files(
            trapezoid, ground=drive_at(10.0, 100.3), unit="ft", crs="EPSG:2267", scale=1.0 / foot,
            origin=(1_968_500.0, 360_000.0), name="feet",
        )
    ).swales[0]  # fmt: skip
    _assert_alike(plain, feet, rel=1e-3)


def test_a_line_drawn_upstream_changes_nothing(swale_files):
    def ground(x, y, z):
        return z + 0.02 * np.sin(1.7 * x) * np.cos(2.3 * y + 0.4)

    plain = check_swale(swale_files(trapezoid, ground=ground)).swales[0]
    turned = check_swale(swale_files(trapezoid, ground=ground, reverse=True, name="reversed")).swales[0]
    assert turned.site.thalweg.turned
    assert [each.verdict.answer for each in turned.reaches] == [each.verdict.answer for each in plain.reaches]
    np.testing.assert_allclose(
        [each.capacity for each in turned.reaches], [each.capacity for each in plain.reaches], rtol=0.01
    )


def test_more_rain_never_lowers_a_level(swale_files):
    levels = []
    for depth in (20, 40, 80):
        path = swale_files(
            trapezoid, ground=drive_at(10.0, 100.3), culverts=[([(6.0, 0.0), (14.0, 0.0)], 10.0)],
            rain=f'depth = "{depth} mm"\nduration = "60 min"', name=f"rain{depth}",
        )  # fmt: skip
        levels.append(check_swale(path).swales[0].levels.level)
    assert (levels[1] >= levels[0] - 1e-6).all()
    assert (levels[2] >= levels[1] - 1e-6).all()


def test_running_a_re_cut_back_gives_a_swale_that_drains(swale_files):
    def along(s):
        return np.interp(s, [-75.0, -10.0, 20.0, 75.0], [1.0, 0.0, 0.16, -0.6])

    settings = 'spacing = "5 m"'
    before = check_swale(swale_files(trapezoid, along, settings=settings)).swales[0]
    assert any(each.against_grade for each in before.reaches)
    (stretch,) = before.recut
    plan = stretch.recut
    assert plan.gap < 1e-3
    assert plan.total > 1.0
    assert plan.bottom[-1] >= before.site.bottom[-1] - 1e-9

    def dug(x, y, z):
        bottom = np.interp(x + 60.0, plan.station, plan.bottom)
        new = bottom + np.maximum(np.abs(y) - 0.1524, 0.0) / 3.0
        raised = np.where(np.abs(y) <= 0.1524, np.maximum(z, bottom), z)
        return np.where(np.abs(x) <= 60.0, np.minimum(raised, new), z)

    after = check_swale(swale_files(trapezoid, along, settings=settings, ground=dug, name="after")).swales[0]
    assert not any(each.against_grade for each in after.reaches)
    assert not any(pond.sure for pond in after.ponds)
    assert (np.diff(after.site.profile.bottom) < 0.02).all()
    assert max(pond.depth for pond in before.ponds) > 0.1
    assert all(pond.depth < 0.06 for pond in after.ponds)


def test_a_utility_keeps_its_clearance_from_a_re_cut(swale_files):
    def along(s):
        return np.interp(s, [-75.0, -10.0, 20.0, 75.0], [1.0, 0.0, 0.16, -0.6])

    path = swale_files(trapezoid, along, utilities=[([(20.0, -9.0), (20.0, 9.0)], 0.36)])
    (stretch,) = check_swale(path).swales[0].recut
    index = int(np.argmin(np.abs(stretch.recut.station - 80.0)))
    # 0.36 m deep less a foot of clearance leaves 5 cm to dig
    assert stretch.recut.cut[index] <= 0.36 - 0.3048 + 0.01


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"lines": [[(-60, 0), (900, 0)]]}, r"swale 1: \d+% of it lies outside the raster"),
        ({"lines": [[(0, 0), (3, 0)]]}, "shorter than the 5 m between sections"),
        ({"lines": [[(-20, 0), (20, 0), (20, 5), (0, -5)]]}, "swale 1: it crosses itself"),
        ({"roofs": [[(-5, -3), (5, 3)]]}, "swale 1: it crosses the roof 1"),
        ({"culverts": [([(-4, 15), (4, 15)], 12.0)]}, "culvert 1: it lies on no swale, the nearest is 15.0 m away"),
        ({"lines": [[(-40, 0), (40, 0)], [(0, -20), (0, 20)]]}, "swale 1 and swale 2 cross at easting 500000.0 m"),
        ({"settings": 'spacing = "300 m"'}, "shorter than the 300 m between sections"),
    ],
    ids=["outside", "too short", "crosses itself", "roof", "culvert elsewhere", "two cross", "spacing"],
)
def test_bad_input_is_told_in_one_message(swale_files, options, says):
    with pytest.raises(LotshedError, match=says):
        check_swale(swale_files(trapezoid, **options))


def test_a_line_without_length_is_told(swale_files):
    with pytest.raises(LotshedError, match=r"length|point"):
        check_swale(swale_files(trapezoid, lines=[[(0, 0), (0, 0)]]))


def test_a_what_if_far_from_any_swale_is_told(swale_files):
    with pytest.raises(LotshedError, match="the nearest swale is 200 m away"):
        check_swale(swale_files(trapezoid), add_discharges=[WhatIf(0.01, 500_000.0, 3_300_200.0)])


def test_a_site_without_swales_is_told(swale_files):
    path = swale_files(trapezoid)
    text = path.read_text()
    start = text.index("[swales]")
    path.write_text(text[:start] + text[text.index("[rain]") :])
    with pytest.raises(LotshedError, match="names no swale"):
        check_swale(path)


def test_a_dry_run_says_what_would_be_done(swale_files):
    plan = plan_of_check(swale_files(trapezoid))
    said = "\n".join(say(step, plan.units) for step in plan.steps)
    assert "check 1 swale on ground.tif" in said
    assert "swale 1: 120.0 m as drawn, 0 culverts given" in said
    assert "10-year storm" in said


def test_rules_of_the_site_file_reach_the_verdict(swale_files):
    path = swale_files(trapezoid, settings='freeboard = "40 cm"', rain='depth = "90 mm"\nduration = "60 min"')
    plain = check_swale(path).swales[0]
    path.write_text(path.read_text() + '\n[rules]\nswale_hidden_bottom = "30 cm"\nswale_longest_reach = "20 m"\n')
    changed = check_swale(path)
    assert len(changed.swales[0].reaches) > len(plain.reaches)
    assert {each.verdict.answer for each in plain.reaches} == {"cannot_tell"}
    assert all(each.verdict.why["hidden"] == pytest.approx(0.3) for each in changed.swales[0].reaches)
    marks = {rule.key: rule.mark for rule in changed.rules}
    assert (marks["swale_hidden_bottom"], marks["swale_freeboard"], marks["swale_slope"]) == ("given", "given", "P")


def _assert_alike(one, other, rel):
    assert other.answer == one.answer
    np.testing.assert_allclose(other.site.station, one.site.station, rtol=rel, atol=0.02)
    np.testing.assert_allclose(other.capacity.bank_full, one.capacity.bank_full, rtol=10 * rel, atol=1e-4)
    np.testing.assert_allclose(
        other.levels.level - other.site.bottom, one.levels.level - one.site.bottom, rtol=10 * rel, atol=2e-3
    )
    np.testing.assert_allclose(other.flow.volume, one.flow.volume, rtol=0.02)
    assert [each.crossing.given for each in other.crossings] == [each.crossing.given for each in one.crossings]
    assert [each.verdict.answer for each in other.reaches] == [each.verdict.answer for each in one.reaches]
