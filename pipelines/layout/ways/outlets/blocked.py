"""Why no line leads off a lot: what bars it on the way to each outfall, found on the ground that the router uses."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import shapely

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.layout.parts import Said
from pipelines.layout.plan import Alternative
from pipelines.layout.routing.fall_to_spare import way_lengths
from pipelines.layout.routing.field import RouteField
from pipelines.layout.routing.lot_field import BARS, lot_field
from pipelines.layout.routing.spec import Collector
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import collectors_of, route_spec, settings_to_try
from pipelines.layout.ways.way_values import Way, WayInputs
from terrain.reason import Reason, reason

TABLES = ("outfalls", "right_of_way")
"""Without these nobody can say that there is no way."""
MOST_TOGETHER = 2
"""Bars that are tried together before all are."""

Barred = Mapping[frozenset[str], Sequence[OutfallSite]]
"""Outfalls by what would have to be opened together before a line from every collector reaches them."""


def missing_tables(inputs: WayInputs) -> tuple[str, ...]:
    """Tables of the site file that say where water may leave and over whose ground, and that were not given."""
    return tuple(name for name in TABLES if getattr(inputs.site, name) is None)


def what_bars(inputs: WayInputs, layers: SiteLayers) -> Barred:
    """The fewest things that bar a line to each outfall: nothing where one can be laid, were there fall."""
    settings = settings_to_try(inputs.situation.rules, inputs.site.layout)[-1]
    spec, _ = route_spec(inputs.ground, settings)
    collectors = collectors_of(inputs.catching, inputs.flows.flows, inputs.wanted, spec, settings)
    left = list({site.id: site for site in reversed(_nearest_last(inputs))}.values())
    found: dict[frozenset[str], list[OutfallSite]] = {}
    for bars in _sets(inputs, layers):
        if not left:
            return found
        field = inputs.ground.field if not bars else _opened(inputs, layers, bars)
        reached = [site for site in left if _reaches(field, site, collectors)]
        if reached:
            found[bars] = reached
            left = [site for site in left if site not in reached]
    if left:
        found[frozenset({"ground"})] = left
    return found


def why_no_line(inputs: WayInputs, layers: SiteLayers, barred: Barred, ways: Sequence[Way]) -> Reason:
    """What bars each line off the lot and which table would open it, said once for all outfalls that share it."""
    depends = {way.mode: way.depends_on for way in ways}
    told = [
        reason(
            "line_barred", outfalls=_ids(sites),
            bars=tuple(_told(inputs, layers, name, sites) for name in (*BARS, "ground") if name in bars),
        )
        for bars, sites in barred.items()
        if bars
    ]  # fmt: skip
    if reached := barred.get(frozenset(), ()):
        told.append(
            reason(
                "line_reaches", outfalls=_ids(reached), gravity=depends["gravity"], pump=depends["pump"],
            )
        )
    if not barred:
        told.append(reason("no_outfall_to_reach", why=depends["gravity"], given=inputs.site.outfalls is not None))
    return reason(
        "no_line_leads_off", lines=tuple(told), daylight=depends["daylight"], dry_well=depends["soakaway"]
    )


def told_once(alternatives: Sequence[Alternative], barred: Barred) -> tuple[Alternative, ...]:
    """Ways compared, without repeating what bars their lines."""
    if not barred or frozenset() in barred:
        return tuple(alternatives)
    return tuple(
        replace(each, depends_on=reason("no_line_reaches_outfall")) if each.mode in ("gravity", "pump") else each
        for each in alternatives
    )


def _ids(sites: Sequence[OutfallSite]) -> tuple[str, ...]:
    return tuple(sorted((site.id for site in sites), key=lambda id: (len(id), id)))


def _nearest_last(inputs: WayInputs) -> list[OutfallSite]:
    away = inputs.situation.parcel
    return sorted(inputs.outfalls, key=lambda site: -float(shapely.distance(away, site.point)))


def _sets(inputs: WayInputs, layers: SiteLayers) -> Iterator[frozenset[str]]:
    lot = inputs.situation.parcel
    there = {
        "way": not all(shapely.intersects(lot, site.point) for site in inputs.outfalls),
        "setback": True,
        "utilities": bool((layers.utilities["crossing"] == "never").any()),
        "keep_out": bool((layers.keep_out["crossing"] == "never").any()),
        "struck_out": not layers.forbidden.empty,
        "roofs_beyond": not shapely.covers(lot, inputs.situation.roofs),
        "houses": not inputs.situation.houses.is_empty,
    }
    present = [name for name in BARS if there[name]]
    for many in range(MOST_TOGETHER + 1):
        yield from (frozenset(each) for each in combinations(present, many))
    if len(present) > MOST_TOGETHER:
        yield frozenset(present)


def _opened(inputs: WayInputs, layers: SiteLayers, bars: frozenset[str]) -> RouteField:
    rules = inputs.situation.rules
    return lot_field(
        inputs.situation, layers, [site.point for site in inputs.outfalls], inputs.ground.prices,
        cover=rules["cover_lawn"].low, max_depth=rules["depth_hand_dig"].high, opened=bars,
    )


def _reaches(field: RouteField, site: OutfallSite, collectors: Sequence[Collector]) -> bool:
    """Whether an allowed way leads to a place from every collector, whatever the fall."""
    length = way_lengths(field, site.point)
    cells = [field.nearest_allowed(each.point.x, each.point.y) for each in collectors]
    return all(cell is not None and bool(np.isfinite(length[cell])) for cell in cells)


def _told(inputs: WayInputs, layers: SiteLayers, bar: str, sites: Sequence[OutfallSite]) -> Said:
    situation = inputs.situation
    if bar == "way":
        away = [float(shapely.distance(situation.parcel, site.point)) for site in sites]
        return reason("barred_way", given=situation.right_of_way is not None, distance=min(away))
    if bar == "setback":
        return reason("barred_setback", offset=situation.rules["least_line_offset"].likely)
    if bar in ("keep_out", "utilities"):
        table = layers.keep_out if bar == "keep_out" else layers.utilities
        kinds = table.loc[table["crossing"] == "never", "kind"].fillna("")
        named = tuple(sorted({str(kind).lower() for kind in kinds if kind}))
        return reason("barred_crossing", kinds=named, table=bar)
    return reason("barred_by", bar=bar)
