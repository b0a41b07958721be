"""Lots made so that the answer is known before: by hand, from the rules of the trade and the lot's own dimensions."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import Point, box

from pipelines.deliverables.findings import Findings
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.lot import screen_lot

ROWS, COLUMNS, CELL = 120, 100, 0.5
EAST, NORTH = 500_000.0, 4_400_000.0
COVER, DROP, DIG, CLEARANCE, SLOPE = 0.3048, 0.03048, 0.03048, 0.1524, 0.01
"""The trade's cover of 12 in, 0.1 ft at a basin, 0.1 ft of digging tolerance, 6 in over a swale's bottom, 1 %."""
PIPE = find_pipe("4 in SDR-35")
CROWN = PIPE.outside - PIPE.wall
RAIN = '[rain]\ndepth = "75 mm"\nduration = "60 min"\n'
LOT = box(10.0, 10.0, 40.0, 50.0)
STREET = box(0.0, 0.0, 50.0, 10.0)
SWALE = Point(25.25, 5.25)
PATIO = box(22.0, 24.0, 28.0, 30.0)
LOW = Point(25.25, 27.25)
"""The lowest cell of the patio."""

Screen = Callable[..., Findings]


def places() -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing of the cells from the lower left corner."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    return (column + 0.5) * CELL, (ROWS - row - 0.5) * CELL


def falling_to_swale(slope: float, bottom: float, *, ridge: float = 31.0, top: float = 100.0) -> np.ndarray:
    """A plane that falls south to `top` at the head of a swale's bank, and north of a ridge the other way."""
    _, y = places()
    ground = top + slope * (y - 8.0) - 2.0 * slope * np.clip(y - ridge, 0.0, None)
    ground = np.where(y < 8.0, np.maximum(top - 0.5 * (top - bottom) * (8.0 - y), bottom), ground)
    return np.where(y < 4.0, bottom + 0.25 * (4.0 - y), ground)


def with_low_patio(ground: np.ndarray, low: float) -> np.ndarray:
    """The patio 2 cm over its lowest cell, which is at `LOW`."""
    x, y = places()
    sunken = np.where((np.abs(x - 25.0) < 2.0) & (np.abs(y - 27.0) < 2.0), low + 0.02, ground)
    return np.where((np.abs(x - LOW.x) < 0.2) & (np.abs(y - LOW.y) < 0.2), low, sunken)


def layers(**more: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """A house west of a patio, a street south of the lot, and a swale in it."""
    return {
        "parcel": [{"geometry": LOT}],
        "roofs": [{"geometry": box(12.0, 16.0, 19.0, 29.0), "foundation": "slab"}],
        "hardscape": [{"geometry": PATIO, "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": STREET}],
        "outfalls": [{"geometry": SWALE, "kind": "swale"}],
    } | more


@pytest.fixture
def screen(make_lot) -> Screen:
    """Screens a made lot; `shots` are level shots (name, x, y, height), `rmse` the lidar's."""

    def run(ground, shapes, *, more: str = RAIN, rmse: str = "2 cm", shots=(), folder: str = "lot") -> Findings:
        if shots:
            more += '[levels]\nfile = "shots.csv"\n'
        site: Path = make_lot(ground, shapes, more=more, folder=folder)
        site.write_text(site.read_text(encoding="utf-8").replace('rmse = "2 cm"', f'rmse = "{rmse}"'), encoding="utf-8")
        if shots:
            rows = [f"{name},{EAST + x},{NORTH + y},{z}" for name, x, y, z in shots]
            (site.parent / "shots.csv").write_text("\n".join(["point,easting,northing,height_m", *rows]))
        return screen_lot(site)

    return run


def modes(findings: Findings) -> set[str]:
    return {line.mode for line in findings.plan.discharges}


def in_plan(run) -> shapely.LineString:
    """A run as seen from above, from the made lot's corner."""
    return shapely.transform(shapely.force_2d(run.line), lambda xy: xy - (EAST, NORTH))


# A plane that falls to a swale, and what stands in the way


def test_a_plane_that_falls_to_a_swale_is_drained_straight_by_gravity(screen: Screen) -> None:
    # flatter than the pipe, so that the patio's basin is where the line has least to spare
    low, bottom, slope = 100.00, 99.10, 0.005
    plan = screen(with_low_patio(falling_to_swale(slope, bottom), low), layers()).plan
    (line,) = plan.discharges
    assert (line.mode, line.verdict, line.outfall, line.lift) == ("gravity", "sure", "outfall-1", None)
    (run,) = plan.pipe_runs
    straight = in_plan(run)
    assert straight.length == pytest.approx(LOW.distance(SWALE), rel=2e-3)
    invert = low - COVER - CROWN - DROP
    assert run.invert_up == pytest.approx(invert, abs=1e-6)
    spare = invert - (bottom + CLEARANCE + DIG + SLOPE * LOW.distance(SWALE))
    # the way is measured from the middle of a cell of 1 m
    assert line.fall_to_spare == pytest.approx(spare, abs=0.71 * SLOPE)
    assert plan.catch_basins[0].ground_elevation == low
    assert Point(plan.catch_basins[0].point.x - EAST, plan.catch_basins[0].point.y - NORTH) == LOW


def test_a_septic_field_in_the_way_is_gone_round_with_its_setback(screen: Screen) -> None:
    field, setback = box(21.0, 13.0, 33.0, 18.0), 1.5
    ground = with_low_patio(falling_to_swale(0.03, 99.40), 100.40)
    keep_out = [{"geometry": field, "kind": "septic field", "setback_m": setback, "crossing": "never"}]
    plan = screen(ground, layers(keep_out=keep_out)).plan
    (run,) = plan.pipe_runs
    assert run.kind == "gravity"
    assert in_plan(run).distance(field) >= setback - 1e-6
    assert run.length > LOW.distance(SWALE) + 3.0
    # the target's slope and cover are missed by going round; the floors hold, and a pump is not called for
    (line,) = plan.discharges
    assert (line.mode, line.verdict) == ("gravity", "sure")
    assert line.fall_to_spare < 0.0
    assert "short of the slope and cover" in line.why
    assert any("covered by 6 in" in warning for warning in plan.warnings)
