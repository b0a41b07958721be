"""Ground to route on, made in a line or two."""

from collections.abc import Callable

import numpy as np
import pytest
from pyproj import CRS

from pipelines.layout.routing.spec import RoutePipe
from terrain.grid import Frame, Grid


@pytest.fixture(scope="session")
def route_grid() -> Callable[..., Grid]:
    """A grid of `rows` x `columns` cells, each `size` m, at an origin of one's choice."""

    def make(rows: int, columns: int, size: float = 1.0, left: float = 1000.0, top: float = 2000.0) -> Grid:
        return Grid((rows, columns), left, top, size, size, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))

    return make


@pytest.fixture(scope="session")
def four_inch() -> RoutePipe:
    """A 4 in sewer pipe at 1 %: outside 4.215 in, wall 0.120 in (ASTM D3034 SDR-35, from memory)."""
    return RoutePipe("4 in", 0.10706, 0.00305, 0.01, 0.006, 9.0)


@pytest.fixture(scope="session")
def rough() -> Callable[..., np.ndarray]:
    """Smooth hills of a few centimetres over a plane that falls to the east."""

    def make(seed: int, shape: tuple[int, int], fall: float, hills: float) -> np.ndarray:
        rng = np.random.default_rng(seed)
        rows, columns = np.indices(shape)
        ground = 100.0 - fall * columns
        for _ in range(4):
            u, v, phase = rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5), rng.uniform(0.0, 6.0)
            ground += hills * np.sin(u * rows + v * columns + phase)
        return ground

    return make
