"""Layers come into the metric frame with their declared columns, or are refused with one message."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer
from shapely import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from pipelines.deliverables.words.say import say
from pipelines.inputs.errors import InputFileError, LayerError
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.layers import empty_layer, locate_parcel, read_layers
from pipelines.inputs.site_file import read_site_file
from terrain.grid import Frame
from terrain.reading.raster_source import open_raster

FRAME = Frame(CRS(32610), 1.0, 1.0, 1.0)
X, Y = 500020.0, 4100020.0
LOT = 'file = "site.gpkg"\nlayer = "parcels"\nwhere = "lot = 1"'


@pytest.fixture
def read(site_folder):
    """Write a site file and read its layers."""

    def run(text="", *, parcel=LOT, frame=FRAME, **options):
        path = site_folder / "site.toml"
        path.write_text(f'[elevation]\nfile = "ground.tif"\n[parcel]\n{parcel}\n{text}\n')
        return read_layers(read_site_file(path), frame, **options)

    return run


def table(key, layer, **more):
    lines = [f"[{key}]", 'file = "site.gpkg"', f'layer = "{layer}"', *(f'{name} = "{more[name]}"' for name in more)]
    return "\n".join(lines)


def test_what_is_given_is_read_and_what_is_not_is_empty(read):
    layers = read(table("roofs", "roofs") + "\n" + table("culverts", "culverts") + "\n" + table("soil", "soils"))
    assert layers.parcel.equals(box(X, Y, X + 30, Y + 40))
    assert list(layers.roofs["id"]) == ["1", "2"]
    assert list(layers.roofs["open_below"]) == [False, True]
    assert layers.roofs["floor_m"][0] == pytest.approx(330.0 * 0.3048)
    assert np.isnan(layers.roofs["floor_m"][1])
    assert layers.culverts["diameter_m"][0] == pytest.approx(0.3048)
    assert list(layers.soils["group"]) == ["C"]
    assert layers.roofs.crs is None
    for name in ("hardscape", "barriers", "keep_out", "utilities", "right_of_way", "downspouts", "outfalls", "basins"):
        assert len(getattr(layers, name)) == 0
    assert [layer.key for layer in layers.sources] == ["parcel", "roofs", "culverts", "soil"]
    assert layers.warnings == ()


@pytest.mark.parametrize("key", LAYER_KINDS)
def test_an_empty_layer_has_the_columns_of_a_full_one(key):
    layer = empty_layer(LAYER_KINDS[key])
    assert list(layer.columns) == ["id", *(column.inside for column in LAYER_KINDS[key].columns), "geometry"]
    assert len(layer) == 0


@pytest.mark.parametrize("name", ["parcel.shp", "parcel.geojson", "parcel.fgb"])
def test_other_vector_files(read, write_layer, name):
    crs = 4326 if name.endswith("json") else None
    write_layer("parcel", gpd.GeoDataFrame({"a": [1]}, geometry=[box(X, Y, X + 30, Y + 40)]), name=name, to_crs=crs)
    layers = read(parcel=f'file = "{name}"')
    assert layers.parcel.symmetric_difference(box(X, Y, X + 30, Y + 40)).area < 0.01


@pytest.mark.parametrize("crs", [4326, 2227, 3857, 4269])
def test_layers_in_another_crs_are_brought_over_and_it_is_said(read, write_layer, crs):
    shapes = gpd.GeoDataFrame({"kind": ["swale"]}, geometry=[Point(X + 5, Y - 6)])
    write_layer("far", shapes, to_crs=crs)
    layers = read(table("outfalls", "far"))
    x, y = Transformer.from_crs(32610, crs, always_xy=True).transform(X + 5, Y - 6)
    expected = Transformer.from_crs(crs, 32610, always_xy=True).transform(x, y)
    point = layers.outfalls.geometry[0]
    assert (point.x, point.y) == pytest.approx(expected, abs=1e-4)
    (line,) = layers.warnings
    said = say(line, "si")
    assert said.startswith(f"Reprojected from {CRS(crs).name} to the map's WGS 84 / UTM zone 10N: outfalls")
    assert ("different datums" in said) == (crs in (2227, 4269))


def test_a_frame_of_feet_gives_metres(read, write_layer):
    feet = CRS(2227)
    frame = Frame(feet, 1200 / 3937, 1200 / 3937, 1200 / 3937)
    layers = read(frame=frame)
    assert layers.parcel.area == pytest.approx(1200.0, rel=2e-3)


def test_heights_of_shapes_are_dropped(read, write_layer):
    shapes = gpd.GeoDataFrame({"kind": ["gas"]}, geometry=[LineString([(X, Y, 3.0), (X + 5, Y, 4.0)])])
    write_layer("pipes", shapes)
    assert not shapely.has_z(read(table("utilities", "pipes")).utilities.geometry[0])


def test_where_the_parcel_is(site_folder):
    path = site_folder / "site.toml"
    path.write_text(f'[elevation]\nfile = "ground.tif"\n[parcel]\n{LOT}\n')
    lon, lat = locate_parcel(read_site_file(path))
    assert (lon, lat) == pytest.approx(
        Transformer.from_crs(32610, 4326, always_xy=True).transform(X + 15, Y + 20), abs=1e-9
    )
    source = open_raster(site_folder / "ground.tif", near=(lon, lat))
    assert source.grid.frame == FRAME


def test_columns_are_found_whatever_their_case(read, write_layer):
    write_layer("o", gpd.GeoDataFrame({"KIND": ["Swale"], "Level_FT": [10.0]}, geometry=[Point(X, Y)]))
    layers = read(table("outfalls", "o"))
    assert list(layers.outfalls["kind"]) == ["swale"]
    assert layers.outfalls["level_m"][0] == pytest.approx(3.048)


def test_a_length_as_text_with_its_unit(read, write_layer):
    shapes = gpd.GeoDataFrame({"depth": ["2 in", None], "what": ["a", "b"]}, geometry=[Point(X, Y), Point(X, Y + 1)])
    write_layer("c", shapes)
    assert read(table("complaints", "c")).complaints["depth_m"].tolist() == pytest.approx([0.0508, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    "values, expected", [([True, False], [1, 0]), ([1, 0], [1, 0]), (["yes", "No"], [1, 0]), (["T", None], [1, 0])]
)
def test_yes_and_no(read, write_layer, values, expected):
    shapes = gpd.GeoDataFrame({"protect": values}, geometry=[box(X, Y, X + 1, Y + 1), box(X + 2, Y, X + 3, Y + 1)])
    write_layer("h", shapes)
    assert read(table("hardscape", "h")).hardscape["protect"].tolist() == [bool(each) for each in expected]


def test_names_that_a_shapefile_cuts_short(read, write_layer):
    line = LineString([(X, Y), (X + 6, Y)])
    write_layer("c", gpd.GeoDataFrame({"diameter_in": [15.0]}, geometry=[line]), name="c.shp")
    assert read('[culverts]\nfile = "c.shp"').culverts["diameter_m"][0] == pytest.approx(0.381)
    write_layer("d", gpd.GeoDataFrame({"invert_up_ft": [15.0]}, geometry=[line]), name="d.shp")
    with pytest.raises(LayerError, match="invert_up_ was cut short by the file's format, and may be invert_up_m or"):
        read('[culverts]\nfile = "d.shp"')
    # millimetres that lost a letter are no metres
    write_layer("e", gpd.GeoDataFrame({"diameter_mm": [300.0]}, geometry=[line]), name="e.shp")
    with pytest.raises(LayerError, match=r'diameter_m: "300.0" is more than 10 m; check its unit'):
        read('[culverts]\nfile = "e.shp"')


def test_a_date_of_any_type_is_a_day(read, write_layer):
    import pandas as pd

    shapes = gpd.GeoDataFrame(
        {"date": pd.to_datetime(["2024-04-18 00:00", "2024-05-27 13:30"])}, geometry=[Point(X, Y), Point(X, Y + 1)]
    )
    write_layer("seen", shapes)
    assert list(read(table("complaints", "seen")).complaints["date"]) == ["2024-04-18", "2024-05-27 13:30:00"]


def test_a_crs_of_another_name_on_the_same_plane_is_not_spoken_of(read, write_layer):
    wkt = CRS(32610).to_wkt().replace("WGS 84 / UTM zone 10N", "county grid").replace('ID["EPSG",32610]', 'ID["X",1]')
    write_layer("o", gpd.GeoDataFrame({"kind": ["swale"]}, geometry=[Point(X, Y)]), crs=wkt)
    layers = read(table("outfalls", "o"))
    assert layers.outfalls.geometry[0].x == pytest.approx(X, abs=1e-6)
    assert layers.warnings == ()


def test_defaults_of_crossing_and_setback(read, write_layer):
    write_layer("k", gpd.GeoDataFrame({"kind": ["septic"]}, geometry=[box(X, Y, X + 3, Y + 3)]))
    write_layer("u", gpd.GeoDataFrame({"kind": ["gas"]}, geometry=[LineString([(X, Y), (X + 3, Y)])]))
    layers = read(table("keep_out", "k") + "\n" + table("utilities", "u"))
    assert layers.keep_out[["setback_m", "crossing"]].iloc[0].tolist() == [0.0, "never"]
    assert layers.utilities["crossing"][0] == "careful"


def test_fixed_basins_as_points_and_as_a_layer(read, write_layer):
    layers = read("[layout]\nbasins = [[500030, 4100030], [500040, 4100030]]")
    assert [point.x for point in layers.basins.geometry] == [500030.0, 500040.0]
    assert list(layers.basins["id"]) == ["1", "2"]
    write_layer("b", gpd.GeoDataFrame(geometry=[Point(X, Y)]))
    assert read('[layout]\nbasins = { file = "site.gpkg", layer = "b" }').basins.geometry[0].x == X


def test_several_parcels_where_a_street_is_asked_for(read):
    layers = read(parcel='file = "site.gpkg"\nlayer = "parcels"', several_parcels=True)
    assert len(layers.parcels) == 2
    assert layers.parcel.area == pytest.approx(2400.0)


@pytest.mark.parametrize(
    "parcel, error, message",
    [
        ('file = "site.gpkg"', LayerError, "has several layers (parcels, roofs, culverts, outfalls, soils); name one"),
        ('file = "site.gpkg"\nlayer = "lots"', LayerError, 'has no layer "lots"; it has parcels, roofs'),
        ('file = "site.gpkg"\nlayer = "parcels"', LayerError, "selects 2 parcels (features 1, 2); select one"),
        (LOT.replace("= 1", "> 0"), LayerError, 'where = "lot > 0" selects 2 parcels (features 1, 2)'),
        (LOT.replace("= 1", "= 9"), LayerError, "selects none of its 2 features; its attributes are lot"),
        (LOT.replace("lot =", "lott ="), LayerError, 'where = "lott = 1" is no expression for this layer'),
        (LOT.replace("lot =", "lot = ="), LayerError, "is no expression for this layer"),
        ('file = "ground.tif"', InputFileError, "is no vector file that can be read, or is torn"),
        ('file = "site.gpkg"\nlayer = "culverts"', LayerError, "feature 1 is of the wrong geometry type (LineString)"),
        ('file = "site.gpkg"\nlayer = "outfalls"', LayerError, "this layer needs polygons"),
    ],
)
def test_a_parcel_that_is_refused(read, parcel, error, message):
    with pytest.raises(error) as caught:
        read(parcel=parcel)
    assert message in str(caught.value)
    assert "[parcel] " in str(caught.value)


def test_an_empty_layer_is_refused(read, write_layer):
    write_layer("none", gpd.GeoDataFrame({"a": []}, geometry=[]), geometry_type="Polygon")
    with pytest.raises(LayerError, match="layer none: the layer is empty; give one that holds the parcel"):
        read(parcel='file = "site.gpkg"\nlayer = "none"')
    with pytest.raises(LayerError, match=r"layer none: the layer is empty; leave out the table \[roofs\]"):
        read(table("roofs", "none"))


def test_a_layer_without_crs_is_refused(read, write_layer):
    write_layer("p", gpd.GeoDataFrame({"a": [1]}, geometry=[box(X, Y, X + 9, Y + 9)]), crs=None, name="p.shp")
    with pytest.raises(LayerError, match=r"\[parcel\] p.shp, layer p: it has no CRS; say the one"):
        read(parcel='file = "p.shp"')


def test_a_table_without_shapes_is_refused(read, site_folder):
    import pandas as pd
    import pyogrio

    pyogrio.write_dataframe(pd.DataFrame({"a": [1]}), site_folder / "site.gpkg", layer="notes")
    with pytest.raises(LayerError, match='layer "notes" is a table without shapes'):
        read(table("roofs", "notes"))
    # and it is no second layer where only one holds shapes
    write = gpd.GeoDataFrame({"a": [1]}, geometry=[box(X, Y, X + 9, Y + 9)], crs=32610)
    write.to_file(site_folder / "one.gpkg", layer="lot")
    pyogrio.write_dataframe(pd.DataFrame({"a": [1]}), site_folder / "one.gpkg", layer="notes")
    assert read(parcel='file = "one.gpkg"').parcel.area == pytest.approx(81.0)


def test_a_torn_file_is_refused(read, site_folder):
    whole = (site_folder / "site.gpkg").read_bytes()
    (site_folder / "torn.gpkg").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputFileError, match=r"torn.gpkg.* torn"):
        read(parcel='file = "torn.gpkg"\nlayer = "parcels"')


def test_a_polygon_that_crosses_itself_is_repaired_and_it_is_said(read, write_layer, bow_tie):
    write_layer("bow", gpd.GeoDataFrame({"a": [1]}, geometry=[bow_tie]))
    layers = read(parcel='file = "site.gpkg"\nlayer = "bow"')
    assert isinstance(layers.parcel, MultiPolygon)
    assert layers.parcel.area == pytest.approx(200.0)
    (line,) = layers.warnings
    said = say(line, "si")
    assert "feature 1 (Self-intersection" in said
    assert "200 m2 now) was not a valid polygon and was repaired. Check it." in said


def test_a_polygon_without_area_is_refused(read, write_layer):
    flat = Polygon([(X, Y), (X + 10, Y), (X + 20, Y), (X, Y)])
    write_layer("flat", gpd.GeoDataFrame({"a": [1]}, geometry=[flat]))
    with pytest.raises(LayerError, match=r"feature 1 is no polygon that holds an area .*; draw it again"):
        read(parcel='file = "site.gpkg"\nlayer = "flat"')


def test_a_feature_without_shape_is_passed_over_and_it_is_said(read, write_layer):
    shapes = gpd.GeoDataFrame({"a": [1, 2]}, geometry=[box(X, Y, X + 9, Y + 9), None])
    write_layer("gap", shapes, geometry_type="Polygon")
    layers = read(table("roofs", "gap"))
    assert list(layers.roofs["id"]) == ["1"]
    # what lies nowhere is not within reach of the lot either
    whole = read(parcel='file = "site.gpkg"\nlayer = "gap"')
    assert say(whole.warnings[0], "si").endswith("feature 2 has no shape and is ignored.")


def test_a_parcel_with_no_shape_at_all_is_refused(read, write_layer):
    write_layer("void", gpd.GeoDataFrame({"a": [1]}, geometry=[Polygon()]), geometry_type="Polygon")
    message = "feature 1 has no shape, so no parcel is left; draw it again"
    with pytest.raises(LayerError, match=message):
        read(parcel='file = "site.gpkg"\nlayer = "void"')


def test_mixed_shapes_are_refused(read, write_layer):
    mixed = GeometryCollection([box(X, Y, X + 9, Y + 9), Point(X, Y)])
    write_layer("mixed", gpd.GeoDataFrame({"a": [1]}, geometry=[mixed]))
    with pytest.raises(LayerError, match=r"wrong geometry type \(GeometryCollection\)"):
        read(table("roofs", "mixed"))


@pytest.mark.parametrize(
    "key, columns, shape, message",
    [
        ("outfalls", {"kind": ["river"]}, Point(X, Y), 'feature 1, kind: "river" is not known; it may be swale'),
        ("outfalls", {"kind": [None]}, Point(X, Y), "feature 1 has no kind; it may be swale or ditch"),
        ("outfalls", {"a": [1]}, Point(X, Y), "it has no attribute kind, which says swale or ditch"),
        ("keep_out", {"crossing": ["maybe"]}, Point(X, Y), '"maybe" is not known; it may be never or careful'),
        ("keep_out", {"setback": [3.0]}, Point(X, Y), "the bare number 3.0 has no unit"),
        ("keep_out", {"setback": [3.0]}, Point(X, Y), "or name the attribute setback_m or setback_ft"),
        ("keep_out", {"setback": ["3 gpm"]}, Point(X, Y), "is a flow, and this is a length"),
        ("keep_out", {"setback_m": [-3.0]}, Point(X, Y), "is less than 0 m"),
        ("keep_out", {"setback_m": [1.0], "setback_ft": [3.0]}, Point(X, Y), "has both setback_m and setback_ft"),
        ("complaints", {"depth_in": ["deep"]}, Point(X, Y), 'feature 1, depth_in: "deep" is no number'),
        ("complaints", {"hours": ["long"]}, Point(X, Y), 'feature 1, hours: "long" is no number'),
        ("hardscape", {"protect": ["maybe"]}, box(X, Y, X + 1, Y + 1), '"maybe" is neither true nor false'),
        ("roofs", {"foundation": ["pier"]}, box(X, Y, X + 1, Y + 1), "it may be slab or crawl or basement"),
        ("soil", {"group": ["E"]}, box(X, Y, X + 1, Y + 1), '"E" is not known; it may be a or b or c or d'),
        ("culverts", {"diameter_in": [0.0]}, LineString([(X, Y), (X + 1, Y)]), "is less than 0.01 m"),
        ("barriers", {"a": [1]}, box(X, Y, X + 1, Y + 1), "wrong geometry type (Polygon); this layer needs lines"),
    ],
)
def test_attributes_that_are_refused(read, write_layer, key, columns, shape, message):
    write_layer("bad", gpd.GeoDataFrame(columns, geometry=[shape]))
    with pytest.raises(LayerError) as caught:
        read(table(key, "bad"))
    assert message in str(caught.value)
    assert f"[{key}] site.gpkg, layer bad" in str(caught.value)


def test_all_faults_of_a_layer_stand_in_one_message(read, write_layer):
    shapes = gpd.GeoDataFrame({"kind": ["x"] * 9, "level_m": ["y"] * 9}, geometry=[Point(X, Y + n) for n in range(9)])
    write_layer("bad", shapes)
    with pytest.raises(LayerError, match=r"feature 1, kind.*feature 5, kind.*and 13 more"):
        read(table("outfalls", "bad"))


def test_a_where_that_leaves_nothing_of_another_layer_is_warned_about(read):
    layers = read(table("outfalls", "outfalls", where="kind = 'pond'"))
    assert len(layers.outfalls) == 0
    assert "where = \"kind = 'pond'\"): none of its 1 features is used" in say(layers.warnings[0], "si")


def test_a_layer_far_from_the_parcel_is_warned_about(read, write_layer):
    write_layer("near", gpd.GeoDataFrame({"kind": ["pond"]}, geometry=[Point(X + 900, Y)]))
    write_layer("far", gpd.GeoDataFrame({"kind": ["gas"]}, geometry=[LineString([(X + 9e4, Y), (X + 9e4, Y + 5)])]))
    layers = read(table("outfalls", "near") + "\n" + table("utilities", "far"))
    assert any("its nearest feature lies 870 m from the parcel" in say(line, "si") for line in layers.warnings)
    assert any("none is selected within 2,000 m of the parcel" in say(line, "si") for line in layers.warnings)
    assert read(table("outfalls", "near") + '\n[rules]\nlayer_far = "900 m"').warnings == ()


def test_a_crs_tag_that_cannot_be_right_is_refused(read, write_layer):
    # metres tagged as degrees
    write_layer("m", gpd.GeoDataFrame({"a": [1]}, geometry=[box(X, Y, X + 9, Y + 9)]), crs=4326)
    with pytest.raises(LayerError, match="probably tagged wrongly"):
        read(parcel='file = "site.gpkg"\nlayer = "m"')
