"""Cautions that go with every plan, and the checks on site that come before anyone believes it."""

from dataclasses import dataclass

from pipelines.layout.plan import Plan, Said
from terrain.reason import Reason, reason

_ALWAYS = (
    ("not_a_survey", reason("caution_not_a_survey")),
    ("discharge_rights", reason("caution_discharge_rights")),
    ("never_into", reason("caution_never_into")),
)
_BEFORE_YOU_DIG = ("before_you_dig", reason("caution_before_you_dig"))
_TRENCH = ("trench", reason("caution_trench"))
_DIGGING = (
    _BEFORE_YOU_DIG, _TRENCH, ("footings", reason("caution_footings")), ("lids", reason("caution_lids")),
)
_PUMP = ("electrical", reason("caution_electrical"))
_SWALE = ("swale_keeper", reason("caution_swale"))
_BORING = ("boring", reason("caution_boring"))
_ICE = ("ice", reason("caution_ice"))
_SEPTIC_AND_WELLS = ("septic_wells", reason("caution_septic_and_wells"))
_HOLE = reason("check_hole_for_ground_water")
_NEIGHBORS = ("neighbours", reason("caution_neighbors"))


def cautions_for(plan: Plan, *, septic_or_well: bool) -> tuple[tuple[str, Reason], ...]:
    """Cautions that a plan must be shown with, by the id that they have in files.

    References
    ----------
    .. [1] 29 CFR 1926.651(c)(2), (j)(2) and 1926.652(a)(1) for trenches; the rest is common practice, no source.
    """
    chosen = list(_ALWAYS)
    if plan.pipe_runs or plan.french_drains or plan.channel_drains or plan.catch_basins:
        chosen += _DIGGING
    elif _HOLE in plan.site_checks or (plan.surface is not None and plan.surface.proposed):
        chosen.append(_BEFORE_YOU_DIG)
    if plan.sumps:
        chosen.append(_PUMP)
    if any(run.under_paving > 0.0 for run in plan.pipe_runs):
        chosen.append(_BORING)
    if any(outfall.kind in ("swale", "ditch", "curb", "inlet") for outfall in plan.outfalls):
        chosen.append(_SWALE)
    if any(d.mode in ("daylight", "pump") for d in plan.discharges) or plan.cures:
        chosen.append(_ICE)
    if septic_or_well or plan.pipe_runs:
        chosen.append(_SEPTIC_AND_WELLS)
    return tuple(chosen)


def swale_cautions() -> tuple[tuple[str, Reason], ...]:
    """Cautions that a check of a swale must be shown with: it proposes digging in what is another's to maintain.

    References
    ----------
    .. [1] As of `cautions_for`.
    """
    return (*_ALWAYS, _SWALE, _NEIGHBORS, _BEFORE_YOU_DIG, _TRENCH, _ICE)


@dataclass(frozen=True, slots=True)
class CheckNeeds:
    """What decides which site checks lead the list.

    Attributes
    ----------
    deciding_shots : tuple of Reason or str
        Places whose levels decide a verdict that this lidar leaves open.
    works, pump, roofs_known, swale : bool
        Whether anything is dug, lifted, whether roofs were given, whether an outfall is a swale or ditch.
    ground_water : bool
        Whether it may not be surface water at all.
    pond : bool
        Whether an outfall is a pond.
    kinds : tuple of str
        Of the outfalls that are swales or ditches.
    read : tuple of str
        Levels that were read already: sill, low, route, bottom.
    line : bool
        Whether a line is laid, with a route and a trench.
    grates : float or None
        How far from where it is drawn a grate at a pond may be set; None where there is none. [m]
    """

    deciding_shots: tuple[Said, ...]
    works: bool
    pump: bool
    roofs_known: bool
    swale: bool
    ground_water: bool = False
    pond: bool = False
    kinds: tuple[str, ...] = ("swale",)
    read: tuple[str, ...] = ()
    line: bool = True
    grates: float | None = None


def site_checks(needs: CheckNeeds) -> tuple[Reason, ...]:
    """What to check on site, most telling first (common practice, no source)."""
    levels = tuple(level for applies, level in _levels(needs) if applies)
    told = (
        (bool(needs.deciding_shots), reason("check_deciding_shots", shots=needs.deciding_shots)),
        (bool(levels), reason("check_levels", levels=levels, again=bool(needs.read))),
        (True, reason("check_with_hose")),
        (needs.grates is not None, reason("check_grates", within=needs.grates)),
        (needs.ground_water, _HOLE),
        (needs.works and needs.line, reason("check_test_hole")),
        (True, reason("check_downspouts")),
        (needs.works, reason("check_utility_marks", line=needs.line)),
        (needs.swale, reason("check_swale", kinds=needs.kinds)),
        (needs.pond, reason("check_pond")),
        (needs.works or not needs.roofs_known, reason("check_foundation")),
        (needs.works or not needs.roofs_known, reason("check_property_pins")),
        (needs.pump, reason("check_power")),
        (needs.works, reason("check_access")),
        (needs.works, reason("check_septic_and_wells")),
    )
    return tuple(check for applies, check in told if applies)


def _levels(needs: CheckNeeds) -> tuple[tuple[bool, Reason], ...]:
    """Levels to read on site, but those that were."""
    return (
        ("sill" not in needs.read, reason("level_of_sill")),
        ("low" not in needs.read, reason("level_of_low")),
        (needs.works and needs.line and "route" not in needs.read, reason("level_of_route")),
        (needs.swale and "bottom" not in needs.read, reason("level_of_bottom", kinds=needs.kinds)),
        (needs.swale, reason("level_of_culvert")),
    )
