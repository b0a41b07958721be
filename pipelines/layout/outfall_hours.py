"""The hours that ponds stand, held against the water in the outfall as it rises and falls through the storm."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import full_barrel_loss
from pipelines.hydraulics.held_back import HeldBack
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.catching.design_flows import run_with_works
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.cured import told_left, troubles_left
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import PipeRun
from pipelines.layout.swale.found_outfall import OutfallLook
from pipelines.layout.ways.way_values import Way
from terrain.reason import Reason, reason


@dataclass(frozen=True, slots=True, eq=False)
class InFullStorm:
    """The storm with its outfalls' own water, and what that makes of the outfalls."""

    water: LotWater
    looks: tuple[OutfallLook, ...]
    held: Mapping[str, HeldBack] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class LotWithWorks:
    """What the storm is run on again."""

    situation: Situation
    reckoning: Reckoning
    found: Diagnosis
    served: Catching
    division: Division

    def storm(self, capacities: Mapping[str, float], held: Mapping[str, HeldBack]) -> LotWater:
        """The storm with works of given capacities, some held back by the water that they end in."""
        return run_with_works(
            self.situation, self.reckoning, self.found, self.served, self.division, capacities, held
        )


def with_outfall_water(
    lot: LotWithWorks, free: LotWater, chosen: Way, looks: tuple[OutfallLook, ...]
) -> InFullStorm:
    """The storm once more with what the outfalls hold back; an outfall that makes a place miss its hours is none.

    `free` is the storm with every outlet free. Nobody can tell where that hangs on the lidar's error or on a culvert
    that is suspected.
    """
    runs = chosen.works.pipe_runs
    held = held_back(runs, chosen.served, looks)
    if not held:
        return InFullStorm(free, looks)
    water = lot.storm(chosen.capacities, held)
    rules = lot.situation.rules
    ended = [each.ended for each in troubles_left(lot.found, lot.served, lot.division, free, rules)]
    with_water = troubles_left(lot.found, lot.served, lot.division, water, rules)
    missed = [k for k, each in enumerate(with_water) if ended[k] and not each.ended]
    if not missed:
        return InFullStorm(water, looks, held)
    at_least = troubles_left(
        lot.found, lot.served, lot.division,
        lot.storm(chosen.capacities, held_back(runs, chosen.served, looks, lower=True)), rules,
    )  # fmt: skip
    surely = any(not at_least[k].ended for k in missed)
    told = tuple(told_left(with_water[k]) for k in missed)
    crowns: dict[str, float] = {}
    for name, each in held.items():
        crowns[chosen.served[name]] = min(each.crown, crowns.get(chosen.served[name], each.crown))
    found = []
    for look in looks:
        if look.outfall in crowns and look.state != "no":
            sure = surely and not look.suspected
            over = float(look.stage.max()) - crowns[look.outfall]
            why = reason("outfall_holds_back", outfall=look.outfall, over=over, left=told, sure=sure)
            look = replace(look, state="no" if sure else "cannot_tell", why=why)
        found.append(look)
    return InFullStorm(water, tuple(found), held)


def held_back(
    runs: Sequence[PipeRun], served: Mapping[str, str], looks: Sequence[OutfallLook], *, lower: bool = False
) -> dict[str, HeldBack]:
    """By collector whose gravity line ends in water above its crown: what holds it back; lower by the lidar's error.

    References
    ----------
    .. [1] As of `pipelines.hydraulics.channel.culvert.full_barrel_loss`, run by run.
    """
    stages = {look.outfall: look for look in looks if look.stage.size}
    found: dict[str, HeldBack] = {}
    for name, outfall in served.items():
        look = stages.get(outfall)
        line = None if look is None else _line_down(name, outfall, runs)
        if look is None or line is None:
            continue
        crown, head = line
        stage = look.stage - (look.error if lower else 0.0)
        if float(stage.max()) > crown:
            found[name] = HeldBack(crown, head, stage, look.step)
    return found


def _line_down(name: str, outfall: str, runs: Sequence[PipeRun]) -> tuple[float, float] | None:
    """Crown of the outlet of a collector's gravity line, and the head that its full runs lose; None where none ends
    there. [m]"""
    by_start = {run.from_id: run for run in runs} | {run.id: run for run in runs}
    run, head, last = by_start.get(name), 0.0, None
    while run is not None and run.kind == "gravity":
        pipe, last = find_pipe(run.pipe_key), run
        head += full_barrel_loss(
            circular_barrel(pipe.inside), run.peak_flow, length=run.length, roughness=pipe.roughness,
            entrance_loss=0.5,
        )
        run = by_start.get(run.to_id)
    if last is None or last.to_id != outfall:
        return None
    return last.invert_down + find_pipe(last.pipe_key).inside, head


def holds_under(chosen: Way, catching: Catching, looks: Sequence[OutfallLook]) -> Reason | None:
    """How high an outfall of unknown level in the storm may rise until a line's full flow comes up through its grate.

    Of several the one that has least to rise; None where every level is known.

    References
    ----------
    .. [1] As of `held_back`.
    """
    outfalls = {outfall.id: outfall for outfall in chosen.outfalls}
    grounds = {site.id: float(np.min(site.ground)) for site in catching.sites}
    found: list[tuple[float, Reason]] = []
    for look in looks:
        outfall = outfalls.get(look.outfall)
        unknown = look.why.code == "outfall_pond" or (look.level is None and look.state == "cannot_tell")
        for name in (name for name, to in chosen.served.items() if unknown and to == look.outfall):
            line = _line_down(name, look.outfall, chosen.works.pipe_runs)
            if outfall is not None and line is not None and name in grounds:
                fails = grounds[name] - line[1]
                over = fails - outfall.level
                found.append((over, reason(
                    "fall_held_under", outfall=look.outfall, taken=look.level, fails=fails, over=over, name=name,
                )))  # fmt: skip
    return min(found, key=lambda each: each[0], default=(0.0, None))[1]
