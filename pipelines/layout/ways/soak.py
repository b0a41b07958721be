"""A soakaway on the lot: only with a rate tested on site and the high water known, else it is not assessed."""

from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from pipelines.hydraulics.soakaway import Soakaway, assess_soakaway
from pipelines.inputs.rules import Rules
from pipelines.layout.catching.sites import heights_along
from pipelines.layout.catching.trench_sizes import DRAIN_PIPE
from pipelines.layout.plan import Discharge, FrenchDrain, Said
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.ways.gravity import by_gravity
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.reason import reason


def by_soakaway(inputs: WayInputs) -> Way:
    """Lead every collector to a trench of stone from which the water soaks away."""
    soil = inputs.site.soil
    if soil.tested_rate is None or soil.water_table is None:
        return Way("soakaway", False, depends_on=reason("dry_well_not_assessed"))
    rules = inputs.situation.rules
    length, refused = _length_needed(inputs, soil.tested_rate, soil.water_table)
    if length is None:
        return Way("soakaway", False, depends_on=refused)
    trenches = _places(inputs, length)
    if not trenches:
        return Way("soakaway", False, depends_on=reason("no_room_for_stone", length=length))
    cover = rules["soakaway_cover"].likely
    sites = tuple(
        OutfallSite(f"soakaway-{k + 1}", "soakaway", Point(line.coords[0]), ground - cover, ground - cover, True,
                    reason("confirm_dry_well"))
        for k, (line, ground) in enumerate(trenches)
    )
    way, _ = by_gravity(inputs, sites, "soakaway")
    if not way.possible:
        return way
    used = [(line, ground, site) for (line, ground), site in zip(trenches, sites, strict=True)
            if site.id in {outfall.id for outfall in way.outfalls}]
    factor = rules["soakaway_factor"].likely
    return replace(
        way,
        works=_with_stone(way.works, used, rules),
        discharges=tuple(_soaks(each, factor) for each in way.discharges),
    )


def _stone(rules: Rules) -> tuple[float, float, float]:
    """Width and depth of the stone, and the ground over it. [m]"""
    return rules["soakaway_width"].likely, rules["soakaway_depth"].likely, rules["soakaway_cover"].likely


def _length_needed(inputs: WayInputs, rate: float, water_table: float) -> tuple[float | None, Said]:
    """Length of stone that takes the storm [m], or why none does."""
    volume = sum(inputs.flows.volumes.get(name, 0.0) for name in (*inputs.wanted, *inputs.spouts))
    rules = inputs.situation.rules
    width, depth, cover = _stone(rules)
    lengths = rules["soakaway_length"]
    why: Said = ""
    for length in np.arange(lengths.likely, lengths.high + 0.5, 1.0):
        result = assess_soakaway(
            Soakaway(float(length), width, depth, rules["stone_porosity"].likely, cover + depth), volume,
            rules["soakaway_storm"].likely, tested_rate=rate, water_table_below_ground=water_table,
            safety_factor=rules["soakaway_factor"].likely,
            above_saturated=rules["soakaway_above_saturated"].likely, dry_within=rules["soakaway_dry_time"].likely,
        )
        why = result.why
        if result.verdict == "works":
            return float(length), why
    return None, why


def _places(inputs: WayInputs, length: float) -> list[tuple[LineString, float]]:
    """Straight stretches of that length on free ground, the lowest first, with the ground at each. [m]"""
    free, rules = _free(inputs), inputs.situation.rules
    most, apart = int(rules["soakaway_places"].likely), rules["soakaway_apart"].likely
    grid = inputs.ground.field.grid
    rows, columns = np.nonzero(inputs.ground.field.allowed)
    x, y = grid.centres(rows, columns)
    inside = shapely.contains_xy(free, x, y)
    heights = inputs.ground.field.ground[rows, columns]
    found: list[tuple[LineString, float]] = []
    for k in np.argsort(np.where(inside, heights, np.inf), kind="stable"):
        if not inside[k] or len(found) == most:
            break
        if any(line.distance(Point(x[k], y[k])) < apart for line, _ in found):
            continue
        for angle in np.arange(0.0, 2.0 * np.pi, np.pi / 4.0):
            line = LineString([(x[k], y[k]), (x[k] + length * np.cos(angle), y[k] + length * np.sin(angle))])
            if shapely.covers(free, line):
                found.append((line, float(heights_along(line, inputs.situation.drainage).min())))
                break
    return found


def _free(inputs: WayInputs) -> BaseGeometry:
    situation, rules = inputs.situation, inputs.situation.rules
    basement = situation.foundation in ("basement", None)
    off = rules["soakaway_offset_basement" if basement else "soakaway_offset_building"].likely
    keep = inputs.ground.keep_out
    taken = [shapely.buffer(situation.roofs, off), situation.paving]
    for shape, kind in keep:
        rule = "soakaway_offset_well" if "well" in kind else "soakaway_offset_septic" if "septic" in kind else None
        taken.append(shapely.buffer(shape, rules[rule].likely) if rule else shape)
    inner = shapely.buffer(situation.parcel, -rules["soakaway_offset_line"].likely)
    free: BaseGeometry = shapely.difference(inner, shapely.union_all(np.array(taken, dtype=object)))
    return free


def _with_stone(works: Works, used: list[tuple[LineString, float, OutfallSite]], rules: Rules) -> Works:
    width, depth, cover = _stone(rules)
    trenches = []
    for line, ground, site in used:
        xy = shapely.get_coordinates(line)
        invert = ground - cover
        trenches.append(
            FrenchDrain(
                id=f"stone-{site.id}", drains_to=site.id,
                line=LineString(np.column_stack([xy, np.full(len(xy), invert)])), length=float(line.length),
                width=width, depth=depth, pipe=DRAIN_PIPE, slope=0.0, peak_flow=0.0,
                why=reason("stone_of_dry_well", site=site.id, cover=cover),
            )
        )
    return replace(works, french_drains=tuple(trenches))


def _soaks(line: Discharge, factor: float) -> Discharge:
    return replace(line, mode="soakaway", why=reason("soaks_by_tested_rate", why=line.why, factor=factor))
