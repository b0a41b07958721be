"""Two ways to catch the water at paving or a wall, a trench with basins at its lows and the basin alone: both laid out
and priced, one proposed."""

from dataclasses import dataclass, replace

from pipelines.layout.catching.collection import site_collectors
from pipelines.layout.catching.design_flows import (
    design_flows,
    grate_level,
    run_with_works,
    tolerated_over_grate,
    works_division,
)
from pipelines.layout.catching.pond_trenches import keeps_off, trench_at_pond
from pipelines.layout.catching.proposal import Catching, catch_ground
from pipelines.layout.catching.sites import BasinSite, DrainSite
from pipelines.layout.cure_on_grounds import WorksOnGrounds
from pipelines.layout.cured import TroubleLeft, troubles_left, worst_standing
from pipelines.layout.diagnosis.diagnose import Diagnosis
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.possible_troubles import soaks_on_lot
from pipelines.layout.diagnosis.troubles import SpotPlace
from pipelines.layout.improvements import only_served, without_idle
from pipelines.layout.options import Option, PlanInputs, option_of
from pipelines.layout.parts import CaughtBy, CaughtKind
from pipelines.layout.sizes import MORE_GROUNDS, flows_that_catch, not_ended, share_ended
from pipelines.layout.ways.outfall_water import lawful, own_depressions
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.arrays import BoolArray
from terrain.reason import Reason, reason
from terrain.unit_table import HOUR

ROUNDED = 1e-6
"""Flows that differ by this share are one. [-]"""
MOST_OVER = 1000.0 * HOUR
"""Water that still stands when last looked at counts as so long. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class LaidOut:
    """One siting of what catches the water: the ground divided by it, its flows, and its ways priced; it on the grounds
    that lidar allows, where they are counted; and the ways of the other size, where one catches what runs by and one
    drains it in time alone."""

    catching: Catching
    division: Division
    way_inputs: WayInputs
    least: Option
    left: tuple[TroubleLeft, ...]
    on_grounds: WorksOnGrounds | None = None
    other: Option | None = None

    @property
    def over(self) -> int:
        """Troubles that it leaves over their limit."""
        return sum(not each.ended for each in self.left)

    @property
    def ended(self) -> float:
        """Share of the grounds on which it ends every trouble. [-]"""
        way = self.least.chosen
        return share_ended(self.on_grounds, {} if way is None else way.capacities)

    def on_each(self, way: Way) -> BoolArray | None:
        """Whether it ends every trouble on each of the grounds with a way; None where that is not counted."""
        return None if self.on_grounds is None else self.on_grounds.ended(way.capacities)

    @property
    def far(self) -> float:
        """For how long [h] they are over it, and by how many times their flow."""
        left = [each for each in self.left if not each.ended]
        return sum(min(each.over, MOST_OVER) / HOUR + each.flow / max(each.most, 1e-6) for each in left)


def best_caught(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, ground: WayInputs, *, weigh: bool,
    judged: Diagnosis | None = None,
) -> tuple[LaidOut | Catching, tuple[CaughtBy, ...]]:
    """What is sited, laid out, or the other siting where that is proposed, with both as they are told; what is left of
    it where nothing is. Both are `judged` by more troubles where what is sited is for some of them alone."""
    judged = judged or found
    catching, division, way_inputs = with_flows(inputs, found, catching, ground)
    if catching.empty:
        return catching, ()
    first = _laid(inputs, judged, catching, division, way_inputs)
    if not weigh or inputs.situation.fixed_basins:
        return first, ()
    other = _other(inputs, found, first)
    if other is None:
        return first, ()
    if isinstance(other, Reason):
        return first, (_told(first, chosen=True), CaughtBy("trench", why=other))
    second = _laid(inputs, judged, *with_flows(inputs, found, other, ground))
    taken, rest = _proposed(inputs, found, first, second)
    return taken, (_told(taken, chosen=True), _told(rest, chosen=False))


def with_flows(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, ground: WayInputs
) -> tuple[Catching, Division, WayInputs]:
    """What of a siting is not idle, the ground divided by it, and its flows."""
    situation, reckoning, rules = inputs.situation, inputs.reckoning, inputs.situation.rules
    division = works_division(situation, catching)
    flows = design_flows(situation, reckoning, found, catching, division)
    useful = without_idle(catching, flows, rules)
    if useful is not catching and not useful.empty:
        division = works_division(situation, useful)
        flows = design_flows(situation, reckoning, found, useful, division)
    return useful, division, replace(
        ground, catching=useful, flows=flows, outfalls=lawful(ground.outfalls, inputs.looks, useful),
        daylights=lawful(ground.daylights, inputs.looks, useful), closed=bool(own_depressions(inputs.looks, useful)),
    )


def _laid(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, division: Division, way_inputs: WayInputs
) -> LaidOut:
    least = option_of(inputs, way_inputs)
    laid = LaidOut(
        catching, division, way_inputs, least, _left(inputs, found, catching, least),
        _on_grounds(inputs, found, catching, division, way_inputs),
    )
    if least.cost is None or inputs.situation.fixed_basins:
        return laid
    # first what catches more on the likeliest ground, then what does on more of the grounds
    for counted in (None, laid.on_grounds) if laid.on_grounds is not None else (None,):
        laid = _larger(inputs, found, laid, counted)
    return laid


def _larger(inputs: PlanInputs, found: Diagnosis, laid: LaidOut, counted: WorksOnGrounds | None) -> LaidOut:
    """The same siting so large that it ends more, where that is worth its cost, with the other size beside it."""
    situation, least, cost = inputs.situation, laid.least, laid.least.cost
    more = flows_that_catch(
        situation, inputs.reckoning, found, laid.catching, laid.division, laid.way_inputs.flows, counted
    )
    if more is None:
        return laid
    larger = option_of(inputs, replace(laid.way_inputs, flows=more))
    if larger.cost is None or not _carries(larger):
        return laid
    second = replace(
        laid, way_inputs=larger.way_inputs, least=larger, left=_left(inputs, found, laid.catching, larger),
        other=laid.other or least,
    )
    ends_more, gain = not_ended(laid.left) - not_ended(second.left), second.ended - laid.ended
    if ends_more < 0 or (not ends_more and gain < MORE_GROUNDS):
        return laid
    assert cost is not None
    assert least.chosen is not None
    assert larger.chosen is not None
    # what ends it on some more of the grounds is worth as much of what an end is
    worth = 1.0 if ends_more else gain
    dearest = (1.0 + worth * situation.rules["catches_extra"].likely) * cost.likely
    # nobody lifts water that falls for the sake of larger pipes
    taken = larger.chosen.mode == least.chosen.mode and larger.cost.likely <= dearest
    return second if taken else laid if laid.other is not None else replace(laid, other=larger)


def _on_grounds(
    inputs: PlanInputs, found: Diagnosis, catching: Catching, division: Division, way_inputs: WayInputs
) -> WorksOnGrounds | None:
    """The siting on each ground that lidar allows; not counted where soil is moved besides."""
    situation, reckoning = inputs.situation, inputs.reckoning
    if inputs.earth:
        return None
    water = run_with_works(situation, reckoning, found, catching, division, way_inputs.flows.flows)
    return WorksOnGrounds.of(situation, found, catching, water, soaks=soaks_on_lot(situation, reckoning))


def _left(inputs: PlanInputs, found: Diagnosis, catching: Catching, option: Option) -> tuple[TroubleLeft, ...]:
    way, situation = option.chosen, inputs.situation
    served = replace(catching, basins=(), drains=(), downspouts=()) if way is None else only_served(catching, way)
    capacities = {} if way is None else way.capacities
    there = works_division(situation, served)
    water = run_with_works(situation, inputs.reckoning, found, served, there, capacities)
    return troubles_left(found, served, there, water, situation.rules)


def _carries(option: Option) -> bool:
    """Whether every basin and line takes what it is sized for."""
    flows = [(basin.peak_flow, basin.capacity) for basin in option.built.catch_basins]
    flows += [(run.peak_flow, run.capacity) for run in option.built.pipe_runs if run.kind == "gravity"]
    return all(flow <= takes * (1.0 + ROUNDED) for flow, takes in flows)


def _other(inputs: PlanInputs, found: Diagnosis, first: LaidOut) -> Catching | Reason | None:
    """The other siting: without stone where there is some, else with stone along an edge that a pond reaches; a reason
    where that cannot win, None where there is none."""
    catching, ground = first.catching, catch_ground(inputs.situation)
    if _stone(catching):
        basins, drains, _ = site_collectors(found.troubles, ground, stone=False)
        return replace(catching, basins=basins, drains=drains)
    moved, added = list(catching.basins), list(catching.drains)
    for number, basin in enumerate(catching.basins):
        if basin.spot is None:
            continue
        numbers = range(len(added) + 1, len(added) + 3)
        place = found.places[basin.spot]
        clear = ground.clear_of([each for each in moved if each.id != basin.id], added)
        sited = trench_at_pond(basin, place, inputs.situation.edges, clear, numbers)
        if sited is not None and _drains(sited[0], place, inputs, found):
            moved[number] = sited[0]
            added += sited[1]
    if len(added) == len(catching.drains):
        return None
    other = replace(catching, basins=tuple(moved), drains=tuple(added))
    return other if first.over or _earns(inputs, found, other, catching) else reason("trench_adds_stone_alone")


def _drains(basin: BasinSite, place: SpotPlace, inputs: PlanInputs, found: Diagnosis) -> bool:
    """Whether a grate lies low enough to end what stands: a pond is drained down to its grate and no further."""
    situation = inputs.situation
    bottom = float(situation.drainage.ground.elevation.ravel()[place.spot.bottom])
    limits = (each.dry + tolerated_over_grate(each, found.rules, situation.rules).depth for each in place.every)
    return grate_level(basin, situation) <= bottom + min(limits)


def _proposed(inputs: PlanInputs, found: Diagnosis, first: LaidOut, second: LaidOut) -> tuple[LaidOut, LaidOut]:
    """The one that ends more, or leaves much less of what neither ends, then the cheaper; a trench may cost somewhat
    more for what it alone does."""
    rules = inputs.situation.rules
    most, extra = 1.0 - rules["siting_less_left"].likely, rules["trench_extra"].likely
    less, more = sorted((first, second), key=lambda each: (each.over, each.far))
    if less.over < more.over or (less.far <= most * more.far and less.far < more.far):
        return less, more

    def price(each: LaidOut, other: LaidOut) -> float:
        cost, earns = each.least.cost, _earns(inputs, found, each.catching, other.catching)
        return float("inf") if cost is None else cost.likely / (1.0 + extra * earns)

    return (first, second) if price(first, second) <= price(second, first) else (second, first)


def _earns(inputs: PlanInputs, found: Diagnosis, catching: Catching, other: Catching) -> bool:
    """Whether stone spares a cut in paving that the other siting makes, or keeps sheet flow off an edge it runs at."""
    stone = _stone(catching)
    if not stone:
        return False
    if _cut(catching) < _cut(other):
        return True
    ground = catch_ground(inputs.situation)
    return any(trouble.edge is not None and keeps_off(stone, trouble.edge, ground) for trouble in found.troubles)


def _cut(catching: Catching) -> int:
    return sum(basin.paved for basin in catching.basins)


def _stone(catching: Catching) -> tuple[DrainSite, ...]:
    return tuple(drain for drain in catching.drains if not drain.channel)


def _told(laid: LaidOut, *, chosen: bool) -> CaughtBy:
    cost, stone = laid.least.cost, _stone(laid.catching)
    kind: CaughtKind = "trench" if stone else "basin"
    worst = worst_standing(laid.left)
    low, likely, high = (None, None, None) if cost is None else (cost.low, cost.likely, cost.high)
    return CaughtBy(
        kind, ended=all(each.surely_ended for each in laid.left), passes=laid.over == 0,
        place=None if worst is None else worst.trouble.name,
        depth=None if worst is None else worst.depth,
        over=None if worst is None or worst.over == float("inf") else worst.over,
        length=sum(drain.length for drain in stone), cut=_cut(laid.catching),
        low=low, likely=likely, high=high, chosen=chosen,
    )
