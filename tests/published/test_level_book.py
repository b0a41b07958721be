"""A level's readings, against the book's worked example of a backsight and a foresight."""

import pytest
from pyproj import CRS

from pipelines.inputs.tables.shots import read_level_shots
from terrain.grid import Frame

BOOK = "point,easting,northing,height_ft,backsight_ft,foresight_ft\nBM Rock,1,2,820.00,8.42,\nX,3,4,,,1.20\n"


@pytest.mark.published(
    source="Ghilani and Wolf, Elementary Surveying", where="differential leveling, BM Rock to X, read in a public copy",
    memory=False, worked=True,
)  # fmt: skip
def test_a_backsight_and_a_foresight(tmp_path):
    (tmp_path / "book.csv").write_text(BOOK)
    shots = read_level_shots(tmp_path / "book.csv", Frame(CRS(32617), 1.0, 1.0, 1.0), closure=0.006)
    # height of instrument 828.42, so X lies at 827.22; printed to a hundredth of a foot
    assert shots.heights[1] / 0.3048 == pytest.approx(827.22, abs=0.005)
