"""A town's swales measured, and where the outlets of its lots lie on them."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from pipelines.deliverables.findings.town import LotRecord
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.inputs.lot_results import LotOutlet, LotResult
from pipelines.layout.swale.case import SwaleCase
from pipelines.layout.swale.discharges import place_discharges
from pipelines.layout.swale.outlets import SwaleOutlet
from pipelines.layout.swale.water import PointDischarge, swale_labels
from pipelines.town.swales.along_street import lower_swales
from pipelines.town.swales.sent import owners_of
from terrain.arrays import IntArray
from terrain.flow.drainage import upstream_labels
from terrain.flow.low_spots import LowSpot


@dataclass(frozen=True, slots=True, eq=False)
class Street:
    """The swales of a town measured, and what of all lots comes to them.

    Attributes
    ----------
    seeds, labels : (rows, cols) int ndarray
        Label of the section on cells of the swales, and that of the section that each cell drains to; -1 elsewhere.
    first : tuple of int
        First label of each swale.
    below : dict of int to (int, int)
        Swale and station that each swale ends in.
    discharges : tuple of PointDischarge
        Outlets of the lots on the swales, named as lot and outfall.
    owners : (rows * cols,) int ndarray
        Position of the lot that holds each cell, -1 for none.
    asked : list of (n,) int ndarray
        By swale: cells that it or one of its outlets lies in.
    near : list of tuple of LowSpot
        By swale: low spots there.
    """

    case: SwaleCase
    rain: DesignRain
    seeds: IntArray
    labels: IntArray
    first: tuple[int, ...]
    below: Mapping[int, tuple[int, int]]
    records: Sequence[LotRecord]
    discharges: tuple[PointDischarge, ...]
    outlets: list[list[SwaleOutlet]]
    owners: IntArray
    asked: list[IntArray]
    near: list[tuple[LowSpot, ...]]

    def swale_of(self, label: int) -> tuple[int, int]:
        """Swale and station of a label."""
        swale = int(np.searchsorted(self.first, label, side="right")) - 1
        return swale, label - self.first[swale]

    def groups(self) -> list[list[int]]:
        """Swales of which one takes from another, together; each in its order, the groups by their first."""
        root = list(range(len(self.case.sites)))
        for position in root:
            low = position
            while low in self.below:
                low = self.below[low][0]
            root[position] = low
        found: dict[int, list[int]] = defaultdict(list)
        for position, low in enumerate(root):
            found[low].append(position)
        return sorted(found.values())


def measured_street(case: SwaleCase, rain: DesignRain, records: Sequence[LotRecord]) -> Street:
    """Labels of the swales, what lies in them, and which ends in which."""
    seeds, first = swale_labels(case.sites, case.drainage)
    results = [_result(record, case) for record in records if record.outlets]
    discharges, outlets = place_discharges(case, results, ())
    parcels = [case.ground.grid.frame.from_map(record.row.parcel) for record in records]
    asked = _asked(case, outlets)
    return Street(
        case, rain, seeds, upstream_labels(case.drainage, seeds), first, lower_swales(case, seeds, first),
        records, discharges, outlets, owners_of(parcels, case.ground.grid), asked, _near(case, asked),
    )  # fmt: skip


def _asked(case: SwaleCase, outlets: Sequence[Sequence[SwaleOutlet]]) -> list[IntArray]:
    """Cells in which each swale and its outlets lie."""
    grid, found = case.ground.grid, []
    for site, own in zip(case.sites, outlets, strict=True):
        x = np.concatenate([site.thalweg.x, [each.x for each in own]])
        y = np.concatenate([site.thalweg.y, [each.y for each in own]])
        rows, columns = grid.cells(x, y)
        found.append(np.clip(rows, 0, grid.shape[0] - 1) * grid.shape[1] + np.clip(columns, 0, grid.shape[1] - 1))
    return found


def _near(case: SwaleCase, asked: Sequence[IntArray]) -> list[tuple[LowSpot, ...]]:
    """Low spots at some cells, without those far off: a town has thousands."""
    spot_at = np.full(case.ground.elevation.size, -1, dtype=np.int64)
    for number, spot in enumerate(case.spots):
        if spot.contained_in is None:
            spot_at[spot.cells] = number
    numbers = (np.unique(spot_at[cells]) for cells in asked)
    return [tuple(case.spots[k] for k in each[each >= 0].tolist()) for each in numbers]


def _result(record: LotRecord, case: SwaleCase) -> LotResult:
    """A lot's outlets as the swale check takes them."""
    frame = case.ground.grid.frame
    lift = np.array([1.0, 1.0, frame.unit])
    outlets = tuple(
        LotOutlet(
            f"{record.row.lot}/{each.id}", each.kind, frame.from_map(each.place), each.peak, each.pumped,
            None if each.line is None
            else shapely.transform(frame.from_map(each.line), lambda points: points * lift, include_z=True),
            each.size, each.run_peak,
        )
        for each in record.outlets
    )  # fmt: skip
    return LotResult(record.row.name or record.row.lot, Path(record.row.lot), outlets, ())
