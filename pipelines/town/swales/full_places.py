"""Where a swale is full, in which storm, beside which lot and when."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from pipelines.deliverables.findings.swale import SwaleFinding
from pipelines.deliverables.findings.town_swales import FullPlace
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.levels import SwaleLevels, swale_levels
from terrain.arrays import FloatArray, IntArray

BESIDE = 30.0
"""How far a lot beside a swale may be. [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class StormOnSwale:
    """One storm on one swale, as much of it as is kept.

    Attributes
    ----------
    years : float or None
        Return period. [yr]
    levels : SwaleLevels
        At the largest flow of each station.
    peak : (n,) float ndarray
        That flow. [m3/s]
    over : dict of int to (m,) float ndarray
        Flow at times 0, step, ... at each station that stands above its bank. [m3/s]
    step : float
        [s]
    """

    years: float | None
    levels: SwaleLevels
    peak: FloatArray
    over: Mapping[int, FloatArray]
    step: float


def storm_on_swale(case: SwaleCase, position: int, years: float | None, flow: SwaleFlow) -> StormOnSwale:
    """Levels of a routed storm, and its flow where they stand above a bank."""
    levels = swale_levels(case.sites[position], flow.peak, case.rules, downstream_level=case.downstream_level)
    over = {at: flow.flow[at].copy() for at in np.flatnonzero(levels.over_bank).tolist()}
    return StormOnSwale(years, levels, flow.peak, over, flow.step)


def full_places(
    case: SwaleCase,
    found: SwaleFinding,
    storms: Sequence[StormOnSwale],
    owners: IntArray,
    lots: Mapping[int, tuple[str, str]],
    *,
    built: bool,
) -> list[FullPlace]:
    """Stretches of a swale that stand above their lower bank, in each storm."""
    site = found.site
    places = []
    for storm in storms:
        over = np.flatnonzero(storm.levels.over_bank)
        for stretch in np.split(over, np.flatnonzero(np.diff(over) > 1) + 1) if over.size else ():
            above = storm.levels.level[stretch] - site.bank[stretch]
            worst = int(stretch[np.argmax(above)])
            when = np.flatnonzero(storm.over[worst] > _fills(found, storms, worst))
            number = _beside(case, owners, site.sections[worst].x, site.sections[worst].y)
            lot, name = lots.get(number, ("", ""))
            start, end = float(site.station[stretch[0]]), float(site.station[stretch[-1]])
            line = shapely.ops.substring(shapely.force_2d(site.thalweg.line), start, max(end, start + 0.5))
            places.append(
                FullPlace(
                    site.id,
                    storm.years,
                    built,
                    start,
                    end,
                    float(above.max()),
                    lot,
                    name,
                    float(when[0]) * storm.step if when.size else 0.0,
                    float(when[-1]) * storm.step if when.size else 0.0,
                    case.ground.grid.frame.to_map(line),
                )
            )
    return places


def _fills(found: SwaleFinding, storms: Sequence[StormOnSwale], station: int) -> float:
    """Flow that fills a station to its lower bank, between those whose levels are known there. [m3/s]"""
    site = found.site
    known = sorted([(float(site.bottom[station]), 0.0)]
                   + [(float(each.levels.level[station]), float(each.peak[station])) for each in storms])  # fmt: skip
    levels, flows = zip(*known, strict=True)
    return float(np.interp(float(site.bank[station]), levels, np.maximum.accumulate(flows)))


def _beside(case: SwaleCase, owners: IntArray, x: float, y: float) -> int:
    """Position of the lot nearest to a place on a swale, -1 where none is near."""
    grid = case.ground.grid
    reach = int(BESIDE / max(grid.cell_width, grid.cell_height))
    row, column = (int(each) for each in grid.cells(x, y))
    top, left = max(row - reach, 0), max(column - reach, 0)
    window = owners.reshape(grid.shape)[top : row + reach + 1, left : column + reach + 1]
    rows, columns = np.nonzero(window >= 0)
    if not rows.size:
        return -1
    nearest = int(np.argmin((rows + top - row) ** 2 + (columns + left - column) ** 2))
    return int(window[rows[nearest], columns[nearest]])
