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


def test_a_step_on_a_drawing(run, tmp_path):
    """Drainage areas of a lot that is drawn, and of the same lot in a GeoPackage."""
    parcel = pyogrio.read_dataframe(SAMPLES / "neighbourhood.gpkg", layer="parcels", where="lot = 1")
    drawn = parcel.assign(Layer="LOT")[["Layer", "geometry"]]
    pyogrio.write_dataframe(drawn.set_geometry(drawn.exterior), tmp_path / "lot.dxf", driver="DXF")
    parcel.to_file(tmp_path / "lot.gpkg")
    asked = ("step", "sub-catchments", "--elevation", SAMPLES / "ground.tif", "--out")
    result = run(*asked, tmp_path / "a.gpkg", "--parcel", tmp_path / "lot.dxf", "--parcel-crs", "EPSG:32617")
    assert result.exit_code == 0, result.stderr
    assert run(*asked, tmp_path / "b.gpkg", "--parcel", tmp_path / "lot.gpkg").exit_code == 0
    one, other = (pyogrio.read_dataframe(tmp_path / name, layer="sub_catchments") for name in ("a.gpkg", "b.gpkg"))
    assert len(one) > 1
    assert [round(area, 3) for area in one.area] == [round(area, 3) for area in other.area]
