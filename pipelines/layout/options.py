"""Ways laid out and priced for one size of the works, and the size that is proposed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipelines.hydraulics.pumping.pump_curve import PumpCurve
from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.catching.design_flows import works_division
from pipelines.layout.choice import choose_way
from pipelines.layout.diagnosis.coarse_cells import CellDoubt
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.division import Division
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.improvements import improvements_of, only_served
from pipelines.layout.parts import Size, SurfaceWork
from pipelines.layout.plan import Mode, TakeOffLine
from pipelines.layout.quantities.quantities import Access, Works, quantities_of
from pipelines.layout.quantities.soil import beside_pipes
from pipelines.layout.quantities.take_off import Cost, UnitPrice, price_take_off, total_cost
from pipelines.layout.sizes import flows_that_keep_dry, keeps_dry
from pipelines.layout.swale.found_outfall import OutfallLook
from pipelines.layout.ways.all_ways import lay_out_ways
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.reason import Reason


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
    earth : tuple of SurfaceWork
        Works on the surface that lie on the lot already and are paid for on the same job.
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
    earth: tuple[SurfaceWork, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Option:
    """Ways laid out for one size of the works, priced, and the one that is chosen."""

    way_inputs: WayInputs
    ways: tuple[Way, ...]
    built: Mapping[Mode, Works]
    priced: Mapping[Mode, tuple[tuple[TakeOffLine, ...], tuple[Reason, ...]]]
    costs: Mapping[Mode, Cost]
    chosen: Way | None

    @property
    def cost(self) -> Cost | None:
        """Of the way that is chosen."""
        return None if self.chosen is None else self.costs[self.chosen.mode]


def option_of(inputs: PlanInputs, way_inputs: WayInputs) -> Option:
    """Every way for some design flows, priced, and the one that is chosen."""
    ways = lay_out_ways(way_inputs)
    rules = inputs.situation.rules
    built = {
        way.mode: improvements_of(way_inputs.catching, way_inputs.flows, way, rules) for way in ways if way.possible
    }
    priced = {mode: price_works(inputs, works) for mode, works in built.items()}
    costs = {mode: total_cost(lines) for mode, (lines, _) in priced.items()}
    return Option(way_inputs, ways, built, priced, costs, choose_way(ways, costs, inputs.site.layout.lift))


def of_two_sizes(
    inputs: PlanInputs, way_inputs: WayInputs, found: Diagnosis, division: Division, least: Option
) -> tuple[Option, tuple[Size, ...]]:
    """The least works, or those that keep paving dry in a lighter storm where asked for or hardly dearer."""
    situation, reckoning, rules = inputs.situation, inputs.reckoning, inputs.situation.rules
    asked = inputs.site.layout.keep_dry
    years = rules["keep_dry_storm"].likely if asked is None else asked
    rain = reckoning.rain.of_period(years)
    if rain is None or least.chosen is None or least.cost is None:
        return least, ()
    catching = way_inputs.catching
    flows = flows_that_keep_dry(situation, reckoning, rain, found, catching, division, way_inputs.flows)
    if flows is None:
        return least, ()
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
        _size(None, least, holds=True, chosen=not taken), _size(years, dry, holds=holds, chosen=taken)
    )


def _size(years: float | None, option: Option, *, holds: bool, chosen: bool) -> Size:
    cost = option.cost
    low, likely, high = (None, None, None) if cost is None else (cost.low, cost.likely, cost.high)
    return Size(years, holds, low, likely, high, chosen)


def price_works(inputs: PlanInputs, works: Works) -> tuple[tuple[TakeOffLine, ...], tuple[Reason, ...]]:
    """What works take and cost, and what of it has no price."""
    rules, layout = inputs.situation.rules, inputs.site.layout
    narrow = layout.gate is not None and layout.gate < rules["narrow_gate"].likely
    access = Access(hard=narrow, soil=layout.soil or "earth")
    quantities = beside_pipes(quantities_of(works, rules, access), inputs.earth, rules)
    return price_take_off(quantities, inputs.prices, rules)
