"""Profiles of the property tests: a small derandomised one always, a thorough one on request; made swales."""

import importlib
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from pyproj import CRS
from shapely import LineString

from terrain.first_run import compiles_first
from terrain.grid import Frame, Grid
from terrain.ground import OPEN, OUTSIDE, Ground
from terrain.kept import keeping
from terrain.reading.surface import Surface
from tests.quick_share import HEAVY_FIRST, in_full

os.environ.setdefault("MPLBACKEND", "Agg")
settings.register_profile(
    "ci", max_examples=25, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], database=None
)
settings.register_profile("thorough", max_examples=500, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("LOTSHED_PROFILE", "ci"))


def pytest_configure(config: pytest.Config) -> None:
    """A folder for sample lots that any process of this run has screened; one named holds those of earlier runs."""
    if "LOTSHED_SCREENED" not in os.environ:
        folder = TemporaryDirectory(prefix="lotshed-screened-")
        os.environ["LOTSHED_SCREENED"] = folder.name
        config.add_cleanup(folder.cleanup)
    if getattr(config.option, "numprocesses", None) and compiles_first():
        # once, on both cores, before several processes compile the same each for itself
        code = "from tests.screened_samples import screened; screened('lot_01')"
        subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[1], check=False)
    # several processes would else take the files with many tests first, however little each takes
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The files that take longest come first, the others as they were."""
    place = {Path(__file__).parent / name: k for k, name in enumerate(HEAVY_FIRST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))


@pytest.fixture(scope="module")
def kept_in_file() -> Iterator[None]:
    """For files that screen much the same again: what `kept` functions answer is kept for all tests of the file.

    That an answer is the same with it is held by test_kept_between_runs; in the long profile each works out its own.
    """
    with nullcontext() if in_full() else keeping():
        yield


@dataclass(frozen=True)
class MadeSwale:
    """A swale on made ground, and the line that someone drew beside its bottom."""

    surface: Surface
    drawn: LineString


@pytest.fixture(scope="session")
def made_swale():
    """What makes a straight swale from its shape across and its bottom along, through the origin at an angle."""

    def make(
        across,
        along=lambda s: -0.01 * s,
        *,
        cell=0.5,
        angle=0.0,
        length=100.0,
        beside=12.0,
        origin=(0.0, 0.0),
        base=100.0,
        drawn_off=0.0,
        noise=None,
    ) -> MadeSwale:
        turn = np.radians(angle)
        half_x = abs(length / 2 * np.cos(turn)) + beside
        half_y = abs(length / 2 * np.sin(turn)) + beside
        columns, rows = round(2 * half_x / cell) + 1, round(2 * half_y / cell) + 1
        frame = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
        # a cell centre stands on the origin
        grid = Grid((rows, columns), -columns * cell / 2, rows * cell / 2, cell, cell, frame)
        x, y = grid.centres(*np.mgrid[0:rows, 0:columns])
        s, t = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
        z = base + across(t) + along(s)
        if noise is not None:
            z = z + noise(z.shape)
        grid = replace(grid, left=grid.left + origin[0], top=grid.top + origin[1])
        ends = [(-length / 2, 0.0), (0.0, drawn_off), (length / 2, 0.0)]
        drawn = [
            (origin[0] + a * np.cos(turn) - b * np.sin(turn), origin[1] + a * np.sin(turn) + b * np.cos(turn))
            for a, b in ends
        ]
        return MadeSwale(Surface(grid, z), LineString(drawn))

    return make


@pytest.fixture(scope="session")
def ground_of():
    """What makes a ground of heights: OUTSIDE where they are NaN, else OPEN or what `kind` says."""

    def make(elevation, *, kind=None, receiver=None, cell_width=1.0, cell_height=1.0) -> Ground:
        elevation = np.array(elevation, dtype=np.float64)
        known = np.where(np.isnan(elevation), OUTSIDE, OPEN if kind is None else np.asarray(kind))
        receiver = np.full(elevation.shape, -1) if receiver is None else np.asarray(receiver)
        frame = Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0)
        grid = Grid(elevation.shape, 500000.0, 4000000.0, cell_width, cell_height, frame)
        return Ground(grid, elevation, known.astype(np.int64), receiver.astype(np.int64), np.full(elevation.shape, -1))

    return make


@pytest.fixture(scope="session")
def claywick_points():
    """The script that makes lidar points of the sample neighbourhood."""
    folder = str(Path(__file__).parents[1] / "sample_data")
    sys.path.insert(0, folder)
    try:
        return importlib.import_module("claywick_points")
    finally:
        sys.path.remove(folder)


@pytest.fixture(scope="session")
def sample_returns(claywick_points):
    """Returns of the sample neighbourhood at 2 pulses to a square metre."""
    return claywick_points.returns(2.0)
