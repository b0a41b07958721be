"""Cautions keep the law's own feet, and site checks lead with what decides."""

from dataclasses import replace

from geopandas import GeoSeries
from shapely import LineString, Point

from pipelines.deliverables.words.say import say
from pipelines.layout.plan import Discharge, Outfall, Plan
from pipelines.layout.quantities.cautions import CheckNeeds, cautions_for, site_checks, swale_cautions
from pipelines.layout.verdict_parts import NOTHING_NEEDED
from pipelines.layout.ways.outlets.at_culvert import checks_at_culverts


def test_a_trench_is_warned_of_in_the_laws_feet() -> None:
    # 29 CFR 1926.651(c)(2): a way out from 4 ft, within 25 ft; (j)(2): spoil 2 ft back; 1926.652(a)(1): 5 ft
    trench = dict(swale_cautions())["trench"]
    american, metric = say(trench, "us"), say(trench, "si")
    assert american.startswith("Even a trench less than 5 ft deep can kill.")
    for feet, metres in (("2 ft", "0.6 m"), ("4 ft", "1.2 m"), ("25 ft", "7.6 m"), ("5 ft", "1.5 m")):
        assert feet in american
        assert metres not in american
        assert f"{feet} ({metres})" in metric


def test_what_every_plan_says_stands_first() -> None:
    ids = [name for name, _ in cautions_for(Plan("", NOTHING_NEEDED), septic_or_well=True)]
    assert ids == ["not_a_survey", "discharge_rights", "never_into", "septic_wells"]
    assert [name for name, _ in swale_cautions()][:3] == ids[:3]


def test_shots_that_decide_lead_the_checks() -> None:
    needs = CheckNeeds(("the sill", "the patio low"), works=True, pump=True, roofs_known=True, swale=True)
    first, second, *rest = site_checks(needs)
    assert say(first, "us") == "Level shots that decide the verdict: the sill; the patio low."
    assert "both ends of the next culvert" in say(second, "us")
    assert {"check_power", "check_swale", "check_foundation"} <= {each.code for each in rest}
    nothing = site_checks(CheckNeeds((), works=False, pump=False, roofs_known=True, swale=False))
    assert [each.code for each in nothing] == ["check_levels", "check_with_hose", "check_downspouts"]


def test_only_a_line_that_ends_at_a_culvert_in_a_bank_is_asked_for_its_ends() -> None:
    drive = GeoSeries([LineString([(0.0, 0.0), (7.0, 0.0)])])
    line = Discharge(("basin-1",), "outfall-1", "gravity", "sure", "", 0.1, 0.05, None)

    def asked(x: float, *, kind: str = "ditch", used: str = "outfall-1", culverts: GeoSeries = drive) -> int:
        end = Outfall(used, kind, Point(x, 0.5), True, 10.0, 0.1, 0.05, "sure", "")
        plan = Plan("", NOTHING_NEEDED, outfalls=(end,), discharges=(line,))
        return len(checks_at_culverts(plan, culverts, 1.0))

    assert [asked(x) for x in (-2.0, 3.0, 7.5, 9.0)] == [0, 1, 1, 0]
    assert asked(3.0, kind="inlet") == asked(3.0, used="outfall-2") == asked(3.0, culverts=drive[:0]) == 0


def test_levels_that_were_read_are_not_asked_again_and_the_outfall_has_its_own_name() -> None:
    needs = CheckNeeds((), works=True, pump=False, roofs_known=True, swale=True, kinds=("ditch",))
    told = {each.code: say(each, "us") for each in site_checks(needs)}
    assert "the bottom of the ditch" in told["check_levels"]
    assert told["check_swale"].startswith("The ditch at the outlet")
    assert "swale" not in " ".join(told.values())
    read = replace(needs, read=("sill", "low", "route", "bottom"))
    left = next(say(each, "us") for each in site_checks(read) if each.code == "check_levels")
    assert left == "Level shots at both ends of the next culvert, which are not among those given."
    assert "check_levels" not in [each.code for each in site_checks(replace(read, swale=False))]
