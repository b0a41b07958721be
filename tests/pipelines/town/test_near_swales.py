"""Which swales a run over some lots needs."""

from types import SimpleNamespace
from typing import Any

from pyproj import CRS
from shapely import LineString, box

from pipelines.layout.swale.case import OpenedSwales
from pipelines.town.swales.near_swales import swales_serving
from terrain.grid import Frame

METRES = Frame(CRS.from_epsg(32616), 1.0, 1.0, 1.0)


def opened(*lines: LineString) -> OpenedSwales:
    inputs: Any = SimpleNamespace(source=SimpleNamespace(grid=SimpleNamespace(frame=METRES)))
    names = [f"swale {number}" for number in range(len(lines))]
    return OpenedSwales(inputs, None, list(lines), names, list(names), None)  # type: ignore[arg-type]


def test_a_swale_beside_a_lot_and_those_that_end_in_it_are_kept_in_their_order() -> None:
    above = LineString([(500.0, 200.0), (500.0, 3.0)])
    higher = LineString([(900.0, 400.0), (503.0, 198.0)])
    own = LineString([(0.0, 0.0), (600.0, 0.0)])
    far = LineString([(0.0, 900.0), (600.0, 900.0)])
    kept = swales_serving(opened(far, higher, above, own), [box(0.0, 10.0, 20.0, 40.0)])
    assert kept.names == ["swale 1", "swale 2", "swale 3"]
    assert kept.lines == [higher, above, own]
    assert kept.culverts == kept.names


def test_without_a_lot_near_none_is() -> None:
    assert swales_serving(opened(LineString([(0.0, 0.0), (600.0, 0.0)])), [box(0.0, 100.0, 20.0, 140.0)]).lines == []
