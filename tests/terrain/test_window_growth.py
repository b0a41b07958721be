"""The window grows until what drains to the lot is inside, or says where it could not."""

import numpy as np
import pytest
from affine import Affine
from shapely import box

from pipelines.deliverables.words.say import say
from terrain.flow.burnt_cells import cells_inside
from terrain.flow.window import Look, grow_window
from terrain.reading.raster_source import open_raster

ROWS, COLUMNS = 300, 400
WEST, NORTH = 500000.0, 4100000.0


@pytest.fixture
def source(write_raster):
    """A plane of 1 m cells that falls to the west."""
    column = np.mgrid[0:ROWS, 0:COLUMNS][1]
    return open_raster(write_raster(50.0 + 0.01 * column), unit="m")


def lot(east=60.0, south=150.0, side=20.0):
    return box(WEST + east, NORTH - south, WEST + east + side, NORTH - south + side)


def drain_from(shape):
    """Cells that drain to the lot: those of a shape of known ground."""
    asked = []

    def drain(surface):
        asked.append(surface.grid.shape)
        return cells_inside(surface.grid, shape)

    drain.asked = asked
    return drain


def test_a_lot_that_only_drains_itself_keeps_its_margin(source):
    parcel = lot()
    surface = grow_window(source, parcel, drain_from(parcel))
    # once around by the margin, once more to see that nothing changes
    assert surface.grid.bounds == (WEST + 20.0, NORTH - 190.0, WEST + 120.0, NORTH - 90.0)
    assert surface.warnings == ()


def test_only_the_side_that_water_comes_from_grows(source):
    parcel = lot()
    strip = box(WEST + 60.0, NORTH - 150.0, WEST + 290.0, NORTH - 130.0)
    surface = grow_window(source, parcel, drain_from(strip))
    west, south, east, north = surface.grid.bounds
    assert east > WEST + 290.0
    # the other three sides moved by the one look around only
    assert (west, south, north) == (WEST + 20.0, NORTH - 190.0, NORTH - 90.0)
    assert surface.warnings == ()


def test_the_raster_ends_within_ground_that_drains_to_the_lot(source):
    parcel = lot()
    strip = box(WEST + 60.0, NORTH - 150.0, WEST + 2000.0, NORTH - 130.0)
    surface = grow_window(source, parcel, drain_from(strip))
    assert surface.raster_ends == ("e",)
    (warning,) = surface.warnings
    assert "the raster ends on the east within ground that drains to the parcel" in say(warning, "si")
    assert "run-on from there is under-counted" in say(warning, "si")


def test_a_raster_that_ends_where_no_water_comes_from_is_not_warned_about(source):
    parcel = lot(east=2.0)
    surface = grow_window(source, parcel, drain_from(parcel))
    assert "w" in surface.raster_ends
    assert surface.warnings == ()


def test_two_sides_are_named(source):
    everywhere = box(WEST - 1000, NORTH - 1000, WEST + 1000, NORTH + 1000)
    surface = grow_window(source, lot(), drain_from(everywhere))
    assert surface.grid.shape == (ROWS, COLUMNS)
    assert "on the north, east, south and west" in say(surface.warnings[0], "si")


def test_a_limit_of_cells_stops_it_with_a_warning(source):
    everywhere = box(WEST - 1000, NORTH - 1000, WEST + 1000, NORTH + 1000)
    surface = grow_window(source, lot(east=190.0), drain_from(everywhere), limit=20_000)
    assert surface.grid.shape[0] * surface.grid.shape[1] <= 20_000
    (warning,) = [line for line in surface.warnings if line.code == "window_stopped"]
    assert "north, east, south and west of the window" in say(warning, "si")
    assert "limit of 20,000 cells; run-on from there is under-counted" in say(warning, "si")


def test_a_limit_that_leaves_no_room_to_look_around_is_told(source):
    parcel = lot(east=190.0)
    surface = grow_window(source, parcel, drain_from(parcel), limit=4_000)
    (warning,) = surface.warnings
    assert "limit of 4,000 cells before a wider one showed that nothing more drains to the parcel" in say(warning, "si")
    assert grow_window(source, parcel, drain_from(parcel), limit=40_000).warnings == ()


@pytest.mark.parametrize(("limit", "looks"), [(30_000, False), (300_000, True)])
def test_a_look_farther_off_that_the_limit_forbids_is_told(source, limit, looks):
    parcel, looked = lot(east=190.0), []

    def ponds(surface):
        looked.append(surface)
        return np.zeros(surface.grid.shape, dtype=bool)

    surface = grow_window(source, parcel, drain_from(parcel), limit=limit, look=Look(ponds, 100.0))
    told = [say(warning, "si") for warning in surface.warnings]
    assert (len(looked), len(told)) == (looks, not looks)
    assert looks or "banks farther off that may hide a culvert are not looked for around the parcel" in told[0]


def test_a_low_spot_cut_by_the_window_is_found_by_looking_around(source):
    """East of 115 m lies a low spot that, seen whole, spills to the lot; cut by the window it seems to leave."""
    parcel = lot()

    def drain(surface):
        mask = cells_inside(surface.grid, parcel)
        if surface.grid.bounds[2] >= WEST + 120.0:
            mask |= cells_inside(surface.grid, box(WEST + 80.0, NORTH - 150.0, WEST + 118.0, NORTH - 130.0))
        return mask

    surface = grow_window(source, parcel, drain)
    assert drain(surface).sum() == 400 + 38 * 20
    assert surface.grid.bounds[2] >= WEST + 140.0


def test_unknown_ground_beside_water_is_warned_about(write_raster):
    heights = 50.0 + 0.01 * np.mgrid[0:ROWS, 0:COLUMNS][1]
    heights[100:200, 120:160] = np.nan
    source = open_raster(write_raster(heights), unit="m")
    parcel = lot()
    strip = box(WEST + 60.0, NORTH - 150.0, WEST + 120.0, NORTH - 130.0)
    surface = grow_window(source, parcel, drain_from(strip))
    assert [line["place"] for line in surface.warnings if line.code == "run_on_from_unknown"] == ["500120, 4099860"]


def test_growth_is_the_same_each_time_and_in_feet(write_raster, source):
    parcel = lot()
    strip = box(WEST + 60.0, NORTH - 150.0, WEST + 290.0, NORTH - 130.0)
    once, twice = (grow_window(source, parcel, drain_from(strip)) for _ in range(2))
    assert once.grid == twice.grid
    np.testing.assert_array_equal(once.elevation, twice.elevation)
    # the same ground in a CRS of feet, its cells a metre all the same
    unit = 1200.0 / 3937.0
    place = Affine(1.0 / unit, 0.0, 2300000.0, 0.0, -1.0 / unit, 10000000.0)
    column = np.mgrid[0:ROWS, 0:COLUMNS][1]
    feet = open_raster(write_raster((50.0 + 0.01 * column) / unit, crs="EPSG:2277", transform=place, name="ft.tif"))
    west, north = feet.grid.left, feet.grid.top
    moved = [
        box(west + shape.bounds[0] - WEST, north + shape.bounds[1] - NORTH, west + shape.bounds[2] - WEST,
            north + shape.bounds[3] - NORTH)
        for shape in (parcel, strip)
    ]  # fmt: skip
    other = grow_window(feet, moved[0], drain_from(moved[1]))
    assert other.grid.shape == once.grid.shape
    np.testing.assert_allclose(other.elevation, once.elevation, rtol=1e-12)
