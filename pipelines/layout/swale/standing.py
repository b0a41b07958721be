"""Water that stands along a swale after rain."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.inputs.ground_rules import lidar_noise
from pipelines.inputs.rules import Rules
from pipelines.layout.swale.reaches import part_id
from pipelines.layout.swale.site import SwaleSite
from terrain.arrays import FloatArray
from terrain.flow.drainage import Drainage
from terrain.flow.low_spots import LowSpot
from terrain.lidar_error import fall_error


@dataclass(frozen=True, slots=True, eq=False)
class SwalePond:
    """A low spot that a swale runs through.

    Attributes
    ----------
    start, end, deepest : float
        Stations between which the thalweg is under water, and where it is deepest. [m]
    level : float
        Of the water after the storm: the spill level, lower where too little arrives. [m]
    depth : float
        Greatest depth along the thalweg then. [m]
    length : float
        Of thalweg under water. [m]
    volume : float
        Of water that stands. [m3]
    time : float or None
        Until it has soaked away; None where the soil's rate is not known. [s]
    sure : bool
        Deeper than the lidar's error.
    behind : str
        Id of the drive that dams it; empty for none.
    """

    id: str
    spot: LowSpot
    start: float
    end: float
    deepest: float
    level: float
    depth: float
    length: float
    volume: float
    time: float | None
    sure: bool
    behind: str


def standing_along(
    site: SwaleSite,
    drainage: Drainage,
    spots: Sequence[LowSpot],
    arriving: FloatArray,
    *,
    rules: Rules,
    soaking_rate: float | None,
) -> tuple[SwalePond, ...]:
    """Low spots along a swale, filled with what the storm brings."""
    grid = drainage.ground.grid
    rmse, least = rules["lidar_rmse"].likely, rules["swale_least_pond"].likely
    sigmas, noise = rules["verdict_sigmas"].likely, lidar_noise(rules)
    rows, columns = grid.cells(site.thalweg.x, site.thalweg.y)
    cells = np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1)
    step = float(site.thalweg.station[1])
    ponds = []
    for spot in spots:
        if spot.contained_in is not None:
            continue
        # the thalweg passes beside some of its cells' centres
        under = np.isin(cells, spot.cells)
        if not under.any():
            continue
        at = site.thalweg.station[under]
        passing = float(arriving[site.section_below(float(at.max()))])
        level, volume = _filled(spot, passing)
        depth = np.where(under, np.maximum(level - site.thalweg.bottom, 0.0), 0.0)
        wet = depth > 0.0
        deepest = float(depth.max())
        length = float(wet.sum()) * step
        # over less than the error's own length cells differ by as much as over it
        sure = deepest > sigmas * fall_error(rmse, max(length, noise["noise_length"]), **noise)
        at_deepest = float(site.thalweg.station[int(np.argmax(depth))])
        in_culvert = any(each.given and each.start < at_deepest < each.end for each in site.crossings)
        if deepest < least or in_culvert:
            continue
        time = deepest / soaking_rate if soaking_rate else None
        behind = next(
            (each.id for each in site.crossings if each.start - 1.0 <= float(at.max()) <= each.end + 1.0), ""
        )
        ponds.append(
            SwalePond(
                "", spot, float(site.thalweg.station[wet].min()), float(site.thalweg.station[wet].max()),
                at_deepest, level, deepest, length, volume, time, sure,
                behind,
            )
        )  # fmt: skip
    ponds.sort(key=lambda pond: pond.start)
    return tuple(replace(pond, id=part_id("pond", site.id, number)) for number, pond in enumerate(ponds, start=1))


def still_level(site: SwaleSite, ponds: Sequence[SwalePond]) -> FloatArray:
    """Level of still water at each section, the bottom where none stands. [m]"""
    level = site.bottom.copy()
    for pond in ponds:
        inside = (site.station >= pond.start - 1.0) & (site.station <= pond.end + 1.0)
        level[inside] = np.maximum(level[inside], pond.level)
    return level


def _filled(spot: LowSpot, water: float) -> tuple[float, float]:
    """Level and volume of a low spot that so much water reaches."""
    volume = min(water, spot.volume)
    top = spot.spill_elevation if spot.spill_elevation is not None else float(spot.levels[-1])
    if volume >= spot.volume:
        return top, spot.volume
    return float(np.interp(volume, spot.volumes, spot.levels)), volume
