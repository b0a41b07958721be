"""Cautions that go with every plan, and the checks on site that come before anyone believes it."""

from dataclasses import dataclass

from pipelines.layout.plan import Plan

_ALWAYS = (
    (
        "not_a_survey",
        "A pre-screen from public lidar: not a survey, not for construction, not an engineer's design. Local code and "
        "licensed practice come first.",
    ),
    (
        "discharge_rights",
        "The right to discharge and the permits for it vary from place to place. Never onto a neighbour, never over a "
        "lot line without an easement, never into a right of way without a permit.",
    ),
    (
        "never_into",
        "Never yard or roof water into a sanitary sewer, a footing drain, an indoor sump or a septic system.",
    ),
)

_DIGGING = (
    (
        "before_you_dig",
        "Call for utility marks before you dig, in the United States 811, as many days ahead as your state's law asks; "
        "private lines are not marked: locate them. Dig by hand at the marks. If you smell gas, leave and call from "
        "away.",
    ),
    (
        "trench",
        "A trench kills below 5 ft too. Spoil and machines at least 2 ft back, never alone in it; from 4 ft a way out "
        "within 25 ft; from 5 ft protection against cave-in (OSHA 29 CFR 1926.651 and .652).",
    ),
    (
        "footings",
        "Never dig below the 45-degree plane from a footing, nor beside a retaining wall, without an engineer.",
    ),
    ("lids", "Lids and grates that a child cannot lift or fall through."),
)

_PUMP = (
    (
        "electrical",
        "A licensed electrician and ground-fault protection for the pump's circuit; pump switched off and unplugged "
        "before anyone reaches in. A pump fails with the power: know where the water goes then.",
    ),
)

_RIGHT_OF_WAY = (
    (
        "swale_keeper",
        "A swale or ditch by the road has a keeper. Ask them before discharging to it; nobody re-cuts it without "
        "their leave.",
    ),
    (
        "boring",
        "Boring under a drive or walk can cross a gas line or a sewer: expose what lies in the way first.",
    ),
)

_SURFACE = (("ice", "Water let out across or near a walk freezes on it."),)

_KEEP_OUT = (("septic_wells", "Keep off septic tanks, fields and wells; their setbacks are the health department's."),)


def cautions_for(plan: Plan, *, septic_or_well: bool) -> tuple[tuple[str, str], ...]:
    """Cautions that a plan must be shown with.

    References
    ----------
    .. [1] 29 CFR 1926.651(c)(2), (j)(2) and 1926.652(a)(1) for trenches; the rest is common practice, no source.
    """
    chosen = list(_ALWAYS)
    if plan.pipe_runs or plan.french_drains or plan.channel_drains or plan.catch_basins:
        chosen += _DIGGING
    if plan.sumps:
        chosen += _PUMP
    if any(run.under_paving > 0.0 for run in plan.pipe_runs):
        chosen += _RIGHT_OF_WAY[1:]
    if any(outfall.kind in ("swale", "ditch", "curb", "inlet") for outfall in plan.outfalls):
        chosen += _RIGHT_OF_WAY[:1]
    if any(d.mode in ("daylight", "pump") for d in plan.discharges) or plan.cures:
        chosen += _SURFACE
    if septic_or_well or plan.pipe_runs:
        chosen += _KEEP_OUT
    return tuple(chosen)


def swale_cautions() -> tuple[tuple[str, str], ...]:
    """Cautions that a check of a swale must be shown with: it proposes digging in what has a keeper.

    References
    ----------
    .. [1] As of `cautions_for`.
    """
    flooding = (
        "neighbours",
        "A swale that carries more here floods someone below sooner: look at the next culvert and the next lot.",
    )
    return (*_ALWAYS, *_RIGHT_OF_WAY[:1], flooding, *_DIGGING[:2], *_SURFACE)


@dataclass(frozen=True, slots=True)
class CheckNeeds:
    """What decides which site checks lead the list.

    Attributes
    ----------
    deciding_shots : tuple of str
        Places, in words, whose levels decide a verdict that this lidar leaves open.
    works, pump, roofs_known, swale : bool
        Whether anything is dug, lifted, whether roofs were given, whether an outfall is a swale or ditch.
    """

    deciding_shots: tuple[str, ...]
    works: bool
    pump: bool
    roofs_known: bool
    swale: bool


def site_checks(needs: CheckNeeds) -> tuple[str, ...]:
    """What to check on site, most telling first (common practice, no source)."""
    checks: list[str] = []
    if needs.deciding_shots:
        checks.append("Level shots that decide the verdict: " + "; ".join(needs.deciding_shots) + ".")
    places = "sill, low point of the wet place, the route's high point"
    if needs.swale:
        places += ", swale bottom (probe the silt), both culvert inverts"
    checks.append(f"Level shots at {places}.")
    checks.append("A hose or rain test and the owner's photos: surface water or ground water?")
    if needs.works:
        checks.append("A test hole to the trench bottom, left a day: does water stand in it?")
    checks.append("Where each downspout and each old pipe goes; whether gutters run over.")
    if needs.works:
        checks.append("Marks and private lines along the route.")
    if needs.swale:
        checks.append(
            "The swale at the outlet and the next culvert: does water stand three days after rain, and who keeps it?"
        )
    if needs.works or not needs.roofs_known:
        checks.append("Foundation kind and footing depth.")
        checks.append("Property pins: a parcel line from the assessor is off by 1 to 10 ft.")
    if needs.pump:
        checks.append("Power at the sump, and who keeps the pump.")
    if needs.works:
        checks.append("Gate width, room for a truck and for spoil.")
        checks.append("Septic tank and field, and wells, on this lot and next to it.")
    return tuple(checks)
