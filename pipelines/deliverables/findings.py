"""Everything one run found, as handed to the rooms that write it down."""

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
from shapely import Geometry, LineString

from pipelines.hydrology.sub_catchment import SubCatchment
from pipelines.layout.plan import Plan
from terrain.arrays import FloatArray
from terrain.grid import Frame
from terrain.low_spots import LowSpot


@dataclass(frozen=True, slots=True)
class FlowPath:
    """A line of flow from a head or confluence to the next.

    Attributes
    ----------
    id : str
        Text id.
    line : shapely LineString
        Through cell centres, drawn downstream.
    contributing_area : float
        Ground that drains through its lower end. [m2]
    run_on, certain : bool
        Carries water from outside the parcel; falls by more than the lidar's error.
    """

    id: str
    line: LineString
    contributing_area: float
    run_on: bool
    certain: bool


@dataclass(frozen=True, slots=True)
class StandingWater:
    """A low spot in the design storm, before and after the works.

    Attributes
    ----------
    spot : LowSpot
        The depression.
    shape : shapely Geometry
        Its cells at the spill level, in the metric frame.
    on_parcel : bool
        Touches the lot.
    hours, hours_after : float or None
        Water stands; None where unknown. [h]
    storm_depth, storm_depth_after : float
        Deepest water in the design storm. [m]
    storm_volume, storm_volume_after : float
        Most water held in the design storm. [m3]
    spilled, spilled_after : float
        Volume that overflows in the design storm. [m3]
    rank : int
        1 for the one that matters most.
    why : str
        What makes it matter, in words.
    """

    spot: LowSpot
    shape: Geometry
    on_parcel: bool
    hours: float | None
    hours_after: float | None
    storm_depth: float
    storm_depth_after: float
    storm_volume: float
    storm_volume_after: float
    spilled: float
    spilled_after: float
    rank: int
    why: str


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file that was read: key of the site file, path as given, sha256, CRS in words, cell size. [m]"""

    key: str
    file: str
    sha256: str
    crs: str | None
    cell_size: float | None


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution that goes with every result."""

    id: str
    text: str


@dataclass(frozen=True, slots=True)
class Balance:
    """Where the design storm's runoff went. [m3]

    rain = infiltrated + leaves + stands + pumped, to round-off.
    """

    rain: float
    infiltrated: float
    leaves: float
    stands: float
    collected: float


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """What one run of the main job found.

    Attributes
    ----------
    name, version, units : str
        Of the site, of the program, and us or si for what leaves Python.
    frame : Frame
        The metric frame of every shape here.
    parcel, roofs, hardscape : GeoDataFrame
        As used, in the metric frame; the last two may be empty.
    ground : (rows, cols) float ndarray
        For pictures. [m]
    studied_area, parcel_area, run_on_area, roof_area : float
        [m2]
    runoff : tuple of SubCatchment
        Rows of the table.
    leaving : tuple of tuple
        (where, peak before [m3/s], volume before [m3], peak after [m3/s], volume after [m3]) by side and outfall.
    parameters : tuple of tuple
        (name, value in words, mark) of every rule, default and assumption used.
    """

    name: str
    version: str
    units: str
    frame: Frame
    parcel: gpd.GeoDataFrame
    roofs: gpd.GeoDataFrame
    hardscape: gpd.GeoDataFrame
    ground: FloatArray
    grid: Any
    inputs: tuple[InputFile, ...]
    studied_area: float
    parcel_area: float
    run_on_area: float
    roof_area: float
    flow_paths: tuple[FlowPath, ...]
    low_spots: tuple[StandingWater, ...]
    runoff: tuple[SubCatchment, ...]
    plan: Plan
    balance: Balance
    leaving: tuple[tuple[str, float, float, float, float], ...]
    warnings: tuple[str, ...]
    cautions: tuple[Caution, ...]
    parameters: tuple[tuple[str, str, str], ...]
    vertical_datum: str
