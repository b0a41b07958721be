"""Whether soil that is moved, alone or with pipes, ends what is wrong on the grounds that lidar allows."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cure_on_grounds import WorksOnGrounds
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.possible_troubles import soaks_on_lot
from pipelines.layout.diagnosis.protected import arriving_on_grounds, mask_of
from pipelines.layout.parts import SurfaceWork
from pipelines.layout.surface.surface_only import Reshaped
from terrain.arrays import BoolArray
from terrain.grid import Grid
from terrain.lidar.grounds import PossibleGrounds


def ended_on_graded(
    reckoning: Reckoning, today: Diagnosis, lot: Reshaped, catching: Catching, water: LotWater,
    capacities: Mapping[str, float],
) -> BoolArray | None:
    """Whether all that is wrong `today` is within its limit on each ground with soil moved on it, and with works that
    take so much [m3/s]; None where grounds are not counted."""
    grounds = lot.situation.grounds
    if grounds is None:
        return None
    graded = _graded(grounds, lot.works, lot.situation.grid)
    edges = arriving_on_grounds(lot.situation.edges, lot.situation.drainage, graded)
    named = {(edge.kind, edge.name): edge for edge in edges}
    troubles = tuple(
        each if each.edge is None else replace(each, edge=named[each.edge.kind, each.edge.name])
        for each in today.troubles
    )
    counted = WorksOnGrounds.of(
        replace(lot.situation, grounds=graded, edges=edges), replace(today, troubles=troubles), catching, water,
        soaks=soaks_on_lot(lot.situation, reckoning),
    )
    return None if counted is None else counted.ended(capacities)


def _graded(grounds: PossibleGrounds, works: Iterable[SurfaceWork], grid: Grid) -> PossibleGrounds:
    """The same where a crew has graded soil by level: as high over the best estimate as the ground there lies in the
    mean, without its bumps."""
    above = grounds.above.copy()
    for work in works:
        inside = mask_of(work.shape, grid)[grounds.window] if work.shape.area > 0.0 else None
        if inside is not None and inside.any():
            above[:, inside] = above[:, inside].mean(axis=1)[:, None]
    return replace(grounds, above=above)
