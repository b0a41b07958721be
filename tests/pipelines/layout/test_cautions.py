"""Cautions keep the law's own feet, and site checks lead with what decides."""

from pipelines.deliverables.words.say import say
from pipelines.layout.plan import Plan
from pipelines.layout.quantities.cautions import CheckNeeds, cautions_for, site_checks, swale_cautions
from pipelines.layout.verdict_parts import NOTHING_NEEDED


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
