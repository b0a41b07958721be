"""With one ground alone a low spot within lidar error is no proof that a lot is dry."""

from typing import Any

import pytest
from shapely import box

from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot


@pytest.mark.parametrize(("rmse", "state"), [("2 cm", "sure"), ("30 cm", "cannot_tell")])
def test_a_house_at_a_low_is_never_surely_dry(rmse: str, state: str, make_lot: Any, made_lots: Any) -> None:
    layers = {name: rows for name, rows in made_lots.SMALL_LAYERS.items() if name not in ("complaints", "hardscape")}
    # the house stands at the hollow
    layers["roofs"] = [{"open_below": False, "geometry": box(10.2, 13.2, 19.8, 20.8)}]
    site = make_lot(made_lots.small_ground(), layers, more=made_lots.SMALL_MORE.replace("3 in", "1 in"))
    site.write_text(site.read_text().replace('rmse = "2 cm"', f'rmse = "{rmse}"'))
    plan = screen_lot(site, grounds=1).plan
    assert bool(plan.catch_basins) == (state == "sure")
    if state == "cannot_tell":
        assert plan.parts.cause.state == plan.discharges[0].verdict == "cannot_tell"
        assert plan.parts.cause.why.code == "within_error_alone"
        assert "100 grounds" in say(plan.verdict, "us")
