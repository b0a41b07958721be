"""What another process compiles on a first run is what a lot's lines ask for, or it would save nothing."""

import importlib
import pkgutil
from collections.abc import Callable

from shapely import Point, box

from pipelines.compile_first import lay_made_lines
from pipelines.layout.routing import kernels
from pipelines.layout.routing.field import field_from_arrays
from pipelines.layout.routing.router import route_forest
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutePipe, RouteSpec


def _compiled() -> dict[str, tuple]:
    """Signatures of every loop that lays lines."""
    found = {}
    for module in pkgutil.iter_modules(kernels.__path__):
        for name, each in vars(importlib.import_module(f"{kernels.__name__}.{module.name}")).items():
            if hasattr(each, "nopython_signatures"):
                found[f"{module.name}.{name}"] = tuple(each.signatures)
    return found


def test_a_lots_lines_compile_nothing_more(route_grid: Callable, rough: Callable, four_inch: RoutePipe) -> None:
    made = lay_made_lines()
    assert {name for line in made.lines for name in line.serves} == {"a", "b", "c"}
    assert not made.unserved
    compiled = _compiled()
    assert sum(map(bool, compiled.values())) > 10
    house = box(1012.0, 1985.0, 1016.0, 1995.0)
    field = field_from_arrays(route_grid(20, 30), rough(3, (20, 30), 0.03, 0.02), barred=house)
    collectors = [Collector(str(k), Point(1002.5, 1983.5 + 4.0 * k), 99.4, 0.001) for k in range(4)]
    forest = route_forest(field, collectors, [OutfallTarget("o", Point(1029.5, 1990.0), 98.0)], RouteSpec((four_inch,)))
    assert len(forest.lines) >= len(collectors)
    assert _compiled() == compiled
