"""The router's compiled searches as plain Python: the same lines, and no index past the end of an array."""

import json
import os
import subprocess
import sys

import numpy as np
from pyproj import CRS
from shapely import LineString, Point, box

from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.pressure import route_pressure
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec
from pipelines.layout.routing.steps import Crossing
from terrain.grid import Frame, Grid


def route_small_lots():
    """Costs, inverts and falls on small lots: a house, a gas line, a basin on the way, one to three collectors."""
    results = []
    for seed in range(3):
        random = np.random.default_rng(seed)
        grid = Grid((8, 10), 0.0, 8.0, 1.0, 1.0, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))
        ground = 100.0 - 0.03 * np.indices((8, 10))[1] + 0.02 * random.standard_normal((8, 10))
        gas = Crossing("gas", "gas", LineString([(7.2, -1.0), (7.4, 9.0)]), 30.0, 99.2 + 0.1 * seed, 0.1)
        field = field_from_arrays(grid, ground, cover=0.2, surface_cost=random.uniform(3.0, 20.0, (8, 10)),
                                  barred=box(3.8, 3.2, 5.1, 5.1), crossings=(gas,))
        pipes = (RoutePipe("4 in", 0.107, 0.003, 0.01, 0.005, 9.0), RoutePipe("6 in", 0.16, 0.005, 0.005, 0.02, 18.0))
        spec = RouteSpec(pipes=pipes, taper_length=1.5)
        places = [(0.5, 6.5), (1.2, 1.4), (2.5, 4.5)][: seed + 1]
        collectors = [Collector(f"c{k}", Point(p), float(ground[grid.cells(*p)]) - 0.33, 0.002, k == 2)
                      for k, p in enumerate(places)]
        outfalls = [OutfallTarget("o", Point(9.5, 2.5), 98.8), OutfallTarget("p", Point(9.4, 7.3), 98.9, 20.0)]
        forest = route_forest(field, collectors, outfalls, spec)
        assert forest.lines
        results += [[forest.cost, forest.grid_cost], *(line.inverts for line in forest.lines)]
        results.append(np.nan_to_num(fall_to_spare(field, outfalls[0], pipes[0], spec).spare))
        line = route_pressure(field, Point(0.5, 0.5), outfalls[0], pipes[0], spec)
        results += [[line.cost], line.inverts]
    return [np.asarray(result, dtype=float).ravel().tolist() for result in results]


def as_text():
    return json.dumps(route_small_lots())


def test_plain_python_routes_the_same():
    run = subprocess.run(
        [sys.executable, "-c", f"import runpy; print(runpy.run_path({__file__!r})['as_text']())"],
        capture_output=True, text=True, check=False, env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    plain, compiled = json.loads(run.stdout), route_small_lots()
    assert len(plain) == len(compiled)
    for one, other in zip(plain, compiled, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)
