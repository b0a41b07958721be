"""Roofs, barriers, downspouts and culverts on made ground."""

import numpy as np
import pytest
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon, box

from terrain.errors import GeometryError
from terrain.flow.conditioning import CulvertLine, make_ground
from terrain.flow.drainage import drain_ground, path_downstream, undrained
from terrain.grid import Frame, Grid
from terrain.ground import BARRIER, OPEN, OUTSIDE, ROOF
from terrain.reading.surface import Surface


@pytest.fixture
def surface_of():
    """What makes a surface whose south-west corner is the origin."""

    def make(elevation, cell=1.0):
        elevation = np.array(elevation, dtype=np.float64)
        rows = elevation.shape[0]
        grid = Grid(elevation.shape, 0.0, rows * cell, cell, cell, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))
        return Surface(grid, elevation)

    return make


@pytest.fixture
def plane(surface_of):
    """20 x 20 cells of 1 m that fall 2 cm a metre to the south."""
    return surface_of(np.tile(10.0 - 0.02 * np.arange(20)[:, None], (1, 20)))


def test_a_roof_stands_where_its_outline_holds_cell_centres(plane):
    # a fence, which no rain is gathered by, is none
    fence = LineString([(2.0, 1.5), (18.0, 1.5)])
    ground = make_ground(plane, roofs=[box(5, 5, 10, 9), box(12, 12, 14, 14)], barriers=[fence])
    np.testing.assert_array_equal(ground.kind == ROOF, ground.roof >= 0)
    assert (ground.roof == 0).sum() == 20
    assert (ground.roof == 1).sum() == 4
    np.testing.assert_array_equal(ground.elevation, plane.elevation)
    drained = drain_ground(ground)
    assert undrained(drained) == 0
    # water from above goes round the house
    for cell in path_downstream(drained, 3 * 20 + 7):
        assert ground.kind.flat[cell] == OPEN


def test_a_roof_that_is_open_below_is_no_wall(plane):
    ground = make_ground(plane, roofs=[box(5, 5, 10, 9), box(12, 12, 14, 14)], open_below=[True, False])
    assert (ground.roof == 0).sum() == 0
    assert (ground.roof == 1).sum() == 4


def test_open_below_must_match_the_roofs(plane):
    with pytest.raises(GeometryError, match="1 values of open_below were given for 2 roofs"):
        make_ground(plane, roofs=[box(1, 1, 3, 3), box(5, 5, 7, 7)], open_below=[True])


def test_roof_water_goes_to_the_nearest_downspout_of_its_roof(plane):
    spouts = [Point(4.6, 5.5), Point(10.8, 8.5), Point(18.0, 2.0)]
    ground = make_ground(plane, roofs=[box(5, 5, 10, 9)], downspouts=spouts)
    receivers = np.unique(ground.receiver[ground.kind == ROOF])
    assert [divmod(int(cell), 20) for cell in receivers] == [(11, 10), (14, 4)]
    rows, columns = np.nonzero(ground.roof == 0)
    for row, column in zip(rows, columns, strict=True):
        x, y = ground.grid.centres(row, column)
        nearest = min(spouts[:2], key=lambda spout: spout.distance(Point(x, y)))
        assert divmod(int(ground.receiver[row, column]), 20) == ((14, 4) if nearest is spouts[0] else (11, 10))


def test_roof_water_without_a_downspout_drips_from_the_nearest_edge(plane):
    ground = make_ground(plane, roofs=[box(5, 5, 10, 9)])
    for row, column in np.argwhere(ground.kind == ROOF):
        to = divmod(int(ground.receiver[row, column]), 20)
        assert ground.kind[to] == OPEN
        gone = np.hypot(to[0] - row, to[1] - column)
        assert gone == min(np.hypot(r - row, c - column) for r, c in np.argwhere(ground.kind == OPEN))


def test_roof_water_joins_where_it_is_received(plane):
    ground = make_ground(plane, roofs=[box(5, 5, 10, 9)], downspouts=[Point(4.6, 4.5)])
    drained = drain_ground(ground)
    without = drain_ground(make_ground(plane))
    at = 15 * 20 + 4
    assert drained.target[np.flatnonzero(ground.kind == ROOF)].tolist() == [at] * 20
    # 20 m2 of roof, and nothing lost
    assert drained.accumulation.flat[at] >= 20 + 1
    border = drained.target == -1
    assert drained.accumulation.ravel()[border].sum() == without.accumulation.ravel()[without.target == -1].sum()


@pytest.mark.parametrize(
    "line", [LineString([(-1, 8), (21, 14)]), LineString([(0, 0), (20, 20)]), LineString([(-1, 10.2), (21, 10.2)])]
)
def test_a_barrier_dams_whatever_its_direction(plane, line):
    ground = make_ground(plane, barriers=[line])
    drained = drain_ground(ground)
    x, y = ground.grid.centres(*np.indices(ground.grid.shape))
    first, last = np.array(line.coords)
    along = last - first
    side = np.sign(along[0] * (y - first[1]) - along[1] * (x - first[0])).ravel()
    runs = (ground.kind.ravel() == OPEN) & (drained.target >= 0)
    assert (side[runs] == side[drained.target[runs]]).all()


def test_a_barrier_gives_its_water_to_the_lowest_ground_beside_it(plane):
    ground = make_ground(plane, barriers=[LineString([(3, 10.5), (17, 10.5)])])
    rows, columns = np.nonzero(ground.kind == BARRIER)
    assert set(rows.tolist()) == {9}
    assert set((ground.receiver[rows, columns] // 20).tolist()) == {10}


def test_unknown_ground_stays_unknown_under_a_roof_and_a_fence(surface_of):
    z = np.full((10, 10), 5.0)
    z[3:6, 3:6] = np.nan
    ground = make_ground(surface_of(z), roofs=[box(2, 2, 8, 8)], barriers=[LineString([(0, 5), (10, 5)])])
    assert (ground.kind[3:6, 3:6] == OUTSIDE).all()
    assert (ground.receiver[3:6, 3:6] == -1).all()


def driveway(surface_of, dam=0.5):
    """A swale that falls to the east, and a drive across it that the raster shows as a dam."""
    row, column = np.indices((15, 40))
    z = 10.0 - 0.01 * column + 0.05 * np.abs(row - 7)
    z[:, 18:22] = np.maximum(z[:, 18:22], 10.0 + dam)
    return surface_of(z)


def test_a_culvert_opens_the_ground_along_its_line(surface_of):
    surface = driveway(surface_of)
    pipe = CulvertLine(LineString([(17.2, 7.6), (22.8, 7.6)]))
    closed, opened = drain_ground(make_ground(surface)), drain_ground(make_ground(surface, culverts=[pipe]))
    above = 7 * 40 + 10
    assert closed.filled.flat[above] > surface.elevation.flat[above]
    assert opened.filled.flat[above] == surface.elevation.flat[above]
    path = path_downstream(opened, above)
    assert 7 * 40 + 20 in path
    bed = opened.ground.elevation.ravel()[path]
    assert (np.diff(bed) <= 0).all()


def test_a_culvert_lies_at_the_lower_of_given_and_found_inverts(surface_of):
    surface = driveway(surface_of)
    line = LineString([(17.2, 7.6), (22.8, 7.6)])
    found = make_ground(surface, culverts=[CulvertLine(line)]).elevation[7, 17:23]
    given = make_ground(surface, culverts=[CulvertLine(line, (9.0, 8.9))]).elevation[7, 17:23]
    high = make_ground(surface, culverts=[CulvertLine(line, (10.4, None))]).elevation[7, 17:23]
    assert (given < found).all()
    assert given[0] == pytest.approx(9.0, abs=0.02)
    assert given[-1] == pytest.approx(8.9, abs=0.02)
    np.testing.assert_array_equal(high, found)


def test_a_culvert_passes_below_a_fence_but_not_below_a_house(surface_of):
    surface = driveway(surface_of)
    pipe = CulvertLine(LineString([(17.2, 7.6), (22.8, 7.6)]))
    fence = LineString([(20.5, -1), (20.5, 16)])
    fenced = make_ground(surface, culverts=[pipe], barriers=[fence])
    assert (fenced.kind[:, 20] == OPEN).sum() == 1
    assert 7 * 40 + 20 in path_downstream(drain_ground(fenced), 7 * 40 + 10)
    built = make_ground(surface, culverts=[pipe], roofs=[box(19, -1, 21, 16)])
    assert (built.kind[:, 19:21] == ROOF).all()


def test_a_culvert_without_length_is_refused(plane):
    with pytest.raises(GeometryError, match=r"culvert at \(3.0, 3.0\) has no length"):
        make_ground(plane, culverts=[CulvertLine(LineString([(3, 3), (3, 3)]))])


def test_nothing_that_lies_off_the_window_matters(plane):
    away = [box(100, 100, 110, 110), Polygon(), MultiPolygon([box(-9, -9, -5, -5)])]
    off = [CulvertLine(LineString([(50, 50), (60, 60)]))]
    ground = make_ground(plane, roofs=away, barriers=[LineString([(50, 0), (50, 50)])], culverts=off)
    assert (ground.kind == OPEN).all()
    np.testing.assert_array_equal(ground.elevation, plane.elevation)


def test_a_window_full_of_roof_still_drains(plane):
    ground = make_ground(plane, roofs=[box(-1, -1, 21, 21)])
    assert (ground.receiver == -1).all()
    assert undrained(drain_ground(ground)) == 0
