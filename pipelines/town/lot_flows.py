"""What one lot's run says of the street: water from other lots, what leaves the lot, where its works let it out."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely import MultiPolygon, Point

from pipelines.deliverables.findings.town import LotOutletLine, Outflow, RunOnLink, Side
from pipelines.hydrology.hydrographs import add_hydrographs
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.diagnosis.division import SIDES, Division, sides_of
from pipelines.layout.diagnosis.lot_water import LotWater, excess_by_cell
from pipelines.layout.planner import LotPlan
from pipelines.lot_stages import LotStages
from terrain.arrays import FloatArray, IntArray
from terrain.flow.cells_to_polygons import label_polygons
from terrain.flow.drainage import Drainage, upstream_labels
from terrain.kernels.routing import accumulate

_SIDES: tuple[Side, ...] = ("edge_n", "edge_e", "edge_s", "edge_w")


def links_of(stages: LotStages, lot: str, parcels: gpd.GeoDataFrame | None = None) -> tuple[RunOnLink, ...]:
    """Water that comes over each side of a lot, and the lot or other ground that it comes from.

    Parameters
    ----------
    stages : LotStages
        Of the lot.
    lot : str
        Its id.
    parcels : GeoDataFrame, optional
        Lots around it in the metric frame, their ids in the column `lot`.

    Returns
    -------
    tuple of RunOnLink
        In the order of sides, the most ground first.
    """
    here, excess = stages.situation, excess_by_cell(stages.division, stages.water, stages.reckoning.surfaces)
    drainage, inside = here.drainage, here.on_parcel.ravel()
    outside = here.studied.ravel() & ~inside
    into = np.flatnonzero(outside & (drainage.target >= 0) & inside[np.maximum(drainage.target, 0)])
    if not into.size:
        return ()
    sides = sides_of(drainage.target[into], here.on_parcel)
    owners = _owners(into, drainage, lot, parcels)
    seeds = np.full(inside.size, -1, dtype=np.int64)
    seeds[into] = np.arange(into.size)
    entry = upstream_labels(drainage, seeds.reshape(here.on_parcel.shape)).ravel()
    own = np.flatnonzero(outside & (entry >= 0))
    cells_of = np.bincount(entry[own], minlength=into.size)
    groups: dict[tuple[int, str], list[int]] = {}
    for number, (side, owner) in enumerate(zip(sides.tolist(), owners, strict=True)):
        groups.setdefault((side, owner), []).append(number)
    links = []
    for (side, owner), entries in groups.items():
        group = own[np.isin(entry[own], entries)]
        flow = _share_of(stages.division, stages.water, excess.ravel(), group)
        most = into[entries[int(np.argmax(cells_of[entries]))]]
        links.append(
            RunOnLink(
                owner,
                lot,
                _SIDES[side],
                float(group.size) * here.grid.cell_area,
                flow.peak,
                flow.volume,
                _place(stages, int(most)),
            )
        )
    return tuple(sorted(links, key=lambda each: (each.side, -each.area, each.from_lot)))


def outflows_of(stages: LotStages, lot: str, *, planned: bool) -> tuple[Outflow, ...]:
    """What leaves a lot: in the design storm over its sides, as it is and with improvements; out of works in each."""
    rain = stages.reckoning.rain.return_period
    places = _exits(stages)
    found = list(_over_sides(lot, stages.water.leaving, places, rain, built=False))
    if not planned:
        return tuple(found)
    plan = stages.planned
    found += _over_sides(lot, plan.water.leaving, places, rain, built=True)
    points = {each.id: stages.frame.to_map(each.point) for each in plan.plan.outfalls}
    works = _works_of(plan)
    for storm in stages.storms:
        years = storm.rain.return_period
        for outfall, flow in _let_out(plan, storm.after).items():
            if outfall in points and flow.volume > 0.0:
                found.append(Outflow(lot, outfall, "works", True, points[outfall], years, flow.step, flow.flow))
        for side, flow in works.passed_on(storm.after).items():
            if flow.volume > 0.0 and side in places:
                found.append(
                    Outflow(lot, f"past-works-{side}", "surface", True, places[side], years, flow.step, flow.flow)
                )
    return tuple(found)


def outlets_of(stages: LotStages) -> tuple[LotOutletLine, ...]:
    """Where a lot's works let water out, each with the last run of its line."""
    plan, frame = stages.planned.plan, stages.frame
    found = []
    for outfall in plan.outfalls:
        own = [run for run in plan.pipe_runs if run.to_id == outfall.id]
        gravity = [run for run in own if run.kind == "gravity"]
        if not own:
            continue
        last = max(gravity, key=lambda run: run.peak_flow, default=None)
        found.append(
            LotOutletLine(
                outfall.id,
                outfall.kind,
                frame.to_map(outfall.point),
                sum(run.peak_flow for run in own),
                len(gravity) < len(own),
                None if last is None else frame.to_map(last.line),
                "" if last is None else last.pipe_key,
                0.0 if last is None else last.peak_flow,
            )
        )
    return tuple(found)


def piped_of(stages: LotStages) -> MultiPolygon | None:
    """Ground whose water comes to a lot's works, run-on included; None where there are none."""
    plan = stages.planned
    places = _works_of(plan).collected
    cells = [region.cells for region in plan.division.regions if region.place in places]
    if not cells:
        return None
    grid = stages.situation.grid
    labels = np.full(grid.shape, -1, dtype=np.int64)
    labels.ravel()[np.concatenate(cells)] = 0
    shape = stages.frame.to_map(label_polygons(labels, grid)[0])
    return shape if isinstance(shape, MultiPolygon) else MultiPolygon([shape])


@dataclass(frozen=True, slots=True, eq=False)
class _Works:
    """Places of a division at which works take water, and those whose water comes to such a place in the end."""

    division: Division
    takes: Mapping[str, str]
    collected: frozenset[str]

    def passed_on(self, water: LotWater) -> dict[str, Hydrograph]:
        """By side: water that came to works and that they let by."""
        parts: dict[str, list[Hydrograph]] = {}
        for place in self.division.places:
            if place.id not in self.takes:
                continue
            if place.kind == "spot":
                onward = water.standing[place.id].spill
            else:
                arrives, taken = water.arriving[place.id], water.taken[place.id]
                onward = Hydrograph(arrives.step, np.maximum(arrives.flow - taken.flow, 0.0))
            end = self.division.next_place[place.id]
            while end in self.division.next_place and end not in self.takes:
                end = self.division.next_place[end]
            if end in SIDES:
                parts.setdefault(end, []).append(onward)
        return {side: add_hydrographs(several) for side, several in parts.items()}


def _works_of(plan: LotPlan) -> _Works:
    basins = {basin.spot: basin.id for basin in plan.built.basins if basin.spot is not None}
    takes = {
        place.id: basins.get(place.id, place.id)
        for place in plan.division.places
        if place.id in basins or (place.kind == "taker" and place.id in plan.water.taken)
    }
    collected = set(takes)
    # a hollow that spills to works is theirs too
    for place in reversed(plan.division.places):
        if plan.division.next_place[place.id] in collected:
            collected.add(place.id)
    return _Works(plan.division, takes, frozenset(collected))


def _let_out(plan: LotPlan, water: LotWater) -> dict[str, Hydrograph]:
    """What comes out at each outfall."""
    parts: dict[str, list[Hydrograph]] = {}
    for name, outfall in plan.served.items():
        if name in water.taken:
            parts.setdefault(outfall, []).append(water.taken[name])
    return {
        outfall: held_to(add_hydrographs(several), plan.limits.get(outfall, np.inf))
        for outfall, several in parts.items()
    }


def held_to(inflow: Hydrograph, limit: float) -> Hydrograph:
    """A flow let on no faster than a limit; what waits meanwhile follows, so that the volume stays. [m3/s]"""
    if inflow.peak <= limit or limit <= 0.0:
        return inflow
    waiting, out = 0.0, []
    for flow in inflow.flow.tolist():
        waiting += flow
        out.append(min(waiting, limit))
        waiting -= out[-1]
    whole, rest = divmod(waiting, limit)
    return Hydrograph(inflow.step, np.array([*out, *[limit] * int(whole), rest]))


def _share_of(division: Division, water: LotWater, excess: FloatArray, cells: IntArray) -> Hydrograph:
    """Flow of some cells: of each region's hydrograph their share of its runoff."""
    wanted = np.zeros(excess.size, dtype=np.bool_)
    wanted[cells] = True
    parts = [Hydrograph(water.runoff[0].hydrograph.step, np.zeros(2))]
    for region, row in zip(division.regions, water.runoff, strict=True):
        share = excess[region.cells]
        whole = float(share.sum())
        part = float(share[wanted[region.cells]].sum())
        if part > 0.0:
            parts.append(Hydrograph(row.hydrograph.step, row.hydrograph.flow * (part / whole)))
    return add_hydrographs(parts)


def _owners(cells: IntArray, drainage: Drainage, lot: str, parcels: gpd.GeoDataFrame | None) -> list[str]:
    """Id of the lot that holds each cell's middle, empty for ground of none."""
    if parcels is None or parcels.empty:
        return [""] * cells.size
    names = parcels["lot"].to_numpy().astype(str)
    others = np.flatnonzero(names != lot)
    grid = drainage.ground.grid
    points = shapely.points(*grid.centres(cells // grid.shape[1], cells % grid.shape[1]))
    at, which = shapely.STRtree(parcels.geometry.to_numpy()[others]).query(points, predicate="intersects")
    owners = [""] * cells.size
    for cell, parcel in zip(at.tolist(), names[others[which]].tolist(), strict=True):
        owners[cell] = owners[cell] or parcel
    return owners


def _exits(stages: LotStages) -> dict[str, Point]:
    """By side: where most ground's water leaves the lot, in the map's CRS."""
    here = stages.situation
    target, inside = here.drainage.target, here.on_parcel.ravel()
    out = np.flatnonzero(inside & ((target < 0) | ~inside[np.maximum(target, 0)]))
    if not out.size:
        return {}
    passing = accumulate(target, here.drainage.order, here.studied.ravel().astype(np.float64))[out]
    sides = sides_of(out, here.on_parcel)
    return {
        SIDES[side]: _place(stages, int(out[np.where(sides == side, passing, -1.0).argmax()]))
        for side in np.unique(sides).tolist()
    }


def _place(stages: LotStages, cell: int) -> Point:
    grid = stages.situation.grid
    x, y = grid.centres(*divmod(cell, grid.shape[1]))
    point: Point = stages.frame.to_map(Point(float(x), float(y)))
    return point


def _over_sides(
    lot: str, leaving: Mapping[str, Hydrograph], places: Mapping[str, Point], storm: float | None, *, built: bool
) -> Iterable[Outflow]:
    for side, flow in leaving.items():
        if flow.volume > 0.0 and side in places:
            yield Outflow(lot, side, "surface", built, places[side], storm, flow.step, flow.flow)


def most_leaves(outflows: Sequence[Outflow]) -> str:
    """Side over which most water leaves a lot as it is, empty where none does."""
    now = [each for each in outflows if each.kind == "surface" and not each.built]
    return max(now, key=lambda each: float(each.flow.sum()) * each.step).id if now else ""
