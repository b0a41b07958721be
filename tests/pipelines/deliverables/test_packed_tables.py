"""Tables that were packed are the same again."""

import geopandas as gpd
import pandas as pd
from geopandas.testing import assert_geodataframe_equal
from pandas.testing import assert_frame_equal
from shapely import Point

from pipelines.deliverables.town.packed_tables import PackedTables


def test_a_packed_table_comes_back_with_its_types_and_shapes() -> None:
    plain = pd.DataFrame({"id": ["a", None], "depth_m": [0.5, None], "sure": pd.array([True, None], dtype="boolean")})
    shapes = gpd.GeoDataFrame(plain.copy(), geometry=[Point(1.0, 2.0, 3.0), None], crs="EPSG:32616")
    packed = PackedTables({"low_spots": shapes, "runoff": plain, "sumps": plain[:0]}, shapes.crs)
    assert set(packed) == {"low_spots", "runoff"}
    assert_geodataframe_equal(packed["low_spots"], shapes)
    assert_frame_equal(packed["runoff"], plain)
