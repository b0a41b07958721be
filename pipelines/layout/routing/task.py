"""One search for gravity lines as the compiled search takes it: what is asked, in cells, sets and pipes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.routing.bounds import Bounds, lower_bounds
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.graph import SearchGround, prepare_search
from pipelines.layout.routing.kernels.forest import search_forest
from pipelines.layout.routing.kernels.forest_state import END_LEVEL, EPSILON, RouteSets, highest_inverts
from pipelines.layout.routing.spec import Collector, OutfallTarget, RouteSpec, SearchEffort
from terrain.arrays import FloatArray, IntArray
from terrain.reason import Reason, reason

MOST_LABELS = 1 << 18
"""Places and heights that are looked at before a search is given up. [-]"""
CELLS_A_LABEL = 32
"""Cells of a lower bound take about as long as one label. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class SearchTask:
    """What is asked of a search.

    Attributes
    ----------
    search : SearchGround
        The graph.
    collectors : sequence of Collector
        Where lines begin.
    cells : dict of int to int
        Flat index of the cell of each collector that can be reached.
    inverts, losses : dict of int to float
        Highest inverts at the cells' centres, and the fall lost where another line comes into a collector's place.
        [m]
    asides : dict of int to float
        How far each of these collectors lies from its cell's centre. [m]
    outfalls : tuple of int
        Positions of the outfalls that the search knows.
    spec : RouteSpec
        Pipes and prices.
    invert_step : float
        Inverts are multiples of it; 0 for any height. [m]
    effort : SearchEffort
        What was searched, and how much may be.
    """

    search: SearchGround
    collectors: Sequence[Collector]
    cells: dict[int, int]
    inverts: dict[int, float]
    losses: dict[int, float]
    asides: dict[int, float]
    outfalls: tuple[int, ...]
    spec: RouteSpec
    invert_step: float
    effort: SearchEffort

    def pipes_for(self, flow: float) -> list[int]:
        """Positions of the pipes that a line with a flow may have: the smallest, and larger ones that lie flatter."""
        pipes, chosen = self.spec.pipes, [self.spec.pipe_for(flow)]
        for k in range(chosen[0] + 1, len(pipes)):
            if pipes[k].min_slope < pipes[chosen[-1]].min_slope:
                chosen.append(k)
        return chosen

    def flow_of(self, group: list[int], mask: int) -> float:
        """Of a set of some collectors, as bits. [m3/s]"""
        return sum(self.collectors[i].flow for bit, i in enumerate(group) if mask >> bit & 1)

    def falls(self, i: int) -> bool:
        """Whether the highest line of a collector, cost what it may, comes to an outfall's level."""
        graph, ends = self.search.graph, list(self.search.end_nodes)
        nodes, spec = np.array(self.search.nodes_at(self.cells[i])), self.spec
        for pipe in (spec.pipes[k] for k in self.pipes_for(self.collectors[i].flow)):
            below = pipe.wall + spec.bedding
            best = highest_inverts(graph, nodes, self.inverts[i], pipe.min_slope, pipe.min_slope, pipe.crown, below)
            if np.any(best[ends] >= graph.node[ends, END_LEVEL] - 2.0 * EPSILON):
                return True
        return False

    def bounds(self, group: list[int], most: float = np.inf) -> Bounds:
        """Lower bounds for the lines of some collectors, for which no more than `most` is paid. [money]"""
        pipes = [self.pipes_for(self.flow_of(group, mask)) for mask in range(1, 1 << len(group))]
        bounds = lower_bounds(
            self.search, [self.cells[i] for i in group], [self.inverts[i] for i in group],
            [self.cells[i] for i in group if self.collectors[i].through], [[], *pipes], self.spec,
            most=most * (1.0 + 1e-6),
        )
        self.effort.places += (bounds.gathered.size + bounds.rows.size) // CELLS_A_LABEL
        return bounds


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What a search found.

    Attributes
    ----------
    masks, pipes : (sets,) int ndarray
        Collectors of each set as bits, and the position of its pipe.
    ints : (labels, 7) int ndarray
        Labels, as `search_forest` tells them.
    inverts : (labels,) float ndarray
        [m]
    final : (sets,) int ndarray
        Label at which each set's cheapest line ends, -1 where there is none.
    totals : (sets,) float ndarray
        Cost of those lines. [money]
    """

    masks: IntArray
    pipes: IntArray
    ints: IntArray
    inverts: FloatArray
    final: IntArray
    totals: FloatArray

    def best(self, mask: int) -> int:
        """Position of the cheapest choice for a set of collectors."""
        own = np.flatnonzero(self.masks == mask)
        return int(own[np.argmin(self.totals[own])])


def make_task(
    field: RouteField, collectors: Sequence[Collector], outfalls: Sequence[OutfallTarget], spec: RouteSpec,
    invert_step: float, unserved: dict[int, Reason], effort: SearchEffort,
) -> SearchTask | None:
    """The task of a search, None where nothing can be searched."""
    columns = field.grid.shape[1]
    slope = max(pipe.min_slope for pipe in spec.pipes)
    cells: dict[int, int] = {}
    inverts: dict[int, float] = {}
    losses: dict[int, float] = {}
    lying: dict[int, float] = {}
    for i, collector in enumerate(collectors):
        at = field.nearest_allowed(collector.point.x, collector.point.y)
        if at is None:
            unserved[i] = reason("no_ground_for_line")
            continue
        cells[i] = at[0] * columns + at[1]
        lying[i] = _aside(field, collector.point, at)
        aside = slope * lying[i]
        inverts[i] = collector.invert - aside
        losses[i] = 2.0 * aside + (spec.basin_drop if collector.through else 0.0)
    near = field.nearest_each([outfall.point for outfall in outfalls])
    found = {k: at for k, at in enumerate(near) if at is not None}
    if not found or not cells:
        unserved |= dict.fromkeys(cells, reason("no_outfall_for_line"))
        return None
    rows, columns_at = np.array([*found.values()]).T
    x, y = field.grid.centres(rows, columns_at)
    asides = np.hypot(*(shapely.get_coordinates([outfalls[k].point for k in found]).T - (x, y))).tolist()
    ends = [outfalls[k] if aside == 0.0 else replace(outfalls[k], level=outfalls[k].level + slope * aside)
            for k, aside in zip(found, asides, strict=True)]
    search = prepare_search(field, ends, [r * columns + c for r, c in found.values()], asides, spec)
    return SearchTask(search, collectors, cells, inverts, losses, lying, tuple(found), spec, invert_step, effort)


def _aside(field: RouteField, point: Point, at: tuple[int, int]) -> float:
    """How far a point lies from the centre of the cell that stands for it. [m]"""
    x, y = field.grid.centres(*at)
    return float(np.hypot(point.x - x, point.y - y))


def search_sets(
    task: SearchTask, group: list[int], masks: Sequence[int], bounds: Bounds, upper: FloatArray, ceiling: FloatArray,
    tolerance: float, *, alone: bool, most: int | None = None,
) -> Found | None:
    """Search lines for sets of some collectors; None where that takes more labels than are wanted, or for lines that
    may join once as much was searched as may be."""
    search, spec = task.search, task.spec
    if not alone and not task.effort.left:
        task.effort.cut_short = True
        return None
    chosen = [(mask, pipe) for mask in masks for pipe in task.pipes_for(task.flow_of(group, mask))]
    position = np.full((1 << len(group), len(spec.pipes)), -1)
    for k, (mask, pipe) in enumerate(chosen):
        position[mask, pipe] = k
    basin = np.full(search.cell_onward.shape[0], -1)
    for bit, i in reversed(list(enumerate(group))):
        if task.collectors[i].through:
            basin[task.cells[i]] = bit
    pipes = [spec.pipes[pipe] for _, pipe in chosen]
    # no line ends with a set that is not searched
    limit = np.full_like(ceiling, -np.inf)
    limit[masks] = ceiling[masks]
    near = bounds.everywhere() if alone else bounds.near(masks, np.minimum(upper, limit))
    part = None if alone else search.within(near.cells)
    starts = np.array([(node, bit) for bit, i in enumerate(group) for node in search.nodes_at(task.cells[i])])
    if part is not None:
        starts[:, 0] = part.place[starts[:, 0]]
        starts = starts[starts[:, 0] >= 0]
    sets = RouteSets(
        mask=np.array([mask for mask, _ in chosen]), size=np.array([pipe for _, pipe in chosen]), position=position,
        pipe=np.array([[p.min_slope, p.crown, p.wall, p.wall + spec.bedding, p.cost] for p in pipes]),
        start=starts, collector=np.array([[task.inverts[i], task.losses[i]] for i in group]), basin=basin[near.cells],
        junction=spec.junction, rounding=task.invert_step, tolerance=tolerance,
    )
    row_of = bounds.row_of[[bounds.at(mask, pipe) for mask, pipe in chosen]]
    full, ints, inverts, final, totals = search_forest(
        search.graph if part is None else part.graph, sets, upper.copy(), limit, near.left,
        np.where(row_of < 0, -1, near.place[row_of]), alone, MOST_LABELS if most is None else most)
    task.effort.places += len(ints)
    if part is not None:
        ints[:, 0] = part.nodes[ints[:, 0]]
    return None if full else Found(sets.mask, sets.size, ints, inverts, final, totals)
