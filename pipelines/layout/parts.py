"""The verdict in parts, sizes of the works that were compared and shots that would settle more, as values."""

from dataclasses import dataclass
from typing import Literal

from shapely import Point
from shapely.geometry.base import BaseGeometry

from terrain.reason import Reason

Said = Reason | str
"""What a reader is told."""
Verdict = Literal["sure", "cannot_tell", "no"]
State = Literal["sure", "cannot_tell", "no", "not_needed"]
PartName = Literal["cause", "fall", "outfall", "cure"]
WEAKEST_FIRST: tuple[State, ...] = ("no", "cannot_tell", "sure", "not_needed")


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the verdict, why it is so, and what it is so under, where another part leaves that open."""

    state: State
    why: Said
    only: Reason | None = None


@dataclass(frozen=True, slots=True)
class Parts:
    """The verdict in parts.

    Attributes
    ----------
    cause : Part
        Is it surface water, so that works on the surface can end it?
    fall : Part
        Has every line its fall, or its lift?
    outfall : Part
        Does what takes the water take this storm's?
    cure : Part
        Is every trouble within its limit in this storm, with the works?
    """

    cause: Part
    fall: Part
    outfall: Part
    cure: Part

    @property
    def named(self) -> tuple[tuple[PartName, Part], ...]:
        """Each part with its name, in the order in which they are told."""
        return ("cause", self.cause), ("fall", self.fall), ("outfall", self.outfall), ("cure", self.cure)

    @property
    def weakest(self) -> tuple[PartName, Part]:
        """The least sure of the parts that are needed, the first of equals; the cure where none is needed."""
        needed = [each for each in self.named if each[1].state != "not_needed"]
        return min(needed, key=lambda each: WEAKEST_FIRST.index(each[1].state), default=("cure", self.cure))

    @property
    def verdict(self) -> Verdict:
        """State of the weakest; sure where no part is needed."""
        state = self.weakest[1].state
        return "sure" if state == "not_needed" else state


@dataclass(frozen=True, slots=True)
class Size:
    """One size of the works.

    Attributes
    ----------
    keeps_dry : float or None
        Return period of the storm in which no water stands on the paving; None for none. [yr]
    catches : bool
        Whether it catches what runs by; the least drains in time what stands.
    holds : bool
        Whether it does so once its lines are laid.
    low, likely, high : float or None
        Money, in the price list's currency; None where it cannot be laid.
    chosen : bool
        Whether the plan is of this size.
    """

    keeps_dry: float | None
    catches: bool
    holds: bool
    low: float | None
    likely: float | None
    high: float | None
    chosen: bool


CaughtKind = Literal["trench", "basin"]


@dataclass(frozen=True, slots=True)
class CaughtBy:
    """One of two ways to catch the water, as it is told beside the other.

    Attributes
    ----------
    kind : str
        trench, with basins at its lows, or basin alone.
    ended : bool
        Whether it ends every trouble in the design storm.
    place : Reason or None
        Where water stands longest over its limit with it.
    depth, over : float or None
        Water there, and how long it stands over what is tolerated, None where longer than the storm was followed. [m],
        [s]
    length : float
        Of stone trench. [m]
    cut : int
        Basins cut into paving.
    low, likely, high : float or None
        Money, in the price list's currency; None where it was not laid out, or leads nowhere.
    why : Reason or None
        Why it was not laid out.
    passes : bool
        Where it does not, whether that hangs alone on what passes through a pond at an edge.
    """

    kind: CaughtKind
    ended: bool = False
    place: Reason | None = None
    depth: float | None = None
    over: float | None = None
    length: float = 0.0
    cut: int = 0
    low: float | None = None
    likely: float | None = None
    high: float | None = None
    chosen: bool = False
    why: Reason | None = None
    passes: bool = False


SurfaceKind = Literal["extension", "regrade", "berm", "swale", "fill", "raised edge"]


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceWork:
    """One work on the surface.

    Attributes
    ----------
    kind : str
        extension, regrade, berm, swale, fill or raised edge.
    shape : shapely Geometry
        The ground that it changes, or the extension's line. [m]
    length, height : float
        Of a line; most that it raises or digs. [m]
    fill, cut : float
        Soil brought and dug. [m3]
    area : float
        Ground that is turned over. [m2]
    """

    id: str
    kind: SurfaceKind
    shape: BaseGeometry
    length: float
    height: float
    fill: float
    cut: float
    area: float
    why: Reason


@dataclass(frozen=True, slots=True)
class WithPipes:
    """Works on the surface together with pipes for what they leave, beside pipes alone.

    Attributes
    ----------
    less : float
        Share of the flow of pipes alone that they need not carry. [-]
    left : tuple of Reason
        What is still over its limit with both.
    place : Reason or None
        Where water stands longest over its limit with both.
    depth, over : float or None
        Water there, and how long it stands over what is tolerated, None where longer than the storm was followed. [m],
        [s]
    low, likely, high : float or None
        Money of both, in the price list's currency; None where nothing was laid out, or leads nowhere.
    pipes_alone : float or None
        Likely money of pipes alone.
    why : Reason or None
        Why they are not proposed, where it is not their price.
    """

    less: float
    left: tuple[Reason, ...] = ()
    place: Reason | None = None
    depth: float | None = None
    over: float | None = None
    low: float | None = None
    likely: float | None = None
    high: float | None = None
    pipes_alone: float | None = None
    chosen: bool = False
    why: Reason | None = None


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceOnly:
    """What works on the surface alone do.

    Attributes
    ----------
    left : tuple of Reason
        What is still over its limit.
    sends : tuple of (str, float, float, float, float)
        Side of the lot, peak before and after [m3/s], volume before and after [m3], where the works change it.
    refused : Reason or None
        Why they may not be built as they are.
    state : State
        Whether they end every trouble.
    low, likely, high : float
        Money, in the price list's currency.
    chosen : bool
        Whether they are proposed alone.
    with_pipes : WithPipes or None
        The same works with pipes for what they leave; None where they leave nothing or may not be built.
    relaid : tuple of Reason
        Paving with a low of its own beside lawn that is filled: soil doesn't end that, relaying it would.
    """

    works: tuple[SurfaceWork, ...]
    left: tuple[Reason, ...]
    sends: tuple[tuple[str, float, float, float, float], ...]
    refused: Reason | None
    state: State
    low: float
    likely: float
    high: float
    chosen: bool = False
    with_pipes: WithPipes | None = None
    relaid: tuple[Reason, ...] = ()

    @property
    def proposed(self) -> bool:
        """Whether the plan holds them, alone or with pipes."""
        return self.chosen or (self.with_pipes is not None and self.with_pipes.chosen)


@dataclass(frozen=True, slots=True)
class LevelShot:
    """A reading of a level that would lessen what lidar leaves open.

    Attributes
    ----------
    order : int
        1 for the first to take.
    what, gain : Reason
        What is read there, and what that is worth.
    doubt_before, doubt_after : float or None
        Chance of being wrong about what it settles most, without and with it; None where it is what the others are read
        against. [-]
    """

    id: str
    order: int
    point: Point
    what: Said
    gain: Said
    doubt_before: float | None
    doubt_after: float | None
