"""What is known of an outfall, and what becomes of it once the grates of a line are known."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import shapely
from shapely import Point

from terrain.arrays import FloatArray
from terrain.grid import Frame
from terrain.reason import Reason, reason

OutfallState = Literal["sure", "cannot_tell", "no", "not_needed"]
_WEAKEST_FIRST = ("no", "cannot_tell", "sure", "not_needed")


@dataclass(frozen=True, slots=True)
class OutfallPlace:
    """A place where a line may end, as the look takes it.

    Attributes
    ----------
    id, kind : str
        Of the outfall.
    point : shapely Point
        [m]
    level : float
        Lowest invert that may come out there. [m]
    shot : bool
        A level was read at its bottom.
    high_water : float or None
        Level of the storm's water there, where somebody reckoned it. [m]
    """

    id: str
    kind: str
    point: Point
    level: float
    shot: bool
    high_water: float | None = None


@dataclass(frozen=True, slots=True)
class CulvertLook:
    """A drive over the swale, downstream of an outfall.

    Attributes
    ----------
    point : shapely Point
        Where its drive is highest over the swale's bottom. [m]
    distance : float
        Along the swale from the outfall. [m]
    suspected : bool
        A dam in the raster; nobody gave a culvert.
    small : bool
        The design storm runs over the drive.
    silted : bool
        The raster's bottom stands above its given invert by more than the lidar's error.
    assumed : bool
        Given, its diameter, material or inverts not.
    backs_up : bool
        Water that it holds back reaches the outfall.
    height : float
        Of the dam above the low before it; of the drive above the bottom where the raster shows no dam. [m]
    """

    id: str
    point: Point
    distance: float
    suspected: bool
    small: bool
    silted: bool
    assumed: bool
    backs_up: bool
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class OutfallLook:
    """What is found of an outfall, whatever line ends there.

    Attributes
    ----------
    outfall : str
        Its id; an outfall that is given as a line has a look for each of its places.
    point : shapely Point
        The place. [m]
    state : str
        Best that can be said of it: sure, or cannot_tell without a shot bottom and measured culverts.
    why : Reason
        Of that, with what to look at.
    level : float or None
        Highest that the water stands there in the design storm, its whole catchment counted. [m]
    error : float
        By which that level and a grate may be off against each other. [m]
    stands : float
        Depth of the water that is left standing there after rain. [m]
    submerged : float
        How long the water stands above the lowest invert. [s]
    culverts : tuple of CulvertLook
        Downstream.
    followed_length : float
        Of swale that was looked at below it. [m]
    flow : float or None
        Peak that passes it. [m3/s]
    stage, step : (n,) float ndarray, float
        Level there at times 0, step, ... through the storm, empty where it is not known. [m], [s]
    depression : shapely Geometry or None
        The closed depression that it lies in, filled to where water leaves it; dams of drives are none.
    spill : float or None
        Level at which water leaves that. [m]
    heaviest : float or None
        Highest that the water stands there in the heaviest storm that is run. [m]
    rise : float or None
        How much higher the storm brings a pond if nothing leaves it meanwhile. [m]
    """

    outfall: str
    point: Point
    state: OutfallState
    why: Reason
    level: float | None = None
    error: float = 0.0
    stands: float = 0.0
    submerged: float = 0.0
    culverts: tuple[CulvertLook, ...] = ()
    followed_length: float = 0.0
    flow: float | None = None
    stage: FloatArray = field(default_factory=lambda: np.zeros(0))
    step: float = 0.0
    depression: shapely.Geometry | None = None
    spill: float | None = None
    heaviest: float | None = None
    rise: float | None = None

    @property
    def suspected(self) -> tuple[CulvertLook, ...]:
        """Suspected culverts that hold water back as far as the outfall."""
        return tuple(each for each in self.culverts if each.suspected and each.backs_up)


@dataclass(frozen=True, slots=True, eq=False)
class GivenWater:
    """Water at an outfall in the design storm, as a run over more than its lot found it.

    Attributes
    ----------
    point : shapely Point
        In the map's CRS.
    stage, step : (n,) float ndarray, float
        Level at times 0, step, ... [m], [s]
    submerged : float
        How long it stands above the outlet's crown. [s]
    state, why : str, Reason
        Whether the swale takes the storm there, and the reason.
    """

    point: Point
    stage: FloatArray
    step: float
    submerged: float
    state: OutfallState
    why: Reason


SAME_PLACE = 0.5
"""Outfalls nearer than this are one. [m]"""


def with_given_water(
    looks: Sequence[OutfallLook], given: Sequence[GivenWater], frame: Frame
) -> tuple[OutfallLook, ...]:
    """Looks with the water that was found there otherwise in place of their own; of the two states the weaker."""
    found = []
    for look in looks:
        at = next((each for each in given if frame.from_map(each.point).distance(look.point) < SAME_PLACE), None)
        if at is not None:
            level = float(at.stage.max())
            worse = _WEAKEST_FIRST.index(at.state) < _WEAKEST_FIRST.index(look.state)
            look = replace(
                look, level=level, stage=at.stage, step=at.step, submerged=at.submerged,
                heaviest=None if look.heaviest is None else max(look.heaviest, level),
                state=at.state if worse else look.state,
                why=reason("outfall_with_all_water", outfall=look.outfall, why=at.why) if worse else look.why,
            )  # fmt: skip
        found.append(look)
    return tuple(found)


def unfollowed(place: OutfallPlace, look: Reason, *, told: Reason | None = None) -> OutfallLook:
    """A place of whose water no more is known than what somebody said, with what else the ground tells of it."""
    if place.high_water is not None and place.shot:
        why = reason("outfall_high_water_given", above=place.high_water - place.level)
        return OutfallLook(place.id, place.point, "sure", why, place.high_water)
    why = reason("outfall_water_unknown", told=told, look=look)
    return OutfallLook(place.id, place.point, "cannot_tell", why, place.high_water)


def water_over_grates(look: OutfallLook, lowest_grate: float, *, flap: bool = False) -> tuple[OutfallState, Reason]:
    """What becomes of an outfall once the lowest grate on its line is known: water may come back through it."""
    if look.level is None or flap or look.level <= lowest_grate:
        return look.state, look.why
    over = look.level - lowest_grate
    sure = over > look.error and not look.suspected
    return "no" if sure else "cannot_tell", reason("outfall_comes_back", over=over, sure=sure)
