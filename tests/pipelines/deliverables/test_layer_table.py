import csv
import math
from importlib import resources

import pytest
from shapely import Point, Polygon, box

from pipelines.deliverables.files.layer_table import empty_layer, layers, make_layer
from pipelines.deliverables.unit_systems import from_si, unit_value

# the columns that users script against; the table may grow but these stay
PROMISED_US = {
    "parcel": "id area_ft2",
    "flow_paths": "id contributing_area_ft2 run_on certain when_full",
    "low_spots": "id contained_in on_parcel enclosed depth_in area_ft2 volume_ft3 spill_elevation_ft stands_h "
    "within_lidar_error",
    "sub_catchments": "id drains_to run_on area_ft2 peak_flow_gpm runoff_volume_ft3",
    "catch_basins": "id drains_to grate peak_flow_gpm ground_elevation_ft invert_elevation_ft why",
    "french_drains": "id drains_to length_ft width_in depth_in pipe slope_pct peak_flow_gpm why",
    "pipe_runs": "id kind from_id to_id size length_ft slope_pct invert_up_ft invert_down_ft peak_flow_gpm "
    "velocity_ft_s filled_pct",
    "sumps": "id drains_to lift_ft operating_flow_gpm basin",
    "outfalls": "id kind verified level_ft fall_to_spare_in fall_error_in verdict",
    "take_off": "item quantity unit low likely high share",
    "cautions": "id text",
    "run_info": "key value",
}
RUNOFF_US = [
    "sub_catchment", "drains_to", "area_ft2", "impervious_pct", "runoff_coefficient", "curve_number",
    "flow_length_ft", "slope_pct", "time_of_concentration_min", "intensity_in_h", "peak_flow_cfs",
    "peak_flow_gpm", "storm_depth_in", "runoff_depth_in", "runoff_volume_ft3",
]  # fmt: skip
RUNOFF_SI = [
    "sub_catchment", "drains_to", "area_m2", "impervious_pct", "runoff_coefficient", "curve_number",
    "flow_length_m", "slope_pct", "time_of_concentration_min", "intensity_mm_h", "peak_flow_l_s",
    "storm_depth_mm", "runoff_depth_mm", "runoff_volume_m3",
]  # fmt: skip


@pytest.mark.parametrize("name", sorted(PROMISED_US))
def test_promised_columns_come_first_and_in_order(name: str) -> None:
    promised = PROMISED_US[name].split()
    assert [column for column in empty_layer(name, "us").columns if column != "geometry"][: len(promised)] == promised


def test_runoff_columns_are_exactly_the_promised_ones() -> None:
    assert list(empty_layer("runoff", "us").columns) == RUNOFF_US
    assert list(empty_layer("runoff", "si").columns) == RUNOFF_SI


def test_every_layer_of_the_column_table_has_a_title_and_the_reverse() -> None:
    folder = resources.files("pipelines.deliverables.files")
    named = [
        {row["layer"] for row in csv.DictReader(folder.joinpath(file).read_text().splitlines())}
        for file in ("layers.csv", "layer_titles.csv")
    ]
    assert named[0] == named[1] == set(layers())


def test_units_of_every_column_are_known_and_measure_the_same() -> None:
    for layer in layers().values():
        for column in layer.columns:
            assert column.type in {"text", "real", "integer", "boolean"}
            values = [unit_value(unit) for unit in (column.si, column.us) if unit != "-"]
            assert all(value > 0 for value in values)


@pytest.mark.parametrize(
    ("suffix", "value"),
    [
        ("", 1.0), ("pct", 0.01), ("m2", 1.0), ("ft2", 0.3048**2), ("ft3", 0.3048**3), ("in", 0.0254), ("ft", 0.3048),
        ("l_s", 0.001), ("gpm", 231 * 0.0254**3 / 60), ("cfs", 0.3048**3), ("ft_s", 0.3048), ("mm_h", 0.001 / 3600),
        ("in_h", 0.0254 / 3600), ("min", 60.0), ("h", 3600.0),
    ],
)  # fmt: skip
def test_unit_values_are_those_of_the_definitions(suffix: str, value: float) -> None:
    # source: NIST SP 811, appendix B: international foot and inch; US gallon of 231 cubic inches
    assert unit_value(suffix) == pytest.approx(value, rel=1e-15)


def test_conversion_rounds_away_what_it_adds_and_turns_the_unknown_to_nan() -> None:
    feet = from_si([0.3048 * 3, None, math.inf, math.nan], "ft")
    assert feet[0] == 3.0
    assert all(math.isnan(value) for value in feet[1:])


def test_layer_is_sorted_by_id_and_its_shapes_are_of_the_declared_type() -> None:
    table = make_layer("parcel", "si", geometry=[box(0, 0, 1, 1), Polygon([(5, 5, 9), (6, 5, 9), (6, 6, 9)])],
                       id=["b", "a"], area=[1.0, 0.5])  # fmt: skip
    assert list(table["id"]) == ["a", "b"]
    assert list(table["area_m2"]) == [0.5, 1.0]
    assert set(table.geom_type) == {"MultiPolygon"}
    assert not table.has_z.any()


def test_missing_and_unknown_columns_are_named() -> None:
    with pytest.raises(TypeError, match=r"layer sumps: columns .*'lift'"):
        make_layer("sumps", "si", geometry=[Point(0, 0)], id=["a"])


def test_text_that_is_no_valid_utf8_and_nul_are_made_harmless() -> None:
    table = make_layer("cautions", "si", id=["a\0"], text=["\udcff"])
    assert table["id"][0] == "a"
    assert table["text"][0] == "\\udcff"
