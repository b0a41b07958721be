"""What is referred out: sites for which nothing is proposed here."""

from collections.abc import Sequence

import numpy as np
from shapely import Point

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.diagnosis.situation import Situation

STEEP_SHARE = 0.10
"""Share of the lot that must be too steep before the lot counts as steep. [-]"""
STEEP_REACH = 3.0
"""A slope is taken over this far, so that noise and kerbs don't count. [m]"""
_GROUND_WATER = ("never dries", "without rain", "crawl", "basement", "damp wall", "seep", "spring", "all year")
_WORDS = {
    "sinkhole": "a sinkhole",
    "flood": "a floodplain",
    "tide": "tidal water",
    "wetland": "a wetland",
}


def reasons_to_stop(site: SiteFile, layers: SiteLayers, situation: Situation) -> tuple[str, ...]:
    """Reasons for which the lot is referred to someone licensed, or must be looked at anew."""
    reasons: list[str] = []
    flown, built = site.elevation.flown, site.house.built
    if built is None and len(layers.roofs):
        own = layers.roofs[layers.roofs.intersects(layers.parcel)]
        years = own["built"].to_numpy(dtype=np.float64)
        built = int(np.nanmax(years)) if np.isfinite(years).any() else None
    if flown is not None and built is not None and flown < built:
        reasons.append(
            f"The lidar was flown in {flown}, before the house was built in {built}: it shows another lot. Ask for "
            "newer lidar or for level shots of the whole lot; nothing is proposed on this ground."
        )
    steep = situation.rules["refer_slope"].likely
    share = steep_share(situation, steep)
    if share > STEEP_SHARE:
        reasons.append(
            f"{share:.0%} of the lot is steeper than {steep:.0%}: refer it to an engineer, nothing is proposed here."
        )
    high = situation.rules["refer_wall"].likely
    walls = layers.barriers[layers.barriers.intersects(layers.parcel)]
    tall = walls[(walls["height_m"] > high) & walls["kind"].str.contains("wall", case=False)]
    if len(tall):
        reasons.append(
            f"A wall of {float(tall['height_m'].max()):.1f} m stands on the lot, and above {high:.1f} m walls are an "
            "engineer's: nothing is proposed here."
        )
    kinds = layers.keep_out[layers.keep_out.intersects(layers.parcel)]["kind"].str.lower()
    for key, words in _WORDS.items():
        if kinds.str.contains(key).any():
            reasons.append(f"The lot lies in or beside {words}: refer it out, nothing is proposed here.")
    return tuple(reasons)


def ground_water_in_words(complaints: Sequence[tuple[Point, str]]) -> tuple[str, ...]:
    """What complaints say of ground water, which works on the surface do not cure."""
    return tuple(
        f'"{said}" may be ground water, a spring, a leak, irrigation or septic water, and then surface works fail. '
        "What would tell: is it wet without rain, does a test hole fill in a day, does a hose on the surface bring it?"
        for _, said in complaints
        if any(sign in said.lower() for sign in _GROUND_WATER)
    )


def steep_share(situation: Situation, slope: float) -> float:
    """Share of the lot's open ground that is steeper than a slope over about 3 m. [-]"""
    grid = situation.grid
    ground = situation.drainage.ground
    heights = np.where(ground.kind == 1, ground.elevation, np.nan)
    rows = max(1, round(STEEP_REACH / grid.cell_height))
    columns = max(1, round(STEEP_REACH / grid.cell_width))
    if grid.shape[0] <= rows or grid.shape[1] <= columns:
        return 0.0
    down = np.abs(heights[rows:, :-columns] - heights[:-rows, :-columns]) / (rows * grid.cell_height)
    along = np.abs(heights[:-rows, columns:] - heights[:-rows, :-columns]) / (columns * grid.cell_width)
    on_lot = situation.on_parcel[:-rows, :-columns]
    steepest = np.hypot(down, along)[on_lot]
    known = np.isfinite(steepest)
    return float(np.count_nonzero(steepest[known] > slope)) / max(int(np.count_nonzero(known)), 1)
