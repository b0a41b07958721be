"""The ground that swales lie in and that drains to them."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Geometry, LineString, MultiPolygon

from pipelines.inputs.site_ground import SiteInputs, read_ground
from terrain.arrays import BoolArray
from terrain.errors import GroundError
from terrain.flow.drainage import catchment, drain_ground
from terrain.flow.lot_ground import cells_inside
from terrain.ground import Ground
from terrain.reading.surface import Surface
from terrain.reason import reason

READ_BESIDE, ON_SWALE = 12.0, 2.0
"""Ground read on either side of a line before the window grows to what drains to the ground this near it. [m]"""


def read_swale_ground(
    inputs: SiteInputs, lines: Sequence[LineString], names: Sequence[str]
) -> tuple[Surface, Ground]:
    """Read the window that swales need, bring it to the level shots, and make it ground."""
    whole = shapely.box(*inputs.source.grid.bounds)
    for line, name in zip(lines, names, strict=True):
        if not whole.covers(line):
            outside = line.difference(whole).length / line.length
            raise GroundError(
                f"{name}: {outside:.0%} of it lies outside the raster {inputs.source.path.name}; shorten the line, or "
                "give a raster that holds it"
            )
    near = _polygons(shapely.union_all([line.buffer(READ_BESIDE) for line in lines]).intersection(whole))
    swale = _polygons(shapely.union_all([line.buffer(ON_SWALE) for line in lines]))

    def drains(window: Ground) -> BoolArray:
        return catchment(drain_ground(window), np.flatnonzero(cells_inside(window.grid, swale)))

    return read_ground(inputs, near, drains, named=reason("the_swales"))


def _polygons(shape: Geometry) -> MultiPolygon:
    return MultiPolygon([part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"])
