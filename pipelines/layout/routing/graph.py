"""A route field as the graph that the search for gravity lines runs on."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.kernels.forest_state import RouteGraph
from pipelines.layout.routing.kernels.relax import spread_costs
from pipelines.layout.routing.spec import OutfallTarget, RouteSpec
from pipelines.layout.routing.steps import STEPS, shifted, step_middles
from terrain.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class SearchGround:
    """A field as a search sees it.

    Attributes
    ----------
    graph : RouteGraph
        Nodes and steps.
    cell_onward : (cells, ways) int ndarray
        Cell that each step leads to, -1 where it is closed.
    end_nodes : dict of int to int
        Outfall's position by the node at which its lines end.
    """

    graph: RouteGraph
    cell_onward: IntArray
    end_nodes: dict[int, int]

    def nodes_at(self, cell: int) -> list[int]:
        """Nodes of a cell: its own, and those of the end tapers that hold it."""
        return [int(node) for node in np.flatnonzero(self.graph.cell == cell)]

    def within(self, cells: IntArray) -> "PartGraph":
        """The graph of some cells alone."""
        graph = self.graph
        at, place = np.full(self.cell_onward.shape[0], -1), np.full(graph.cell.size + 1, -1)
        at[cells] = np.arange(cells.size)
        nodes = np.flatnonzero(at[graph.cell] >= 0)
        place[nodes] = np.arange(nodes.size)  # its last entry stands for no node
        part = graph._replace(
            cell=at[graph.cell[nodes]], onward=place[graph.onward[nodes]], entry=place[graph.entry[nodes]],
            sibling=place[graph.sibling[nodes]], node=graph.node[nodes], step=graph.step[cells],
        )
        return PartGraph(part, nodes, place)


class PartGraph(NamedTuple):
    """A part of a graph: which node of the whole each of its nodes is, and where each of those stands in it, or -1."""

    graph: RouteGraph
    nodes: IntArray
    place: IntArray


def prepare_search(
    field: RouteField,
    outfalls: Sequence[OutfallTarget],
    outfall_cells: Sequence[int],
    asides: Sequence[float],
    spec: RouteSpec,
) -> SearchGround:
    """The graph of a field with its outfalls, by the steps to the eight neighbours."""
    ways = np.arange(0, len(STEPS), 2)
    onward = cell_steps(field)[:, ways]
    length = field.step_lengths()[ways]
    cells = onward.shape[0]
    tapers = [_taper(onward, length, cell, spec.taper_length - aside)
              for cell, aside in zip(outfall_cells, asides, strict=True)]
    surface, dig = _mean_to_neighbours(field.surface_cost), _mean_to_neighbours(field.dig_factor)
    crossing = field.crossing_cost.reshape(cells, -1)[:, ways]
    need = np.full(cells, np.inf)
    for cell, outfall in zip(outfall_cells, outfalls, strict=True):
        need[cell] = min(need[cell], outfall.level + spec.dig_tolerance)
    fall = np.broadcast_to(length * min(pipe.min_slope for pipe in spec.pipes), onward.shape)
    need = spread_costs(onward, fall.copy(), need, backward=True, most=np.inf)
    nodes = _nodes(onward, tapers, outfalls, spec)
    at = nodes.cell
    graph = RouteGraph(
        cell=at, onward=nodes.onward, entry=nodes.entry, sibling=nodes.sibling,
        node=np.stack([
            field.ground.reshape(-1)[at], (field.ground - field.cover).reshape(-1)[at], field.deepest.reshape(-1)[at],
            nodes.taper_level, nodes.taper_way, nodes.end_level, nodes.end_cost, need[at],
        ], axis=-1),
        step=np.stack([
            surface, dig, crossing,
            field.band_low.reshape(cells, -1)[:, ways], field.band_high.reshape(cells, -1)[:, ways],
            _middle_top(field),
            np.nan_to_num(step_middles(field.deepest, highest=False, every=2).reshape(cells, -1)),
        ], axis=-1),
        length=length, turn=turn_costs(spec, ways.size), trench=np.array([spec.trench_depths, spec.trench_costs]),
    )
    return SearchGround(graph, onward, nodes.ends)


def turn_costs(spec: RouteSpec, directions: int) -> FloatArray:
    """Cost of the fittings between each two directions, infinite above 90 degrees. [money]"""
    units = np.abs(np.subtract.outer(np.arange(directions), np.arange(directions))) * (16 // directions)
    units = np.minimum(units, 16 - units)
    prices = np.array([0.0, spec.bend_22, spec.bend_45, spec.bend_22 + spec.bend_45, 2.0 * spec.bend_45])
    return np.where(units <= 4, prices[np.minimum(units, 4)], np.inf)


def cell_steps(field: RouteField) -> IntArray:
    """The cell that each step leads to."""
    rows, columns = field.grid.shape
    own = np.arange(rows * columns).reshape(rows, columns, 1)
    onward = np.where(field.passable, own + STEPS[:, 0] * columns + STEPS[:, 1], -1)
    return onward.reshape(rows * columns, -1)


@dataclass(slots=True)
class _Nodes:
    cell: IntArray
    onward: IntArray
    entry: IntArray
    sibling: IntArray
    taper_level: FloatArray
    taper_way: FloatArray
    end_level: FloatArray
    end_cost: FloatArray
    ends: dict[int, int]


class _Taper(NamedTuple):
    """Cells of the end taper before an outfall, in their order, and the way from each to the outfall. [m]"""

    cells: IntArray
    way: FloatArray


def _nodes(onward: IntArray, tapers: Sequence[_Taper], outfalls: Sequence[OutfallTarget], spec: RouteSpec) -> _Nodes:
    """One node a cell, and one more for each end taper that holds it: lines enter a taper and don't leave it."""
    cells, ways = onward.shape
    total = cells + sum(taper.cells.size for taper in tapers)
    nodes = _Nodes(
        cell=np.concatenate([np.arange(cells), *(taper.cells for taper in tapers)]).astype(np.int64),
        onward=np.full((total, ways), -1), entry=np.full((total, ways), -1), sibling=np.full(total, -1),
        taper_level=np.full(total, -np.inf), taper_way=np.zeros(total),
        end_level=np.full(total, np.inf), end_cost=np.zeros(total), ends={},
    )
    nodes.onward[:cells] = onward
    first_at = np.full(cells + 1, -1)  # the last entry stands for a closed step
    own = np.full(cells + 1, -1)
    begin = cells
    for position, ((members, way), outfall) in enumerate(zip(tapers, outfalls, strict=True)):
        own[members] = np.arange(begin, begin + members.size)
        here = slice(begin, begin + members.size)
        nodes.onward[here] = own[onward[members]]
        nodes.sibling[here] = first_at[members]
        first_at[members] = own[members]
        nodes.taper_level[here] = outfall.level + spec.dig_tolerance
        nodes.taper_way[here] = way
        end = begin + int(np.argmin(way))
        nodes.end_level[end] = outfall.level + spec.dig_tolerance
        nodes.end_cost[end] = outfall.cost
        nodes.ends[end] = position
        own[members] = -1
        begin += members.size
    nodes.entry[:cells] = first_at[onward]
    return nodes


def _taper(onward: IntArray, length: FloatArray, cell: int, reach: float) -> _Taper:
    """The end taper before an outfall's cell."""
    if reach < length.min():
        return _Taper(np.array([cell]), np.zeros(1))
    start = np.full(onward.shape[0], np.inf)
    start[cell] = 0.0
    way = spread_costs(
        onward, np.broadcast_to(length, onward.shape).copy(), start, backward=True, most=float(reach) + 1e-9
    )
    members = np.flatnonzero(way <= reach + 1e-9)
    return _Taper(members, way[members])


def _middle_top(field: RouteField) -> FloatArray:
    top = step_middles(field.ground, highest=False, every=2) - step_middles(field.cover, highest=True, every=2)
    known: FloatArray = np.nan_to_num(top).reshape(field.ground.size, -1)
    return known


def _mean_to_neighbours(values: FloatArray) -> FloatArray:
    """Mean of the two cells of each step to the eight neighbours, as of `mean_along`. [any]"""
    ends = [0.5 * (values + shifted(values, (int(r), int(c)), np.nan)) for r, c in STEPS[::2]]
    known: FloatArray = np.nan_to_num(np.stack(ends, axis=-1)).reshape(values.size, -1)
    return known


def mean_along(values: FloatArray) -> FloatArray:
    """Mean of what a step runs over: its two cells, and the two that a knight's move passes between. [any]"""
    ends = np.stack([0.5 * (values + shifted(values, (int(r), int(c)), np.nan)) for r, c in STEPS], axis=-1)
    knights = np.arange(len(STEPS)) % 2 == 1
    means = np.where(knights, 0.5 * (ends + step_middles(values, highest=False)), ends)
    known: FloatArray = np.nan_to_num(means).reshape(values.size, -1)
    return known
