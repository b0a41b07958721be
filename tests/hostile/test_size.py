"""More than makes sense for one lot is refused with one message before it is worked on."""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from shapely import LineString, Point, box

from pipelines.inputs.errors import LayerError
from pipelines.inputs.shapes.layers import read_layers
from pipelines.inputs.shapes.single_parts import MOST_FEATURES, MOST_ON_LOT, MOST_VERTICES
from pipelines.inputs.site_file import read_site_file
from terrain.reading.raster_source import open_raster
from terrain.reading.surface import read_window

RAIN = "duration_min,depth_in_2yr,depth_in_10yr\n"
PRICES = "item,unit,low,likely,high\n"
PUMP = "flow_gpm,head_ft\n0,26\n40,17\n66,3\n"
SHOTS = "point,easting,northing,height_m\n"


@pytest.fixture
def read(lot):
    """The layers of the small lot with one layer's shapes in place of its own."""

    def with_shapes(key, shapes, **columns):
        made = gpd.GeoDataFrame({name: [value] * len(shapes) for name, value in columns.items()}, geometry=shapes)
        made.set_crs(32617).to_file(lot.with_name("many.gpkg"), layer=key, engine="pyogrio")
        other = f'[{key}]\nfile = "shapes.gpkg"\nlayer = "{key}"\n'
        text = lot.read_text()
        mine = f'[{key}]\nfile = "many.gpkg"\nlayer = "{key}"\n'
        lot.write_text(text.replace(other, mine) if other in text else text.replace(mine, "") + mine)
        site = read_site_file(lot)
        return read_layers(site, open_raster(site.elevation.file).grid.frame)

    return with_shapes


def spread(count, reach):
    x, y = np.random.default_rng(1).uniform(-reach, reach, (2, count))
    return shapely.box(500015 + x, 4400015 + y, 500015.2 + x, 4400015.2 + y)


def test_vertices_finer_than_a_stake_are_left_out_and_far_ones_cut_off(read):
    x = np.linspace(0.35, 29.9, 100_000)
    line = LineString(np.column_stack([500_000 + x, 4_400_001.62 + 0.2 * np.sin(x)]))
    kept = read("outfalls", [line], kind="swale").outfalls.geometry[0]
    assert shapely.get_num_coordinates(kept) < 200
    assert shapely.hausdorff_distance(kept, line) <= 0.0101
    # a ring round the county with the lot in it
    turn = np.linspace(0.0, 2.0 * np.pi, 100_000)
    county = shapely.Polygon(np.column_stack([500_000 + 3e4 * np.cos(turn), 4_400_000 + 3e4 * np.sin(turn)]))
    kept = read("right_of_way", [county], kind="street").right_of_way.geometry[0]
    assert shapely.get_num_coordinates(kept) == 5


def test_more_vertices_than_make_sense_are_refused(read):
    rough = np.random.default_rng(2).uniform(0.0, 3.0, 2 * MOST_VERTICES)
    line = LineString(np.column_stack([np.linspace(500_000, 501_500, rough.size), 4_400_000 + rough]))
    with pytest.raises(LayerError, match=r"many.gpkg, layer barriers: feature 1 has more than 20,000 vertices"):
        read("barriers", [line], kind="fence")


@pytest.mark.parametrize("key", ["hardscape", "roofs", "keep_out"])
def test_more_features_on_a_lot_than_make_sense_are_refused(read, key):
    with pytest.raises(LayerError, match=rf"many.gpkg, layer {key}: [\d,]+ features lie on one lot, and at most 500"):
        read(key, spread(20_000, 9.0))


def test_a_thousand_complaints_on_one_spot_are_refused_and_five_hundred_screened(lot, read, run, tmp_path):
    with pytest.raises(LayerError, match=r"1,000 features lie on one lot"):
        read("complaints", [Point(500015.1, 4400022.1)] * 1000, what="stands")
    read("complaints", [Point(500015.1, 4400022.1)] * MOST_ON_LOT, what="stands")
    result = run("step", "siting", "--site", lot, "--out", tmp_path / "sited.gpkg")
    assert result.exit_code == 0, result.stderr


def test_more_features_near_a_lot_than_make_sense_are_refused(read):
    with pytest.raises(LayerError, match=r"many.gpkg, layer roofs: 100,000 features lie near the lot, and at most 50,"):
        read("roofs", spread(2 * MOST_FEATURES, 1900.0))


@pytest.mark.parametrize(
    "name, text, told",
    [
        ("rain", RAIN + "\n".join(f"{n},{1 + n * 1e-6},{2 + n * 1e-6}" for n in range(1, 200_001)), "200,001 lines"),
        ("rain", RAIN + "\n".join(f"{n},1,2" for n in range(1, 1_000_001)), "larger than 8 MB"),
        ("rain", RAIN + "10," + "1" * 7_000_000 + ",2\n", "line 2 has 7,000,005 characters"),
        ("rain", RAIN + "10," + "1" * 10_000_000 + ",2\n", "larger than 8 MB"),
        ("rain", "x" * 7_000_000, "characters"),
        ("prices", PRICES + "\n".join(f"thing {n},ft,1,2,3" for n in range(100_000)), "100,001 lines"),
        ("pump", PUMP + "9" * 20_000 + ",1\n", "line 5 has 20,002 characters"),
        ("levels", SHOTS + "p,1,1,1\n" * 30_000, "30,001"),
    ],
    ids=["rain rows", "more rain rows", "rain line", "longer line", "one line", "price rows", "pump line", "shots"],
)
def test_tables(lot, refused, tmp_path, name, text, told):
    (lot.parent / "odd.csv").write_text(text)
    key = {"rain": "table", "pump": "curve"}.get(name, "file")
    own = lot.read_text().replace('[rain]\ndepth = "3 in"\nduration = "60 min"\n', "")
    lot.write_text(f'{own}\n[{name}]\n{key} = "odd.csv"\n')
    assert told in refused("screen", lot, "--out", tmp_path / "out")
    if name == "rain":
        assert told in refused("storm", "--table", lot.with_name("odd.csv"), "--depth", "3 in", "--duration", "20 min")
    if name == "pump":
        line = ("--pipe", "1-1/2 in sch 40", "--length", "99 ft")
        assert told in refused("pump", "--curve", lot.with_name("odd.csv"), "--static-lift", "8 ft", *line)


def test_a_site_file(lot, refused, tmp_path):
    lot.write_text(lot.read_text() + "#" * 9_000_000)
    for command in ("screen", "swale"):
        assert "larger than 8 MB" in refused(command, lot, "--out", tmp_path / "out")


def test_a_parcel_as_large_as_a_county_raster(lot, refused, tmp_path):
    """56,080 x 56,080 cells of which none is written: refused before any is read."""
    side = 56_080
    with rasterio.open(
        lot.with_name("ground.tif"), "w", driver="GTiff", width=side, height=side, count=1, dtype="float32",
        crs="EPSG:32617", transform=Affine(0.5, 0.0, 500_000.0, 0.0, -0.5, 4_400_000.0 + side / 2), nodata=-9999.0,
        tiled=True, blockxsize=4096, blockysize=4096, sparse_ok=True, compress="deflate",
    ):  # fmt: skip
        pass
    whole = gpd.GeoDataFrame(geometry=[box(500_000, 4_400_000, 500_000 + side / 2, 4_400_000 + side / 2)], crs=32617)
    whole.to_file(lot.with_name("whole.gpkg"), layer="parcel")
    lot.write_text(lot.read_text().replace('"shapes.gpkg"\nlayer = "parcel"', '"whole.gpkg"'))
    told = "56,080 x 56,080 cells of 0.5 m are asked for, which takes 126 GB of memory"
    assert told in refused("screen", lot, "--out", tmp_path / "out")
    ground = lot.with_name("ground.tif")
    assert told in refused("start", ground, lot.with_name("whole.gpkg"), "--out", tmp_path / "s.toml")
    step = ("step", "low-spots", "--elevation", ground, "--out", tmp_path / "o.gpkg")
    assert "56,080 x 56,080 cells, and a step takes at most" in refused(*step)


def test_a_raster_in_one_huge_block(tmp_path):
    with rasterio.open(
        tmp_path / "a.tif", "w", driver="GTiff", width=20_000, height=20_000, count=1, dtype="float32", nodata=-9999.0,
        crs="EPSG:32617", transform=Affine(0.5, 0.0, 5e5, 0.0, -0.5, 4.4e6), blockysize=20_000, sparse_ok=True,
        compress="deflate",
    ):  # fmt: skip
        pass
    source = open_raster(tmp_path / "a.tif")
    west, _, _, north = source.grid.bounds
    with pytest.raises(OSError, match="in blocks of 20,000 x 20,000 cells, each 1,600 MB, and at most 500 MB"):
        read_window(source, (west, north - 20.0, west + 20.0, north))
