"""A parcel of a file that names no CRS is given one, which the site file keeps."""

import shutil
from pathlib import Path

import pyogrio

from pipelines.inputs.site_file import read_site_file

SAMPLES = Path(__file__).parents[2] / "sample_data"


def test_a_parcel_of_a_drawing_with_its_crs(run, tmp_path):
    shapes = pyogrio.read_dataframe(SAMPLES / "neighbourhood.gpkg", layer="parcels")
    drawn = shapes.assign(Layer=[f"LOT_{lot}" for lot in shapes["lot"]])[["Layer", "geometry"]]
    pyogrio.write_dataframe(drawn.set_geometry(drawn.exterior), tmp_path / "lots.dxf", driver="DXF")
    shutil.copy(SAMPLES / "ground.tif", tmp_path / "ground.tif")
    asked = ("start", tmp_path / "ground.tif", tmp_path / "lots.dxf", "--where", "Layer = 'LOT_1'")
    refused = run(*asked)
    assert refused.exit_code == 2
    assert "it has no CRS" in refused.stderr
    result = run(*asked, "--parcel-crs", "EPSG:32617")
    assert result.exit_code == 0, result.stderr
    site = read_site_file(tmp_path / "site.toml")
    assert (site.parcel.crs, site.parcel.where) == ("EPSG:32617", "Layer = 'LOT_1'")
    assert run("screen", tmp_path / "site.toml", "--dry-run").exit_code == 0
