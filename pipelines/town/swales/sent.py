"""Who sends what to which swale: lots over the surface and out of pipes, the road and other ground."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from rasterio.features import rasterize
from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import SentToSwale
from pipelines.hydrology.sub_catchment import Hydrograph
from pipelines.layout.swale.site import SwaleSite
from terrain.grid import Grid


@dataclass(frozen=True, slots=True)
class Sender:
    """A lot by its position, -1 for other ground; out of its pipes, else over the surface."""

    lot: int
    piped: bool = False


@dataclass(slots=True, eq=False)
class Senders:
    """What one storm sends to swales, gathered as it is found.

    Attributes
    ----------
    count : int
        Swales.
    inflows : list of dict of int to list of Hydrograph
        By swale: what enters by station.
    volumes : list of dict of Sender to float
        By swale. [m3]
    stations : list of dict of Sender to (int, int)
        First and last station at which each enters.
    above : list of float
        From swales that end in it. [m3]
    kept : list of (float, float)
        What stands and what soaks in before it enters. [m3]
    """

    count: int
    inflows: list[dict[int, list[Hydrograph]]] = field(init=False)
    volumes: list[dict[Sender, float]] = field(init=False)
    stations: list[dict[Sender, tuple[int, int]]] = field(init=False)
    above: list[float] = field(init=False)
    kept: list[tuple[float, float]] = field(init=False)

    def __post_init__(self) -> None:
        self.inflows = [{} for _ in range(self.count)]
        self.volumes = [{} for _ in range(self.count)]
        self.stations = [{} for _ in range(self.count)]
        self.above = [0.0] * self.count
        self.kept = [(0.0, 0.0)] * self.count

    def add(self, swale: int, station: int, flow: Hydrograph, volumes: Mapping[Sender, float]) -> None:
        """Water that enters at a station, with who sends it."""
        self.inflows[swale].setdefault(station, []).append(flow)
        self.send(swale, station, volumes)

    def send(self, swale: int, station: int, volumes: Mapping[Sender, float]) -> None:
        """Who sends water that comes to a station, be it that some of it is held before."""
        for sender, volume in volumes.items():
            self.volumes[swale][sender] = self.volumes[swale].get(sender, 0.0) + volume
            first, last = self.stations[swale].get(sender, (station, station))
            self.stations[swale][sender] = min(first, station), max(last, station)

    def keep(self, swale: int, stands: float, soaked: float) -> None:
        """Water that stands and soaks in before it enters."""
        before = self.kept[swale]
        self.kept[swale] = before[0] + stands, before[1] + soaked

    def pass_on(self, swale: int, station: int, flow: Hydrograph) -> None:
        """What a swale above lets out into this one."""
        self.inflows[swale].setdefault(station, []).append(flow)
        self.above[swale] += flow.volume

    def without_water(self) -> "Senders":
        """Who sends what, without the hydrographs."""
        self.inflows = [{} for _ in range(self.count)]
        return self

    def totals(self, swale: int) -> tuple[float, float, float]:
        """By lots over the surface, by their pipes, by other ground. [m3]"""
        listed = self.volumes[swale].items()
        return (
            sum(volume for sender, volume in listed if sender.lot >= 0 and not sender.piped),
            sum(volume for sender, volume in listed if sender.piped),
            sum(volume for sender, volume in listed if sender.lot < 0),
        )


def owners_of(parcels: Sequence[BaseGeometry], grid: Grid) -> np.ndarray:
    """Position of the lot that holds each cell's middle, -1 for none; of 32 bits."""
    if not parcels:
        return np.full(grid.shape[0] * grid.shape[1], -1, dtype=np.int32)
    shapes = [(shape, number) for number, shape in enumerate(parcels) if not shape.is_empty]
    found = rasterize(shapes, out_shape=grid.shape, transform=grid.transform, fill=-1, dtype="int32")
    return np.asarray(found, dtype=np.int32).ravel()


def sent_to_swales(
    now: Senders, built: Senders | None, records: Sequence[LotRecord], sites: Sequence[SwaleSite]
) -> tuple[SentToSwale, ...]:
    """Water of each lot by swale in the design storm, lots in their order, other ground last."""
    found = []
    for position, site in enumerate(sites):
        before = now.volumes[position]
        after = before if built is None else built.volumes[position]
        lots = sorted({sender.lot for sender in (*before, *after)}, key=lambda lot: (lot < 0, lot))
        for lot in lots:
            ends = [
                each.stations[position][sender]
                for each in (now, built or now)
                for sender in (Sender(lot), Sender(lot, piped=True))
                if sender in each.stations[position]
            ]
            row = records[lot].row if lot >= 0 else None
            found.append(
                SentToSwale(
                    "" if row is None else row.lot,
                    "" if row is None else row.name,
                    site.id,
                    before.get(Sender(lot), 0.0),
                    after.get(Sender(lot, piped=True), 0.0),
                    after.get(Sender(lot), 0.0),
                    float(site.station[min(first for first, _ in ends)]),
                    float(site.station[max(last for _, last in ends)]),
                )
            )
    return tuple(found)
