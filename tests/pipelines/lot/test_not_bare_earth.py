"""A surface model in place of bare earth: that is the answer, before its slopes and all that is referred out."""

import numpy as np

from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot


def _with_crowns(ground: np.ndarray) -> np.ndarray:
    """Trees of 3 x 3 m, 6 m high, every 6 m."""
    row, column = np.indices(ground.shape)
    return ground + 6.0 * ((row // 6 % 2 == 1) & (column // 6 % 2 == 1))


def test_roofs_and_trees_in_the_raster_are_the_headline_before_its_slopes(made_lots, tmp_path) -> None:
    steep = made_lots.small_ground() + 0.6 * np.arange(60)[::-1, None] * 0.5
    options = {"more": made_lots.SMALL_MORE}
    plain = screen_lot(made_lots.write_lot(tmp_path / "steep", steep, made_lots.SMALL_LAYERS, **options)).plan
    assert plain.refer_out
    assert plain.refer_out[0].code == "refer_steep_lot"
    crowned = made_lots.write_lot(tmp_path / "crowned", _with_crowns(steep), made_lots.SMALL_LAYERS, **options)
    plan = screen_lot(crowned).plan
    assert plan.verdict.code == plan.refer_out[0].code == "not_bare_earth"
    assert "refer_steep_lot" in [stop.code for stop in plan.refer_out]
    assert "not bare earth" in say(plan.verdict, "us")
    assert not plan.pipe_runs
    assert plan.parts.verdict == "no"
