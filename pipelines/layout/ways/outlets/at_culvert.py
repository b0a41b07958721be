"""Outfalls that lie at a culvert, where no pipe can end in the bank."""

import shapely
from geopandas import GeoSeries

from pipelines.layout.plan import Plan
from terrain.reason import Reason, reason

END_IN_A_BANK = ("swale", "ditch")


def checks_at_culverts(plan: Plan, culverts: GeoSeries, reach: float) -> tuple[Reason, ...]:
    """What to look for on site where a line ends within reach of a culvert's length. [m]"""
    used = {line.outfall for line in plan.discharges}
    told = []
    for outfall in plan.outfalls:
        if outfall.id in used and outfall.kind in END_IN_A_BANK and len(culverts):
            away = float(shapely.distance(culverts.to_numpy(), outfall.point).min())
            if away <= reach:
                told.append(reason("check_outfall_at_culvert", outfall=outfall.id, kind=outfall.kind))
    return tuple(told)
