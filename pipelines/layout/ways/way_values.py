"""What a way to carry water off is laid out from, and what comes of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from pipelines.hydraulics.pumping.pump_curve import PumpCurve
from pipelines.inputs.site_file import SiteFile
from pipelines.layout.catching.design_flows import DesignFlows
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.diagnosis.diagnose import Diagnosis, Reckoning
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Discharge, Mode, Outfall, Said
from pipelines.layout.quantities.quantities import Works
from pipelines.layout.ways.lift_design import LiftDesign
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import WayGround


@dataclass(frozen=True, slots=True, eq=False)
class WayInputs:
    """All that a way is laid out from.

    Attributes
    ----------
    site : SiteFile
        What the site file says.
    ground : WayGround
        What lines are laid in.
    catching : Catching
        What collects.
    flows : DesignFlows
        What it must take.
    outfalls, daylights : tuple of OutfallSite
        Where lines may end.
    curve : PumpCurve
        Of the pump.
    curve_given : bool
        Whether the user gave it.
    closed : bool
        Outfalls were left out since they lie in the depression that they are to drain.
    reckoning : Reckoning
        What the storm is run on.
    found : Diagnosis
        What is wrong on the lot as it is.
    """

    site: SiteFile
    ground: WayGround
    catching: Catching
    flows: DesignFlows
    outfalls: tuple[OutfallSite, ...]
    daylights: tuple[OutfallSite, ...]
    curve: PumpCurve
    curve_given: bool
    reckoning: Reckoning
    found: Diagnosis
    closed: bool = False

    @property
    def situation(self) -> Situation:
        """The lot."""
        return self.ground.situation

    @property
    def wanted(self) -> tuple[str, ...]:
        """Ids of basins and of drains with a line of their own: what must be served."""
        drains = (site.id for site in self.catching.drains if not site.into)
        return (*(site.id for site in self.catching.basins), *drains)

    @property
    def spouts(self) -> tuple[str, ...]:
        """Ids of downspouts: served where gravity serves them."""
        return tuple(site.id for site in self.catching.downspouts)


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way, laid out.

    Attributes
    ----------
    mode : str
        gravity, daylight, pump or soakaway.
    possible : bool
        False where it cannot be laid out; `depends_on` then says why.
    works : Works
        Lines, sumps and fittings; basins and drains come with the plan.
    outfalls : tuple of Outfall
        Where lines end.
    discharges : tuple of Discharge
        Lines of works, and how sure each is.
    served : mapping of str to str
        Outfall by collector.
    capacities : mapping of str to float
        What each collector's line takes. [m3/s]
    limits : mapping of str to float
        Most that leaves by an outfall. [m3/s]
    fall_to_spare, deepest : float or None
        Least, and deepest dig. [m]
    depends_on : Reason or str
        What must hold for it.
    warnings, deciding : tuple of Reason
        What a reader must know; the shots that decide.
    lifts : tuple of LiftDesign
        Pumped basins with their lines.
    flows : mapping of str to float
        Design flows that differ from those of the other ways, since the hollows store more here. [m3/s]
    """

    mode: Mode
    possible: bool
    works: Works = field(default_factory=Works)
    outfalls: tuple[Outfall, ...] = ()
    discharges: tuple[Discharge, ...] = ()
    served: Mapping[str, str] = field(default_factory=dict)
    capacities: Mapping[str, float] = field(default_factory=dict)
    limits: Mapping[str, float] = field(default_factory=dict)
    fall_to_spare: float | None = None
    deepest: float | None = None
    depends_on: Said = ""
    warnings: tuple[Said, ...] = ()
    deciding: tuple[Said, ...] = ()
    lifts: tuple[LiftDesign, ...] = ()
    flows: Mapping[str, float] = field(default_factory=dict)

    @property
    def copes(self) -> bool:
        """Whether every lift of it copes with what reaches it in the design storm; true of a way without a lift."""
        return all(lift.copes for lift in self.lifts)

    @property
    def why_copes(self) -> tuple[Said, ...]:
        """By what each of its lifts copes, or falls short."""
        return tuple(lift.why_copes for lift in self.lifts)

    @property
    def sure(self) -> bool:
        """Whether every line of it is sure."""
        return self.possible and all(each.verdict == "sure" for each in self.discharges)
