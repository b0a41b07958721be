"""What a lot is called whose site file gives it no name."""

import geopandas as gpd
import pytest
from shapely import box

from pipelines.deliverables.files.site_file_text import site_file_text
from pipelines.inputs.describe import describe_inputs
from pipelines.inputs.shapes.layer_columns import read_columns
from pipelines.inputs.shapes.layer_table import LAYER_KINDS
from pipelines.inputs.shapes.parcel_names import first_of, lot_name
from pipelines.inputs.site_ground import open_site
from tests.pipelines.lot.conftest import SAMPLES


def row(**attributes):
    values = {"id": ["1"]} | {key: [value] for key, value in attributes.items()}
    frame = gpd.GeoDataFrame(values, geometry=[box(0, 0, 1, 1)])
    return first_of(read_columns(frame, LAYER_KINDS["parcel"].columns, "parcel"))


@pytest.mark.parametrize(
    ("attributes", "name"),
    [
        ({"name": "Corner lot", "lot": 3}, "Corner lot"),
        ({"lot": 3.0, "address": "12 Reed Court"}, "Lot 3"),
        ({"ADDRESS": "12 Reed Court", "apn": "044-12"}, "12 Reed Court"),
        ({"PIN": "044-12"}, "Parcel 044-12"),
        ({"parcel_id": 5512.0}, "Parcel 5512"),
        ({"zone": "R1"}, "reed_court"),
    ],
)
def test_an_attribute_of_the_parcel_names_it_before_a_file_does(attributes, name) -> None:
    assert lot_name(row(**attributes), ("site", "reed_court")) == name


def test_what_files_are_called_for_what_they_hold_names_no_lot() -> None:
    assert lot_name(row(), ("reed_court", "parcels")) == "reed_court"
    assert lot_name(row(), ("site", "parcel")) == "The lot"


def test_a_site_file_without_a_name_and_one_that_was_written_take_the_parcel_s(tmp_path) -> None:
    for held in SAMPLES.iterdir():
        (tmp_path / held.name).symlink_to(held)
    lines = (SAMPLES / "lot_07.toml").read_text().splitlines()
    site = tmp_path / "site.toml"
    site.write_text("\n".join(line for line in lines if not line.startswith("name = ")))
    assert open_site(site).site.name == "Lot 7"
    # a swale passes many lots, and is none of them
    assert open_site(site, several_parcels=True).site.name == "site"
    found = describe_inputs(
        SAMPLES / "ground.tif", SAMPLES / "neighbourhood.gpkg", layer="parcels", where="lot = 7"
    )
    assert '\nname = "Lot 7"\n' in site_file_text(found, tmp_path)
