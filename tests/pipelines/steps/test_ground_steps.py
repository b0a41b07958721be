"""Steps on ground whose answer is exact by construction: a bowl on a plane that falls to the south."""

import geopandas as gpd
import numpy as np
import pytest
from geopandas import GeoDataFrame
from pydantic import ValidationError
from pyproj import CRS
from shapely import LineString, box

from pipelines.deliverables.files.layer_table import layers
from pipelines.steps.ground import (
    FlowPathParameters,
    LowSpotParameters,
    filled_ground,
    flow_accumulation,
    flow_paths,
    low_spots,
    sub_catchments,
)
from terrain.errors import GeometryError
from terrain.grid import Frame, Grid
from terrain.reading.surface import Surface

GRID = Grid((40, 30), 1000.0, 5040.0, 1.0, 1.0, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))


def _surface(elevation: np.ndarray) -> Surface:
    return Surface(GRID, elevation)


def _plane() -> np.ndarray:
    rows = np.arange(40, dtype=np.float64)[:, None]
    return np.broadcast_to(100.0 - 0.1 * rows, GRID.shape).copy()


@pytest.fixture
def bowl() -> Surface:
    elevation = _plane()
    # a flat-bottomed pit of 4 by 3 cells that spills over its south rim
    elevation[20:24, 10:13] = 97.0
    return _surface(elevation)


def _shapes(*shapes: object, **columns: list[object]) -> GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes))


def test_the_bowl_is_found_with_its_exact_size(bowl: Surface) -> None:
    found = low_spots(bowl, parameters=LowSpotParameters())
    assert list(found.columns) == [name for name, _ in layers()["low_spots"].written("si")] + ["geometry"]
    # its rim is lowest beside it in row 24 at 97.6 m
    assert found["depth_m"].tolist() == pytest.approx([0.6])
    assert found["area_m2"].tolist() == [12.0]
    assert found["volume_m3"].tolist() == pytest.approx([7.2])
    assert found["spill_elevation_m"].tolist() == pytest.approx([97.6])
    assert found["on_parcel"].isna().all()
    assert found.geometry[0].equals(box(1010, 5016, 1013, 5020))


def test_units_follow_the_parameter(bowl: Surface) -> None:
    found = low_spots(bowl, parameters=LowSpotParameters(units="us"))
    assert found["depth_in"].tolist() == pytest.approx([0.6 / 0.0254])


def test_thresholds_are_read_as_quantities(bowl: Surface) -> None:
    def parameters(**texts: str) -> LowSpotParameters:
        return LowSpotParameters.model_validate(texts)

    assert parameters(min_depth="2 ft").min_depth == pytest.approx(0.6096)
    assert len(low_spots(bowl, parameters=parameters(min_depth="2 ft"))) == 0
    assert len(low_spots(bowl, parameters=parameters(min_area="100 ft2"))) == 1
    with pytest.raises(ValidationError, match="one number and one unit"):
        parameters(min_depth="2")
    with pytest.raises(ValidationError):
        parameters(min_dept="2 cm")


def test_on_parcel_is_told_where_a_parcel_is_given(bowl: Surface) -> None:
    for lot, expected in ((box(1011, 5000, 1030, 5040), True), (box(1020, 5000, 1030, 5040), False)):
        assert low_spots(bowl, parcel=_shapes(lot), parameters=LowSpotParameters())["on_parcel"].tolist() == [expected]


def test_a_roof_shuts_ground_in_unless_it_is_open_below() -> None:
    surface = _surface(_plane())
    ring = box(1010, 5010, 1020, 5020).difference(box(1012, 5012, 1018, 5018))
    shut = low_spots(surface, _shapes(ring), parameters=LowSpotParameters())
    assert shut["enclosed"].tolist() == [True]
    assert shut["spill_elevation_m"].isna().all()
    assert len(low_spots(surface, _shapes(ring, open_below=[True]), parameters=LowSpotParameters())) == 0
    for unsaid in (None, float("nan"), False):
        assert len(low_spots(surface, _shapes(ring, open_below=[unsaid]), parameters=LowSpotParameters())) == 1


def test_a_barrier_dams_and_a_culvert_opens_it() -> None:
    surface = _surface(_plane())
    dam = LineString([(1002.5, 5030.5), (1002.5, 5010.5), (1027.5, 5010.5), (1027.5, 5030.5)])
    open_at = LineString([(1015.5, 5012.5), (1015.5, 5008.5)])
    assert len(low_spots(surface, barriers=_shapes(dam), parameters=LowSpotParameters())) == 1
    through = low_spots(surface, barriers=_shapes(dam), culverts=_shapes(open_at), parameters=LowSpotParameters())
    assert len(through) == 0


def test_water_on_the_plane_runs_straight_down() -> None:
    surface = _surface(_plane())
    found = flow_accumulation(surface)
    assert found.unit == "m2"
    assert np.array_equal(found.values, np.broadcast_to(np.arange(1.0, 41.0)[:, None], GRID.shape))
    paths = flow_paths(surface, parameters=FlowPathParameters(min_area=20.0))
    assert len(paths) == 30
    assert paths["contributing_area_m2"].tolist() == [40.0] * 30
    assert paths["run_on"].isna().all()
    first = paths.set_index("id").geometry["path-1"]
    assert first.coords[0] == (1000.5, 5020.5)
    assert first.coords[-1] == (1000.5, 5000.5)


def test_run_on_marks_paths_that_carry_water_from_outside() -> None:
    surface = _surface(_plane())
    lot = _shapes(box(1000, 5000, 1010, 5040).union(box(1010, 5000, 1020, 5030)))
    paths = flow_paths(surface, parcel=lot, parameters=FlowPathParameters(min_area=39.0))
    told = zip(paths.geometry, paths["run_on"], strict=True)
    by_column = {int(line.coords[0][0]) - 1000: bool(run_on) for line, run_on in told}
    # the first ten columns start on the lot, the next ten above it, the last ten never touch it
    assert [by_column[column] for column in (0, 9, 10, 19, 20, 29)] == [False, False, True, True, False, False]


def test_a_filled_ground_has_no_pit(bowl: Surface) -> None:
    filled = filled_ground(bowl)
    assert filled.values[21, 11] == pytest.approx(97.6)
    assert np.array_equal(filled.values[:20], bowl.elevation[:20])


def test_sub_catchments_tile_the_studied_ground(bowl: Surface) -> None:
    lot = _shapes(box(1005, 5005, 1025, 5030))
    parts = sub_catchments(bowl, lot, parameters=LowSpotParameters())
    # columns 5 to 24 from the top of the raster down to the lot's south side
    assert parts["area_m2"].sum() == 20 * 35
    assert parts.geometry.union_all().equals(box(1005, 5005, 1025, 5040))
    assert parts.loc[parts["run_on"].astype(bool), "area_m2"].sum() == 20 * 10
    assert "low-1" in set(parts["drains_to"])


def test_a_parcel_elsewhere_is_refused(bowl: Surface) -> None:
    with pytest.raises(GeometryError, match="holds no known cell"):
        sub_catchments(bowl, _shapes(box(0, 0, 10, 10)), parameters=LowSpotParameters())


def test_ground_without_any_known_cell_gives_nothing() -> None:
    surface = _surface(np.full(GRID.shape, np.nan))
    assert len(low_spots(surface, parameters=LowSpotParameters())) == 0
    assert len(flow_paths(surface, parameters=FlowPathParameters())) == 0
    assert np.isnan(flow_accumulation(surface).values).all()


def test_a_path_that_joins_run_on_carries_none_itself() -> None:
    columns = np.arange(30, dtype=np.float64)
    surface = _surface(_plane() + 0.3 * np.abs(columns - 5.0))
    # every row drains along itself into column 5, of which the upper half alone lies outside the lot
    lot = _shapes(box(1000, 5000, 1030, 5040).difference(box(1005, 5020, 1006, 5040)))
    paths = flow_paths(surface, parcel=lot, parameters=FlowPathParameters(min_area=10.0))
    along_rows = [row for row in paths.itertuples() if row.geometry.coords[0][0] > 1010.0]
    assert len(along_rows) == 40
    assert {row.geometry.coords[-1][0] for row in along_rows} == {1005.5}
    # the top row's goes on into column 5, where nothing joins it from above
    assert [row.geometry.coords[0][1] for row in along_rows if row.run_on] == [5039.5]
    assert sum(bool(row.run_on) for row in paths.itertuples()) > 30
