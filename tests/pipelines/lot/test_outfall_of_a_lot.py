"""The outfall of a whole lot: a bowl that has none, a swale whose water comes back, a shot that settles it."""

import re
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, box

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot
from pipelines.swale import check_swale
from tests.screened_samples import SAMPLES as SAMPLE
from tests.screened_samples import checked, screened

WIDE, ACROSS = 380, 300.0
"""Cells of 1 m each way, and the width of the bowl in them. [m]"""
RAIN = '[rain]\ndepth = "75 mm"\nduration = "60 min"\n[soil]\ngroup = "D"\n'


def bowl(x, y, depth):
    """Ground 300 m wide that falls to its middle, and away from its rim on all sides."""
    away = np.hypot(x - WIDE / 2, y - WIDE / 2) / (ACROSS / 2)
    return np.where(away <= 1.0, 100.0 + depth * away**2, 100.0 + depth - 2.0 * (away - 1.0))


@pytest.mark.parametrize("depth", [3.0, -3.0], ids=["bowl", "hill"])
def test_an_outfall_in_the_bowl_that_it_is_to_drain_is_none(make_lot, depth):
    row, column = np.mgrid[0:WIDE, 0:WIDE]
    x, y = column + 0.5, WIDE - row - 0.5
    middle = WIDE / 2
    low = Point(middle + 22.5, middle + 12.5)
    ground = bowl(x, y, depth) - 0.2 * np.exp(-((x - low.x) ** 2 + (y - low.y) ** 2) / 6.0)
    # a swale beside the lot, down to the bowl's middle or off the hill
    trench = np.abs(y - (middle - 5.0)) + 0.0 * x
    ground -= np.where(trench < 2.0, 0.35 * (1.0 - trench / 2.0), 0.0)
    layers = {
        "parcel": [{"geometry": box(middle + 5, middle - 1, middle + 40, middle + 30)}],
        "roofs": [{"geometry": box(middle + 8, middle + 18, middle + 16, middle + 26), "foundation": "slab"}],
        "hardscape": [{"geometry": box(low.x - 3, low.y - 3, low.x + 3, low.y + 3), "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": box(middle - 60, middle - 12, middle + 60, middle - 1)}],
        "outfalls": [{"geometry": Point(middle + 22.5, middle - 5.0), "kind": "swale"}],
    }
    found = screen_lot(make_lot(ground, layers, more=RAIN, cell=1.0))
    (look,) = found.outfall_looks
    if depth < 0.0:
        assert found.plan.pipe_runs
        assert (look.state, look.depression) == ("cannot_tell", None)
        assert found.balance.collected > 0.0
        return
    assert look.state == "no"
    assert "o lawful outfall found" in say(look.why, "us")
    # where the swale cuts the bowl's rim
    assert look.spill == pytest.approx(100.0 + depth - 0.35, abs=0.15)
    # 75 mm cannot fill it. Curve number 84 (NRCS TR-55, table 2-2a: open space in fair condition, group D; memory)
    # makes 37 mm of that run off, and a bowl z = D (r / R)^2 holds pi R^2 h^2 / 2 D up to h
    runoff = (75.0 - 0.2 * (25400.0 / 84.0 - 254.0)) ** 2 / (75.0 + 0.8 * (25400.0 / 84.0 - 254.0)) / 1000.0
    assert look.level == pytest.approx(100.0 + np.sqrt(2.0 * depth * runoff), abs=0.05)
    assert found.plan.parts.fall.state == "no"
    assert "o lawful outfall found" in say(found.plan.parts.fall.why, "us")
    assert not found.plan.pipe_runs
    # nothing is sent to it: the hollow's water stands
    balance = found.balance
    assert balance.collected == 0.0
    assert balance.stands > 0.0
    assert balance.rain == pytest.approx(balance.infiltrated + balance.leaves + balance.stands, rel=1e-6)


def _beside(folder: Path, name: str, edit) -> Path:
    text = re.sub(r'(file|table|curve) = "([^"/]+)"', rf'\1 = "{SAMPLE.as_posix()}/\2"', (SAMPLE / name).read_text())
    site = folder / name
    site.write_text(edit(text))
    return site


@pytest.mark.parametrize("number", [*(pytest.param(lot, marks=pytest.mark.thorough) for lot in (4, 7)), 9])
def test_a_lot_is_laid_against_the_level_that_the_swale_check_finds(tmp_path, number):
    swales = f'\n[swales]\nfile = "{SAMPLE.as_posix()}/neighbourhood.gpkg"\nlayer = "swales"\nfreeboard = "2 in"\n'
    fences = f'\n[barriers]\nfile = "{SAMPLE.as_posix()}/neighbourhood.gpkg"\nlayer = "barriers"\n'
    street = _beside(tmp_path, "swale.toml", lambda text: text.replace('"1 yr"', '"10 yr"') + fences)
    found = screen_lot(_beside(tmp_path, f"lot_{number:02}.toml", lambda text: text + swales), grounds=1)
    (look,) = found.outfall_looks
    outlets = [each for swale in check_swale(street).swales for each in swale.outlets]
    here = min(outlets, key=lambda each: look.point.distance(Point(each.outlet.x, each.outlet.y)))
    assert look.level == pytest.approx(here.tailwater.highest, abs=1e-9)
    (used,) = [each for each in found.plan.outfalls if each.fall_to_spare is not None]
    assert used.highest_level == look.level
    # with no swale drawn its low line is followed, and tells nearly the same
    (followed,) = screened(f"lot_{number:02}").outfall_looks
    assert followed.level == pytest.approx(look.level, abs=0.03)


def test_the_silted_culvert_of_lot_9_is_told_with_its_place():
    found = screened("lot_09")
    (told,) = summary(found)["outfall"]
    assert told["state"] == "cannot_tell"
    assert told["submerged_h"] > 1.0
    row = lot_tables(found, "us")["outfalls"].set_index("id").loc[told["id"]]
    assert row["submerged_h"] == pytest.approx(told["submerged_h"])
    assert row["stands_in"] == pytest.approx(told["stands_m"] / 0.0254)
    # the swale check tells the drive of lot 9 at station 36 of the south swale
    swale = next(each.site for each in checked("swale").swales if each.site.id == "swale-2")
    crest = swale.crossings[0].ridge.crest
    dam = swale.thalweg.line.interpolate(crest)
    (culvert,) = [each for each in told["culverts"] if each["suspected"]]
    assert Point(culvert["easting"], culvert["northing"]).distance(Point(dam.x, dam.y)) <= 1.0
    (shown,) = found.suspected_culverts
    assert shown.point.distance(Point(dam.x, dam.y)) <= 1.0


@pytest.mark.parametrize(
    ("number", "open"),
    [(1, "cure_hangs_on_way"), pytest.param(7, "cure_on_grounds", marks=pytest.mark.thorough), (8, "cure_on_grounds")],
)
def test_shots_and_measured_culverts_make_sure_that_the_water_leaves(number, open):
    found = screened(f"lot_{number:02}_levels")
    states = {name: part.state for name, part in found.plan.parts.named}
    # where water runs on a flat lot no shot at the outfall settles
    assert states == {"cause": "sure", "fall": "sure", "outfall": "sure", "cure": "cannot_tell"}
    assert found.plan.parts.cure.why.code == open
    # submerged, and no failure: the grates lie higher
    (look,) = found.outfall_looks
    (used,) = [each for each in found.plan.outfalls if each.fall_to_spare is not None]
    assert look.level > used.level
    assert all(basin.ground_elevation > look.level for basin in found.plan.catch_basins)
    # without them the outfall cannot be told
    assert screened(f"lot_{number:02}").plan.parts.outfall.state == "cannot_tell"
