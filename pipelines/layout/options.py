"""Ways laid out and priced for one size of the works, and the size that is proposed."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from pipelines.hydraulics.pumping.pump_curve import PumpCurve
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.catching.design_flows import works_division
from pipelines.layout.choice import alternative_of, choose_way
from pipelines.layout.diagnosis.coarse_cells import CellDoubt
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.diagnosis.possible_troubles import PlaceOnGrounds
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.gate.faults import faults_of
from pipelines.layout.gate.mended import mended_field
from pipelines.layout.improvements import improvements_of, only_served
from pipelines.layout.parts import Size, SurfaceWork
from pipelines.layout.plan import Alternative, Mode, Plan, TakeOffLine
from pipelines.layout.quantities.quantities import Access, Works, quantities_of
from pipelines.layout.quantities.soil import beside_pipes
from pipelines.layout.quantities.take_off import Cost, UnitPrice, price_take_off, total_cost
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.spec import SearchEffort
from pipelines.layout.sizes import flows_that_keep_dry, keeps_dry
from pipelines.layout.swale.found_outfall import OutfallLook
from pipelines.layout.verdict_parts import NOTHING_NEEDED
from pipelines.layout.ways.all_ways import Ways, WaysBut
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.reason import Reason

MOST_TIMES = 3
"""How often lines are laid again where they could not be built as drawn."""


@dataclass(frozen=True, slots=True, eq=False)
class PlanInputs:
    """All that a plan is made from.

    Attributes
    ----------
    site : SiteFile
        What the site file says.
    layers : SiteLayers
        Its shapes.
    situation : Situation
        The lot.
    reckoning : Reckoning
        Surfaces, rain, soil.
    prices : mapping of str to UnitPrice
        By item.
    curve : PumpCurve or None
        Of the pump, where it is given.
    looks : tuple of OutfallLook
        What was found of the candidates for an outfall; empty where nobody looked.
    unseen : tuple of HiddenCulvert
        Banks near the lot that may hide a culvert.
    cells : CellDoubt or None
        What hangs on the raster's cells.
    places : tuple of PlaceOnGrounds
        Places of the lot as it is on each ground that lidar allows.
    earth : tuple of SurfaceWork
        Works on the surface that lie on the lot already and are paid for on the same job.
    beyond : Reason or None
        That water may come from beyond the ground that was looked at.
    effort : SearchEffort
        What was searched for its lines, and how much may be.
    chosen_alone : bool
        Tell no way beside the one that is chosen, so that none is laid for its price alone.
    """

    site: SiteFile
    layers: SiteLayers
    situation: Situation
    reckoning: Reckoning
    prices: Mapping[str, UnitPrice]
    curve: PumpCurve | None
    looks: tuple[OutfallLook, ...] = ()
    unseen: tuple[HiddenCulvert, ...] = ()
    cells: CellDoubt | None = None
    places: tuple[PlaceOnGrounds, ...] = ()
    earth: tuple[SurfaceWork, ...] = ()
    beyond: Reason | None = None
    effort: SearchEffort = field(default_factory=SearchEffort)
    chosen_alone: bool = False


Priced = tuple[tuple[TakeOffLine, ...], tuple[Reason, ...]]
"""What works take and cost, and what of it has no price."""


@dataclass(frozen=True, slots=True, eq=False)
class Option:
    """Ways for one size of the works, and the one that is chosen: built and priced, where there is one."""

    way_inputs: WayInputs
    ways: Mapping[Mode, Way]
    chosen: Way | None
    built: Works
    priced: Priced
    cost: Cost | None


def option_of(inputs: PlanInputs, way_inputs: WayInputs) -> Option:
    """Every way for some design flows, priced, and the one that is chosen, laid clear of what the gate finds of it."""
    best = tried = _option(inputs, way_inputs, Ways(way_inputs))
    field, faults = way_inputs.ground.field, _faults(best)
    least = len(faults)
    for _ in range(MOST_TIMES):
        again = _clear_of(inputs, tried, faults, field)
        if again is None or best.chosen is None:
            break
        tried, field = again
        faults = _faults(tried)
        if tried.chosen is not None and len(faults) < least and (_may_work(tried.chosen) or not _may_work(best.chosen)):
            best, least = tried, len(faults)
    return best


def _clear_of(
    inputs: PlanInputs, option: Option, faults: tuple[Reason, ...], field: RouteField
) -> tuple[Option, RouteField] | None:
    """The same way laid clear of what is found of it, or of all but thin cover, and the field of that; another way
    where it can only be laid under a footing; None where it cannot be laid clear."""
    drawn, other = _drawn(option), None
    without_cover = tuple(fault for fault in faults if fault.code != "thin_cover")
    for asked in dict.fromkeys((faults, without_cover)):
        mended = None if drawn is None else mended_field(drawn, asked, option.way_inputs.ground, field)
        if mended is None:
            continue
        tried = _laid_again(inputs, option, mended)
        if tried.chosen is not None and tried.chosen.mode == _mode(option):
            return tried, mended
        if tried.chosen is not None and any(fault.code == "trench_under_footing" for fault in asked):
            other = tried, mended
    return other


def _mode(option: Option) -> Mode | None:
    return None if option.chosen is None else option.chosen.mode


def _may_work(way: Way) -> bool:
    return all(each.verdict != "no" for each in way.discharges)


def _laid_again(inputs: PlanInputs, option: Option, field: RouteField) -> Option:
    """The way that is chosen, laid in another field beside all others as they are."""
    assert option.chosen is not None
    mode, ground = option.chosen.mode, replace(option.way_inputs.ground, field=field)
    again = Ways(replace(option.way_inputs, ground=ground))[mode]
    return _option(inputs, option.way_inputs, WaysBut(again, option.ways))


def _drawn(option: Option) -> Plan | None:
    """The way that is chosen as the gate looks at it."""
    if option.chosen is None:
        return None
    works = option.built
    return Plan(
        "", NOTHING_NEEDED, works.catch_basins, works.french_drains, works.channel_drains, works.pipe_runs,
        works.sumps, option.chosen.outfalls, works.fittings, take_off=option.priced[0],
    )


def _faults(option: Option) -> tuple[Reason, ...]:
    drawn = _drawn(option)
    return () if drawn is None else faults_of(drawn, option.way_inputs.ground)


def _option(inputs: PlanInputs, way_inputs: WayInputs, ways: Mapping[Mode, Way]) -> Option:
    chosen = choose_way(ways, inputs.site.layout.lift)
    if chosen is None:
        return Option(way_inputs, ways, None, Works(), ((), ()), None)
    built, priced = _built(inputs, way_inputs, chosen)
    return Option(way_inputs, ways, chosen, built, priced, total_cost(priced[0]))


def _built(inputs: PlanInputs, way_inputs: WayInputs, way: Way) -> tuple[Works, Priced]:
    works = improvements_of(way_inputs.catching, way_inputs.flows, way, inputs.situation.rules)
    return works, price_works(inputs, works)


def alternatives_of(inputs: PlanInputs, option: Option, *, taken: bool = True) -> tuple[Alternative, ...]:
    """Every way beside the others, priced where it can be laid."""
    told = []
    for way in (option.chosen,) if inputs.chosen_alone and option.chosen is not None else option.ways.values():
        cost = option.cost if way is option.chosen else None
        if cost is None and way.possible:
            cost = total_cost(_built(inputs, option.way_inputs, way)[1][0])
        told.append(alternative_of(way, cost, chosen=taken and way is option.chosen))
    return tuple(told)


def of_sizes(
    inputs: PlanInputs, found: Diagnosis, division: Division, least: Option, other: Option | None
) -> tuple[Option, tuple[Size, ...]]:
    """The works as they are, or those that keep paving dry in a lighter storm where asked for or hardly dearer; an
    `other` size, which does less or is far dearer, is told beside them."""
    way_inputs, told = least.way_inputs, () if other is None else (_size(None, other, holds=True, chosen=False),)
    situation, reckoning, rules = inputs.situation, inputs.reckoning, inputs.situation.rules
    asked = inputs.site.layout.keep_dry
    years = rules["keep_dry_storm"].likely if asked is None else asked
    rain = reckoning.rain.of_period(years)
    as_it_is = (_size(None, least, holds=True, chosen=True), *told) if told else ()
    if rain is None or least.chosen is None or least.cost is None:
        return least, as_it_is
    catching = way_inputs.catching
    flows = flows_that_keep_dry(situation, reckoning, rain, found, catching, division, way_inputs.flows)
    if flows is None:
        return least, as_it_is
    more = any(flow > way_inputs.flows.flows[name] for name, flow in flows.flows.items())
    dry = option_of(inputs, replace(way_inputs, flows=flows)) if more else least
    holds = False
    if dry.chosen is not None:
        served = only_served(catching, dry.chosen)
        there = works_division(situation, served)
        holds = keeps_dry(situation, reckoning, rain, found, served, there, dry.chosen.capacities)
    worth = dry.cost is not None and dry.cost.likely <= (1.0 + rules["keep_dry_extra"].likely) * least.cost.likely
    taken = dry is not least and dry.chosen is not None and (asked is not None or (holds and worth))
    return dry if taken else least, (
        _size(None, least, holds=True, chosen=not taken), *told, _size(years, dry, holds=holds, chosen=taken)
    )


def _size(years: float | None, option: Option, *, holds: bool, chosen: bool) -> Size:
    cost = option.cost
    low, likely, high = (None, None, None) if cost is None else (cost.low, cost.likely, cost.high)
    return Size(years, bool(option.way_inputs.flows.caught), holds, low, likely, high, chosen)


def price_works(inputs: PlanInputs, works: Works) -> Priced:
    """What works take and cost, and what of it has no price."""
    rules, layout = inputs.situation.rules, inputs.site.layout
    narrow = layout.gate is not None and layout.gate < rules["narrow_gate"].likely
    access = Access(hard=narrow, soil=layout.soil or "earth")
    quantities = beside_pipes(quantities_of(works, rules, access), inputs.earth, rules)
    return price_take_off(quantities, inputs.prices, rules)
