"""The answer of a check of swales: what the report's first page says, and the terminal in the same words."""

from collections.abc import Iterable, Iterator, Sequence

from pipelines.deliverables.findings.swale import SwaleFinding, SwaleFindings
from pipelines.deliverables.report.blocks import Block, Facts, Items, Paragraph, Subhead, Words, said_items
from pipelines.deliverables.report.lot.brief import caution_short
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.report.text import Entry, entries_as_text, files_entry
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.say import say, say_all, sentence, start_upper
from pipelines.layout.swale.judgement import ReachFinding
from terrain.unit_table import Units

ANSWERS = {
    "takes_it": "takes it", "short": "is short", "holds_water": "holds water",
    "cannot_tell": "cannot be judged from this lidar",
}  # fmt: skip
CARRY = ("culvert", "culverts", "carries the storm", "carry the storm")
WORST_FIRST = ("short", "holds_water", "cannot_tell", "takes_it")


def storm_name(findings: SwaleFindings) -> str:
    """What the design storm is called."""
    return "the design storm" if findings.return_period is None else f"the {findings.return_period:g}-year storm"


def swale_answer_blocks(findings: SwaleFindings) -> tuple[Block, ...]:
    """Each swale's answer, then what to measure on site, most telling first."""
    units = findings.units
    blocks: list[Block] = []
    for position, found in enumerate(findings.swales):
        blocks.append(Paragraph((" ".join(_head(found, findings)),), "strong"))
        facts = (
            ("The swale", _measured(found, f"summary|swales|{position}", units)),
            ("Reaches", _lines(_reaches(found, units))),
            ("Drives", _lines(_drives(found, units))),
            ("Outlets", _lines(_outlets(found, units))),
            ("Lots added up", _lines(_lots(found, units))),
            ("Least re-cut, only with permission of the maintaining authority", _lines(_recut(found, units))),
        )
        blocks.append(Facts(tuple((title, words) for title, words in facts if words)))
    return (*blocks, *_measure_blocks(findings))


def _measure_blocks(findings: SwaleFindings) -> tuple[Block, ...]:
    checks = dict.fromkeys(_to_measure(findings))
    return (Subhead("Measure on site, most telling first"), Items(_lines(checks), "box")) if checks else ()


def swale_paper_blocks(findings: SwaleFindings) -> tuple[Block, ...]:
    """What stands beside the map on paper: each swale's answer, its drives and what would do, what to measure."""
    units = findings.units
    blocks: list[Block] = []
    for found in sorted(findings.swales, key=lambda each: WORST_FIRST.index(each.answer)):
        blocks.append(Paragraph((" ".join((*_head(found, findings), *_overtops(found))),), "strong"))
        passing = [each.crossing.id for each in found.crossings if each.answer == "takes_it" and each.crossing.given]
        drives = (*_failing(found, units), *_rest(passing, len(found.crossings), *CARRY))
        recut = tuple(_recut(found, units))
        allowed = ("Only with permission of the maintaining authority.",) if recut else ()
        facts = (("Drives", _lines(drives)), ("Re-cut", _lines((*recut, *allowed))))
        blocks.append(Facts(tuple((title, words) for title, words in facts if words)))
    return (*blocks, *_measure_blocks(findings))


def swale_outlet_blocks(found: SwaleFinding, units: Units) -> tuple[Block, ...]:
    """Why the swale does not take some outlets for sure."""
    refused = [f"{start_upper(each.outlet.name)}, {ANSWERS[each.verdict.answer]}: {say(each.verdict.why, units)}."
               for each in found.outlets if each.verdict.answer != "takes_it"]  # fmt: skip
    return (Items(_lines(refused)),) if refused else ()


def swale_brief_text(findings: SwaleFindings, width: int, folder: str, files: Sequence[str]) -> str:
    """The answer at a glance: each swale, its drives, a re-cut, what to measure first, the files, a caution."""
    units = findings.units
    recut = tuple(text for found in findings.swales for text in _recut(found, units))
    measured = (f"{at}. {text}" for at, text in enumerate(tuple(dict.fromkeys(_to_measure(findings)))[:3], start=1))
    authority = (sentence(each.text, units) for each in findings.cautions if each.id == "swale_keeper")
    entries = [
        *(Entry("Swale", (*_head(found, findings), *_overtops(found)), least=2) for found in findings.swales),
        Entry("Drives", tuple(text for found in findings.swales for text in _failing(found, units))),
        Entry("Re-cut", recut),
        Entry("Permits", tuple(authority)),
        Entry("Measure", tuple(measured), least=3),
    ]
    caution = Entry("Caution", (caution_short(findings.cautions, units),))
    told = (*(each for each in entries if each.told), files_entry(folder, files), caution)
    return entries_as_text(findings.name, told, width)


def _head(found: SwaleFinding, findings: SwaleFindings) -> tuple[str, str]:
    """What is found of a swale, and why."""
    return (f"{found.site.name} {ANSWERS[found.answer]} in {storm_name(findings)}.",
            f"{start_upper(say(found.why, findings.units))}.")  # fmt: skip


def _overtops(found: SwaleFinding) -> Iterator[str]:
    if found.first_overtops is not None:
        yield f"First overtops a bank or a drive in the {found.first_overtops:g}-year storm."


def caution_blocks(findings: SwaleFindings) -> tuple[Block, ...]:
    """What goes with every answer: cautions, and what was assumed."""
    cautions = [say(caution.text, findings.units) for caution in findings.cautions]
    blocks: list[Block] = [Subhead("Cautions"), Items(_lines(cautions), "box")]
    if findings.warnings:
        blocks += [Subhead("Assumed, missing, doubtful"), said_items(findings.warnings, findings.units)]
    return tuple(blocks)


def _lines(lines: Iterable[str]) -> tuple[Words, ...]:
    return tuple((line,) for line in lines)


def _measured(found: SwaleFinding, source: str, units: Units) -> tuple[Words, ...]:
    site = found.site
    turned = ", drawn upstream and turned" if site.thalweg.turned else ""
    shift = number(float(abs(site.thalweg.shift).max()), "length", units, f"{source}|largest_shift_m")
    words: list[Words] = [
        (
            number(site.thalweg.length, "length", units, f"{source}|length_m"), " long at a slope of ",
            number(site.thalweg.grade, "slope", units, f"{source}|grade"), ", ",
            number(len(site.sections), "count", units, f"{source}|stations"),
            " sections; the bottom lies up to ", shift, f" from the drawn line{turned}.",
        ),
        (
            number(float(found.ground.total.sum()), "area", units, f"{source}|drained_area_m2"), " drains to it; ",
            number(float(found.flow.peak[-1]), "large_flow", units, f"{source}|peak_flow_m3s"),
            " at its lower end.",
        ),
        (
            "The raster's cells hide about ",
            number(float(found.capacity.cell_loss.mean()), "share", units, f"{source}|cell_loss"),
            " of the capacity: the swale carries more than computed here.",
        ),
    ]  # fmt: skip
    words += _lines(_overtops(found))
    return tuple(words)


def _rest(ids: Sequence[str], of: int, one: str, many: str, does: str, do: str) -> Iterator[str]:
    """What holds of all that was not named by itself."""
    if not ids:
        return
    names = "" if len(ids) == of and of > 1 else f": {', '.join(ids)}"
    which = "All" if len(ids) == of else "The other"
    if len(ids) == 1:
        yield f"{'The' if of == 1 else 'The other'} {one} {does}{names}."
    else:
        yield f"{which} {len(ids)} {many} {do}{names}."


def _reaches(found: SwaleFinding, units: Units) -> Iterator[str]:
    plainly = []
    for each in found.reaches:
        notes = tuple(_notes(each, units))
        if each.verdict.answer == "takes_it" and not notes:
            plainly.append(each.reach.id)
            continue
        start, end = (format_quantity(at, "length", units) for at in (each.reach.start, each.reach.end))
        why = "; ".join((say(each.verdict.why, units), *notes))
        yield f"{each.reach.id}, {start} to {end}, {ANSWERS[each.verdict.answer]}: {why}."
    yield from _rest(plainly, len(found.reaches), "reach", "reaches", "takes it", "take it")


def _notes(each: ReachFinding, units: Units) -> Iterator[str]:
    if each.against_grade and each.reach.adverse is not None:
        yield f"it runs against the slope, rising {format_quantity(each.reach.adverse.rise, 'depth', units)}"
    if each.erodes:
        speed, allowed = (format_quantity(value, "velocity", units) for value in (each.velocity, each.permissible))
        yield f"water runs at {speed}, more than its grass stands ({allowed})"


def _failing(found: SwaleFinding, units: Units) -> Iterator[str]:
    for each, remedy in zip(found.crossings, found.remedies, strict=True):
        if each.answer != "takes_it" or not each.crossing.given:
            would_do = "" if remedy is None else f" {sentence(remedy.why, units)}"
            yield f"{each.crossing.id}: {say(each.why, units)}.{would_do}"


def _drives(found: SwaleFinding, units: Units) -> Iterator[str]:
    yield from _failing(found, units)
    passing = [each for each in found.crossings if each.answer == "takes_it" and each.crossing.given]
    for each in sorted(passing, key=lambda one: one.crossing.ridge.lowest - one.headwater)[:1]:
        yield f"{each.crossing.id}, the tightest that passes: {say(each.why, units)}."
        passing.remove(each)
    ids = [each.crossing.id for each in passing]
    yield from _rest(ids, len(found.crossings), *CARRY)
    assumed = say_all((what for each in passing for what in each.crossing.assumed), units)
    if assumed:
        yield f"Assumed for some of these: {'; '.join(assumed)}."
    for warning in dict.fromkeys(what for each in passing for what in each.warnings):
        where = ", ".join(each.crossing.id for each in passing if warning in each.warnings)
        yield f"{where}: {say(warning, units)}."


def _outlets(found: SwaleFinding, units: Units) -> Iterator[str]:
    free = []
    for each in found.outlets:
        if each.verdict.answer == "takes_it" and each.tailwater.state == "free":
            free.append(each.outlet.name)
        else:
            answer = "the swale takes it" if each.verdict.answer == "takes_it" else ANSWERS[each.verdict.answer]
            yield f"{start_upper(each.outlet.name)}, {answer}: {say(each.verdict.why, units)}."
    yield from _rest(
        free, len(found.outlets), "outlet", "outlets", "is not submerged and the swale takes it",
        "are not submerged and the swale takes them",
    )  # fmt: skip


def _lots(found: SwaleFinding, units: Units) -> Iterator[str]:
    for each in found.lot_sums:
        state = "full" if each.full else f"{format_quantity(each.room, 'depth', units)} to spare"
        added = format_quantity(each.total, "large_flow", units)
        yield f"With {each.lot}: {added} added in all, {state}." if each.lot else f"Without any lot: {state}."
    if found.lot_sums:
        full = found.full_at
        yield "It never fills." if full is None else f"Full with {full}." if full else "Full before any lot is added."


def _recut(found: SwaleFinding, units: Units) -> Iterator[str]:
    for stretch in found.recut:
        why = "" if stretch.why_not is None else say(stretch.why_not, units)
        if stretch.needed and stretch.recut is None:
            yield f"{stretch.id}: {why}."
        elif stretch.needed and stretch.recut is not None:
            slope = format_quantity(stretch.recut.slope, "slope", units)
            deepest = format_quantity(float(stretch.recut.cut.max()), "depth", units)
            volume = format_quantity(stretch.recut.total, "earth", units)
            job = stretch.cost
            priced = "" if job is None else f"; {say(job.why, units)}"
            dug = f"dig {volume}, {deepest} at the deepest, for a slope of {slope}"
            yield f"{stretch.id}: {dug}{why and f'; {why}'}{priced}."


def _to_measure(findings: SwaleFindings) -> Iterator[str]:
    units = findings.units
    found = []
    for swale in findings.swales:
        for each in swale.reaches:
            if each.verdict.answer != "takes_it":
                at = format_quantity(float(swale.site.station[each.worst]), "length", units)
                text = f"{each.reach.id}, at {at}: {say(each.verdict.measure, units)}."
                found.append((WORST_FIRST.index(each.verdict.answer), text))
    yield from (text for _, text in sorted(found, key=lambda each: each[0]))
    for swale in findings.swales:
        for drive in swale.crossings:
            if not drive.crossing.given:
                yield f"{drive.crossing.id}: {say(drive.measure, units)}."
    yield from (f"{bank.id}: {say(bank.measure, units)}" for bank in findings.hidden_culverts)
