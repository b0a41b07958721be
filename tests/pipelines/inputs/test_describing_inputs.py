"""What two files are, and the site file they make, which runs as it is."""

import hashlib
import re
import tomllib

import geopandas as gpd
import pytest
from shapely import box

from pipelines.deliverables.files.site_file_text import description_lines, site_file_text
from pipelines.inputs.describe import describe_inputs
from pipelines.inputs.errors import LayerError
from pipelines.inputs.file_hash import sha256_of
from pipelines.inputs.input_files import input_files
from pipelines.inputs.shapes.layers import locate_parcel, read_layers
from pipelines.inputs.site_file import read_site_file
from terrain.errors import GroundError
from terrain.reading.raster_source import open_raster

X, Y = 500020.0, 4100020.0


def describe(folder, **options):
    chosen = {"layer": "parcels", "where": "lot = 1"} | options
    return describe_inputs(folder / "ground.tif", folder / "site.gpkg", **chosen)


def test_what_is_said(site_folder):
    said = dict(description_lines(describe(site_folder), "si"))
    assert said["ground"] == "ground.tif, 160 x 160 cells of 0.5 m"
    assert said["ground's CRS"] == said["map of the results"] == "WGS 84 / UTM zone 10N"
    assert said["elevations are in"] == "m (the band's unit tag)"
    assert said["vertical datum"] == "not stated by the file"
    assert said["accuracy assumed"].startswith("10 cm root mean square error")
    assert said["parcel's area"] == "1,200 m2"
    assert said["lot inside the raster"] == "yes, whole"
    assert said["cells on the lot"] == "4,800"
    assert said["nodata on the lot"] == "0.0%"
    in_feet = dict(description_lines(describe(site_folder)))
    assert in_feet["parcel's area"] == "12,917 ft2"
    assert in_feet["ground"] == "ground.tif, 160 x 160 cells of 1.6 ft"


def test_the_site_file_runs_as_it_is(site_folder, tmp_path):
    folder = tmp_path / "sites"
    folder.mkdir()
    (folder / "lot.toml").write_text(site_file_text(describe(site_folder, unit="m"), folder))
    site = read_site_file(folder / "lot.toml")
    assert site.elevation.unit == "m"
    assert site.parcel.where == "lot = 1"
    source = open_raster(site.elevation.file, unit=site.elevation.unit, near=locate_parcel(site))
    assert read_layers(site, source.grid.frame).parcel.area == pytest.approx(1200.0)


def test_every_comment_of_it_is_a_key_that_may_stand_there(site_folder):
    text = site_file_text(describe(site_folder), site_folder)
    for name in re.findall(r'(?:file|table|curve) = "(\w+\.(?:gpkg|csv))"', text):
        (site_folder / name).touch()
    (site_folder / "photo.tif").touch()
    (site_folder / "traced.geojson").write_text('{"type": "FeatureCollection", "features": []}')
    body = text[text.index("name = ") :]
    opened = "\n".join(
        line[2:] if line.startswith("# ") and ("=" in line.split("#")[1] or line.startswith("# [")) else line
        for line in body.splitlines()
    )
    tomllib.loads(opened)
    (site_folder / "site.toml").write_text(opened)
    site = read_site_file(site_folder / "site.toml")
    assert site.rules["cover_lawn"].mark == "given"
    assert site.house.foundation == "slab"


@pytest.mark.parametrize("name", ['pa"rc\\el.gpkg', "päcel ü.gpkg", "'#x = [.gpkg"])
def test_hostile_names_are_only_names(site_folder, write_layer, name):
    write_layer("lot", gpd.GeoDataFrame({"a": [1]}, geometry=[box(X, Y, X + 30, Y + 40)]), name=name)
    found = describe_inputs(site_folder / "ground.tif", site_folder / name)
    (site_folder / "site.toml").write_text(site_file_text(found, site_folder), encoding="utf-8")
    assert read_site_file(site_folder / "site.toml").parcel.file.name == name


def test_several_parcels_say_how_to_select_one(site_folder):
    with pytest.raises(LayerError, match=r"selects 2 parcels; select one with --where, by one of its attributes lot"):
        describe(site_folder, where=None)


def test_a_parcel_outside_the_raster(site_folder, write_layer):
    write_layer("lot", gpd.GeoDataFrame({"a": [1]}, geometry=[box(X + 9000, Y, X + 9030, Y + 40)]), name="far.gpkg")
    with pytest.raises(GroundError, match=r"the parcel lies outside the raster ground\.tif"):
        describe_inputs(site_folder / "ground.tif", site_folder / "far.gpkg")


def test_files_that_were_read_with_their_hashes(site_folder, write_layer):
    write_layer("walls", gpd.GeoDataFrame({"a": [1]}, geometry=[box(X, Y, X + 3, Y + 4).boundary]), name="walls.shp")
    (site_folder / "rain.csv").write_text("duration_min,depth_in_2yr\n5,1\n")
    (site_folder / "site.toml").write_text(
        '[elevation]\nfile = "ground.tif"\n[parcel]\nfile = "site.gpkg"\nlayer = "parcels"\nwhere = "lot = 1"\n'
        '[roofs]\nfile = "site.gpkg"\nlayer = "roofs"\n[barriers]\nfile = "walls.shp"\n[rain]\ntable = "rain.csv"\n'
    )
    site = read_site_file(site_folder / "site.toml")
    source = open_raster(site.elevation.file)
    files = {file.file: file for file in input_files(site, source, read_layers(site, source.grid.frame))}
    assert list(files) == ["site.toml", "ground.tif", "site.gpkg", "walls.shp", "walls.shx", "walls.dbf", "walls.prj",
                           "walls.cpg", "rain.csv"]  # fmt: skip
    assert files["site.gpkg"].key == "parcel, roofs"
    assert files["site.gpkg"].crs == "WGS 84 / UTM zone 10N (EPSG:32610)"
    assert files["ground.tif"].cell_size == 0.5
    assert files["rain.csv"].crs is None
    for name, file in files.items():
        assert file.sha256 == hashlib.sha256((site_folder / name).read_bytes()).hexdigest()


def test_the_hash_of_a_folder_tells_a_change_in_it(tmp_path):
    folder = tmp_path / "f"
    folder.mkdir()
    (folder / "a").write_text("1")
    before = sha256_of(folder)
    assert sha256_of(folder) == before
    (folder / "a").write_text("2")
    assert sha256_of(folder) != before
