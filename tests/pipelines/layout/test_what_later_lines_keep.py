"""What later lines keep clear of, and the grate that a pumped basin takes itself."""

import pytest
from shapely import LineString, Point

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import load_rules
from pipelines.layout.plan import CatchBasin, Sump
from pipelines.layout.quantities.quantities import Access, Works, quantities_of
from pipelines.layout.routing.laid_lines import AT_END, LAID_TO, pieces_of
from terrain.reason import reason

PIPE = find_pipe("4 in SDR-35")


def test_a_laid_line_keeps_its_clear_height_above_and_below_all_along_but_at_its_end() -> None:
    line = LineString([(0.0, 0.0, 100.0), (10.0, 0.0, 99.9)])
    pieces = pieces_of("run-1", line, PIPE.outside, PIPE.wall, 0.15, 20.0)
    assert sum(piece.shape.length for piece in pieces) == pytest.approx(10.0 - AT_END)
    for piece in pieces:
        (x0, _), (x1, _) = piece.shape.coords
        lowest, highest = (100.0 - 0.01 * max(x0, x1), 100.0 - 0.01 * min(x0, x1))
        assert piece.elevation is not None
        assert piece.elevation - piece.clearance == pytest.approx(lowest - PIPE.wall - 0.15 - LAID_TO)
        assert piece.elevation + piece.clearance == pytest.approx(highest - PIPE.wall + PIPE.outside + 0.15 + LAID_TO)


@pytest.mark.parametrize(("drains_to", "bought", "other"), [
    ("sump-1", "sump grate", "12 in basin and grate"), ("run-1", "12 in basin and grate", "sump grate"),
])  # fmt: skip
def test_a_grate_on_a_sump_is_bought_as_its_lid(drains_to: str, bought: str, other: str) -> None:
    basin = CatchBasin("basin-1", drains_to, Point(0, 0), "12 in", 0.001, 0.002, "grate", 0.02, 100.3, 99.9, False, "")
    sump = Sump("sump-1", "run-2", Point(0, 0), 1.0, 0.001, 3.0, 1.0, 0.001, 4.0, reason("sump_basin_size", width=0.61,
                depth=1.0), 100.3, 99.9, 99.7, 99.5, 10.0, ())  # fmt: skip
    items = {each.item: each.amount for each in quantities_of(Works(catch_basins=(basin,), sumps=(sump,)), load_rules(),
                                                              Access())}  # fmt: skip
    assert items[bought] == 1.0
    assert other not in items
    # a pit of its own is dug for a basin on a line alone
    assert ("labour, basins" in items) == (drains_to == "run-1")
