"""What a router is asked and what it answers, as values."""

from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point

from terrain.arrays import FloatArray
from terrain.errors import LotshedError
from terrain.reason import Reason
from terrain.unit_table import FOOT


class RouteError(LotshedError, ValueError):
    """What a router was asked makes no sense."""


@dataclass(frozen=True, slots=True)
class RoutePipe:
    """A pipe as a router sees it.

    Attributes
    ----------
    key : str
        Its key in the pipe catalogue.
    outside, wall : float
        Outside diameter and wall. [m]
    min_slope : float
        Least slope it may be laid at. [-]
    capacity : float
        Flow it carries at that slope. [m3/s]
    cost : float
        Pipe in place, without the trench. [money/m]
    """

    key: str
    outside: float
    wall: float
    min_slope: float
    capacity: float
    cost: float

    @property
    def crown(self) -> float:
        """Height of its top above its invert. [m]"""
        return self.outside - self.wall


@dataclass(frozen=True, slots=True)
class RouteSpec:
    """What a line is made of and what its parts cost.

    Attributes
    ----------
    pipes : tuple of RoutePipe
        From small to large; a line takes the smallest that carries its flow.
    trench_depths, trench_costs : tuple of float
        Depth of a trench to its bottom, rising, and what a metre of it costs, never falling; linear between. [m],
        [money/m]
    bedding : float
        Dug below the pipe. [m]
    bend_22, bend_45, junction : float
        A 22.5 and a 45 degree bend and a wye, in place. [money]
    taper_length : float
        Last stretch before an outfall, in which the cover may be less. [m]
    dig_tolerance : float
        Fall kept for the crew's accuracy; 0.1 ft, common practice. [m]
    basin_drop : float
        Fall lost through a basin that a line passes; 0.1 ft, common practice. [m]
    joint_angle : float
        How far a joint may be out of line, so that a bend need not be a fitting's angle exactly; common practice, no
        source. [degrees]
    grade_break : float
        What a break of grade is held to cost; common practice, no source. [money]
    clearance : float
        Clear height wanted between two lines that cross. [m]
    crossing : float
        Of crossing another line of the forest. [money]
    """

    pipes: tuple[RoutePipe, ...]
    trench_depths: tuple[float, ...] = (0.0, 0.3, 0.6, 0.9, 1.2, 1.5)
    trench_costs: tuple[float, ...] = (0.0, 12.0, 27.0, 48.0, 78.0, 120.0)
    bedding: float = 0.0
    bend_22: float = 12.0
    bend_45: float = 12.0
    junction: float = 25.0
    taper_length: float = 3.0
    dig_tolerance: float = 0.1 * FOOT
    basin_drop: float = 0.1 * FOOT
    joint_angle: float = 5.0
    grade_break: float = 8.0
    clearance: float = 0.15
    crossing: float = 0.0

    def __post_init__(self) -> None:
        faults = []
        if not self.pipes:
            faults.append("no pipe is given: give at least one")
        if any(p.min_slope < 0.0 or p.cost < 0.0 or not 0.0 <= p.wall < p.outside for p in self.pipes):
            faults.append("a pipe has a negative slope or cost, or a wall that is no part of its diameter")
        depths, costs = np.array(self.trench_depths), np.array(self.trench_costs)
        if depths.size != costs.size or depths.size < 2 or np.any(np.diff(depths) <= 0.0):
            faults.append("trench_depths must rise and be as many as trench_costs, two at least")
        elif np.any(np.diff(costs) < 0.0) or costs[0] < 0.0:
            faults.append("trench_costs must not fall with depth: a deeper trench is never cheaper")
        named = {"bedding": self.bedding, "bend_22": self.bend_22, "bend_45": self.bend_45,
                 "junction": self.junction, "taper_length": self.taper_length, "dig_tolerance": self.dig_tolerance,
                 "basin_drop": self.basin_drop, "joint_angle": self.joint_angle, "grade_break": self.grade_break,
                 "clearance": self.clearance, "crossing": self.crossing}
        faults += [f"{name} is {value}: it must be a finite number, 0 or more" for name, value in named.items()
                   if not (np.isfinite(value) and value >= 0.0)]
        if faults:
            raise RouteError("route spec: " + "; ".join(faults))

    def pipe_for(self, flow: float, least: int = 0) -> int:
        """Position in `pipes` of the smallest that carries a flow [m3/s], the last where none does."""
        for k in range(least, len(self.pipes)):
            if self.pipes[k].capacity >= flow:
                return k
        return len(self.pipes) - 1


@dataclass(frozen=True, slots=True)
class Collector:
    """Where a line begins.

    Attributes
    ----------
    id : str
        Id of the basin, drain or downspout.
    point : shapely Point
        Where it stands, in the metric frame.
    invert : float
        Highest invert that the pipe leaving it can have, its own drop counted in. [m]
    flow : float
        Design flow. [m3/s]
    through : bool
        Whether other lines may pass through it, as through a basin.
    """

    id: str
    point: Point
    invert: float
    flow: float = 0.0
    through: bool = False


@dataclass(frozen=True, slots=True)
class OutfallTarget:
    """Where a line may end.

    Attributes
    ----------
    id : str
        The outfall's id.
    point : shapely Point
        Where the pipe comes out, in the metric frame.
    level : float
        Lowest invert it may come out at, the clearance counted in. [m]
    cost : float
        Of the outlet itself. [money]
    """

    id: str
    point: Point
    level: float
    cost: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class RoutedLine:
    """One run between two nodes, drawn downstream.

    Attributes
    ----------
    id : str
        Its id.
    from_id, to_id : str
        The collector it leaves or, below a junction, the first run that flows into it; the outfall, collector or run
        it ends at.
    serves : tuple of str
        Ids of all the collectors whose water it carries.
    pipe : int
        Position of its pipe in the spec.
    xy : (n, 2) float ndarray
        Its vertices: ends, bends, breaks of grade. [m]
    inverts, ground : (n,) float ndarray
        Invert and ground at the vertices. [m]
    cost : float
        Pipe, trench, surface, crossings and bends; its junction or outlet with the run that ends there. [money]
    flow : float
        Sum of the design flows that it carries. [m3/s]
    crossings : tuple of str
        Ids of what it crosses.
    permit, assumed, near_line : bool
        Whether it enters the right of way, a strip that nobody confirmed, the offset of a neighbour's line.
    fittings : tuple of tuple
        For each bend: position of its vertex and the angles of its fittings, (vertex, (angle, ...)). [-], [degrees]
    """

    id: str
    from_id: str
    to_id: str
    serves: tuple[str, ...]
    pipe: int
    xy: FloatArray
    inverts: FloatArray
    ground: FloatArray
    cost: float
    flow: float
    crossings: tuple[str, ...] = ()
    permit: bool = False
    assumed: bool = False
    near_line: bool = False
    fittings: tuple[tuple[int, tuple[float, ...]], ...] = ()

    @property
    def length(self) -> float:
        """Plan length. [m]"""
        return float(np.hypot(*np.diff(self.xy, axis=0).T).sum())

    @property
    def line(self) -> LineString:
        """Its line with the invert as z."""
        return LineString(np.column_stack([self.xy, self.inverts]))


MOST_OF_PLAN = 1 << 20
"""Places and heights that are looked at for all lines of a plan before what is left is laid line by line. [-]"""


@dataclass(slots=True)
class SearchEffort:
    """How much is searched before what is left is laid the cheap way, each collector's line by itself.

    A count of places, never of seconds: the same input always gives the same answer.

    Attributes
    ----------
    most, places : int
        Places that may be looked at, and that were. [-]
    cut_short : bool
        Whether lines that might have been joined were laid by themselves for that.
    """

    most: int = MOST_OF_PLAN
    places: int = 0
    cut_short: bool = False

    @property
    def left(self) -> int:
        """Places that may still be looked at. [-]"""
        return max(self.most - self.places, 0)

    def add(self, forest: "RoutedForest") -> None:
        """Count what one forest took."""
        self.places += forest.places
        self.cut_short |= forest.cut_short


@dataclass(frozen=True, slots=True, eq=False)
class RoutedForest:
    """All runs of one answer.

    Attributes
    ----------
    lines : tuple of RoutedLine
        Upstream runs before the runs they join.
    cost : float
        Of everything. [money]
    lower_bound : float
        No forest on the grid costs less; equal to `grid_cost` where the search is exact. [money]
    grid_cost : float
        Cost of the forest on the grid, before it was straightened. [money]
    exact : bool
        Whether `grid_cost` is the least there is on the grid.
    unserved : dict of str to Reason
        Collectors that no gravity line can serve, and why.
    places : int
        Places that were looked at for it. [-]
    cut_short : bool
        Whether lines were laid by themselves since that was as much as may be.
    """

    lines: tuple[RoutedLine, ...]
    cost: float
    lower_bound: float
    grid_cost: float
    exact: bool
    unserved: dict[str, Reason]
    places: int = 0
    cut_short: bool = False

    @property
    def gap(self) -> float:
        """Share by which the grid's cost may lie above the least. [-]"""
        return 0.0 if self.grid_cost <= 0.0 else max(0.0, 1.0 - self.lower_bound / self.grid_cost)
