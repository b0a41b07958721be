"""A lot's answer as a terminal shows it at a glance: the page's facts and sentences, each cut to what a look needs."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from pipelines.deliverables.findings.lot import Caution, Findings
from pipelines.deliverables.report.blocks import plain
from pipelines.deliverables.report.lot.answer import (
    CURRENCY,
    collector_words,
    design_storm,
    discharge_figures,
    hole_first,
    nothing_built,
    pipe_words,
    pump_words,
    soil_moved,
    standing_words,
)
from pipelines.deliverables.report.lot.verdict_words import part_called, state_words
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.report.text import Entry
from pipelines.deliverables.words.names import SHORT_STATES, WAYS_FROM
from pipelines.deliverables.words.say import say, say_short, sentence, start_lower, start_upper
from pipelines.layout.parts import Said
from terrain.reason import Reason, reason
from terrain.unit_table import Units

CHECKS = 3
"""Site checks that are told at a glance. [-]"""


def brief_entries(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> tuple[Entry, ...]:
    """What is wrong, why, how sure that is, what is built, where it goes, what it costs, what to check first."""
    plan = findings.plan
    checks = (f"{at}. {say_short(each, units)}" for at, each in enumerate(plan.site_checks[:CHECKS], start=1))
    parts = (
        f"{part_called(findings, name)}: {state_words(findings, name, units, SHORT_STATES)}"
        for name, _ in plan.parts.named
    )
    told = (
        Entry("Wrong", tuple(_wrong(findings, layers, units))),
        Entry("Cause", (say_short(plan.parts.cause.why, units),) if plan.parts.cause.state != "not_needed" else ()),
        Entry("Verdict", (start_upper(f"{'; '.join(parts)}."),)),
        # beside a trouble that is called it stands in the full answer alone
        Entry("Possible", () if _trouble(findings) else tuple(sentence(each.why, units) for each in findings.possible)),
        Entry("Hangs on", tuple(_overturned(findings, units))),
        Entry("Refer", tuple(say_short(each, units) for each in plan.refer_out)),
        Entry("Build", tuple(_built(findings, layers, units)), least=2),
        Entry("Caught", tuple(_caught(findings, units))),
        Entry("Faults", tuple(say_short(each, units) for each in plan.faults)),
        Entry("Drains to", tuple(_leaves(findings, layers, units))),
        Entry("Cost", tuple(_cost(findings, units))),
        Entry("Permits", tuple(_permits(findings, units))),
        Entry("Check", tuple(checks), least=2),
    )
    return tuple(entry for entry in _each_once(told) if entry.told)


def _each_once(entries: Sequence[Entry]) -> Iterator[Entry]:
    """Entries without what an earlier one tells."""
    seen: set[str] = set()
    for entry in entries:
        yield replace(entry, told=tuple(text for text in dict.fromkeys(entry.told) if text not in seen))
        seen.update(entry.told)


def brief_title(findings: Findings, units: Units) -> str:
    """The lot, the storm that it is judged in, and whether heights were read there."""
    told = [text for text in (design_storm(findings, units), "on level shots" if findings.levels_given else "") if text]
    return f"{findings.name}: {', '.join(told)}" if told else findings.name


def caution_short(cautions: Sequence[Caution], units: Units) -> str:
    """The one line of caution that goes with every answer."""
    kept = [each.text for each in cautions if each.id in ("not_a_survey", "before_you_dig")]
    return " ".join(say_short(text, units) for text in kept)


def _wrong(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[str]:
    verdict = findings.plan.verdict
    if (wrong := _trouble(findings)) is not None:
        # what the improvements leave is wrong as well, whatever ranks before it
        besides = verdict["besides"] if isinstance(verdict, Reason) else ()
        yield sentence(reason("wrong_and_besides", wrong=(wrong, *besides)) if besides else wrong, units)
        yield from (plain(words) for words in standing_words(findings, layers, units, most=1, short=True))
    elif isinstance(verdict, Reason) and verdict.code == "headline":
        yield from _sentences(sentence(verdict["way"], units))
    else:
        yield from _sentences(say_short(verdict, units))


def _trouble(findings: Findings) -> Reason | None:
    """The worst trouble that is called."""
    verdict = findings.plan.verdict
    return verdict["wrong"] if isinstance(verdict, Reason) and verdict.code == "headline" else None


def _overturned(findings: Findings, units: Units) -> Iterator[str]:
    verdict, parts = findings.plan.verdict, findings.plan.parts
    weakest = parts.weakest[1]
    # the cause has a line of its own
    doubtful = [part for part in (parts.fall, parts.outfall, parts.cure) if part.state in ("cannot_tell", "no")]
    if weakest in doubtful:
        yield from _doubt(weakest.why, units)
    if isinstance(verdict, Reason) and verdict.code == "headline" and (told := sentence(verdict["overturned"], units)):
        yield told
    for part in doubtful:
        if part != weakest:
            yield from _doubt(part.why, units)


def _doubt(why: Said, units: Units) -> list[str]:
    if not isinstance(why, Reason) or why.code != "cure_leaves":
        return _sentences(say_short(why, units))
    left = tuple(
        reason("leaves_flow", flow=each["flow"], place=each["place"], most=each["most"])
        if each.code == "left_running"
        else reason(
            "leaves_water", depth=each["depth"], place=each["place"], limit=each["limit"], longest=each["longest"]
        )
        for each in why["left"]
    )
    return [sentence(reason("it_leaves", left=left), units)]


def _sentences(text: str) -> list[str]:
    return re.split(r"(?<=\.) (?=[A-Z])", text)


def _built(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[str]:
    plan = findings.plan
    moved = soil_moved(plan)
    first = f"{sentence(reason('dig_hole_first'), units)} " if hole_first(findings) else ""
    if plan.pipe_runs:
        yield f"{first}{plain(pipe_words(findings, layers, units))}."
    elif first:
        yield first.strip()
    yield from (f"{plain(words)}." for words in collector_words(findings, layers, units))
    yield from (say_short(work.why, units) for work in moved)
    if not (plan.pipe_runs or plan.catch_basins or plan.refer_out or moved):
        yield nothing_built(findings)
    before = "First" if plan.pipe_runs or plan.catch_basins or moved else "Do this"
    yield from (f"{before}: {say_short(cure.what, units)}" for cure in plan.cures[:1])


def _caught(findings: Findings, units: Units) -> Iterator[str]:
    """Of what comes to the works how much they catch, and where the rest goes, where that may be too much."""
    why = findings.plan.parts.cure.why
    if isinstance(why, Reason) and why.code in ("cure_hangs_on_way", "cure_leaves"):
        yield from (say_short(each, units) for each in why["runs" if why.code == "cure_hangs_on_way" else "past"])


def _leaves(findings: Findings, layers: Mapping[str, pd.DataFrame], units: Units) -> Iterator[str]:
    yield from (plain(words) for words in pump_words(findings, layers, units, short=True))
    for at, line in enumerate(findings.plan.discharges):
        if line.mode == "none":
            # what is done on the surface is told where it is built
            if line.verdict != "sure" and not soil_moved(findings.plan):
                yield from _sentences(say_short(line.why, units))
            continue
        enough = sum(spare >= 0.0 for spare in line.on_grounds)
        share = "all" if enough == len(line.on_grounds) else f"{enough} of"
        counted = f"; enough on {share} {len(line.on_grounds)} grounds" if line.mode == "gravity" else ""
        where = ", ".join(filter(None, (line.outfall, f"{WAYS_FROM[line.mode]} {', '.join(line.serves)}")))
        figures = discharge_figures(line, at, units, counted if line.on_grounds else "")
        yield f"{where}{plain(figures)}."


def _cost(findings: Findings, units: Units) -> Iterator[str]:
    surface = findings.plan.surface
    money = [(way.low, way.likely, way.high) for way in findings.plan.alternatives if way.chosen]
    money += [(surface.low, surface.likely, surface.high)] if surface is not None and surface.chosen else []
    for each in money:
        if each[1]:
            low, likely, high = (number(value, "money", units).text for value in each)
            yield f"{low} to {high}, likely {likely}, {CURRENCY}."
            if findings.not_needed_on is not None:
                yield say_short(findings.not_needed_on, units)


def _permits(findings: Findings, units: Units) -> Iterator[str]:
    crossed = [text for run in findings.plan.pipe_runs for text in run.crossings]
    if crossed:
        yield f"Crosses {'; '.join(dict.fromkeys(say(text, units) for text in crossed))}."
    used = {line.outfall for line in findings.plan.discharges}
    for outfall in findings.plan.outfalls:
        if outfall.id in used:
            yield f"To confirm at {outfall.id}: {start_lower(say_short(outfall.to_confirm, units))}"
