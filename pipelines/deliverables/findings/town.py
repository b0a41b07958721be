"""Everything one run over a town's lots found, as handed to the rooms that write it down."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, Polygon

from pipelines.deliverables.findings.lot import Caution, InputFile
from pipelines.deliverables.findings.town_swales import TownSwales
from pipelines.layout.parts import State
from pipelines.layout.plan import Mode, Said
from terrain.arrays import FloatArray
from terrain.reading.read_log import PlaceRead
from terrain.unit_table import Units

LotStatus = Literal["done", "failed", "set_aside"]
Depth = Literal["ground", "plan"]
Side = Literal["edge_n", "edge_e", "edge_s", "edge_w"]

LOT_LAYERS = ("low_spots", "catch_basins", "french_drains", "channel_drains", "pipe_runs", "sumps", "outfalls")
"""Layers of a lot that the town's file shows, as `lot_tables` makes them, in the map's CRS; beside them `runoff`."""


@dataclass(frozen=True, slots=True)
class LotDischarge:
    """One line of works of a lot, as a street's reviewer reads it.

    Attributes
    ----------
    outfall, mode, verdict : str
        Id of the outfall, empty for none; how the water leaves; sure, cannot_tell or no.
    fall_to_spare, lift : float or None
        [m]
    peak : float
        Of the design storm's water that comes out. [m3/s]
    """

    outfall: str
    mode: Mode
    verdict: str
    fall_to_spare: float | None
    lift: float | None
    peak: float


@dataclass(frozen=True, slots=True)
class LotPlanned:
    """What the whole screen says of a lot.

    Attributes
    ----------
    mode : str
        Of its discharges, the one that needs most: pump, daylight, soakaway, gravity or none.
    headline : str
        The verdict in a sentence.
    cause, fall, outfall, cure : str
        States of the verdict's parts.
    low, likely, high : float or None
        Cost of the improvements in the currency of the price list; None where none are proposed.
    discharges : tuple of LotDischarge
        Lines of works.
    """

    mode: Mode
    headline: str
    cause: State
    fall: State
    outfall: State
    cure: State
    low: float | None
    likely: float | None
    high: float | None
    discharges: tuple[LotDischarge, ...] = ()


@dataclass(frozen=True, slots=True)
class LotRow:
    """One lot of the town.

    Attributes
    ----------
    lot, name, street : str
        Id, unique in the town; what people call it; the street of its frontage as the parcels tell it, or empty.
    status, message : str
        done, failed or set_aside; and what failed, empty where nothing did.
    seconds, attempts : float, int
        It took, of the last attempt; how many there were. [s], [-]
    parcel : Polygon or MultiPolygon
        In the map's CRS.
    area, run_on_area, roof_area : float or None
        The lot, ground beyond that drains to it, roof on it. [m2]
    low_spots : int
        Low spots on the lot that are called.
    deepest : float or None
        Of the design storm's water on the lot. [m]
    longest : float or None
        How long water stands where it stands longest. [h]
    need : float or None
        From 0 (nothing stands) to 100, for ranking. [-]
    need_why : str
        What makes it so, in a sentence.
    found_pct : float or None
        Share of possible grounds on which its worst place is there; None where one ground was used. [%]
    leaves : str
        Side over which most of its water leaves: edge_n and so on, empty where none leaves.
    frontage : bool
        That side faces a street.
    fall_to_spare : float or None
        Of a small gravity line from its worst place to the nearest frontage or outfall. [m]
    planned : LotPlanned or None
        At the depth `plan`.
    tailwater : str
        What the town's run makes of its outlet in one more pass, in a sentence; empty where nothing changes.
    inputs_key : str
        Hash of what was read for it.
    """

    lot: str
    name: str
    status: LotStatus
    parcel: Polygon | MultiPolygon
    street: str = ""
    message: str = ""
    seconds: float = 0.0
    attempts: int = 1
    area: float | None = None
    run_on_area: float | None = None
    roof_area: float | None = None
    low_spots: int = 0
    deepest: float | None = None
    longest: float | None = None
    need: float | None = None
    need_why: str = ""
    found_pct: float | None = None
    leaves: str = ""
    frontage: bool = False
    fall_to_spare: float | None = None
    planned: LotPlanned | None = None
    tailwater: str = ""
    inputs_key: str = ""


@dataclass(frozen=True, slots=True)
class RunOnLink:
    """Water that comes over a side of a lot from other ground, found on the receiving lot's own run.

    Attributes
    ----------
    from_lot, to_lot : str
        Ids; from_lot is empty for ground of no lot: road, common ground, beyond the town.
    side : str
        Of the receiving lot.
    area : float
        Ground whose water comes over it, what passes through the giving lot included. [m2]
    peak, volume : float
        Of that water in the design storm, less what low spots far upslope hold. [m3/s], [m3]
    place : shapely Point
        Where most of it enters, in the map's CRS.
    """

    from_lot: str
    to_lot: str
    side: Side
    area: float
    peak: float
    volume: float
    place: Point


@dataclass(frozen=True, slots=True, eq=False)
class Outflow:
    """What leaves a lot at one place in one storm.

    Attributes
    ----------
    lot, id : str
        The lot; the outfall, or the side for water over the surface.
    kind : str
        works: comes out of a line; surface: runs over the lot's edge.
    built : bool
        With the improvements; else as the lot is.
    place : shapely Point
        In the map's CRS.
    storm : float or None
        Return period; None for a storm of one depth. [yr]
    step, flow : float, (n,) float ndarray
        Flow at times 0, step, ... from the start of rain. [s], [m3/s]
    """

    lot: str
    id: str
    kind: Literal["works", "surface"]
    built: bool
    place: Point
    storm: float | None
    step: float
    flow: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LotOutletLine:
    """An outlet of a lot's works, and the run behind it.

    Attributes
    ----------
    id, kind : str
        Of the outfall.
    place : shapely Point
        In the map's CRS.
    peak : float
        [m3/s]
    pumped : bool
        A pump's line ends here.
    line : shapely LineString or None
        Last gravity run, drawn downstream, in the map's CRS; z is the invert in its linear unit.
    size : str
        Of it, nominal.
    run_peak : float
        Of it. [m3/s]
    """

    id: str
    kind: str
    place: Point
    peak: float
    pumped: bool
    line: LineString | None
    size: str
    run_peak: float


@dataclass(frozen=True, slots=True, eq=False)
class LotRecord:
    """All that one lot's run leaves: what a partition on disk holds.

    Attributes
    ----------
    row : LotRow
        Its answer.
    links : tuple of RunOnLink
        Water that comes from other ground.
    outflows : tuple of Outflow
        What leaves it.
    outlets : tuple of LotOutletLine
        Of its works.
    piped : MultiPolygon or None
        Ground whose water the works collect, in the map's CRS.
    layers : dict of str to DataFrame
        Those of LOT_LAYERS and `runoff`, as `lot_tables` makes them.
    reads : tuple of PlaceRead
        What it was made from, in the order in which it was read.
    """

    row: LotRow
    links: tuple[RunOnLink, ...] = ()
    outflows: tuple[Outflow, ...] = ()
    outlets: tuple[LotOutletLine, ...] = ()
    piped: MultiPolygon | None = None
    layers: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    reads: tuple[PlaceRead, ...] = ()

    def tried(self, attempts: int) -> "LotRecord":
        """The same, of so many attempts."""
        return replace(self, row=replace(self.row, attempts=attempts))


@dataclass(frozen=True, slots=True)
class TownFigures:
    """Figures of the run.

    Attributes
    ----------
    seconds : float
        From start to hand-over, of this run alone where it was resumed. [s]
    workers : int
        That worked at the same time.
    resumed : int
        Lots taken from earlier runs.
    rate : float
        Lots a second over the lots of this run. [1/s]
    """

    seconds: float = 0.0
    workers: int = 1
    resumed: int = 0
    rate: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class TownFindings:
    """What one run over a town found.

    Attributes
    ----------
    name, version, units : str
        Of the town, of the program, and us or si for what leaves Python.
    crs : CRS
        Horizontal, of the town's map: of every shape here.
    depth : str
        ground or plan.
    grounds : int
        That lidar allows, on which lots were tried; 1 takes the raster as it is. [-]
    records : tuple of LotRecord
        One a lot that was selected, in the order of the parcels, failed ones included.
    swales : TownSwales or None
        None where the town names no swale.
    return_period, storm_depth : float or None, float
        Of the design storm. [yr], [m]
    inputs : tuple of InputFile
        Read for the whole town.
    roofs, roads : GeoDataFrame or None
        For the map, in the map's CRS.
    """

    name: str
    version: str
    units: Units
    crs: CRS
    depth: Depth
    grounds: int
    records: tuple[LotRecord, ...]
    swales: TownSwales | None
    return_period: float | None
    storm_depth: float
    warnings: tuple[Said, ...]
    cautions: tuple[Caution, ...]
    inputs: tuple[InputFile, ...] = ()
    figures: TownFigures = TownFigures()
    roofs: gpd.GeoDataFrame | None = None
    roads: gpd.GeoDataFrame | None = None

    @property
    def rows(self) -> tuple[LotRow, ...]:
        """Answers of the lots."""
        return tuple(record.row for record in self.records)

    @property
    def all_warnings(self) -> tuple[Said, ...]:
        """Of the lots' inputs, and of the swales."""
        if self.swales is None:
            return self.warnings
        built = () if self.swales.built is None else self.swales.built.warnings
        return (*self.warnings, *self.swales.now.warnings, *built)
