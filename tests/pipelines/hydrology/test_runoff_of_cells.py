"""Water cell by cell is the sub-catchment's water."""

import numpy as np
import pytest
from pyproj import CRS
from shapely import box

from pipelines.hydrology.errors import SurfaceError
from pipelines.hydrology.losses import runoff_of_shares
from pipelines.hydrology.lot_balance import runoff_volumes
from pipelines.hydrology.surface_map import map_surfaces, shares_of
from terrain.grid import Frame, Grid

GRID = Grid((12, 20), 0.0, 12.0, 1.0, 1.0, Frame(CRS.from_epsg(32617), 1.0, 1.0, 1.0))


@pytest.fixture(scope="module")
def surfaces():
    roofs = np.zeros(GRID.shape, dtype=bool)
    roofs[2:5, 3:8] = True
    return map_surfaces(
        GRID,
        cover="lawn, fair",
        roofs=roofs,
        paving=[(box(10, 0, 13, 12), "paved")],
        soils=[(box(0, 0, 20, 5), "C")],
        default_group="B",
    )


@pytest.mark.parametrize("connected", [True, False])
def test_cells_add_up_to_the_sub_catchment(surfaces, connected):
    cells = np.arange(37, 215)
    shares = shares_of(surfaces, cells, slope=0.02, return_period=10.0, roofs_connected=connected, compacted=True)
    volumes = runoff_volumes(surfaces, cells, shares, 0.08)
    area = sum(share.area for share in shares)
    assert area == pytest.approx(cells.size)
    assert volumes.sum() == pytest.approx(runoff_of_shares(0.08, shares) * area, rel=1e-12)
    keys = np.array(surfaces.key_at(cells))
    assert volumes[keys == "paved"].min() > volumes[keys == "lawn_fair"].max()


@pytest.mark.parametrize(
    "slope, low, high", [(-0.01, 0.13, 0.17), (0.01, 0.13, 0.17), (0.05, 0.18, 0.22), (0.09, 0.25, 0.35)]
)
def test_a_steeper_lawn_sheds_more(surfaces, slope, low, high):
    """ASCE's ranges for lawns on heavy soil: flat to 2 %, average to 7 %, steep; from memory."""
    lawn = np.flatnonzero(np.array(surfaces.key_at(np.arange(240))) == "lawn_fair")[-15:]
    (share,) = shares_of(surfaces, lawn, slope=slope, return_period=None, roofs_connected=True, compacted=True)
    assert low <= share.coefficient <= high


def test_shares_of_other_ground_are_refused(surfaces):
    shares = shares_of(surfaces, np.arange(50), slope=0.02, return_period=None, roofs_connected=True, compacted=True)
    with pytest.raises(SurfaceError, match="give the shares of these cells"):
        runoff_volumes(surfaces, np.arange(60), shares, 0.08)
