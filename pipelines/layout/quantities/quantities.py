"""What a plan takes, from the plan's own lengths and depths."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil, pi
from typing import Literal

from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import Rules
from pipelines.layout.plan import CatchBasin, ChannelDrain, Fitting, FrenchDrain, Kind, PipeRun, Said, Sump
from terrain.reason import Reason
from terrain.unit_table import FOOT

Share = Literal["material", "hired"]
SPOIL_IN_PLACE = "spoil in place"
LABOUR = "labour"
"""Item of the price list for an hour of every task. [-]"""
TRUCKLOADS = "truckloads of spoil"
UNPRICED = (SPOIL_IN_PLACE, TRUCKLOADS)
"""Quantities that are told and whose money stands in another line."""
PROTECTED_END = "mitred end"
"""What a fitting is called that stands for an end of pipe with all of its protection."""
END_PROTECTION = (PROTECTED_END, "animal guard", "splash pad")
"""Items of the price list that an end of pipe over the ground takes, beside stone."""
RATED_TRENCH = 1.5 * FOOT**2
"""Section of the trench, 12 x 18 in, of which the trade's rate of digging is. [m2]"""


SWELL = {"sand": "swell_sand", "clay": "swell_clay", "earth": "swell_earth"}
"""Rule by soil that is dug."""


@dataclass(frozen=True, slots=True)
class Works:
    """The parts of a plan that are dug, laid and set."""

    catch_basins: tuple[CatchBasin, ...] = ()
    french_drains: tuple[FrenchDrain, ...] = ()
    channel_drains: tuple[ChannelDrain, ...] = ()
    pipe_runs: tuple[PipeRun, ...] = ()
    sumps: tuple[Sump, ...] = ()
    fittings: tuple[Fitting, ...] = ()


@dataclass(frozen=True, slots=True)
class Access:
    """How hard it is to get there.

    Attributes
    ----------
    hard : bool
        A narrow gate or roots: hours are multiplied.
    soil : str
        sand, clay or earth, which decides how the spoil swells.
    """

    hard: bool = False
    soil: Literal["sand", "clay", "earth"] = "earth"


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that is bought or hired: its item in the price list, and how much of what kind. [SI]"""

    item: str
    amount: float
    kind: Kind
    share: Share


def trench_width(run: PipeRun, rules: Rules) -> float:
    """Width of the trench of a run of solid pipe: as the rule says, but room for the pipe. [m]"""
    return max(rules["trench_width_solid"].likely, find_pipe(run.pipe_key).outside + rules["trench_room"].likely)


def _trenched(works: Works) -> Iterator[PipeRun]:
    """Runs with a trench of their own."""
    return (run for run in works.pipe_runs if not run.beside)


def _own_pits(works: Works) -> tuple[CatchBasin, ...]:
    """Basins but those whose grate a sump basin takes itself."""
    sumps = {sump.id for sump in works.sumps}
    return tuple(basin for basin in works.catch_basins if basin.drains_to not in sumps)


def run_volume(run: PipeRun, rules: Rules) -> float:
    """Ground dug for a run, by average end areas along its profile. [m3]

    References
    ----------
    .. [1] Average end area; any text on earthwork.
    """
    coordinates = list(run.line.coords)
    wall = find_pipe(run.pipe_key).wall
    depths = [max(ground - (z - wall), 0.0) for ground, (_, _, z) in zip(run.ground, coordinates, strict=True)]
    area = 0.0
    for (x0, y0, _), (x1, y1, _), d0, d1 in zip(coordinates, coordinates[1:], depths, depths[1:], strict=False):
        area += 0.5 * (d0 + d1) * float(((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
    return area * trench_width(run, rules)


def quantities_of(works: Works, rules: Rules, access: Access) -> tuple[Quantity, ...]:
    """Everything a plan takes, before prices."""
    if not any((works.catch_basins, works.french_drains, works.channel_drains, works.pipe_runs, works.sumps)):
        return ()
    material = [*_pipes(works, rules), *_stone(works, rules), *_parts(works, rules), *_sod(works, rules)]
    hired = [*_labour(works, rules, access), *_hired(works, rules, access)]
    return tuple(quantity for quantity in (*material, *hired) if quantity.amount > 0.0)


def _pipes(works: Works, rules: Rules) -> list[Quantity]:
    lengths: dict[str, float] = defaultdict(float)
    for run in works.pipe_runs:
        lengths[run.pipe_key] += run.length
    for drain in works.french_drains:
        lengths[drain.pipe] += drain.length
    waste = 1.0 + rules["waste_pipe"].likely
    return [Quantity(f"{key} pipe", length * waste, "length", "material") for key, length in sorted(lengths.items())]


def _drain_volume(drain: FrenchDrain) -> float:
    """Stone trench in place, as deep everywhere as at its deepest. [m3]"""
    return drain.length * drain.width * drain.depth


def _channel_volume(works: Works, rules: Rules) -> float:
    """Ground and paving that grated channels and their beds take the place of. [m3]"""
    length = sum(drain.length for drain in works.channel_drains)
    return length * rules["channel_cut"].likely * rules["channel_dig"].likely


def _stone(works: Works, rules: Rules) -> list[Quantity]:
    volume = fabric = 0.0
    for drain in works.french_drains:
        pipe = find_pipe(drain.pipe)
        volume += _drain_volume(drain) - drain.length * pi * pipe.outside**2 / 4.0
        # bottom and both sides, the top left open since the stone comes to grade
        fabric += drain.length * (drain.width + 2.0 * drain.depth)
    pits = len(_own_pits(works)) * rules["basin_pit"].likely ** 2 + len(works.sumps) * rules["sump_pit"].likely ** 2
    volume += pits * rules["basin_bed"].likely
    volume += sum(each.kind.startswith(PROTECTED_END) for each in works.fittings) * rules["outlet_stone"].likely
    weight = volume * rules["stone_density"].likely * (1.0 + rules["waste_stone"].likely)
    items = [Quantity("washed stone", weight, "weight", "material")]
    if weight > 0.0:
        items.append(Quantity("stone delivery", 1.0, "load", "material"))
    fabric *= 1.0 + rules["waste_fabric"].likely
    items.append(Quantity("filter fabric", fabric, "area", "material"))
    return items


def _parts(works: Works, rules: Rules) -> list[Quantity]:
    items: list[Quantity] = []
    for grate, count in sorted(Counter(basin.grate for basin in _own_pits(works)).items()):
        items.append(Quantity(f"{grate} basin and grate", count, "each", "material"))
    on_sumps = len(works.catch_basins) - len(_own_pits(works))
    items.append(Quantity("sump grate", float(on_sumps), "each", "material"))
    channel = sum(drain.length for drain in works.channel_drains)
    items.append(Quantity("channel drain", channel, "length", "material"))
    kinds = Counter(fitting.kind for fitting in works.fittings)
    ends = sum(count for kind, count in kinds.items() if kind.startswith(PROTECTED_END))
    items += [Quantity(item, float(ends), "each", "material") for item in END_PROTECTION if ends]
    for kind, count in sorted(kinds.items()):
        if kind.startswith(PROTECTED_END):
            continue
        # a pop-up and a pump's parts are bought as counted
        spare = 0.0 if kind.startswith(("pop-up", "check valve")) else rules["spare_fittings"].likely
        items.append(Quantity(_fitting_item(kind), count + spare, "each", "material"))
    if works.sumps:
        # a second pump has a check valve, an alarm and a circuit of its own
        pumps = sum(sump.pumps for sump in works.sumps)
        items.append(Quantity("pump", pumps, "each", "material"))
        items.append(Quantity("sump basin and lid", len(works.sumps), "each", "material"))
        items.append(Quantity("check valve", pumps, "each", "material"))
        items.append(Quantity("alarm", pumps, "each", "material"))
    return merged(items)


def _fitting_item(kind: str) -> str:
    for known in ("cleanout", "pop-up"):
        if kind.startswith(known):
            return known
    return "pipe fitting"


def merged(items: list[Quantity]) -> list[Quantity]:
    """Each item once."""
    totals: dict[str, Quantity] = {}
    for each in items:
        known = totals.get(each.item)
        totals[each.item] = each if known is None else replace(known, amount=known.amount + each.amount)
    return list(totals.values())


def turf_area(works: Works, rules: Rules) -> float:
    """Lawn that is opened and must be sodded again. [m2]"""
    area, beside = 0.0, 2.0 * rules["sod_beside"].likely
    for run in _trenched(works):
        area += max(run.length - run.under_paving, 0.0) * (trench_width(run, rules) + beside)
    area += sum(drain.length * beside for drain in works.french_drains)
    return area + len(_own_pits(works)) * rules["basin_sod"].likely + len(works.sumps) * rules["sump_sod"].likely


def _sod(works: Works, rules: Rules) -> list[Quantity]:
    return [Quantity("sod", turf_area(works, rules) * (1.0 + rules["waste_sod"].likely), "area", "material")]


def spoil_in_place(works: Works, rules: Rules) -> float:
    """Ground that stone, pipe and basins take the place of, so that it must leave. [m3]"""
    volume = sum(_drain_volume(drain) for drain in works.french_drains) + _channel_volume(works, rules)
    volume += sum(run.length * pi * find_pipe(run.pipe_key).outside ** 2 / 4.0 for run in works.pipe_runs)
    bed, silt = rules["basin_bed"].likely, rules["basin_sump"].likely
    basins = sum(basin.ground_elevation - basin.invert_elevation + silt + bed for basin in _own_pits(works))
    sumps = sum(sump.ground_elevation - sump.bottom_elevation + bed for sump in works.sumps)
    return volume + rules["basin_pit"].likely ** 2 * basins + rules["sump_pit"].likely ** 2 * sumps


def _labour(works: Works, rules: Rules, access: Access) -> list[Quantity]:
    dug = sum(run_volume(run, rules) for run in _trenched(works)) + sum(_drain_volume(d) for d in works.french_drains)
    dug += _channel_volume(works, rules)
    laid = sum(run.length for run in works.pipe_runs) + sum(drain.length for drain in works.french_drains)
    laid += sum(drain.length for drain in works.channel_drains)
    stone = sum(quantity.amount for quantity in _stone(works, rules) if quantity.kind == "weight")
    seconds = {
        "trenches": dug / (rules["hand_trench_rate"].likely * RATED_TRENCH),
        "pipe": rules["pipe_crew"].likely * laid / rules["pipe_rate"].likely,
        "stone": stone / rules["stone_rate"].likely,
        "sod": turf_area(works, rules) / rules["sod_rate"].likely,
        "basins": len(_own_pits(works)) * rules["basin_hours"].likely,
        "pump set": sum(sump.pumps for sump in works.sumps) * rules["pump_set_hours"].likely,
    }
    harder = rules["hard_access_factor"].likely if access.hard else 1.0
    hours = {task: harder * each for task, each in seconds.items() if each > 0.0}
    hours["set-up"] = rules["set_up_hours"].likely
    return [Quantity(f"{LABOUR}, {task}", each, "hours", "hired") for task, each in hours.items()]


def _hired(works: Works, rules: Rules, access: Access) -> list[Quantity]:
    bank = spoil_in_place(works, rules)
    loose = bank * (1.0 + rules[SWELL[access.soil]].likely)
    loads = float(ceil(loose / rules["truck_load"].likely - 1e-9))
    paving = sum(run.under_paving * trench_width(run, rules) for run in _trenched(works))
    paving += sum(drain.length for drain in works.channel_drains) * rules["channel_cut"].likely
    permits = 1.0 if any(_needs_permit(each) for run in works.pipe_runs for each in run.crossings) else 0.0
    return [
        Quantity(SPOIL_IN_PLACE, bank, "earth", "hired"),
        Quantity("spoil disposal, loose", loose, "earth", "hired"),
        Quantity(TRUCKLOADS, loads, "load", "hired"),
        Quantity("paving patch", paving, "area", "hired"),
        Quantity("electrician", float(sum(sump.pumps for sump in works.sumps)), "job", "hired"),
        Quantity("permit", permits, "each", "hired"),
        Quantity("mobilisation", 1.0, "job", "hired"),
    ]


def _needs_permit(crossing: Said) -> bool:
    return crossing.code == "right_of_way_permit" if isinstance(crossing, Reason) else "right of way" in crossing
