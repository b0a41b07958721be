"""A raster that cannot serve is refused with one message that says what, where and what to do."""

import warnings

import numpy as np
import pytest
import rasterio
from affine import Affine
from shapely import box

from terrain.errors import GroundError, GroundFileError
from terrain.flow.lot_ground import (
    GroundLimits,
    cells_inside,
    cover_of_lot,
    refuse_unfit,
    refuse_unknown,
    share_of_steps,
)
from terrain.flow.window import grow_window
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window
from terrain.reason import reason

LIMITS = GroundLimits()


def lot_of(source, side=40.0, east=0.0):
    west, south, right, top = source.grid.bounds
    x, y = (west + right) / 2 + east, (south + top) / 2
    return box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


def test_missing(tmp_path):
    with pytest.raises(GroundFileError, match=r"elevation raster .*nope.tif does not exist"):
        open_raster(tmp_path / "nope.tif")


def test_empty_file(tmp_path):
    (tmp_path / "e.tif").touch()
    with pytest.raises(GroundFileError, match="is empty \\(0 bytes\\)"):
        open_raster(tmp_path / "e.tif")


def test_not_a_raster(tmp_path):
    (tmp_path / "n.tif").write_text("point,easting\n1,2\n")
    with pytest.raises(GroundFileError, match="is no raster that can be read"):
        open_raster(tmp_path / "n.tif")


def test_a_folder(tmp_path):
    with pytest.raises(GroundFileError, match="is a folder, and only regular files are read"):
        open_raster(tmp_path)


@pytest.mark.parametrize("profile", [{}, {"tiled": True, "blockxsize": 32, "blockysize": 32, "compress": "deflate"}])
@pytest.mark.parametrize("share", [0.0001, 0.005, 0.05, 0.3, 0.6, 0.9, 0.99, 0.99999])
def test_a_torn_raster_raises_and_never_gives_numbers(write_raster, rolling, profile, share):
    path = write_raster(np.tile(rolling, (2, 2)), **profile)
    whole = path.read_bytes()
    path.write_bytes(whole[: max(int(len(whole) * share), 1)])

    def read():
        source = open_raster(path, unit="m")
        return read_window(source, source.grid.bounds)

    with pytest.raises((GroundFileError, GroundError)):
        read()


def test_the_sound_part_of_a_torn_raster_is_read(write_raster, rolling):
    path = write_raster(np.tile(rolling, (2, 2)), tiled=True, blockxsize=32, blockysize=32)
    path.write_bytes(path.read_bytes()[:-2000])
    source = open_raster(path, unit="m")
    surface = read_window(source, (500000.0, 4099970.0, 500030.0, 4100000.0))
    np.testing.assert_array_equal(surface.elevation, rolling[:30, :30])
    with pytest.raises(GroundFileError, match=r"ground.tif is torn: part of it cannot be read .* fetch it again"):
        read_window(source, source.grid.bounds)


def sparse(tmp_path, **profile):
    """A file of which only the first block was written before its writer stopped."""
    path = tmp_path / "sparse.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=96, height=64, count=1, dtype="float32", crs="EPSG:32610", tiled=True,
        blockxsize=32, blockysize=32, SPARSE_OK=True, transform=Affine(1.0, 0.0, 500000.0, 0.0, -1.0, 4100000.0),
        **profile,
    ) as file:  # fmt: skip
        file.write(np.full((32, 32), 7.0, dtype="float32"), 1, window=rasterio.windows.Window(0, 0, 32, 32))
    return open_raster(path, unit="m")


def test_blocks_never_written_are_no_ground_at_zero(tmp_path):
    source = sparse(tmp_path)
    assert (read_window(source, (500000.0, 4099970.0, 500030.0, 4100000.0)).elevation == 7.0).all()
    with pytest.raises(GroundFileError, match="the block at row 0, column 32 was never written"):
        read_window(source, source.grid.bounds)


def test_blocks_never_written_are_unknown_where_nodata_is_declared(tmp_path):
    source = sparse(tmp_path, nodata=-9999.0)
    surface = read_window(source, source.grid.bounds)
    assert np.isfinite(surface.elevation).sum() == 32 * 32


def test_no_crs(write_raster, rolling):
    with pytest.raises(GroundError, match=r"ground.tif: it has no CRS; assign the one that the data was made in"):
        open_raster(write_raster(rolling, crs=None))


def test_no_place(write_raster, rolling):
    path = write_raster(rolling)
    with rasterio.open(path) as file:
        profile = file.profile
    del profile["transform"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with rasterio.open(path, "w", **profile) as file:
            file.write(rolling, 1)
    with pytest.raises(GroundError, match="no place on the map"):
        open_raster(path)


def test_a_crs_that_is_tied_to_no_earth(write_raster, rolling):
    local = 'LOCAL_CS["site grid",UNIT["metre",1],AXIS["Easting",EAST],AXIS["Northing",NORTH]]'
    with pytest.raises(GroundError, match="neither projected nor geographic"):
        open_raster(write_raster(rolling, crs=local))


def test_a_crs_tag_that_cannot_be_right(write_raster, rolling):
    far = Affine(1.0, 0.0, 9.0e9, 0.0, -1.0, 9.0e9)
    with pytest.raises(GroundError, match="its CRS tag is probably wrong"):
        open_raster(write_raster(rolling, transform=far))


def test_a_picture(write_raster):
    with pytest.raises(GroundError, match="3 bands of whole numbers to 255 are a picture"):
        open_raster(write_raster(np.zeros((3, 9, 9), dtype="uint8")))


def test_complex_numbers(write_raster):
    with pytest.raises(GroundError, match="its numbers are complex"):
        open_raster(write_raster(np.zeros((9, 9), dtype="complex64")))


def test_window_outside(write_raster, rolling):
    source = open_raster(write_raster(rolling), unit="m")
    with pytest.raises(GroundError, match="lies outside the raster, which covers"):
        read_window(source, (0.0, 0.0, 10.0, 10.0))


def test_parcel_outside_names_both_places(write_raster, rolling):
    source = open_raster(write_raster(rolling), unit="m")
    with pytest.raises(GroundError, match=r"the parcel lies outside the raster ground.tif: .*-12[23]\.\d+, 37\.\d+"):
        refuse_unfit(source, lot_of(source, east=5000.0), LIMITS)


@pytest.mark.parametrize("cell, refused", [(4.1, True), (3.9, False)])
def test_fewer_than_a_hundred_cells_on_the_lot(write_raster, rolling, cell, refused):
    source = open_raster(write_raster(rolling, transform=Affine(cell, 0, 500000, 0, -cell, 4100000)), unit="m")
    if refused:
        with pytest.raises(GroundError, match=r"too coarse for this lot: 95 cells of 4.1 x 4.1 m lie on its 1,600 m2"):
            refuse_unfit(source, lot_of(source), LIMITS)
    else:
        refuse_unfit(source, lot_of(source), LIMITS)


@pytest.mark.parametrize("cell, warned", [(2.0, False), (2.5, True)])
def test_coarser_than_two_metres_is_warned_about(write_raster, cell, warned):
    flat = np.zeros((80, 80))
    source = open_raster(write_raster(flat, transform=Affine(cell, 0, 500000, 0, -cell, 4100000)), unit="m")
    surface = read_window(source, source.grid.bounds)
    lines = refuse_unknown(source, surface, lot_of(source), LIMITS)
    assert [line.code for line in lines] == ["raster_coarse"] * warned


@pytest.mark.parametrize("unknown, refused", [(0.55, True), (0.45, False)])
def test_mostly_nodata_is_more_than_half_of_the_lot(write_raster, unknown, refused):
    heights = np.zeros((100, 100))
    heights[30 : 30 + round(40 * unknown), 30:70] = np.nan
    source = open_raster(write_raster(heights), unit="m")
    surface = read_window(source, source.grid.bounds)
    if refused:
        with pytest.raises(GroundError, match="nodata over 55% of the parcel, and at most 50% may be"):
            refuse_unknown(source, surface, lot_of(source), LIMITS)
    else:
        (line,) = refuse_unknown(source, surface, lot_of(source), LIMITS)
        assert line == reason("lot_unknown", file="ground.tif", share=pytest.approx(0.45), place=reason("the_parcel"))


def test_a_lot_that_sticks_out_of_the_raster(write_raster):
    source = open_raster(write_raster(np.zeros((100, 100))), unit="m")
    lot = lot_of(source, east=60.0)
    cover = cover_of_lot(source, read_window(source, lot.bounds), lot)
    assert not cover.inside
    assert cover.unknown_share == pytest.approx(0.75)
    with pytest.raises(GroundError, match="nodata over 75%"):
        grow_window(source, lot, lambda surface: cells_inside(surface.grid, lot))


def bare_earth(seed=0):
    row, column = np.mgrid[0:200, 0:200] * 0.5
    noise = np.random.default_rng(seed).normal(0.0, 0.03, (200, 200))
    bank = 1.2 * (row > 60.0)  # a garden wall
    return 50.0 + 0.25 * column + bank + noise


def test_bare_earth_with_a_wall_is_not_taken_for_roofs(write_raster):
    source = open_raster(write_raster(bare_earth(), transform=Affine(0.5, 0, 500000, 0, -0.5, 4100000)), unit="m")
    surface = read_window(source, source.grid.bounds)
    assert share_of_steps(surface, LIMITS.step) < 0.01
    assert refuse_unknown(source, surface, lot_of(source), LIMITS) == ()


def test_roofs_and_trees_are_warned_about(write_raster):
    heights = bare_earth()
    for row in range(10, 200, 60):
        for column in range(10, 200, 50):
            heights[row : row + 24, column : column + 20] += 5.0
    heights[::9, ::7] += 8.0
    source = open_raster(write_raster(heights, transform=Affine(0.5, 0, 500000, 0, -0.5, 4100000)), unit="m")
    surface = read_window(source, source.grid.bounds)
    (line,) = refuse_unknown(source, surface, lot_of(source), LIMITS)
    assert line.code == "raster_of_roofs_and_trees"
