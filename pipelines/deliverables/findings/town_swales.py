"""What becomes of a town's swales with the water of all its lots and of its roads."""

from dataclasses import dataclass

from shapely import LineString, Point

from pipelines.deliverables.findings.swale import SwaleFindings
from pipelines.layout.plan import Said


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


@dataclass(frozen=True, slots=True, eq=False)
class TownSwales:
    """The swales with the water of all lots and of the road.

    Attributes
    ----------
    now, built : SwaleFindings
        The swale check with the lots as they are, and if every lot built its improvements; the latter None where none
        are planned.
    sent : tuple of SentToSwale
        By lot.
    full : tuple of FullPlace
        Where and in which storm one is full.
    rises : tuple of OutletRise
        At each outlet.
    balances : tuple of StreetBalance
        By swale, storm and case.
    """

    now: SwaleFindings
    built: SwaleFindings | None
    sent: tuple[SentToSwale, ...]
    full: tuple[FullPlace, ...]
    rises: tuple[OutletRise, ...]
    balances: tuple[StreetBalance, ...]
