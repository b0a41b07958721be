"""A lot that drains to a pond, whose water is held against the floor, and one that drains to an inlet."""

import pytest
from shapely import Point

from pipelines.deliverables.words.say import say, say_all
from pipelines.lot import screen_lot

FLOOR = 101.2


def screened(made_lots, folder, pond):
    outfall = {"kind": "pond", "highest_level": f"{pond} m", "geometry": Point(15.1, 1.62)}
    more = made_lots.SMALL_MORE.replace('"slab"', f'"slab"\nfloor = "{FLOOR} m"')
    layers = made_lots.SMALL_LAYERS | {"outfalls": [outfall]}
    return screen_lot(made_lots.write_lot(folder, made_lots.small_ground(), layers, more=more))


@pytest.mark.parametrize("above", [-1.5, 0.0, 0.3], ids=["below", "at", "above"])
def test_no_floor_is_told_dry_where_the_pond_stands_up_to_it(made_lots, tmp_path, above):
    found = screened(made_lots, tmp_path, FLOOR + above)
    (look,) = found.outfall_looks
    assert look.level == pytest.approx(FLOOR + above)
    told = [fact for fact in found.warnings if not isinstance(fact, str) and fact.code == "outfall_against_sill"]
    words = " ".join(say_all(found.warnings, "si"))
    assert found.plan.pipe_runs
    if above < 0.0:
        assert not told
        # of the heaviest storm nobody knows how high that pond stands
        assert "leaves the floor dry, but how high outfall-1 then stands is not known" in words
        return
    (fact,) = told
    assert fact["room"] == pytest.approx(-above, abs=1e-9)
    assert ("30 cm above the sill" in say(fact, "si")) == (above > 0.0)
    assert "floor stays dry" not in words
    # it comes back through the patio's grate, which lies below the floor
    assert found.plan.parts.outfall.state != "sure"


def test_an_inlet_is_settled_by_what_is_looked_at_there(made_lots, tmp_path):
    outfall = {"kind": "inlet", "geometry": Point(15.1, 1.62)}
    layers = made_lots.SMALL_LAYERS | {"outfalls": [outfall]}
    found = screen_lot(made_lots.write_lot(tmp_path, made_lots.small_ground(), layers, more=made_lots.SMALL_MORE))
    assert found.plan.pipe_runs
    assert found.plan.parts.outfall.state == "cannot_tell"
    assert "what the inlet at outfall-1 takes" in say(found.plan.parts.outfall.why, "us")
    (look,) = found.outfall_looks
    assert look.level is None
    assert "runs to it over the ground" in say(look.why, "us")
