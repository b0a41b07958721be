"""Shots of a level: their datum wins, each is kept where it was read, and the ground is bent to them only near by."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from terrain.errors import GroundError
from terrain.grid import Frame, Grid
from terrain.level_shots import rebase_on_shots
from terrain.reading.surface import Surface

GRID = Grid((40, 40), 500000.0, 4000000.0, 0.5, 0.5, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))


def surface(elevation: np.ndarray | None = None) -> Surface:
    if elevation is None:
        row, column = np.indices(GRID.shape)
        elevation = 100.0 + 0.01 * row + 0.02 * column
    return Surface(GRID, elevation)


def centres(*cells: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    rows, columns = np.array(cells).T
    return GRID.centres(rows, columns)


def test_the_median_difference_shifts_everything_to_the_shots_datum() -> None:
    ground = surface()
    cells = [(3, 3), (20, 20), (36, 30)]
    raster = np.array([ground.elevation[cell] for cell in cells])
    # a crew's own datum, 90 m lower; one shot 3 cm high, one 1 cm low, so that the median is the third
    fit = rebase_on_shots(ground, *centres(*cells), raster - 90.0 + np.array([0.03, 0.0, -0.01]))
    assert fit.shift == pytest.approx(-90.0)
    assert fit.residuals == pytest.approx([0.03, 0.0, -0.01])
    # beyond the shots' reach the ground is shifted and nothing else
    x, y = GRID.centres(*np.indices(GRID.shape))
    shot_x, shot_y = centres(*cells)
    away = np.min(np.hypot(x[..., None] - shot_x, y[..., None] - shot_y), axis=-1)
    far = away >= 8.0
    assert far.any()
    assert fit.surface.elevation[far] == pytest.approx(ground.elevation[far] - 90.0)


@given(
    shots=st.lists(
        st.tuples(
            st.integers(0, 39), st.integers(0, 39), st.floats(-0.3, 0.3), st.floats(0.1, 0.9), st.floats(0.1, 0.9)
        ),
        min_size=1, max_size=8, unique_by=lambda shot: shot[:2],
    )
)
def test_each_shot_is_kept_where_it_was_read(shots) -> None:
    ground = surface()
    x = GRID.left + np.array([(column + across) * 0.5 for _, column, _, across, _ in shots])
    y = GRID.top - np.array([(row + down) * 0.5 for row, _, _, _, down in shots])
    heights = np.array([ground.elevation[row, column] + off for row, column, off, _, _ in shots])
    fit = rebase_on_shots(ground, x, y, heights)
    for (row, column, *_), height in zip(shots, heights, strict=True):
        assert fit.surface.elevation[row, column] == pytest.approx(height, abs=1e-9)
    assert fit.shift == pytest.approx(np.median([off for _, _, off, _, _ in shots]), abs=1e-9)
    # nowhere is the ground bent by more than the largest residual
    bent = fit.surface.elevation - ground.elevation - fit.shift
    assert np.abs(bent).max() <= np.abs(fit.residuals).max() + 1e-9


def test_shots_in_one_cell_count_as_their_mean() -> None:
    ground = surface(np.full(GRID.shape, 100.0))
    x, y = centres((5, 5), (5, 5), (30, 30))
    fit = rebase_on_shots(ground, x + np.array([-0.1, 0.1, 0.0]), y, np.array([100.10, 100.20, 100.0]))
    assert fit.shift == pytest.approx(0.10)
    assert fit.surface.elevation[5, 5] == pytest.approx(100.15)


def test_what_is_left_at_a_shot_fades_with_distance() -> None:
    ground = surface(np.full(GRID.shape, 100.0))
    fit = rebase_on_shots(ground, *centres((20, 20), (0, 0), (39, 39)), np.array([100.08, 100.0, 100.0]))
    along = fit.surface.elevation[20, 20:36]
    assert along[0] == pytest.approx(100.08)
    assert (np.diff(along) <= 1e-12).all()


def test_shots_off_the_known_ground_are_left_out_and_alone_are_refused() -> None:
    elevation = surface().elevation.copy()
    elevation[:5] = np.nan
    x, y = centres((20, 20), (2, 2))
    x, y = np.append(x, 499000.0), np.append(y, 4000000.0)
    fit = rebase_on_shots(surface(elevation), x, y, np.array([1.0, 2.0, 3.0]))
    assert len(fit.residuals) == 1
    assert fit.surface.elevation[20, 20] == pytest.approx(1.0)
    assert np.isnan(fit.surface.elevation[:5]).all()
    with pytest.raises(GroundError, match="none of the 1 level shots lies on known ground"):
        rebase_on_shots(surface(elevation), *centres((2, 2)), np.array([2.0]))
