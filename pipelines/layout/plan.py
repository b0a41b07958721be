"""What is proposed: the works as values, before they become layers."""

from dataclasses import dataclass
from typing import Literal

from shapely import LineString, Point

from pipelines.layout.parts import CaughtBy, LevelShot, Parts, Size, SurfaceOnly
from pipelines.layout.parts import Said as Said
from pipelines.layout.parts import Verdict as Verdict

Mode = Literal["gravity", "pump", "daylight", "soakaway", "none"]
Kind = Literal["length", "area", "earth", "weight", "hours", "each", "load", "job", "day", "percent"]


@dataclass(frozen=True, slots=True)
class CatchBasin:
    """A grated basin.

    Attributes
    ----------
    id, drains_to : str
        Its id, and the id of the pipe run or sump that takes its water.
    point : shapely Point
        Where it stands, in the metric frame.
    grate : str
        Nominal size.
    peak_flow, capacity : float
        Flow it must take; the least of grate, entrance and pipe. [m3/s]
    governed_by : str
        Which of the three that is: grate, entrance or pipe.
    ponding : float
        Depth of water over the grate at the peak. [m]
    ground_elevation, invert_elevation : float
        Rim, and bottom of its outlet pipe. [m]
    provisional : bool
        True where roofs are not known and the place is a finding rather than a proposal.
    why : str
        What it is for in a sentence.
    """

    id: str
    drains_to: str
    point: Point
    grate: str
    peak_flow: float
    capacity: float
    governed_by: str
    ponding: float
    ground_elevation: float
    invert_elevation: float
    provisional: bool
    why: Said


@dataclass(frozen=True, slots=True)
class FrenchDrain:
    """A stone trench with perforated pipe.

    Attributes
    ----------
    id, drains_to : str
        Its id, and the id of the basin, run or sump that takes its water.
    line : shapely LineString
        Drawn downstream; z is the pipe's invert. [m]
    length, width, depth : float
        Depth below ground at its deepest. [m]
    pipe : str
        Nominal size and kind.
    slope : float
        Of the pipe. [-]
    peak_flow : float
        Flow that arrives along it. [m3/s]
    why : str
        What it is for in a sentence.
    """

    id: str
    drains_to: str
    line: LineString
    length: float
    width: float
    depth: float
    pipe: str
    slope: float
    peak_flow: float
    why: Said


@dataclass(frozen=True, slots=True)
class ChannelDrain:
    """A grated channel in paving; fields as of a French drain. [m], [m3/s]"""

    id: str
    drains_to: str
    line: LineString
    length: float
    width: float
    peak_flow: float
    why: Said


@dataclass(frozen=True, slots=True)
class PipeSegment:
    """A part of a run at one slope.

    Attributes
    ----------
    start, end : float
        From the run's upper end. [m]
    slope : float
        [-]
    least_cover : float or None
        Least cover over the pipe; None where all of it lies in the taper before an outlet. [m]
    """

    start: float
    end: float
    slope: float
    least_cover: float | None


@dataclass(frozen=True, slots=True)
class PipeRun:
    """One run of pipe between two ids.

    Attributes
    ----------
    id, from_id, to_id : str
        Its id and its ends: basin, drain, downspout, sump, junction run or outfall.
    kind : str
        gravity or pressure.
    purpose : str
        collector, downspout or discharge.
    size, standard, pipe_key : str
        Nominal size in words, standard, and the key in the pipe catalogue.
    line : shapely LineString
        Drawn downstream; z is the invert. [m]
    ground : tuple of float
        Ground above each vertex of the line. [m]
    length : float
        Plan length. [m]
    slope : float or None
        Fall over length; None for pressure. Over a broken grade a reader is told `segments`. [-]
    invert_up, invert_down : float
        At its ends. [m]
    peak_flow, velocity, capacity : float
        [m3/s], [m/s], [m3/s]
    filled : float or None
        Depth over diameter at the peak; None for pressure. [-]
    least_cover, deepest : float
        Least cover over the pipe, its end taper left out, and deepest trench. [m]
    under_paving : float
        Length below paving. [m]
    crossings : tuple of str
        Utilities and keep-outs it crosses, in words.
    beside : str
        Id of the run in whose trench it lies; empty where it has its own.
    segments : tuple of PipeSegment
        Its parts of one slope each, downstream; none for pressure.
    """

    id: str
    from_id: str
    to_id: str
    kind: Literal["gravity", "pressure"]
    purpose: Literal["collector", "downspout", "discharge"]
    size: str
    standard: str
    pipe_key: str
    line: LineString
    ground: tuple[float, ...]
    length: float
    slope: float | None
    invert_up: float
    invert_down: float
    peak_flow: float
    velocity: float
    capacity: float
    filled: float | None
    least_cover: float
    deepest: float
    under_paving: float
    crossings: tuple[Said, ...]
    beside: str = ""
    segments: tuple[PipeSegment, ...] = ()

    @property
    def flattest(self) -> float | None:
        """Slope of its flattest segment; None for pressure. [-]"""
        return min((segment.slope for segment in self.segments), default=self.slope)


@dataclass(frozen=True, slots=True)
class Sump:
    """A pumped basin.

    Attributes
    ----------
    id, drains_to : str
        Its id and that of its pressure run.
    point : shapely Point
        Where it stands.
    lift : float
        Static lift. [m]
    operating_flow, operating_head, velocity : float
        Where a pump's curve meets its line's. [m3/s], [m], [m/s]
    inflow : float
        Peak of the hydrograph that reaches it in the design storm with the works. [m3/s]
    starts_per_hour : float
        At the worst inflow, the line draining back. [1/h]
    basin : str
        Size in words.
    ground_elevation, inlet_elevation, off_elevation, bottom_elevation : float
        [m]
    minutes_without_power : float
        What its storage holds at the peak inflow. [min]
    warnings : tuple of str
        What an estimator must know of it.
    delivered_flow : float
        What leaves by its lines, of all its pumps: the operating flow less what the relief hole sends back. [m3/s]
    pumps : int
        Each on a line of its own.
    storage : float
        In the basin above pump on, and in stone beside it. [m3]
    copes : bool
        Pumps and storage take what reaches it, or the hollows that it comes from stay within what is tolerated.
    why_copes : str
        By what it copes, or what it falls short by.
    compared : tuple of str
        Sizes that were not taken: what they deliver, the storage they need, what more they cost or why they do not do.
    """

    id: str
    drains_to: str
    point: Point
    lift: float
    operating_flow: float
    operating_head: float
    velocity: float
    inflow: float
    starts_per_hour: float
    basin: Said
    ground_elevation: float
    inlet_elevation: float
    off_elevation: float
    bottom_elevation: float
    minutes_without_power: float
    warnings: tuple[Said, ...]
    delivered_flow: float = 0.0
    pumps: int = 1
    storage: float = 0.0
    copes: bool = True
    why_copes: Said = ""
    compared: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class Outfall:
    """Where water may leave.

    Attributes
    ----------
    id, kind : str
        kind is swale, ditch, curb, inlet, pond, daylight or soakaway.
    point : shapely Point
        Where the pipe comes out.
    verified : bool
        Its level was given, or shot on site.
    level : float
        Lowest level it can take water at, its clearance counted in. [m]
    fall_to_spare, fall_error : float or None
        Least over the lines that use it, and its standard error; None where no line does. [m]
    verdict, to_confirm : str or None, str
        sure, cannot_tell or no, None where no line uses it; what must be confirmed before anyone counts on it.
    highest_level : float or None
        Of the storm's water there, None where it was not given. [m]
    given, found : bool, float or None
        Drawn by a person; else the share of possible grounds on which water gathers there and leads away. [-]
    under, over : float
        How far its level may lie under and over what it is taken for. [m]
    moved_from : shapely Point or None
        Where a person drew it, on the bank. [m]
    """

    id: str
    kind: str
    point: Point
    verified: bool
    level: float
    fall_to_spare: float | None
    fall_error: float | None
    verdict: Verdict | None
    to_confirm: Said
    highest_level: float | None = None
    given: bool = True
    under: float = 0.0
    over: float = 0.0
    moved_from: Point | None = None
    found: float | None = None


@dataclass(frozen=True, slots=True)
class Discharge:
    """One line of works, or the finding that none is needed.

    Attributes
    ----------
    serves : tuple of str
        Ids of the collectors on it.
    outfall : str or None
        Where it ends.
    mode, verdict, why : str
        How the water leaves, how sure that is, and the reason in a sentence.
    fall_to_spare, fall_error, lift : float or None
        [m]
    on_grounds : tuple of float
        What it would have to spare by gravity, by the trade's floors, on each ground that lidar allows; empty where
        that was not counted. [m]
    """

    serves: tuple[str, ...]
    outfall: str | None
    mode: Mode
    verdict: Verdict
    why: Said
    fall_to_spare: float | None
    fall_error: float | None
    lift: float | None
    on_grounds: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Fitting:
    """A fitting or cleanout on a run; kind in words with its nominal size."""

    id: str
    kind: str
    on_run: str
    point: Point


@dataclass(frozen=True, slots=True)
class Cure:
    """A cheap cure: what to do, where, and what it would change."""

    id: str
    what: Said
    why: Said
    changes: Said


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to do the job, laid out as far as it goes.

    Attributes
    ----------
    mode : str
        gravity, pump, daylight, soakaway or none.
    possible : bool
        False where it cannot be laid out; `depends_on` then says why.
    low, likely, high : float or None
        Money, in the price list's currency.
    deepest : float or None
        Deepest dig. [m]
    fall_to_spare : float or None
        [m]
    depends_on : str
        What must hold for it.
    chosen : bool
        Whether the plan is this one.
    """

    mode: Mode
    possible: bool
    low: float | None
    likely: float | None
    high: float | None
    deepest: float | None
    fall_to_spare: float | None
    depends_on: Said
    chosen: bool


@dataclass(frozen=True, slots=True)
class TakeOffLine:
    """One line of the take-off.

    Attributes
    ----------
    item : str
        As the price list names it.
    quantity : float
        [SI]
    kind : str
        What it is measured or counted in: length, area, earth, weight, hours, each, load, job or percent.
    low, likely, high : float
        Money, in the price list's currency.
    share : str
        material or hired.
    """

    item: str
    quantity: float
    kind: Kind
    low: float
    likely: float
    high: float
    share: Literal["material", "hired"]


@dataclass(frozen=True, slots=True)
class Plan:
    """The works of a lot.

    Attributes
    ----------
    verdict : str
        The answer in a sentence.
    parts : Parts
        How sure it is, part by part.
    faults : tuple of str
        What of it could not be built as drawn; told among the warnings too.
    level_shots : tuple of LevelShot
        Readings that would lessen most what lidar leaves open, in order.
    """

    verdict: Said
    parts: Parts
    catch_basins: tuple[CatchBasin, ...] = ()
    french_drains: tuple[FrenchDrain, ...] = ()
    channel_drains: tuple[ChannelDrain, ...] = ()
    pipe_runs: tuple[PipeRun, ...] = ()
    sumps: tuple[Sump, ...] = ()
    outfalls: tuple[Outfall, ...] = ()
    fittings: tuple[Fitting, ...] = ()
    discharges: tuple[Discharge, ...] = ()
    cures: tuple[Cure, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    sizes: tuple[Size, ...] = ()
    caught_by: tuple[CaughtBy, ...] = ()
    surface: SurfaceOnly | None = None
    take_off: tuple[TakeOffLine, ...] = ()
    refer_out: tuple[Said, ...] = ()
    site_checks: tuple[Said, ...] = ()
    warnings: tuple[Said, ...] = ()
    faults: tuple[Said, ...] = ()
    level_shots: tuple[LevelShot, ...] = ()
