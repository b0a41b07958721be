"""The ground that swales lie in and that drains to them."""

from collections.abc import Sequence

import numpy as np
import shapely
from scipy.ndimage import label
from shapely import Geometry, LineString, MultiPolygon

from pipelines.inputs.site_ground import SiteInputs, look_for_banks, read_ground
from terrain.arrays import BoolArray
from terrain.errors import GroundError
from terrain.flow.burnt_cells import cells_inside
from terrain.flow.drainage import Drainage, catchment, drain_ground
from terrain.ground import Ground
from terrain.reading.surface import Surface
from terrain.reason import reason

READ_BESIDE, ON_SWALE = 12.0, 2.0
"""Ground read on either side of a line before the window grows to what drains to the ground this near it. [m]"""


def refuse_swale_outside(inputs: SiteInputs, line: LineString, name: str) -> None:
    """Refuse a line that leaves the raster."""
    whole = shapely.box(*inputs.source.grid.bounds)
    if not whole.covers(line):
        outside = line.difference(whole).length / line.length
        raise GroundError(
            f"{name}: {outside:.0%} of it lies outside the raster {inputs.source.path.name}; shorten the line, or "
            "give a raster that holds it"
        )


def read_swale_ground(inputs: SiteInputs, lines: Sequence[LineString]) -> tuple[Surface, Drainage]:
    """Read the window that swales need, bring it to the level shots, make it ground, and drain that."""
    whole = shapely.box(*inputs.source.grid.bounds)
    near = _polygons(shapely.union_all([line.buffer(READ_BESIDE) for line in lines]).intersection(whole))
    swale = _polygons(shapely.union_all([line.buffer(ON_SWALE) for line in lines]))

    drained: list[Drainage] = []

    def drains(window: Ground) -> BoolArray:
        drained[:] = [drain_ground(window)]
        drainage = drained[0]
        own = cells_inside(window.grid, swale)
        return catchment(drainage, np.flatnonzero(own | _ponds_over(drainage, own)))

    look = look_for_banks(inputs, shapely.union_all(lines))
    surface, ground = read_ground(inputs, near, drains, named=reason("the_swales"), look=look)
    # the window that was read last is drained already, but where level shots bent it
    return surface, drained[0] if drained[0].ground is ground else drain_ground(ground)


def _ponds_over(drainage: Drainage, own: BoolArray) -> BoolArray:
    """Cells of the depressions that some cells lie in: a window that cuts one shows it spill where it does not."""
    with np.errstate(invalid="ignore"):
        ponds, _ = label(drainage.filled > drainage.ground.elevation, np.ones((3, 3)))
    touched = np.unique(ponds[own])
    found: BoolArray = np.isin(ponds, touched[touched > 0])
    return found


def _polygons(shape: Geometry) -> MultiPolygon:
    return MultiPolygon([part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"])
