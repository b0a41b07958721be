"""On which of the grounds that lidar allows works end what is wrong, whatever they take."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import shapely
from scipy.ndimage import binary_dilation, label

from pipelines.layout.catching.design_flows import tolerated_over_grate
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DownspoutSite, DrainSite
from pipelines.layout.diagnosis.diagnose import Diagnosis, unit_peak
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.possible_troubles import places_of
from pipelines.layout.diagnosis.protected import last_steps_onto, mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import SpotPlace, Trouble
from terrain.arrays import BoolArray, FloatArray, IntArray
from terrain.flow.on_grounds import Flow, flow_on_best, flow_on_each
from terrain.ground import OPEN
from terrain.kernels.routing import met_on_way
from terrain.reason import Reason

Site = BasinSite | DrainSite | DownspoutSite
WET = 1e-6
"""Ground under less water is dry. [m]"""
NO_WATER = 1e-9
"""Flow under which nothing comes. [m3/s]"""


class _Taker(NamedTuple):
    """Cells of the window at which works take water: of a downspout its roof's, of a basin at a pond those where a crew
    may set it; and what comes to such a basin as shares of its peak, in steps of so long [s]."""

    cells: IntArray
    at: Literal["ground", "roof", "pond"] = "ground"
    comes: FloatArray = np.ones(1)
    step: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _RunsAt:
    """An edge at which too much runs: what may [m3/s], its cells and open ones in the window, ground that drains onto
    it on each ground [m2], and which takers are near."""

    most: float
    inside: BoolArray
    is_open: BoolArray
    on_grounds: FloatArray
    near: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class _StandsAt:
    """Ground of a place in a low spot, how deep water may stand without and with a grate [m], how long there [s]."""

    cells: IntArray
    needed: float
    over_grate: float
    longest: float


class _Steps(NamedTuple):
    """What runs at an edge of one ground without works [m3/s] at cells counted among those of the ground, and what
    takes it there or right behind it, by taker."""

    flow: FloatArray
    at: IntArray
    behind: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class _WithWorks:
    """One ground with works at their places.

    Attributes
    ----------
    comes : (exits,) float ndarray
        What comes to each cell from which water goes on past works, without any. [m3/s]
    taker, at : (exits,) int ndarray
        The works there, and the cell's number among those that count.
    met : (exits, cells) bool ndarray
        Which of these the water meets from each exit on.
    order : tuple of int
        Works from upstream to downstream.
    held : (takers,) float ndarray
        What a pond holds over its grate. [m3]
    edges : tuple of _Steps
        What runs at each edge.
    needs : (takers,) float ndarray
        Least that each must take for what stands to leave in time; infinite where no works drain it. [m3/s]
    drained : bool
        Whether all that stands has works that drain it.
    """

    comes: FloatArray
    taker: IntArray
    at: IntArray
    met: BoolArray
    order: tuple[int, ...]
    held: FloatArray
    edges: tuple[_Steps, ...]
    needs: FloatArray
    drained: bool

    def passes(
        self, takers: Sequence[_Taker], lets_by: Callable[[int, float], float]
    ) -> tuple[FloatArray, FloatArray]:
        """What comes to each of the works, and what is taken at each exit, from upstream down [m3/s]; `lets_by` tells
        of each what share goes on."""
        comes, taken = np.zeros(len(takers)), np.zeros(self.comes.size)
        for number in self.order:
            own = np.flatnonzero(self.taker == number)
            come = self.comes[own]
            if takers[number].at != "roof":
                come = np.maximum(come - taken @ self.met[:, self.at[own]], 0.0)
            comes[number] = come.sum()
            taken[own] = (1.0 - lets_by(number, float(comes[number]))) * come
        return comes, taken


@dataclass(frozen=True, slots=True, eq=False)
class WorksOnGrounds:
    """Works at their places on each ground that lidar allows, for any flows that they take.

    Each trouble is held against its limit: what runs at an edge at the storm's peak less what works take of it before
    or right behind it, and a pond drawn down to its grate if what it holds leaves in the time that is tolerated. What
    comes to a basin's pond comes as it does on the likeliest ground times what drains there; the pond fills before it
    lets anything by. A crew sets a basin at the lowest ground that it finds near where it is drawn.
    """

    ids: tuple[str, ...]
    takers: tuple[_Taker, ...]
    times: FloatArray
    """What comes to each of the works on the likeliest ground, over that of as much ground of all kinds. [-]"""
    most: tuple[float, ...]
    grounds: tuple[_WithWorks, ...]

    @classmethod
    def of(
        cls, situation: Situation, found: Diagnosis, catching: Catching, water: LotWater, *, soaks: float
    ) -> "WorksOnGrounds | None":
        """Works of a siting, `water` of the likeliest ground with them, `soaks` what the soil takes in [m/s]; None
        where grounds are not counted."""
        grounds = situation.grounds
        if grounds is None or not found.troubles:
            return None
        unit = unit_peak(found.water)
        sites = [site for site in catching.sites if not (isinstance(site, DrainSite) and site.into)]
        takers = tuple(_taker(site, situation, water) for site in sites)
        running = [_running(each, found, situation, sites) for each in found.troubles if each.edge is not None]
        kinds = {name: cells for name, _, cells, _ in places_of(situation, found.rules)}
        standing = [
            _standing(place, each.spot, situation, found, soaks, kinds)
            for each in found.troubles if each.spot is not None for place in each.spot.every
        ]
        elevation, cell_area = situation.drainage.ground.elevation[grounds.window], situation.grid.cell_area
        laid = tuple(
            _ground(number, flow, elevation + grounds.above[number], takers, running, standing, unit, cell_area)
            for number, flow in enumerate(flow_on_each(situation.drainage, grounds))
        )
        best = _ground(0, flow_on_best(situation.drainage, grounds), elevation, takers, (), (), unit, cell_area)
        ids = tuple(site.id for site in sites)
        comes, takes = (
            np.array([some[name].peak if name in some else 0.0 for name in ids])
            for some in (water.arriving, water.taken)
        )
        left = np.where(comes > NO_WATER, 1.0 - takes / np.maximum(comes, NO_WATER), 1.0)
        there, _ = best.passes(takers, lambda number, come: left[number])
        times = np.where((there > NO_WATER) & (comes > NO_WATER), comes / np.maximum(there, NO_WATER), 1.0)
        return cls(ids, takers, times, tuple(each.most for each in running), laid)

    def ended(self, capacities: Mapping[str, float]) -> BoolArray:
        """Whether works that take so much [m3/s] end every trouble, on each ground; what is not named takes nothing."""
        takes = np.array([capacities.get(name, 0.0) for name in self.ids])
        return np.array([self._ends(ground, takes) for ground in self.grounds])

    def comes_on(self, share: float) -> dict[str, float]:
        """What comes to each of the works at the peak on so many of the grounds at most, without the others. [m3/s]"""
        comes = self.times * [ground.passes(self.takers, lambda number, come: 1.0)[0] for ground in self.grounds]
        return dict(zip(self.ids, np.quantile(comes, share, axis=0).tolist(), strict=True))

    def _ends(self, ground: _WithWorks, takes: FloatArray) -> bool:
        if not ground.drained or np.any(takes < ground.needs):
            return False
        left = np.ones(takes.size)

        def lets_by(number: int, come: float) -> float:
            left[number] = _lets_by(
                self.takers[number], takes[number], self.times[number] * come, ground.held[number]
            )
            return float(left[number])

        _, taken = ground.passes(self.takers, lets_by)
        for edge, most in zip(ground.edges, self.most, strict=True):
            run = np.maximum(edge.flow - taken @ ground.met[:, edge.at], 0.0)
            if float(run @ np.where(edge.behind, left, 1.0).prod(axis=1)) > most:
                return False
        return True


def _lets_by(taker: _Taker, takes: float, comes: float, held: float) -> float:
    """Share of a peak [m3/s] that works let by. [-]"""
    if comes <= NO_WATER:
        return 0.0
    stays = np.cumsum(np.maximum(taker.comes * comes - takes, 0.0)) * taker.step
    spills = stays >= held
    return float(np.max(taker.comes[spills] - takes / comes, initial=0.0))


def _ground(
    number: int, flow: Flow, heights: FloatArray, takers: Sequence[_Taker], running: Sequence[_RunsAt],
    standing: Sequence[_StandsAt], unit: float, cell_area: float,
) -> _WithWorks:
    labels, _ = label(flow.depth.reshape(heights.shape) > WET, structure=np.ones((3, 3)))
    ponds, heights = labels.ravel(), heights.ravel()
    grates = [_grate(taker, heights, ponds) for taker in takers]
    held = np.array([_held(grate, flow, heights, ponds) * cell_area for grate in grates])
    exits = [_exits(taker, grate, flow, ponds) for taker, grate in zip(takers, grates, strict=True)]
    steps = [last_steps_onto(edge.inside, flow, edge.is_open) for edge in running]
    cells, at = np.unique(np.concatenate([*exits, *steps, np.empty(0, dtype=np.int64)]), return_inverse=True)
    met = met_on_way(flow.target, cells)
    parts = np.split(at, np.cumsum([part.size for part in (*exits, *steps)])[:-1])
    own = parts[: len(takers)]
    taker = np.repeat(np.arange(len(takers)), [part.size for part in own])
    here = np.concatenate([*own, np.empty(0, dtype=np.int64)]).astype(np.int64)
    area = flow.area[cells]
    furthest = [float(area[part].max(initial=0.0)) for part in own]
    needs, drained = _needs(standing, flow, heights, ponds, grates, held, len(takers))
    comes = np.concatenate([*(_comes(each, out, flow) for each, out in zip(takers, exits, strict=True)), np.empty(0)])
    return _WithWorks(
        comes * unit, taker, here, met[here], tuple(np.argsort(furthest, kind="stable").tolist()), held,
        tuple(
            _at_edge(edge, number, part, area, met, taker, here, unit)
            for edge, part in zip(running, parts[len(takers) : len(takers) + len(running)], strict=True)
        ),
        needs, drained,
    )


def _at_edge(
    edge: _RunsAt, number: int, at: IntArray, area: FloatArray, met: BoolArray, taker: IntArray, here: IntArray,
    unit: float,
) -> _Steps:
    # what comes from beyond the window comes in the same share
    times = edge.on_grounds[number] / max(float(area[at].sum()), 1e-9)
    behind = np.zeros((at.size, edge.near.size), dtype=bool)
    near = np.flatnonzero(edge.near[taker])
    for row, cell in enumerate(at.tolist()):
        onward = near[met[cell, here[near]]]
        if onward.size:
            # the nearest on the way drains the least ground
            first = area[here[onward]].min()
            behind[row, taker[onward[area[here[onward]] == first]]] = True
    return _Steps(area[at] * unit * times, at, behind)


def _grate(taker: _Taker, heights: FloatArray, ponds: IntArray) -> int | None:
    """Where a crew sets a basin that is to drain a pond: at the lowest wet ground, or the lowest where all is dry."""
    if taker.at != "pond":
        return None
    wet = taker.cells[ponds[taker.cells] > 0]
    cells = wet if wet.size else taker.cells
    return int(cells[np.argmin(heights[cells])]) if cells.size else None


def _held(grate: int | None, flow: Flow, heights: FloatArray, ponds: IntArray) -> float:
    """Depth of water over a grate's level, summed over the cells of its pond. [m]"""
    if grate is None or not ponds[grate]:
        return 0.0
    own = np.flatnonzero(ponds == ponds[grate])
    depth = flow.depth[own]
    return float(np.clip(heights[own] + depth - heights[grate], 0.0, depth).sum())


def _exits(taker: _Taker, grate: int | None, flow: Flow, ponds: IntArray) -> IntArray:
    """Cells from which the water that comes to works goes on: of a pond those at its rim, of a roof those that it lets
    its water down to."""
    target = flow.target
    if taker.at == "roof":
        lets_down = target[taker.cells]
        return np.unique(lets_down[lets_down >= 0])
    if grate is None:
        cells = np.unique(taker.cells)
    else:
        cells = np.flatnonzero(ponds == ponds[grate]) if ponds[grate] else np.array([grate])
    own = np.zeros(target.size, dtype=bool)
    own[cells] = True
    beyond = target[cells]
    rim: IntArray = cells[(beyond < 0) | ~own[beyond]]
    return rim


def _comes(taker: _Taker, exits: IntArray, flow: Flow) -> FloatArray:
    """Ground, or roof, whose water goes on at each of them. [m2]"""
    if taker.at != "roof":
        return flow.area[exits]
    cells = taker.cells[flow.target[taker.cells] >= 0]
    return np.bincount(
        np.searchsorted(exits, flow.target[cells]), flow.area[cells], minlength=exits.size
    ).astype(np.float64)


def _needs(
    standing: Sequence[_StandsAt], flow: Flow, heights: FloatArray, ponds: IntArray, grates: Sequence[int | None],
    held: FloatArray, takers: int,
) -> tuple[FloatArray, bool]:
    """Least that each of the works must take for what stands to leave in time [m3/s], and whether all has some."""
    drained = {int(ponds[grate]): number for number, grate in enumerate(grates) if grate is not None and ponds[grate]}
    needs = np.zeros(takers)
    for place in standing:
        deep = place.cells[flow.depth[place.cells] > place.needed]
        for pond in np.unique(ponds[deep]).tolist():
            number = drained.get(pond)
            grate = None if number is None else grates[number]
            if number is None or grate is None:
                return needs, False
            own = place.cells[ponds[place.cells] == pond]
            if float(heights[grate] - heights[own].min()) > place.over_grate:
                return needs, False
            needs[number] = max(needs[number], held[number] / max(place.longest, 1.0))
    return needs, True


def _taker(site: Site, situation: Situation, water: LotWater) -> _Taker:
    if not (isinstance(site, BasinSite) and site.spot is not None):
        roof = isinstance(site, DownspoutSite)
        return _Taker(_in_window(site.cells, situation), "roof" if roof else "ground")
    reach = max(situation.rules["grate_set_within"].likely, situation.grid.cell_width)
    ground = situation.drainage.ground
    inside = mask_of(shapely.buffer(site.point, reach), situation.grid) & situation.on_parcel & (ground.kind == OPEN)
    cells = _in_window(np.flatnonzero(inside), situation)
    comes = water.arriving.get(site.id)
    if comes is None or comes.peak <= NO_WATER:
        return _Taker(cells, "pond")
    return _Taker(cells, "pond", comes.flow / comes.peak, comes.step)


def _running(trouble: Trouble, found: Diagnosis, situation: Situation, sites: Sequence[Site]) -> _RunsAt:
    edge, rules = trouble.edge, found.rules
    assert edge is not None
    assert situation.grounds is not None
    most = rules.arriving_wall if edge.kind == "wall" else rules.arriving_paving
    stands = any(each.spot is not None and each.name == trouble.name for each in found.troubles)
    if trouble.why["seen"] is not None or stands:
        most *= rules.seen_share
    near = [
        not isinstance(site, DownspoutSite)
        and shapely.distance(edge.shape, site.line if isinstance(site, DrainSite) else site.point)
        <= rules.complaint_reach
        for site in sites
    ]
    window = situation.grounds.window
    return _RunsAt(
        most, mask_of(edge.shape, situation.grid)[window].ravel(),
        situation.drainage.ground.kind[window].ravel() == OPEN, edge.on_grounds, np.array(near, dtype=bool),
    )


def _standing(
    place: SpotPlace, trouble: SpotPlace, situation: Situation, found: Diagnosis, soaks: float,
    ground: Mapping[Reason, IntArray],
) -> _StandsAt:
    tolerated, grate = found.rules.at(place.place), tolerated_over_grate(place, found.rules, situation.rules)
    spot = np.zeros(situation.grid.shape, dtype=bool)
    spot.ravel()[trouble.spot.cells] = True
    here = _in_window(np.flatnonzero(binary_dilation(spot, np.ones((3, 3)))), situation)
    own = ground.get(place.name)
    return _StandsAt(
        here if own is None else np.intersect1d(here, own),
        max(tolerated.depth + soaks * tolerated.duration, found.rules.film),
        max(grate.depth, found.rules.film), grate.duration,
    )


def _in_window(cells: IntArray, situation: Situation) -> IntArray:
    assert situation.grounds is not None
    rows, columns = situation.grounds.window
    row, column = np.divmod(cells, situation.grid.shape[1])
    row, column = row - rows.start, column - columns.start
    height, width = rows.stop - rows.start, columns.stop - columns.start
    inside = (row >= 0) & (row < height) & (column >= 0) & (column < width)
    found: IntArray = row[inside] * width + column[inside]
    return found
