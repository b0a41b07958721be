"""The loops that lay lines, compiled by a process of its own while another compiles what reads and drains the ground.

Half of a first run's compiling is theirs, and they are called last. What that process compiles it leaves in the cache
that both share; whatever becomes of it, the other compiles what it misses.
"""

import contextlib
import os
import subprocess
import sys

import numpy as np
from pyproj import CRS
from shapely import Point, box

from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedForest, RoutePipe, RouteSpec
from terrain.grid import Frame, Grid

_beside: list[subprocess.Popen[bytes]] = []  # not waited for: it ends by itself


def compile_beside() -> None:
    """Start that process, where there is a second core for it."""
    if (os.cpu_count() or 1) < 2:
        return
    paths = os.pathsep.join(each for each in sys.path if each)
    with contextlib.suppress(OSError):
        _beside.append(subprocess.Popen(
            [sys.executable, "-P", "-m", "pipelines.compile_first"],
            env={**os.environ, "PYTHONPATH": paths}, start_new_session=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        ))  # fmt: skip


def lay_made_lines() -> RoutedForest:
    """Lines from three collectors round a house, on ground that falls to an outfall."""
    grid = Grid((14, 20), 0.0, 14.0, 1.0, 1.0, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))
    field = field_from_arrays(grid, 100.0 - 0.03 * np.indices(grid.shape)[1], barred=box(8.0, 4.0, 11.0, 10.0))
    pipes = tuple(RoutePipe(size, 0.107, 0.003, 0.01, carries, 9.0) for size, carries in (("4", 0.006), ("6", 0.02)))
    outfall, spec = OutfallTarget("outfall", Point(19.5, 7.0), 98.5), RouteSpec(pipes)
    collectors = [
        Collector("a", Point(2.5, 3.5), 99.5, 0.001),
        Collector("b", Point(2.5, 10.5), 99.5, 0.002, through=True),
        Collector("c", Point(6.5, 7.5), 99.4, 0.001),
    ]
    fall_to_spare(field, outfall, pipes[0], spec)
    return route_forest(field, collectors, [outfall], spec)


if __name__ == "__main__":
    lay_made_lines()
