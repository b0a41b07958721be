"""Works on the surface with smaller pipes for what they leave, laid out and priced as one job beside pipes alone."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from pipelines.layout.catching.design_flows import run_with_works, works_division
from pipelines.layout.catching.proposal import catch
from pipelines.layout.cured import TroubleLeft, against_today, told_left, troubles_left, worst_standing
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.lot_water import LotWater
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.diagnosis.troubles import Trouble
from pipelines.layout.improvements import only_served
from pipelines.layout.options import PlanInputs
from pipelines.layout.parts import CaughtBy, SurfaceOnly, WithPipes
from pipelines.layout.surface.surface_only import Reshaped, Surfaced, hollows, in_doubt, side_gains, surface_only
from pipelines.layout.two_catchings import LaidOut, best_caught, with_flows
from pipelines.layout.ways.way_values import WayInputs
from terrain.reason import Reason, reason

LayGround = Callable[[PlanInputs, Diagnosis], WayInputs]
"""The ground that lines are laid in, of a lot and what is wrong on it."""


@dataclass(frozen=True, slots=True, eq=False)
class OnReshaped:
    """Pipes for what works on the surface leave, on the lot with these works: its `inputs`."""

    inputs: PlanInputs
    laid: LaidOut
    caught_by: tuple[CaughtBy, ...]


def soil_and_pipes(
    inputs: PlanInputs, found: Diagnosis, alone: LaidOut, shaped: Surfaced, lay: LayGround
) -> tuple[SurfaceOnly, Reshaped, OnReshaped | None]:
    """Works on the surface as they are told, and the pipes beside them where both are proposed: with the works that
    help, else with no more of them than fill the hollows of the lawn that pipes alone leave."""
    first = _beside(inputs, found, alone, shaped, lay)
    if first[0].proposed:
        return first
    topped = surface_only(inputs, found, hollows(each.trouble for each in alone.left if not each.ended))
    if topped is not None and [work.why for work in topped[1].works] != [work.why for work in shaped[1].works]:
        again = _beside(inputs, found, alone, topped, lay)
        if again[0].proposed:
            return again
    return first[0], first[1], None


def _beside(
    inputs: PlanInputs, found: Diagnosis, alone: LaidOut, shaped: Surfaced, lay: LayGround
) -> tuple[SurfaceOnly, Reshaped, OnReshaped | None]:
    told, both = with_pipes(inputs, found, alone, shaped[0], shaped[1], lay)
    return replace(shaped[0], with_pipes=told), shaped[1], both


def with_pipes(
    inputs: PlanInputs, found: Diagnosis, alone: LaidOut, surface: SurfaceOnly, lot: Reshaped, lay: LayGround
) -> tuple[WithPipes | None, OnReshaped | None]:
    """What both together do and cost beside pipes `alone`; None where nothing is left for pipes, or none lead off."""
    situation, rules = inputs.situation, inputs.situation.rules
    if surface.refused is not None or not lot.left or alone.least.cost is None or situation.fixed_basins:
        return None, None
    inputs = replace(inputs, situation=lot.situation, earth=lot.works)
    wrong = replace(lot.found, troubles=tuple(each for each in lot.found.troubles if _is_left(each, lot.left)))
    catching = catch(lot.situation, inputs.reckoning, wrong)
    if catching.empty:
        return None, None
    ground = lay(inputs, wrong)
    less = 1.0 - _flow(with_flows(inputs, wrong, catching, ground)[2]) / max(_flow(alone.way_inputs), 1e-9)
    pipes_alone, still = alone.least.cost.likely, sum(not each.surely_ended for each in alone.left)
    if not still and less < rules["surface_less_flow"].likely:
        return WithPipes(less, pipes_alone=pipes_alone, why=reason("surface_spares_little")), None
    laid, caught_by = best_caught(inputs, wrong, catching, ground, weigh=True, judged=lot.found)
    if not isinstance(laid, LaidOut) or laid.least.cost is None:
        return WithPipes(less, pipes_alone=pipes_alone, why=reason("surface_pipes_lead_nowhere")), None
    less = 1.0 - _flow(laid.way_inputs) / max(_flow(alone.way_inputs), 1e-9)
    water, left = _water(inputs, lot, laid, found)
    over, worst = [each for each in left if not each.surely_ended], worst_standing(left)
    why = _why_not(alone, laid, len(over) > still, lot, inputs)
    if why is None and (gains := side_gains(found.water, water, situation)):
        why = reason("surface_sends_on", side=gains[0], years=None)
    if why is None:
        why = _deeper(inputs, found, water, situation)
    cost = laid.least.cost
    better = len(over) < still or cost.likely <= (1.0 - rules["surface_saving"].likely) * pipes_alone
    return WithPipes(
        less, tuple(told_left(each) for each in over), None if worst is None else worst.trouble.name,
        None if worst is None else worst.depth, None if worst is None or worst.over == float("inf") else worst.over,
        cost.low, cost.likely, cost.high, pipes_alone, why is None and better, why,
    ), OnReshaped(inputs, laid, caught_by)


def _is_left(trouble: Trouble, left: tuple[TroubleLeft, ...]) -> bool:
    """Whether one of those left is that trouble, at any of its places."""
    return any(each.trouble.spot is trouble.spot and each.trouble.edge is trouble.edge for each in left)


def _flow(ways: WayInputs) -> float:
    """What pipes must carry of all that must be served. [m3/s]"""
    return sum(ways.flows.flows[name] for name in ways.wanted)


def _water(
    inputs: PlanInputs, lot: Reshaped, laid: LaidOut, today: Diagnosis
) -> tuple[LotWater, tuple[TroubleLeft, ...]]:
    """The design storm with both, and every trouble of the reshaped lot: pipes may not undo what soil has ended."""
    way = laid.least.chosen
    assert way is not None
    served = only_served(laid.catching, way)
    division = works_division(lot.situation, served)
    water = run_with_works(lot.situation, inputs.reckoning, lot.found, served, division, way.capacities)
    return water, against_today(troubles_left(lot.found, served, division, water, lot.situation.rules), today)


def _deeper(inputs: PlanInputs, found: Diagnosis, water: LotWater, before: Situation) -> Reason | None:
    """The place of the lot where water would stand higher or deeper than it does today, by more than a wet film."""
    bottoms = {spot.id: spot.bottom_elevation for spot in before.counted_spots}
    for spot in inputs.situation.counted_spots:
        place, today = found.places.get(spot.id), found.water.standing.get(spot.id)
        if place is None or today is None or not place.on_parcel:
            continue
        depth = water.standing[spot.id].depth
        # what is dug there counts too: its water lies no higher and stands all the same
        more = depth - today.depth + max(spot.bottom_elevation - bottoms[spot.id], 0.0)
        if min(more, depth) > found.rules.film:
            return reason("surface_stands_deeper", place=place.name, more=more)
    return None


def _why_not(
    alone: LaidOut, both: LaidOut, ends_less: bool, lot: Reshaped, inputs: PlanInputs
) -> Reason | None:
    """Why they are not proposed whatever they cost: pipes alone end more, or are surer."""
    if ends_less:
        return reason("surface_pipes_end_less")
    if in_doubt(lot, inputs.situation):
        return reason("surface_in_doubt")
    one, other = alone.least.chosen, both.least.chosen
    if one is not None and other is not None and one.sure and not other.sure:
        return reason("surface_pipes_less_sure")
    return None
