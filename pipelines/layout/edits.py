"""What a person struck out or moved in the layers of earlier steps, put in place of what a stage found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.catching.design_flows import run_with_works, works_division
from pipelines.layout.catching.proposal import catch_ground
from pipelines.layout.catching.sites import BasinSite, CatchGround, LayoutError
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.options import PlanInputs, price_works
from pipelines.layout.plan import PipeRun
from pipelines.layout.planner import LotPlan, Sited
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.surface.surface_only import dry_where_gone
from terrain.arrays import BoolArray
from terrain.flow.low_spots import LowSpot
from terrain.sampling import sample_known

SAME_AREA = 0.01
"""Share by which the area of a low spot's shape may differ from its cells'. [-]"""
SAME_PLACE = 0.001
"""A point this near is where it was: a file keeps no more digits for sure. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class Edits:
    """What is left of what earlier stages found; None, or a layer that is not named, for all of it.

    Attributes
    ----------
    low_spots : mapping of str to float, or None
        Area by id. [m2]
    collectors : mapping of str to shapely Geometry, or None
        Place by id. [m]
    works : mapping of str to frozenset of str
        Ids by layer: catch_basins, french_drains, channel_drains, pipe_runs, sumps.
    """

    low_spots: Mapping[str, float] | None = None
    collectors: Mapping[str, shapely.Geometry] | None = None
    works: Mapping[str, frozenset[str]] | None = None


NO_EDITS = Edits()


def edited_spots(found: Sequence[LowSpot], studied: BoolArray, edits: Edits) -> tuple[LowSpot, ...]:
    """Low spots that are left; a layer holds those that touch studied ground alone."""
    left = edits.low_spots
    if left is None:
        return tuple(found)
    area = {spot.id: spot.area for spot in found}
    other = [name for name in left if name not in area or not np.isclose(left[name], area[name], rtol=SAME_AREA)]
    if other:
        raise LayoutError(
            f"low spots: {', '.join(other)} of the file are not those of this ground and these rules; make the file "
            "anew with them, and strike out again"
        )
    inside = studied.ravel()
    return tuple(spot for spot in found if spot.id in left or not inside[spot.cells].any())


def edited_sites(sited: Sited, situation: Situation, edits: Edits) -> Sited:
    """Collectors that are left, basins where they were moved to."""
    left = edits.collectors
    if left is None:
        return sited
    catching, ground = sited.catching, catch_ground(situation)
    other = left.keys() - {site.id for site in catching.sites}
    if other:
        raise LayoutError(
            f"collectors: {', '.join(sorted(other))} of the file are not among what is sited here; give the files that "
            "siting had, and put a basin of your own into the site file, as [layout] basins"
        )
    basins = tuple(_moved(site, left[site.id], ground, situation) for site in catching.basins if site.id in left)
    drains = tuple(site for site in catching.drains if site.id in left)
    if basins == catching.basins and drains == catching.drains:
        return sited
    spouts = catching.downspouts if basins or drains else ()
    # what a person struck out or moved is not weighed against another siting
    return replace(sited, catching=replace(catching, basins=basins, drains=drains, downspouts=spouts), edited=True)


def edited_plan(planned: LotPlan, inputs: PlanInputs, edits: Edits) -> LotPlan:
    """What is left of a plan, priced again, and the storm with it; what is said of the whole plan stays."""
    left, plan = edits.works, planned.plan
    if left is None:
        return planned
    rows = {name: getattr(plan, name) for name in Works.__dataclass_fields__}
    other = {name for layer in left for name in left[layer]} - {row.id for layer in left for row in rows[layer]}
    if other:
        raise LayoutError(
            f"improvements: {', '.join(sorted(other))} of the file are not among what is laid here; give the files "
            "that routing had"
        )
    struck = {row.id for name in left for row in rows[name] if row.id not in left[name]}
    dead = _fed_into(struck, plan.pipe_runs)
    # stone that ends in a basin goes with it
    struck |= {basin.id for basin in plan.catch_basins if _goes(basin, struck, "catch_basins")}
    works = Works(**{name: tuple(row for row in rows[name] if not _goes(row, struck, name)) for name in rows})
    found, lot = planned.diagnosis, planned.reshaped
    if lot is not None:
        # lines lie on the lot with its soil moved
        inputs, found = replace(inputs, situation=lot.situation, earth=lot.works), lot.found
    lines, _ = price_works(inputs, works)
    plan = replace(plan, **{name: getattr(works, name) for name in rows}, take_off=lines)
    if not dead.intersection(planned.served):
        return replace(planned, plan=plan)
    catching = planned.built
    built = replace(
        catching,
        basins=tuple(site for site in catching.basins if site.id not in dead),
        drains=tuple(site for site in catching.drains if not dead.intersection((site.id, site.into))),
        downspouts=tuple(site for site in catching.downspouts if site.id not in dead),
    )
    capacities = {name: flow for name, flow in planned.capacities.items() if name not in dead}
    division = works_division(inputs.situation, built)
    water = run_with_works(inputs.situation, inputs.reckoning, found, built, division, capacities)
    if lot is not None:
        water = dry_where_gone(water, planned.diagnosis.water)
    served = {name: end for name, end in planned.served.items() if name not in dead}
    return replace(
        planned, plan=plan, built=built, capacities=capacities, division=division, water=water, served=served
    )


def _goes(row: object, struck: set[str], name: str) -> bool:
    """Struck out itself, or set on a run that is."""
    run = {"fittings": "on_run", "pipe_runs": "id", "sumps": "id"}.get(name, "drains_to")
    return not struck.isdisjoint((getattr(row, "id", ""), getattr(row, run)))


def _fed_into(struck: set[str], runs: tuple[PipeRun, ...]) -> set[str]:
    """Ids whose water goes nowhere since something below them is struck out."""
    dead = struck | {run.from_id for run in runs if run.id in struck}
    while more := {end for run in runs if run.to_id in dead for end in (run.id, run.from_id)} - dead:
        dead |= more
    return dead


def _moved(site: BasinSite, place: shapely.Geometry, ground: CatchGround, situation: Situation) -> BasinSite:
    """A basin where it was moved to: there it takes the low spot that it stands in, or what runs by."""
    point = Point(place.x, place.y)
    if shapely.dwithin(site.point, point, SAME_PLACE):
        return site
    grid = situation.grid
    height = float(sample_known(situation.drainage.ground.elevation, grid, np.array([point.x]), np.array([point.y]))[0])
    if not np.isfinite(height):
        raise LayoutError(f"{site.id} was moved to where the ground is not known; put it on known ground of the lot")
    row, column = grid.cells(point.x, point.y)
    cell = int(row) * grid.shape[1] + int(column)
    spot = next((spot.id for spot in situation.counted_spots if cell in spot.cells), None)
    return replace(ground.basin(0, point, height, spot, site.why), id=site.id)
