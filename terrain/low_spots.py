"""Low spots: nested depressions, what they hold and where they spill."""

from dataclasses import dataclass

from terrain.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class LowSpot:
    """One depression of the hierarchy.

    Attributes
    ----------
    id : str
        Text id, unique across layers.
    cells : (n,) int ndarray
        Flat indices of the cells under water when it is full to its spill level.
    bottom : int
        Flat index of its deepest cell.
    spill_cell : int or None
        Flat index of the cell it overflows through; None where shut in.
    spill_elevation : float or None
        Where it overflows; None where shut in by roofs or barriers. [m]
    bottom_elevation, depth, area, volume : float
        Lowest ground [m], deepest water before it spills [m], area [m2] and volume [m3] at the spill level.
        Of an enclosed spot: up to the lowest ground on its shore that has no more ground beside it.
    contained_in : str or None
        Id of the low spot it merges into when full.
    spills_to : str or None
        Id of the low spot that takes its overflow first, if any.
    enclosed : bool
        Shut in by roofs or barriers.
    levels, areas, volumes : (k,) float ndarray
        Stage and storage from the bottom to the spill level, both increasing. [m], [m2], [m3]
    within_lidar_error : bool
        Shallower than the lidar can tell.
    """

    id: str
    cells: IntArray
    bottom: int
    spill_cell: int | None
    spill_elevation: float | None
    bottom_elevation: float
    depth: float
    area: float
    volume: float
    contained_in: str | None
    spills_to: str | None
    enclosed: bool
    levels: FloatArray
    areas: FloatArray
    volumes: FloatArray
    within_lidar_error: bool
