"""Cover under ground that the cells of a route field smooth over: kept wherever there is fall for it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from shapely import Point

from pipelines.layout.routing.field import RouteField, field_from_arrays
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedLine, RoutePipe, RouteSpec

ROWS, COLUMNS, PARTS, COVER, TAPER = 15, 31, 4, 0.15, 3.0
SPREAD = 0.03
"""Heights of the fine ground lie within this of the cells'. [m]"""


@pytest.fixture(scope="module")
def spec(four_inch: RoutePipe) -> RouteSpec:
    return RouteSpec(pipes=(four_inch,), taper_length=TAPER, dig_tolerance=0.0)


def _field(make_grid, seed: int, fall: float = 0.02) -> RouteField:
    """Ground that falls to the east, rough in parts of a cell that no mean of a cell shows."""
    rng = np.random.default_rng(seed)
    _, c = np.indices((ROWS, COLUMNS))
    ground = 100.0 - fall * c
    rough = rng.uniform(-SPREAD, SPREAD, (ROWS, PARTS, COLUMNS, PARTS))
    rough -= rough.mean(axis=(1, 3), keepdims=True)
    fine = np.repeat(np.repeat(ground, PARTS, 0), PARTS, 1) + rough.reshape(ROWS * PARTS, COLUMNS * PARTS)
    return field_from_arrays(make_grid(ROWS, COLUMNS), ground, cover=COVER, fine=fine)


def _covers(field: RouteField, line: RoutedLine, crown: float) -> tuple[np.ndarray, np.ndarray]:
    """How far from its end each place of a line lies, and the cover there under the fine ground."""
    grid, fine = field.grid, field.fine
    assert fine is not None
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    along = np.linspace(0.0, steps[-1], 2000)
    x, y, z = (np.interp(along, steps, values) for values in (line.xy[:, 0], line.xy[:, 1], line.inverts))
    rows = (grid.top - y) / grid.cell_height * PARTS - 0.5
    columns = (x - grid.left) / grid.cell_width * PARTS - 0.5
    heights = RegularGridInterpolator((np.arange(fine.shape[0]), np.arange(fine.shape[1])), fine)
    return steps[-1] - along, heights(np.column_stack([rows, columns])) - z - crown


def _ends(field: RouteField, invert: float, level: float) -> tuple[Collector, OutfallTarget]:
    at = [Point(*(float(v) for v in field.grid.centres(7, column))) for column in (2, 28)]
    return Collector("basin", at[0], invert), OutfallTarget("swale", at[1], level)


@given(seed=st.integers(0, 10**6))
def test_cover_holds_under_the_fine_ground_where_there_is_fall(route_grid, spec, seed: int) -> None:
    field = _field(route_grid, seed)
    basin, swale = _ends(field, 99.8, 98.5)
    (line,) = route_forest(field, [basin], [swale], spec).lines
    from_end, cover = _covers(field, line, spec.pipes[0].crown)
    assert cover[from_end > TAPER].min() >= COVER - 0.003
    assert line.inverts[-1] >= 98.5 - 1e-6


@given(seed=st.integers(0, 10**6))
def test_a_line_without_fall_to_spare_is_laid_no_lower_than_its_outfall_lets_it(route_grid, spec, seed: int) -> None:
    """Ground as steep as the least slope, and an outfall as high as that lets it be: nothing is left to go lower by."""
    least, start = spec.pipes[0].min_slope, 99.72
    field = _field(route_grid, seed, fall=least)
    basin, swale = _ends(field, start, start - least * 26.0 - 1e-4)
    (line,) = route_forest(field, [basin], [swale], spec).lines
    lengths = np.hypot(*np.diff(line.xy, axis=0).T)
    assert (-np.diff(line.inverts) >= least * lengths - 1e-6).all()
    assert line.inverts[-1] >= swale.level - 1e-6
    assert line.inverts[0] == pytest.approx(start, abs=2e-4)
