"""Everything one check of swales found, as handed to what writes it down."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
from shapely import Geometry

from pipelines.deliverables.findings.lot import Caution, InputFile
from pipelines.hydrology.along_swale import SwaleFlow
from pipelines.inputs.rules import Rule
from pipelines.inputs.under_picture import UnderPicture
from pipelines.layout.plan import Said
from pipelines.layout.swale.hidden_banks import SwaleBank
from pipelines.layout.swale.judgement import CrossingFinding, ReachFinding
from pipelines.layout.swale.levels import SwaleCapacity, SwaleLevels
from pipelines.layout.swale.outlets import OutletFinding
from pipelines.layout.swale.remedies.culvert_remedy import CulvertRemedy
from pipelines.layout.swale.remedies.recut_stretches import RecutStretch
from pipelines.layout.swale.site import SwaleSite
from pipelines.layout.swale.standing import SwalePond
from pipelines.layout.swale.verdict import SwaleAnswer
from terrain.arrays import FloatArray
from terrain.grid import Frame, Grid
from terrain.reason import Reason
from terrain.unit_table import Units


@dataclass(frozen=True, slots=True, eq=False)
class SideGround:
    """Ground that enters a swale between the station above and each.

    Attributes
    ----------
    total, roof, paved : (n,) float ndarray
        All of it, roofs, paving and road. [m2]
    """

    total: FloatArray
    roof: FloatArray
    paved: FloatArray


@dataclass(frozen=True, slots=True)
class LotShare:
    """What one lot's ground sends to a swale over the surface.

    Attributes
    ----------
    lot : str
        Feature id of the parcel.
    name : str
        What it is called; its id where it has no name.
    swale : str
        Id of the swale.
    area, roof_area, volume : float
        That drains to it, and its runoff in the design storm. [m2], [m2], [m3]
    station_from, station_to : float
        Where it enters. [m]
    """

    lot: str
    name: str
    swale: str
    area: float
    roof_area: float
    volume: float
    station_from: float
    station_to: float


@dataclass(frozen=True, slots=True)
class LotSum:
    """A swale with the discharges of the first so many lots.

    Attributes
    ----------
    lot : str
        The last one added.
    added : float
        By it. [m3/s]
    total : float
        By all so far. [m3/s]
    peak : float
        At the swale's lower end. [m3/s]
    room : float
        Least from the level to the lower bank along the swale. [m]
    full : bool
        The storm stands above a bank somewhere.
    """

    lot: str
    added: float
    total: float
    peak: float
    room: float
    full: bool


@dataclass(frozen=True, slots=True)
class AddedDischarge:
    """A discharge that is added to a swale.

    Attributes
    ----------
    id : str
        Of a lot's outlet, or of a what-if.
    flow : float
        [m3/s]
    station : float
        [m]
    """

    id: str
    flow: float
    swale: str
    station: float


@dataclass(frozen=True, slots=True, eq=False)
class SwaleFinding:
    """One swale and all that was found of it.

    Attributes
    ----------
    ground : SideGround
        What drains to it.
    flow : SwaleFlow
        In the design storm.
    levels : SwaleLevels
        In the design storm, at the largest flow of each station.
    ponds : tuple of SwalePond
        Water that stands after the storm.
    reaches, crossings, outlets
        Downstream.
    remedies : tuple of CulvertRemedy or None
        One a crossing: what would do where its culvert is too small.
    recut : tuple of RecutStretch
        Least digging that drains it.
    lot_sums : tuple of LotSum
        As lots are added, in the order of their names.
    first_overtops : float or None
        Return period of the first storm of the table that stands above a bank or runs over a drive. [yr]
    storms : dict of float to SwaleLevels
        In the other storms of the table, by return period.
    answer : str
        Of the whole swale: the worst of its reaches.
    """

    site: SwaleSite
    ground: SideGround
    flow: SwaleFlow
    levels: SwaleLevels
    capacity: SwaleCapacity
    ponds: tuple[SwalePond, ...]
    pond_shapes: tuple[Geometry, ...]
    reaches: tuple[ReachFinding, ...]
    crossings: tuple[CrossingFinding, ...]
    outlets: tuple[OutletFinding, ...]
    remedies: tuple[CulvertRemedy | None, ...]
    recut: tuple[RecutStretch, ...]
    lot_sums: tuple[LotSum, ...]
    first_overtops: float | None
    answer: SwaleAnswer
    why: Reason
    storms: Mapping[float, SwaleLevels] = field(default_factory=dict)

    @property
    def takes_all(self) -> bool:
        """Whether every reach, drive and outlet surely takes the storm."""
        answers = [each.verdict.answer for each in self.reaches] + [each.verdict.answer for each in self.outlets]
        return all(answer == "takes_it" for answer in (*answers, *(each.answer for each in self.crossings)))

    @property
    def full_at(self) -> str | None:
        """The lot with which it is full; None where it never is, empty where it is without any."""
        return next((each.lot for each in self.lot_sums if each.full), None)


@dataclass(frozen=True, slots=True, eq=False)
class SwaleFindings:
    """What one check of swales found.

    Attributes
    ----------
    name, version, units : str
        Of the site, of the program, and us or si for what leaves Python.
    frame, grid : Frame, Grid
        The metric frame of every shape here, and the ground's cells.
    swales : tuple of SwaleFinding
        In the order of their layer.
    lots : tuple of LotShare
        What each lot sends.
    discharges : tuple of AddedDischarge
        Point discharges that were added.
    return_period : float or None
        Of the design storm. [yr]
    storm_depth : float
        [m]
    freeboard, rmse : float
        [m]
    rules : tuple of Rule
        Of the trade that were used.
    vertical_datum : str
        In words.
    ground : (rows, cols) float ndarray
        [m]
    hidden_culverts : tuple of SwaleBank
        Banks near the swales that may hide one.
    given : dict of str to GeoDataFrame
        Other tables of the site file, by name, in the metric frame.
    picture : UnderPicture or None
        What is drawn under the map.
    """

    name: str
    version: str
    units: Units
    frame: Frame
    grid: Grid
    swales: tuple[SwaleFinding, ...]
    lots: tuple[LotShare, ...]
    discharges: tuple[AddedDischarge, ...]
    return_period: float | None
    storm_depth: float
    freeboard: float
    rmse: float
    inputs: tuple[InputFile, ...]
    warnings: tuple[Said, ...]
    cautions: tuple[Caution, ...]
    rules: tuple[Rule, ...]
    vertical_datum: Said
    ground: FloatArray
    hidden_culverts: tuple[SwaleBank, ...] = ()
    given: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    picture: UnderPicture | None = None
