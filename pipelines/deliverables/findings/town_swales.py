"""What becomes of a town's swales with the water of all its lots and of its roads."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import pandas as pd
from shapely import LineString, Point

from pipelines.layout.plan import Said
from pipelines.layout.swale.tailwater import TailwaterState
from pipelines.layout.swale.verdict import SwaleAnswer
from terrain.arrays import FloatArray
from terrain.reason import Reason

SwaleStatus = Literal["done", "failed", "set_aside"]


@dataclass(frozen=True, slots=True)
class StreetBalance:
    """Where the water of one storm went that lots and roads send to a swale. [m3]

    sent = arrives + stands + soaks, to round-off.

    Attributes
    ----------
    swale : str
        Its id.
    storm : float or None
        Return period. [yr]
    built : bool
        As if every lot had built its improvements.
    lots_surface, lots_works, other, above : float
        Sent: by lots over the surface, by their works, by road and other ground, by swales that end in it.
    arrives, stands, soaks : float
        At its lower end; in its low spots at the end; into the ground below those.
    """

    swale: str
    storm: float | None
    built: bool
    lots_surface: float
    lots_works: float
    other: float
    above: float
    arrives: float
    stands: float
    soaks: float

    @property
    def sent(self) -> float:
        """All that enters it. [m3]"""
        return self.lots_surface + self.lots_works + self.other + self.above

    @property
    def left_over(self) -> float:
        """Share of what is sent that is not accounted for. [-]"""
        lost = self.sent - self.arrives - self.stands - self.soaks
        return abs(lost) / self.sent if self.sent > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class FullPlace:
    """Where a swale is full in a storm.

    Attributes
    ----------
    swale : str
        Its id.
    storm : float or None
        Return period. [yr]
    built : bool
        As if every lot had built its improvements.
    station_from, station_to : float
        [m]
    over : float
        Most that the level stands above the lower bank. [m]
    lot, name : str
        Lot beside the place where it stands most above it; empty for none.
    from_time, to_time : float
        Since the rain began. [s]
    line : shapely LineString
        In the map's CRS.
    """

    swale: str
    storm: float | None
    built: bool
    station_from: float
    station_to: float
    over: float
    lot: str
    name: str
    from_time: float
    to_time: float
    line: LineString


@dataclass(frozen=True, slots=True)
class OutletRise:
    """What happens at one outlet if every lot builds its improvements.

    Attributes
    ----------
    lot, outlet, swale : str
        Ids; lot is empty for an outlet of none.
    place : shapely Point
        In the map's CRS.
    now, built : float
        Highest level in the design storm. [m]
    submerged : float
        How long its pipe lies under water with all improvements. [s]
    answer : str
        Of the swale check for that outlet then: takes_it, short, holds_water or cannot_tell.
    why : Said
        Of that.
    """

    lot: str
    outlet: str
    swale: str
    place: Point
    now: float
    built: float
    submerged: float
    answer: str
    why: Said

    @property
    def rise(self) -> float:
        """[m]"""
        return self.built - self.now


@dataclass(frozen=True, slots=True)
class SentToSwale:
    """What one lot sends to one swale in the design storm.

    Attributes
    ----------
    lot, name, swale : str
        Ids, and what people call the lot; lot is empty for road and other ground.
    surface, works : float
        As the lots are: over the surface. With all improvements: out of works. [m3]
    surface_built : float
        Over the surface with all improvements. [m3]
    station_from, station_to : float
        Where it enters. [m]
    """

    lot: str
    name: str
    swale: str
    surface: float
    works: float
    surface_built: float
    station_from: float
    station_to: float


@dataclass(frozen=True, slots=True)
class CulvertTold:
    """A drive over a swale: its id, and what the swale's check says of it."""

    id: str
    answer: str


@dataclass(frozen=True, slots=True, eq=False)
class OutletTold:
    """What a town keeps of an outlet on a swale.

    Attributes
    ----------
    id : str
        Of a lot's, with the lot before it.
    place : shapely Point
        In the map's CRS.
    state : str
        free, part or always: whether it stands under water.
    highest, above, submerged : float
        Level, and that over the outlet; how long it stands under water. [m], [m], [s]
    answer, why : str, Reason
        Whether the swale takes the storm there.
    stage, step : (n,) float ndarray, float
        Level at times 0, step, ... through the design storm; empty where it stays free. [m], [s]
    """

    id: str
    place: Point
    state: TailwaterState
    highest: float
    above: float
    submerged: float
    answer: SwaleAnswer
    why: Reason
    stage: FloatArray
    step: float


@dataclass(frozen=True, slots=True, eq=False)
class SwaleTold:
    """What a town keeps of a swale, beside its rows in the tables.

    Attributes
    ----------
    line : shapely LineString
        Along its bottom, in the map's CRS.
    peak : float or None
        Of the design storm at its lower end. [m3/s]
    first_overtops : float or None
        Return period of the first storm that stands above a bank or runs over a drive. [yr]
    ponds, recut : int
        Waters that stand after the storm, stretches to dig. [-]
    status, message : str
        done, failed or set_aside; and what failed. Then there is no answer.
    """

    id: str
    name: str
    line: LineString
    answer: SwaleAnswer | None = None
    why: Reason | None = None
    peak: float | None = None
    first_overtops: float | None = None
    ponds: int = 0
    recut: int = 0
    culverts: tuple[CulvertTold, ...] = ()
    outlets: tuple[OutletTold, ...] = ()
    status: SwaleStatus = "done"
    message: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class SwalesRecord:
    """All that the routing of one group of swales leaves: what a partition on disk holds.

    Attributes
    ----------
    id : str
        Of its first swale.
    now, built : tuple of SwaleTold
        As the lots are, and if every lot built its improvements; the latter empty where none are planned.
    full : tuple of FullPlace
        As the lots are, then the other.
    balances : tuple of StreetBalance
        By case, storm and swale.
    tables : dict of str to DataFrame
        Of the swale check as the lots are, in the map's CRS.
    in_spots : tuple of tuple of str
        By swale: low spots in which water stands, as the lots are and then.
    status, message : str
        done, failed or set_aside; and what failed, empty where nothing did.
    seconds, attempts : float, int
        It took, of the last attempt; how many there were. [s], [-]
    """

    id: str
    now: tuple[SwaleTold, ...] = ()
    built: tuple[SwaleTold, ...] = ()
    full: tuple[FullPlace, ...] = ()
    balances: tuple[StreetBalance, ...] = ()
    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    in_spots: tuple[tuple[tuple[str, ...], ...], ...] = ()
    status: SwaleStatus = "done"
    message: str = ""
    seconds: float = 0.0
    attempts: int = 1

    def tried(self, attempts: int) -> "SwalesRecord":
        """The same, of so many attempts."""
        return replace(self, attempts=attempts)


@dataclass(frozen=True, slots=True, eq=False)
class SwalesToldOf:
    """The swales of a town in one case: as the lots are, or if every lot built its improvements.

    Attributes
    ----------
    swales : tuple of SwaleTold
        In the order of their layer.
    warnings : tuple of Reason or str
        Of all of them.
    """

    swales: tuple[SwaleTold, ...]
    warnings: tuple[Said, ...]


@dataclass(frozen=True, slots=True, eq=False)
class TownSwales:
    """The swales with the water of all lots and of the road.

    Attributes
    ----------
    now, built : SwalesToldOf
        The swale check with the lots as they are, and if every lot built its improvements; the latter None where none
        are planned.
    tables : dict of str to DataFrame
        Of the swale check as the lots are, by the names of their layers.
    sent : tuple of SentToSwale
        By lot.
    full : tuple of FullPlace
        Where and in which storm one is full.
    rises : tuple of OutletRise
        At each outlet.
    balances : tuple of StreetBalance
        By swale, storm and case.
    """

    now: SwalesToldOf
    built: SwalesToldOf | None
    tables: Mapping[str, pd.DataFrame]
    sent: tuple[SentToSwale, ...]
    full: tuple[FullPlace, ...]
    rises: tuple[OutletRise, ...]
    balances: tuple[StreetBalance, ...]
