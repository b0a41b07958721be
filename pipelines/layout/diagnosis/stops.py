"""What is referred out: sites for which nothing is proposed here."""

import numpy as np

from pipelines.inputs.shapes.layers import SiteLayers
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.diagnosis.cause import reasons_to_refer
from pipelines.layout.diagnosis.situation import Situation
from terrain.ground import OPEN
from terrain.reason import Reason, reason


def reasons_to_stop(site: SiteFile, layers: SiteLayers, situation: Situation) -> tuple[Reason, ...]:
    """Reasons for which the lot is referred to someone licensed, or must be looked at anew."""
    reasons: list[Reason] = []
    rules = situation.rules
    flown, built = site.elevation.flown, site.house.built
    if built is None and len(layers.roofs):
        own = layers.roofs[layers.roofs.intersects(layers.parcel)]
        years = own["built"].to_numpy(dtype=np.float64)
        built = int(np.nanmax(years)) if np.isfinite(years).any() else None
    if flown is not None and built is not None and flown < built:
        reasons.append(reason("lidar_before_house", flown=flown, built=built))
    share = _steep_share(situation)
    if share > rules["refer_slope_share"].likely:
        reasons.append(reason("refer_steep_lot", share=share, slope=rules["refer_slope"].likely))
    high = rules["refer_wall"].likely
    walls = layers.barriers[layers.barriers.intersects(layers.parcel)]
    tall = walls[(walls["height_m"] > high) & walls["kind"].str.contains("wall", case=False)]
    if len(tall):
        reasons.append(reason("refer_tall_wall", height=float(tall["height_m"].max()), limit=high))
    return (*reasons, *reasons_to_refer(layers, situation))


def _steep_share(situation: Situation) -> float:
    """Share of the lot's open ground that is steeper than the trade refers out, kerbs and noise left out."""
    slope, reach = situation.rules["refer_slope"].likely, situation.rules["refer_slope_reach"].likely
    grid = situation.grid
    ground = situation.drainage.ground
    heights = np.where(ground.kind == OPEN, ground.elevation, np.nan)
    rows = max(1, round(reach / grid.cell_height))
    columns = max(1, round(reach / grid.cell_width))
    if grid.shape[0] <= rows or grid.shape[1] <= columns:
        return 0.0
    down = np.abs(heights[rows:, :-columns] - heights[:-rows, :-columns]) / (rows * grid.cell_height)
    along = np.abs(heights[:-rows, columns:] - heights[:-rows, :-columns]) / (columns * grid.cell_width)
    on_lot = situation.on_parcel[:-rows, :-columns]
    steepest = np.hypot(down, along)[on_lot]
    known = np.isfinite(steepest)
    return float(np.count_nonzero(steepest[known] > slope)) / max(int(np.count_nonzero(known)), 1)
