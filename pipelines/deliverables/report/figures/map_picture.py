"""What a report's map shows, before it is drawn: ground, layers of features with their numbers, storms."""

from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.report.blocks import Inline
from pipelines.deliverables.report.figures.ground_picture import Bounds, GroundPicture
from pipelines.inputs.under_picture import UnderPicture
from terrain.arrays import FloatArray, IntArray
from terrain.unit_table import Units


@dataclass(frozen=True, slots=True)
class MapNote:
    """A number that is written beside a part of a feature, where there is room, and that part. [m]"""

    text: str
    shape: BaseGeometry


@dataclass(frozen=True, slots=True)
class MapFeature:
    """Something on the map.

    Attributes
    ----------
    id, title : str
        Of the feature; the title is what its numbers are headed with.
    shape : shapely Geometry
        In the metric frame. [m]
    symbol : int
        Position among its layer's symbols. [-]
    rows : tuple of (str, str or Number)
        What a tap shows.
    label : str
        Written beside it; empty for nothing.
    notes : tuple of MapNote
        Numbers of its parts.
    """

    id: str
    title: str
    shape: BaseGeometry
    symbol: int = 0
    rows: tuple[tuple[str, Inline], ...] = ()
    label: str = ""
    notes: tuple[MapNote, ...] = ()


@dataclass(frozen=True, slots=True)
class MapLayer:
    """A layer: its name in the table of symbols, its title, its features, and whether it is seen at first."""

    name: str
    title: str
    features: tuple[MapFeature, ...]
    on: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class PondBed:
    """A low spot's bed: its id, cells (flat indices of the run's grid), lowest ground [m], and name for a reader."""

    id: str
    cells: IntArray
    bottom: float
    title: str


@dataclass(frozen=True, slots=True, eq=False)
class PondShown:
    """Water in a pond: deepest, and at each of the map's hours, as it is and with the improvements. [m]"""

    id: str
    deepest: tuple[float, float]
    before: FloatArray
    after: FloatArray


@dataclass(frozen=True, slots=True)
class StormShown:
    """Standing water in one storm: its name, its ponds, the same in every storm, and when its rain ends. [h]"""

    name: str
    design: bool
    ponds: tuple[PondShown, ...]
    rain_ends: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class MapPicture:
    """A whole map.

    Attributes
    ----------
    ground : GroundPicture
        What lies under everything.
    layers : tuple of MapLayer
        From the bottom up; empty ones are not there.
    view : tuple of float
        West, south, east, north that is seen at first. [m]
    units : str
        us or si.
    beds : tuple of PondBed
        Of low spots whose water is shown.
    storms : tuple of StormShown
        From the lightest to the heaviest.
    hours : tuple of float
        Since the rain began, at which water is known; empty for only its deepest. [h]
    columns : int
        Of the run's grid. [-]
    under : UnderPicture or None
        Drawn over the shaded ground and under everything else.
    improved : bool
        Improvements change where water stands.
    """

    ground: GroundPicture
    layers: tuple[MapLayer, ...]
    view: Bounds
    units: Units
    beds: tuple[PondBed, ...] = ()
    storms: tuple[StormShown, ...] = ()
    hours: tuple[float, ...] = ()
    columns: int = 0
    under: UnderPicture | None = None
    improved: bool = True
