"""A house's footings and sill are told by the ground along that house's own walls."""

import numpy as np
import pytest
import shapely
from shapely import Point, box
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.words.say import say
from pipelines.layout.diagnosis.houses import footing_plane, houses_of, nearest_house
from pipelines.lot import screen_lot
from terrain.ground import ROOF, Ground
from tests.pipelines.lot.conftest import EAST, NORTH, write_lot

CELL, HIGH = 0.5, 40.0
UPPER, LOWER = box(8.0, 20.0, 18.0, 28.0), box(26.0, 6.0, 32.0, 12.0)
FOOTING, TRENCH = 0.3, 0.254


def hillside(fall: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    row, column = np.mgrid[0 : round(HIGH / CELL), 0 : round(HIGH / CELL)]
    x, y = (column + 0.5) * CELL, HIGH - (row + 0.5) * CELL
    return x, y, 100.0 + fall * y


@pytest.fixture
def houses(ground_of):
    x, y, z = hillside(0.12)
    kind = np.where(shapely.contains_xy(shapely.union(UPPER, LOWER), x, y), ROOF, 1)
    made: Ground = ground_of(z, kind=kind, cell_width=CELL, cell_height=CELL)
    east, top = made.grid.left, made.grid.top

    def moved(shape: BaseGeometry) -> BaseGeometry:
        return translate(shape, east, top - HIGH)

    # the upper house is drawn in two roofs that touch
    left, right = box(8.0, 20.0, 13.0, 28.0), box(13.0, 20.0, 18.0, 28.0)
    found = houses_of([moved(left), moved(LOWER), moved(right)], [103.0, None, 102.6], made)
    return found, (east, top - HIGH)


def test_each_house_has_the_ground_along_its_own_walls(houses):
    found, (east, south) = houses
    assert len(found) == 2
    for house in found:
        expected = 100.0 + 0.12 * (house.walls[:, 1] - south)
        # a cell's centre lies up to 0.75 m off a wall drawn between cells
        np.testing.assert_allclose(house.ground, expected, atol=0.12 * 0.75 + 1e-9)
    upper = nearest_house(found, shapely.Point(east + 12.0, south + 24.0))
    assert upper.floor == 102.6
    assert upper.ground.max() - upper.ground.min() > 0.8
    assert nearest_house(found, shapely.Point(east + 30.0, south + 5.0)).floor is None


def test_a_house_on_moved_earth_has_its_walls_where_they_were(houses, ground_of):
    found, _ = houses
    x, y, z = hillside(0.12)
    kind = np.where(shapely.contains_xy(shapely.union(UPPER, LOWER), x, y), ROOF, 1)
    raised = ground_of(z + np.where(x > 22.0, 0.5, 0.0), kind=kind, cell_width=CELL, cell_height=CELL)
    upper, lower = sorted(found, key=lambda house: -house.walls[:, 1].max())
    np.testing.assert_array_equal(upper.on(raised).ground, upper.ground)
    np.testing.assert_allclose(lower.on(raised).ground, lower.ground + 0.5, atol=1e-9)


def test_the_plane_keeps_from_the_footing_beside_it_uphill_and_downhill(houses):
    found, (east, south) = houses
    x, y = np.array([13.0, 13.0, 29.0]) + east, np.array([29.5, 18.5, 4.5]) + south
    plane = footing_plane(found, FOOTING, x, y, half=0.5 * TRENCH)
    # 1.5 m off the upper wall, off the lower wall, and off the other house: the wall beside it decides
    beside = 100.0 + 0.12 * np.array([28.0, 20.0, 6.0])
    np.testing.assert_allclose(plane, beside - FOOTING - (1.5 - 0.5 * TRENCH), atol=0.1)
    # one height for all walls would let a trench uphill come 1.4 m below the footing's plane there
    assert plane[0] - plane[2] > 2.0


def site(folder, *, floor: str = "", fall: float = 0.06):
    """A house across a hillside, wet above it, with the street below."""
    x, y, z = hillside(fall)
    z = z - 0.25 * np.exp(-((x - 20.0) ** 2 + (y - 31.0) ** 2) / 4.0)
    z -= np.where(y < 3.0, 0.8 * (1.0 - np.abs(y - 1.5) / 1.5), 0.0)
    layers = {
        "parcel": [{"geometry": box(1.0, 4.0, 39.0, 39.0)}],
        "roofs": [{"geometry": box(6.0, 16.0, 34.0, 24.0)}],
        "hardscape": [{"geometry": box(17.0, 28.5, 23.0, 33.5), "kind": "patio", "protect": True}],
        "right_of_way": [{"geometry": box(0.0, 0.0, 40.0, 4.0)}],
        "outfalls": [{"geometry": Point(20.0, 1.5), "kind": "swale"}],
        "complaints": [{"geometry": Point(20.0, 31.0), "what": "stands on the patio"}],
    }
    more = f'[house]\nfoundation = "slab"\n{floor}\n[rain]\ndepth = "3 in"\nduration = "60 min"\n[soil]\ngroup = "C"\n'
    return write_lot(folder, z, layers, more=more)


def test_lines_on_a_hillside_keep_above_every_footing(tmp_path):
    found = screen_lot(site(tmp_path))
    runs = [run for run in found.plan.pipe_runs if run.kind == "gravity"]
    assert runs
    house = box(EAST + 6.0, NORTH + 16.0, EAST + 34.0, NORTH + 24.0)
    wall = shapely.segmentize(house.boundary, 0.25)
    walls = shapely.get_coordinates(wall)
    footing = 100.0 + 0.06 * (walls[:, 1] - NORTH) - FOOTING
    for run in runs:
        line = shapely.segmentize(shapely.force_2d(run.line), 0.25)
        points = shapely.get_coordinates(line)
        along = np.array([run.line.project(Point(*xy)) for xy in points])
        stations = np.r_[0.0, np.cumsum(np.hypot(*np.diff(shapely.get_coordinates(run.line), axis=0).T))]
        invert = np.interp(along, stations, shapely.get_coordinates(run.line, include_z=True)[:, 2])
        away = np.hypot(*(points[:, None, :] - walls[None]).transpose(2, 0, 1))
        plane = (footing - np.maximum(away - 0.5 * TRENCH, 0.0)).max(axis=1)
        # a cell of the router is 1 m: the plane may be met half a cell off
        assert (invert >= plane - 0.5).all()


def test_a_footing_depth_that_nobody_gave_is_told(tmp_path):
    told = [each for each in screen_lot(site(tmp_path / "a")).warnings if each.code == "assumed_footing"]
    assert len(told) == 1
    assert "12 in below the ground along each wall is assumed" in say(told[0], "us")
    given = screen_lot(site(tmp_path / "b", floor='footing_depth = "18 in"'))
    assert not [each for each in given.warnings if each.code == "assumed_footing"]
