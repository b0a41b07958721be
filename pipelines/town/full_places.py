"""Where a swale is full, in which storm, beside which lot and when."""

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from pipelines.deliverables.findings.swale import SwaleFinding
from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import FullPlace
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.levels import level_series
from pipelines.layout.swale.standing import still_level
from terrain.arrays import IntArray

BESIDE = 30.0
"""How far a lot beside a swale may be. [m]"""


def full_places(
    case: SwaleCase,
    found: SwaleFinding,
    flows: Mapping[float | None, SwaleFlow],
    owners: IntArray,
    records: Sequence[LotRecord],
    *,
    built: bool,
) -> list[FullPlace]:
    """Stretches of a swale that stand above their lower bank, in each storm."""
    site = found.site
    places = []
    for years, flow in flows.items():
        levels = found.levels if flow is found.flow or years is None else found.storms[years]
        if not levels.over_bank.any():
            continue
        series = level_series(
            site, flow.flow, case.rules, standing=still_level(site, found.ponds),
            downstream_level=case.downstream_level,
        )  # fmt: skip
        over = np.flatnonzero(levels.over_bank)
        for stretch in np.split(over, np.flatnonzero(np.diff(over) > 1) + 1):
            above = levels.level[stretch] - site.bank[stretch]
            worst = int(stretch[np.argmax(above)])
            when = np.flatnonzero(series[worst] > site.bank[worst])
            number = _beside(case, owners, site.sections[worst].x, site.sections[worst].y)
            row = None if number < 0 else records[number].row
            start, end = float(site.station[stretch[0]]), float(site.station[stretch[-1]])
            line = shapely.ops.substring(shapely.force_2d(site.thalweg.line), start, max(end, start + 0.5))
            places.append(
                FullPlace(
                    site.id,
                    years,
                    built,
                    start,
                    end,
                    float(above.max()),
                    "" if row is None else row.lot,
                    "" if row is None else row.name,
                    float(when[0]) * flow.step if when.size else 0.0,
                    float(when[-1]) * flow.step if when.size else 0.0,
                    case.ground.grid.frame.to_map(line),
                )
            )
    return places


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
