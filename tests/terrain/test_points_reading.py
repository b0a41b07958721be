"""Files of points: what of them is read, in which units and CRS, and what is refused with one message."""

import laspy
import numpy as np
import pytest
from laspy.vlrs.known import GeoKeyDirectoryVlr
from pyproj import CRS

from terrain.errors import GroundError, GroundFileError
from terrain.metric_frame import metric_frame
from terrain.reading.points_file import is_points_file, open_points
from terrain.reading.points_window import read_points

X, Y = 500_000.0, 3_300_000.0
WINDOW = (X + 10.0, Y + 10.0, X + 30.0, Y + 30.0)


@pytest.fixture
def write_tile(tmp_path):
    """Write points in metres of UTM zone 17N as a file."""

    def write(name="tile.laz", *, crs="EPSG:32617+5703", form=6, version="1.4", kind=2, scale=1.0, change=None):
        header = laspy.LasHeader(version=version, point_format=form)
        header.scales, header.offsets = np.full(3, 0.001), np.array([X * scale, Y * scale, 0.0])
        if crs is not None:
            # GeoTIFF keys, which files before 1.4 carry, hold no vertical part by laspy's hand
            header.add_crs(CRS.from_user_input(crs if form > 5 else crs.partition("+")[0]))
        las = laspy.LasData(header)
        x, y = (each.ravel() for each in np.meshgrid(np.arange(0.5, 40.0), np.arange(0.5, 40.0)))
        las.x, las.y, las.z = (X + x) * scale, (Y + y) * scale, (20.0 + 0.1 * x) * scale
        las.classification = np.broadcast_to(np.uint8(kind), x.size).copy()
        las.return_number, las.number_of_returns = np.ones(x.size, int), np.ones(x.size, int)
        if change is not None:
            change(las)
        las.write(tmp_path / name)
        return tmp_path / name

    return write


def read(path, window=WINDOW, **options):
    source = open_points(path, **options)
    return source, read_points([source], metric_frame(source.horizontal, (-81.0, 29.8)), window)


@pytest.mark.parametrize("name, version, form", [
    ("a.las", "1.2", 1), ("a.laz", "1.2", 3), ("a.laz", "1.3", 1), ("a.las", "1.4", 6), ("a.laz", "1.4", 7),
])  # fmt: skip
def test_only_the_window_is_kept_of_every_version(write_tile, name, version, form):
    _, cloud = read(write_tile(name, version=version, form=form))
    assert cloud.kind.size == 400
    assert (cloud.x.min(), cloud.x.max()) == pytest.approx((0.5, 19.5), abs=1e-3)
    np.testing.assert_allclose(cloud.base + cloud.z, 20.0 + 0.1 * (cloud.x + 10.0), atol=2e-3)


def test_files_of_points_are_told_by_their_names():
    assert [is_points_file(name) for name in ("a.LAZ", "b.copc.laz", "c.las", "d.tif")] == [True, True, True, False]


@pytest.mark.parametrize("form, version", [(6, "1.4"), (1, "1.2")])
def test_withheld_overlap_and_noise_are_left_out(write_tile, form, version):
    def change(las):
        kind = np.full(1600, 2, dtype=np.uint8)
        kind[820], kind[821] = 7, 18
        withheld = np.zeros(1600, dtype=bool)
        withheld[822] = True
        las.withheld = withheld
        if form == 6:
            overlap = np.zeros(1600, dtype=bool)
            overlap[823] = True
            las.overlap = overlap
        else:
            kind[823] = 12
        las.classification = kind

    _, cloud = read(write_tile(form=form, version=version, change=change))
    assert (cloud.kind.size, cloud.left_out) == (396, 4)


def test_heights_and_places_in_feet_come_in_metres(write_tile):
    foot = 1200.0 / 3937.0
    source, cloud = read(write_tile(crs="EPSG:2236+6360", scale=1.0 / foot))
    assert source.vertical.unit == "ftUS"
    assert cloud.kind.size == 400
    np.testing.assert_allclose(cloud.base + cloud.z, 20.0 + 0.1 * (cloud.x + 10.0), atol=2e-3)


def test_the_vertical_part_is_read_from_geotiff_keys(write_tile):
    def change(las):
        keys = next(each for each in las.header.vlrs if isinstance(each, GeoKeyDirectoryVlr))
        more = type(keys.geo_keys[0])()
        more.id, more.tiff_tag_location, more.count, more.value_offset = 4096, 0, 1, 6360
        keys.geo_keys.append(more)
        keys.geo_keys_header.number_of_keys += 1

    source = open_points(write_tile(crs="EPSG:32617", form=1, version="1.2", change=change))
    assert source.crs.sub_crs_list[1].to_epsg() == 6360
    assert source.vertical.unit == "ftUS"


def test_a_crs_is_asked_for_where_none_is_told_and_wins_where_given(write_tile):
    bare = write_tile("bare.laz", crs=None)
    with pytest.raises(GroundError, match=r"bare\.laz: it has no CRS; give --crs"):
        open_points(bare)
    source, cloud = read(bare, crs="EPSG:32617+5703")
    assert (source.vertical.unit, cloud.kind.size, source.warnings) == ("m", 400, ())
    told = open_points(write_tile("told.laz"), crs="EPSG:26917+5703")
    assert [each.code for each in told.warnings] == ["points_crs_given_differs"]
    with pytest.raises(GroundError, match="--crs: its CRS means nothing here"):
        open_points(bare, crs="EPSG:99")


def test_two_tiles_meet_and_their_crs_may_differ(write_tile):
    one = open_points(write_tile("one.laz"))
    two = open_points(write_tile("two.laz", crs="EPSG:32616+5703"))
    frame = metric_frame(one.horizontal, (-81.0, 29.8))
    assert read_points([one, one], frame, WINDOW).kind.size == 800
    # the same numbers in the next zone lie six degrees away
    assert read_points([one, two], frame, WINDOW).kind.size == 400


def test_too_many_points_are_thinned_evenly(write_tile):
    source = open_points(write_tile())
    frame = metric_frame(source.horizontal, (-81.0, 29.8))
    thinned = read_points([source, source, source], frame, WINDOW, most=500)
    assert thinned.every == 4
    assert thinned.kind.size == pytest.approx(300, abs=2)


def cut(path, share):
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])


def put(path, at, layout, value):
    import struct

    whole = bytearray(path.read_bytes())
    whole[at : at + struct.calcsize(layout)] = struct.pack(layout, value)
    path.write_bytes(bytes(whole))


@pytest.mark.parametrize("name, harm", [
    ("torn.laz", lambda path: cut(path, 0.97)),
    ("torn.las", lambda path: cut(path, 0.6)),
    ("half.laz", lambda path: cut(path, 0.6)),
    ("stub.laz", lambda path: cut(path, 0.02)),
    ("empty.laz", lambda path: path.write_bytes(b"")),
    ("text.las", lambda path: path.write_text("no points")),
    # the number of points, of which the header of LAS 1.4 tells twice
    ("many.las", lambda path: put(path, 247, "<Q", 100_000_000)),
    ("many.laz", lambda path: put(path, 247, "<Q", 100_000_000)),
    ("nan.laz", lambda path: put(path, 131, "<d", float("nan"))),
    ("endless.laz", lambda path: put(path, 179, "<d", float("inf"))),
    ("none.las", lambda path: put(path, 247, "<Q", 0)),
])  # fmt: skip
def test_a_damaged_file_is_one_message_that_names_it(write_tile, name, harm):
    path = write_tile(name)
    harm(path)
    with pytest.raises((GroundError, GroundFileError), match=f"points file .*{name}"):
        read(path)


def test_a_short_file_tells_how_many_points_it_holds(write_tile):
    path = write_tile("many.las")
    put(path, 247, "<Q", 100_000_000)
    with pytest.raises(GroundFileError, match=r"its header declares 100,000,000 points, and it holds 1,600"):
        open_points(path)


def test_heights_that_no_land_has_are_left_out(write_tile):
    def change(las):
        z = np.asarray(las.z).copy()
        z[820] = 2e6
        las.z = z

    _, cloud = read(write_tile(change=change))
    assert cloud.kind.size == 399


def test_a_window_without_points_is_refused(write_tile):
    with pytest.raises(GroundError, match=r"no point of tile\.laz that is a return lies around the parcel"):
        read(write_tile(), (X + 100.0, Y, X + 120.0, Y + 20.0))
