"""The parts of a lot's verdict in words: what each is called, its state, and what that holds under."""

from collections.abc import Mapping

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.names import SHORT_PARTS, STATES
from pipelines.deliverables.words.say import say
from pipelines.layout.parts import PartName
from pipelines.layout.plan import Said
from terrain.reason import Reason
from terrain.unit_table import Units


def part_called(findings: Findings, name: PartName) -> str:
    """What a part of this verdict is called in a few words."""
    parts, called = findings.plan.parts, str(name)
    modes = {line.mode for line in findings.plan.discharges} - {"none"}
    if name == "fall" and "pump" in modes:
        called = "lift" if len(modes) == 1 else "fall_and_lift"
    elif name == "cure" and parts.cause.state == "cannot_tell":
        called = "cure_of_surface_water"
    return SHORT_PARTS[called]


def state_words(findings: Findings, name: PartName, units: Units, states: Mapping[str, str] = STATES) -> str:
    """State of a part, and what it holds under."""
    part = dict(findings.plan.parts.named)[name]
    # not the lidar leaves that open, but what was not given
    asked = part.state == "cannot_tell" and is_said(part.why, "no_line_leads_off", "cure_without_works")
    if asked and states is STATES:
        return "cannot be judged from what is given"
    state = of_levels(states[part.state], findings)
    if part.state == "cannot_tell" and isinstance(part.why, Reason) and part.why.code == "cure_on_grounds":
        # in full the reason says so; hardly ever and nearly always are not alike to whoever builds it
        counted = f"it does on {part.why['holds']} of {part.why['grounds']} grounds"
        return state if states is STATES else f"{state} ({counted})"
    return state if part.only is None else f"{state} {say(part.only, units)}"


def of_levels(state: str, findings: Findings) -> str:
    """What cannot be judged from lidar, where levels were shot: not from these either."""
    return f"{state} and these level shots" if findings.levels_given and state.endswith("lidar") else state


def is_said(said: Said, *codes: str) -> bool:
    """Whether what is told is of one of some codes."""
    return isinstance(said, Reason) and said.code in codes
