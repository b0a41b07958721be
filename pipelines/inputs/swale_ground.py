"""The ground that swales lie in and that drains to them."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import Geometry, LineString, MultiPolygon

from pipelines.inputs.site_ground import SiteInputs, ground_of
from terrain.arrays import BoolArray
from terrain.errors import GroundError
from terrain.flow.drainage import catchment, drain_ground
from terrain.flow.lot_ground import cells_inside
from terrain.flow.window import grow_window
from terrain.ground import Ground
from terrain.level_shots import ShotFit, rebase_on_shots
from terrain.reading.surface import Surface

BESIDE = 12.0
"""Ground read on either side of a swale at least: a bank is looked for within it. Common practice, no source. [m]"""
_IN_SWALE = 2.0


def read_swale_ground(
    inputs: SiteInputs, lines: Sequence[LineString], names: Sequence[str]
) -> tuple[Surface, Ground, ShotFit | None]:
    """Read the window that swales need, bring it to the level shots, and make it ground."""
    whole = shapely.box(*inputs.source.grid.bounds)
    for line, name in zip(lines, names, strict=True):
        if not whole.covers(line):
            outside = line.difference(whole).length / line.length
            raise GroundError(
                f"{name}: {outside:.0%} of it lies outside the raster {inputs.source.path.name}; shorten the line, or "
                "give a raster that holds it"
            )
    near = _polygons(shapely.union_all([line.buffer(BESIDE) for line in lines]).intersection(whole))
    swale = _polygons(shapely.union_all([line.buffer(_IN_SWALE) for line in lines]))

    def drains(window: Surface) -> BoolArray:
        drainage = drain_ground(ground_of(window, inputs.layers))
        return catchment(drainage, np.flatnonzero(cells_inside(window.grid, swale)))

    surface = grow_window(inputs.source, near, drains)
    surface = replace(surface, warnings=tuple(each.replace("the parcel", "the swales") for each in surface.warnings))
    fit = None
    if inputs.shots is not None:
        fit = rebase_on_shots(surface, inputs.shots.x, inputs.shots.y, inputs.shots.heights)
        surface = fit.surface
    return surface, ground_of(surface, inputs.layers), fit


def _polygons(shape: Geometry) -> MultiPolygon:
    return MultiPolygon([part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"])
