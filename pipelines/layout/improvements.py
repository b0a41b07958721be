"""What is built on a way, sized: basins with their grates, drains, channels, outfalls, and what it takes."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.hydraulics.basin_capacity import BasinCapacity, basin_capacity
from pipelines.hydraulics.grate import basin_grates, choose_grate, grate_capacity, ponding_depth
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.design_flows import DesignFlows
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.catching.sites import BasinSite, DrainSite
from pipelines.layout.catching.trench_sizes import DRAIN_PIPE
from pipelines.layout.plan import CatchBasin, ChannelDrain, Fitting, FrenchDrain, Outfall, PipeRun
from pipelines.layout.quantities.quantities import PROTECTED_END, Works
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.way_values import Way
from terrain.reason import Reason, reason

IN_SUMP = 1e-3
"""A sump this near to where a basin was sited stands in its place. [m]"""
OPEN_ENDS = ("swale", "ditch", "pond")
"""Kinds of outfall at which a pipe ends in a bank."""


def improvements_of(catching: Catching, flows: DesignFlows, way: Way, rules: Rules) -> Works:
    """A way's lines with the basins, drains and channels on them."""
    flows = replace(flows, flows=flows.flows | dict(way.flows))
    return replace(
        way.works,
        catch_basins=_basins(catching, flows, way, rules),
        french_drains=(*_drains(catching, flows, way), *way.works.french_drains),
        channel_drains=_channels(catching, flows, way),
        fittings=(*way.works.fittings, *_protected_ends(way)),
    )


def only_served(catching: Catching, way: Way) -> Catching:
    """Collectors that have a line; what could not be tied in is as it was."""
    return replace(
        catching,
        basins=tuple(site for site in catching.basins if site.id in way.served),
        drains=tuple(site for site in catching.drains if (site.into or site.id) in way.served),
        downspouts=tuple(site for site in catching.downspouts if site.id in way.served),
    )


def without_idle(catching: Catching, flows: DesignFlows, rules: Rules) -> Catching:
    """Without drains and basins that would catch next to nothing; the same value where there are none of these."""
    least_drain, least_basin = rules["least_drain_flow"].likely, rules["least_basin_flow"].likely
    drains = tuple(site for site in catching.drains if site.into or flows.flows[site.id] >= least_drain)
    basins = tuple(site for site in catching.basins if site.spot is not None or flows.flows[site.id] >= least_basin)
    if len(drains) == len(catching.drains) and len(basins) == len(catching.basins):
        return catching
    kept = {site.id for site in basins} | {site.id for site in drains}
    dropped = tuple(site.id for site in catching.sites if site.id not in kept and site not in catching.downspouts)
    refused = catching.refused
    if not basins and not drains:
        # nothing else does the job in their stead
        refused = (*refused, reason("caught_too_little", ids=dropped))
    return replace(catching, basins=basins, drains=drains, refused=refused)


def all_outfalls(sites: Sequence[OutfallSite], told: Sequence[Outfall]) -> tuple[Outfall, ...]:
    """Those that are told of already, and the first place of each other one."""
    used = {"-".join(outfall.id.split("-")[:2]) for outfall in told}
    rest: dict[str, OutfallSite] = {}
    for site in sites:
        if site.id not in used:
            rest.setdefault(site.id, site)
    return (
        *told,
        *(
            Outfall(site.id, site.kind, site.point, site.verified, site.level, None, None, None, site.to_confirm,
                    site.high_water, site.given, site.under, site.over, site.moved_from)
            for site in rest.values()
        ),
    )


def what_runs_by(flows: DesignFlows) -> tuple[Reason, ...]:
    """Collectors that do not take all that arrives."""
    return tuple(
        reason("runs_by", id=name, flow=flows.flows[name], more=more) for name, more in flows.short.items()
    )


def _protected_ends(way: Way) -> tuple[Fitting, ...]:
    """Ends of pipe in open ground: cut to the bank's slope, with an animal guard, on a splash pad and stone."""
    outfalls = {outfall.id: outfall for outfall in way.outfalls}
    return tuple(
        Fitting(f"fitting-{run.id}-end", f"{PROTECTED_END} with animal guard and splash pad, {run.size}", run.id,
                Point(run.line.coords[-1][:2]))
        for run in way.works.pipe_runs
        if run.to_id in outfalls and (outfalls[run.to_id].kind in OPEN_ENDS or _comes_out(run))
    )


def _comes_out(run: PipeRun) -> bool:
    """Whether its crown lies over the ground anywhere."""
    pipe = find_pipe(run.pipe_key)
    inverts = shapely.get_coordinates(run.line, include_z=True)[:, 2]
    return bool((inverts + pipe.outside - pipe.wall > np.asarray(run.ground)).any())


def _first_run(name: str, runs: Sequence[PipeRun]) -> PipeRun | None:
    return next((run for run in runs if run.from_id == name), None)


def _basins(catching: Catching, flows: DesignFlows, way: Way, rules: Rules) -> tuple[CatchBasin, ...]:
    head = rules["grate_ponding"].likely
    grates = basin_grates(
        rules["basin_9in_flow"].likely, rules["basin_12in_flow"].likely, open_share=rules["grate_open_area"].likely
    )
    basins: list[CatchBasin] = []
    for site in catching.basins:
        run = _first_run(site.id, way.works.pipe_runs)
        sump = next((each for each in way.works.sumps if shapely.dwithin(each.point, site.point, IN_SUMP)), None)
        if run is None and sump is None:
            continue
        flow = flows.flows[site.id]
        clogging = rules["grate_clogging_trees" if site.under_tree else "grate_clogging"].likely
        grate = choose_grate(flow, head, clogging=clogging, sizes=grates) or grates[-1]
        if run is None:
            assert sump is not None
            takes = BasinCapacity(grate_capacity(grate, head, clogging=clogging), "grate")
            onward, invert = sump.id, sump.inlet_elevation
        else:
            pipe, onward, invert = find_pipe(run.pipe_key), run.id, run.invert_up
            takes = basin_capacity(
                grate, head, rim=site.ground, invert=invert, diameter=pipe.inside,
                slope=max(run.flattest or 0.0, 1e-4), roughness=pipe.roughness, clogging=clogging,
            )
        basins.append(
            CatchBasin(
                id=site.id, drains_to=onward, point=site.point, grate=grate.name, peak_flow=flow,
                capacity=min(takes.flow, way.capacities.get(site.id, takes.flow)), governed_by=takes.governed_by,
                ponding=ponding_depth(grate, flow, clogging=clogging), ground_elevation=site.ground,
                invert_elevation=invert, provisional=False,
                why=_sized_for(site, flows),
            )
        )
    return tuple(basins)


def _sized_for(site: BasinSite, flows: DesignFlows) -> Reason:
    """What a basin is for, and by what it was sized where a pond stores some of the water."""
    if site.spot is None or site.id in flows.short:
        return site.why
    if site.id in flows.caught:
        return reason("basin_that_catches", why=site.why)
    return reason("basin_with_pond", why=site.why)


def _drains(catching: Catching, flows: DesignFlows, way: Way) -> tuple[FrenchDrain, ...]:
    drains: list[FrenchDrain] = []
    for site in catching.drains:
        end = _end_of(site, way)
        if end is None or site.channel:
            continue
        xy = shapely.get_coordinates(site.line)
        drains.append(
            FrenchDrain(
                id=site.id, drains_to=end, line=LineString(np.column_stack([xy, site.inverts])),
                length=site.length, width=site.width, depth=site.depth, pipe=DRAIN_PIPE, slope=site.slope,
                peak_flow=flows.flows[site.id], why=site.why,
            )
        )
    return tuple(drains)


def _end_of(site: DrainSite, way: Way) -> str | None:
    """Id of what takes a drain's water: its own run, or the basin that it ends at or a sump in its place."""
    if not site.into:
        run = _first_run(site.id, way.works.pipe_runs)
        return None if run is None else run.id
    if site.into not in way.served:
        return None
    run = _first_run(site.into, way.works.pipe_runs)
    if run is not None and run.kind != "pressure":
        return site.into
    return next((sump.id for sump in way.works.sumps), site.into)


def _channels(catching: Catching, flows: DesignFlows, way: Way) -> tuple[ChannelDrain, ...]:
    return tuple(
        ChannelDrain(site.id, run.id, site.line, site.length, site.width, flows.flows[site.id], site.why)
        for site in catching.drains
        if site.channel and (run := _first_run(site.id, way.works.pipe_runs)) is not None
    )
