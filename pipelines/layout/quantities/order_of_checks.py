"""The order of the site checks: first what the verdict hangs on."""

from collections.abc import Sequence

from pipelines.layout.parts import Parts, Said
from terrain.reason import Reason

OPENS = {
    "cause": ("check_hole_for_ground_water", "check_with_hose"), "outfall": ("check_pond", "check_swale"),
    "cure": ("check_grates",),
}
"""Checks that settle a part of the verdict that is left open."""


def in_order(
    checks: Sequence[Said], parts: Parts, *, shots: Reason | None, banks: Sequence[tuple[Reason, bool]]
) -> tuple[Said, ...]:
    """Site checks in the order in which they tell most.

    A look into a ditch that may overturn all of it comes before any level shot; banks are told with whether they
    decide. Shots that are told with what they are worth stand for a bare list of them, and nothing is asked that the
    cause has answered.
    """
    deciding = shots or next((each for each in checks if _code(each) == "check_deciding_shots"), None)
    known = parts.cause.state in ("sure", "not_needed")
    answered = ("check_deciding_shots", "check_with_hose") if known else ("check_deciding_shots",)
    kept = [each for each in checks if _code(each) not in answered]
    opens = [code for name, part in parts.named if part.state == "cannot_tell" for code in OPENS.get(name, ())]
    asked = [each for code in opens for each in kept if _code(each) == code]
    if deciding is not None:
        asked.insert(len(asked) if parts.cause.state == "cannot_tell" else 0, deciding)
    last = "check_levels" if shots is not None else ""
    kept = sorted((each for each in kept if each not in asked), key=lambda each: _code(each) == last)
    sure_banks, others = ([bank for bank, decides in banks if decides == wanted] for wanted in (True, False))
    return (*sure_banks, *asked, *kept, *others)


def _code(said: Said) -> str:
    return said.code if isinstance(said, Reason) else ""
