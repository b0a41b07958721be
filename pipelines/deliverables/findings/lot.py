"""Everything one run found, as handed to the rooms that write it down."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
from shapely import Geometry, LineString, Point

from pipelines.hydrology.sub_catchment import Hydrograph, SubCatchment
from pipelines.inputs.rules import Rules, load_rules
from pipelines.inputs.under_picture import UnderPicture
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert
from pipelines.layout.plan import Plan, Said
from pipelines.layout.storm_by_storm import EdgeInStorm
from pipelines.layout.swale.found_outfall import OutfallLook
from terrain.arrays import FloatArray
from terrain.flow.low_spots import LowSpot
from terrain.grid import Frame
from terrain.raster import Raster
from terrain.reason import Reason


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
    run_on : bool or None
        Carries water from outside the parcel; None where no parcel is given.
    certain : bool
        Falls by more than the lidar's error.
    when_full : bool
        Runs only when the low spot is full in which it begins.
    climb : float
        Most that it rises out of puddles shallower than a low spot that counts. [m]
    found : float or None
        Share of the grounds that lidar allows on which it runs there; None where that was not counted. [-]
    """

    id: str
    line: LineString
    contributing_area: float
    run_on: bool | None
    certain: bool
    when_full: bool = False
    climb: float = 0.0
    found: float | None = None

    @property
    def found_pct(self) -> float | None:
        """The share as its column gives it. [%]"""
        return None if self.found is None else 100.0 * self.found


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
    why : Reason
        What makes it matter.
    depth_on_lot, depth_on_lot_after : float
        Deepest of that water on the lot. [m]
    area_on_lot, volume_on_lot : float
        Of that water on the lot, without the works. [m2], [m3]
    hours_on_lot, hours_on_lot_after : float or None
        Water stands on the lot; None where unknown. [h]
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
    why: Reason
    depth_on_lot: float
    depth_on_lot_after: float
    area_on_lot: float
    volume_on_lot: float
    hours_on_lot: float | None
    hours_on_lot_after: float | None


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
    text: Said


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
class PondCourse:
    """How water stands in a low spot in one storm.

    Attributes
    ----------
    id : str
        Of the low spot.
    hours : (n,) float ndarray
        Since the rain began. [h]
    depth, depth_after : (n,) float ndarray
        As the lot is and with the works. [m]
    """

    id: str
    hours: FloatArray
    depth: FloatArray
    depth_after: FloatArray


@dataclass(frozen=True, slots=True)
class StormWater:
    """Water standing in one storm, before and after the works.

    Attributes
    ----------
    name : Said
        Of the storm.
    return_period : float or None
        [yr]
    depth : float
        Of its rain. [m]
    design : bool
        The storm that the works are designed for.
    standing : tuple of (str, float, float)
        Id of a low spot, deepest water there as the lot is and with the works. [m]
    courses : tuple of PondCourse
        Of the same low spots.
    rain_ends : float
        After it began. [h]
    """

    name: Said
    return_period: float | None
    depth: float
    design: bool
    standing: tuple[tuple[str, float, float], ...]
    courses: tuple[PondCourse, ...] = ()
    rain_ends: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class CollectorFlow:
    """What comes to a basin, drain or downspout in the design storm, and what it takes. [m3/s]"""

    id: str
    arrives: Hydrograph
    taken: Hydrograph


@dataclass(frozen=True, slots=True, eq=False)
class PumpPicture:
    """A pump's curve against its line's.

    Attributes
    ----------
    sump : str
        Id of the pumped basin.
    flow, pump_head, line_head : (n,) float ndarray
        Head that the pump makes and that the line takes at each flow. [m3/s], [m], [m]
    given : bool
        The user gave the pump's curve; else it is assumed.
    """

    sump: str
    flow: FloatArray
    pump_head: FloatArray
    line_head: FloatArray
    given: bool


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A place on site that grades are told from.

    Attributes
    ----------
    name : Said
        What a crew looks for.
    elevation : float
        [m]
    measured : bool
        Read with a level rather than taken from the raster or a drawing.
    """

    name: Said
    elevation: float
    measured: bool


@dataclass(frozen=True, slots=True)
class PossibleTrouble:
    """Something that is wrong on some grounds: what is told of it, and the low spots there."""

    why: Reason
    spots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SuspectedCulvert:
    """A place where the raster shows a dam that a pipe may go through."""

    id: str
    point: Point
    why: Said


@dataclass(frozen=True, slots=True)
class CrossingPoint:
    """A place where a run crosses a buried line.

    Attributes
    ----------
    run, kind : str
        Id of the run, and what the line carries.
    point : shapely Point
        In the metric frame.
    station : float
        Along the run. [m]
    depth : float or None
        Of the line, where the user gave it. [m]
    """

    run: str
    kind: str
    point: Point
    station: float
    depth: float | None


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
    studied_area, parcel_area, run_on_area, passing_area, roof_area : float
        [m2]
    runoff : tuple of SubCatchment
        Rows of the table.
    leaving : tuple of tuple
        (where, peak before [m3/s], volume before [m3], peak after [m3/s], volume after [m3]) by side and outfall.
    parameters : tuple of tuple
        (name, value, mark) of what was taken as given beside the rules.
    spots_upslope, held_upslope : int, float
        Low spots farther upslope than those that are listed, and what of the design storm's run-on they keep. [m3]
    storms : tuple of StormWater
        From the lightest to the heaviest; may be empty.
    edges : tuple of EdgeInStorm
        Everything that must stay dry, in each of the storms.
    hydrographs : tuple of CollectorFlow
        One a collector that is proposed.
    pumps : tuple of PumpPicture
        One a pumped basin.
    benchmark : Benchmark or None
        What grades for the crew are told from; None where nothing on site is known by its level.
    levels_given : bool
        Shots of a level rebased the ground.
    outfall_looks : tuple of OutfallLook
        What was found of the outfalls.
    suspected_culverts : tuple of SuspectedCulvert
        Places to look.
    hidden_culverts : tuple of HiddenCulvert
        Those of them that are banks near the lot, with what becomes of it if one is open.
    crossings : tuple of CrossingPoint
        Buried lines that runs cross.
    given : dict of str to GeoDataFrame
        Other tables of the site file, by name, in the metric frame.
    picture : UnderPicture or None
        What is drawn under the maps.
    possible : tuple of PossibleTrouble
        What may be wrong at houses and paving, though too few grounds show it to build for.
    not_needed_on : Reason or None
        Grounds on which nothing is wrong, so that nothing need be spent; None where they are too few to tell.
    fall_to_spare : Raster or None
        Of a small gravity line from each place on the lot; None where there is no outfall. [m]
    odds_of_fall : Raster or None
        Share of the grounds that lidar allows on which that line has its fall; None where they are not counted. [%]
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
    warnings: tuple[Said, ...]
    cautions: tuple[Caution, ...]
    parameters: tuple[tuple[Said, Said, str], ...]
    vertical_datum: Said
    storms: tuple[StormWater, ...] = ()
    edges: tuple[EdgeInStorm, ...] = ()
    hydrographs: tuple[CollectorFlow, ...] = ()
    pumps: tuple[PumpPicture, ...] = ()
    benchmark: Benchmark | None = None
    levels_given: bool = False
    outfall_looks: tuple[OutfallLook, ...] = ()
    suspected_culverts: tuple[SuspectedCulvert, ...] = ()
    hidden_culverts: tuple[HiddenCulvert, ...] = ()
    given: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    picture: UnderPicture | None = None
    fall_to_spare: Raster | None = None
    odds_of_fall: Raster | None = None
    crossings: tuple[CrossingPoint, ...] = ()
    rules: Rules = field(default_factory=load_rules)
    passing_area: float = 0.0
    spots_upslope: int = 0
    held_upslope: float = 0.0
    possible: tuple[PossibleTrouble, ...] = ()
    not_needed_on: Reason | None = None
