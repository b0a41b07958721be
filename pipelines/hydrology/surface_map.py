"""What lies on each cell of a lot and on what soil, and the shares of any piece of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.hydrology.sub_catchment import SurfaceShare
from pipelines.hydrology.surfaces import curve_number, soil_group, surface_of, surface_share
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.burnt_cells import burnt_shapes
from terrain.grid import Grid

ROOF = "roof"
PAVED = "paved"
_GROUPS = ("A", "B", "C", "D")


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceMap:
    """Surfaces and soils by cell.

    Attributes
    ----------
    grid : Grid
        Its cells.
    keys : tuple of str
        Keys of the surfaces.
    surface : (rows, cols) int ndarray
        Position in `keys`.
    group : (rows, cols) int ndarray
        0 to 3 for hydrologic soil groups A to D, as mapped.
    """

    grid: Grid
    keys: tuple[str, ...]
    surface: IntArray
    group: IntArray

    def key_at(self, cells: IntArray) -> list[str]:
        """Surface key of each of some cells, given by flat index."""
        return [self.keys[k] for k in self.surface.ravel()[cells]]


def map_surfaces(
    grid: Grid,
    *,
    cover: str,
    roofs: BoolArray,
    paving: Sequence[tuple[Any, str]],
    soils: Sequence[tuple[Any, str]],
    default_group: str,
) -> SurfaceMap:
    """Draw surfaces and soils on a grid; roofs lie on paving, paving on the cover."""
    ground = surface_of(cover).key
    kinds = [surface_of(kind).key for _, kind in paving]
    keys = tuple(dict.fromkeys([ground, ROOF, *kinds]))
    surface = _drawn(grid, [(shape, keys.index(kind)) for (shape, _), kind in zip(paving, kinds, strict=True)], 0)
    surface[roofs] = keys.index(ROOF)
    letters = [_GROUPS.index(soil_group(group, compacted=False)) for _, group in soils]
    fill = _GROUPS.index(soil_group(default_group, compacted=False))
    group = _drawn(grid, [(shape, letter) for (shape, _), letter in zip(soils, letters, strict=True)], fill)
    return SurfaceMap(grid, keys, surface, group)


def shares_of(
    surfaces: SurfaceMap,
    cells: IntArray,
    *,
    slope: float,
    return_period: float | None,
    roofs_connected: bool,
    compacted: bool,
) -> tuple[SurfaceShare, ...]:
    """Shares of the surfaces of some cells, whose areas add up to theirs."""
    codes = surfaces.surface.ravel()[cells] * len(_GROUPS) + surfaces.group.ravel()[cells]
    found, counts = np.unique(codes, return_counts=True)
    shares = []
    for code, count in zip(found.tolist(), counts.tolist(), strict=True):
        key, group = surfaces.keys[code // len(_GROUPS)], _GROUPS[code % len(_GROUPS)]
        shares.append(
            surface_share(
                key,
                count * surfaces.grid.cell_area,
                group,
                slope=max(slope, 0.0),
                return_period=return_period,
                connected=roofs_connected if key == ROOF else True,
                compacted=compacted,
            )
        )
    return tuple(shares)


def curve_numbers(surfaces: SurfaceMap, *, compacted: bool) -> FloatArray:
    """Curve number of each cell. [-]"""
    table = [
        [curve_number(key, soil_group(group, compacted=compacted)) for group in _GROUPS] for key in surfaces.keys
    ]
    found: FloatArray = np.array(table)[surfaces.surface, surfaces.group]
    return found


def group_at(surfaces: SurfaceMap, cells: IntArray) -> str:
    """Commonest soil group of some cells."""
    return _GROUPS[int(np.argmax(np.bincount(surfaces.group.ravel()[cells], minlength=4)))]


def _drawn(grid: Grid, shapes: Sequence[tuple[Any, int]], fill: int) -> IntArray:
    """Value of the shape that covers each cell; of several the last given."""
    found = np.full(grid.shape, fill, dtype=np.int64)
    burnt = burnt_shapes([shape for shape, _ in shapes], grid, all_touched=False) if shapes else []
    for drawn, (_, value) in zip(burnt, shapes, strict=True):
        if drawn is not None:
            found[drawn.rows, drawn.columns][drawn.inside] = value
    return found
