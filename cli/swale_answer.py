"""The answer of `lotshed swale` as a person reads it on a terminal."""

import textwrap
from collections.abc import Iterator

from pipelines.deliverables.findings.swale import SwaleFinding, SwaleFindings
from pipelines.deliverables.words.say import say
from pipelines.inputs.quantity_words import format_quantity
from terrain.unit_table import Units

WIDTH = 100
ANSWERS = {
    "takes_it": "takes it",
    "short": "short",
    "holds_water": "holds water",
    "cannot_tell": "cannot be told from this lidar",
}


def swale_answer(findings: SwaleFindings) -> str:
    """The check's answer as plain text, every number with its unit."""
    units = findings.units
    storm = "the design storm" if findings.return_period is None else f"the {findings.return_period:g}-year storm"
    parts = []
    for found in findings.swales:
        head = f"{found.site.name}: {ANSWERS[found.answer]} in {storm}. {found.why[:1].upper()}{found.why[1:]}."
        parts.append(textwrap.fill(head, WIDTH))
        for title, lines in _sections(found, units):
            parts.append("\n".join([title, *(_item(line) for line in lines)]))
    cautions = [say(each.text, units) for each in findings.cautions]
    for title, said in (("Warnings", findings.warnings), ("Cautions", cautions)):
        if said:
            parts.append("\n".join([title, *(_item(line) for line in said)]))
    return "\n\n".join(parts)


def _sections(found: SwaleFinding, units: Units) -> Iterator[tuple[str, list[str]]]:
    sections = (
        ("The swale", list(_measured(found, units))),
        ("Reach by reach", list(_reaches(found, units))),
        ("Drives", [f"{each.crossing.id}: {each.why}." for each in found.crossings]),
        ("Outlets", [f"{each.id}: {ANSWERS[each.verdict.answer]}; {each.verdict.why}." for each in found.outlets]),
        ("Lots added up", list(_lots(found, units))),
        ("Least re-cut, with the keeper's leave", list(_recut(found, units))),
        ("Measure on site", list(dict.fromkeys(_measure(found, units)))),
    )
    yield from ((title, lines) for title, lines in sections if lines)


def _measured(found: SwaleFinding, units: Units) -> Iterator[str]:
    site = found.site
    turned = ", drawn upstream and turned" if site.thalweg.turned else ""
    shift = format_quantity(float(abs(site.thalweg.shift).max()), "length", units)
    length = format_quantity(site.thalweg.length, "length", units)
    grade = format_quantity(site.thalweg.grade, "slope", units)
    yield (
        f"{length} long, {grade} of grade, {len(site.sections)} sections; the bottom lies up to {shift} from the drawn "
        f"line{turned}."
    )
    yield (
        f"{format_quantity(float(found.ground.total.sum()), 'area', units)} drains to it; "
        f"{format_quantity(float(found.flow.peak[-1]), 'large_flow', units)} at its lower end."
    )
    loss = float(found.capacity.cell_loss.mean())
    yield f"The raster's cells hide about {loss:.0%} of the capacity: in truth it carries more, not less."
    if found.first_overtops is not None:
        yield f"It first stands over a bank or a drive in the {found.first_overtops:g}-year storm."


def _reaches(found: SwaleFinding, units: Units) -> Iterator[str]:
    for each in found.reaches:
        start, end = (format_quantity(at, "length", units) for at in (each.reach.start, each.reach.end))
        notes = []
        if each.against_grade and each.reach.adverse is not None:
            notes.append(f"runs against the grade, rising {format_quantity(each.reach.adverse.rise, 'depth', units)}")
        if each.erodes:
            notes.append(
                f"{format_quantity(each.velocity, 'velocity', units)} is more than its grass stands"
                f" ({format_quantity(each.permissible, 'velocity', units)})"
            )
        further = f"; {'; '.join(notes)}" if notes else ""
        yield f"{each.reach.id}, {start} to {end}: {ANSWERS[each.verdict.answer]}; {each.verdict.why}{further}."


def _lots(found: SwaleFinding, units: Units) -> Iterator[str]:
    for each in found.lot_sums:
        name = each.lot or "without any lot"
        state = "FULL" if each.full else f"{format_quantity(each.room, 'depth', units)} to spare"
        yield f"{name}: {format_quantity(each.total, 'flow', units)} added in all, {state}."
    if found.lot_sums:
        full = found.full_at
        yield "It never fills." if full is None else f"Full with {full}." if full else "Full before any lot is added."


def _recut(found: SwaleFinding, units: Units) -> Iterator[str]:
    for stretch in found.recut:
        if not stretch.needed:
            continue
        if stretch.recut is None:
            yield f"{stretch.id}: {stretch.why_not}."
            continue
        slope = format_quantity(stretch.recut.slope, "slope", units)
        deepest = format_quantity(float(stretch.recut.cut.max()), "depth", units)
        why = f"; {stretch.why_not}" if stretch.why_not else ""
        volume = format_quantity(stretch.recut.total, "volume", units)
        yield f"{stretch.id}: dig {volume}, {deepest} at the deepest, for {slope}{why}."


def _measure(found: SwaleFinding, units: Units) -> Iterator[str]:
    for each in found.reaches:
        if each.verdict.answer != "takes_it":
            at = format_quantity(float(found.site.station[each.worst]), "length", units)
            yield f"{each.reach.id}, at {at}: {each.verdict.measure}."


def _item(line: str) -> str:
    return textwrap.fill(line, WIDTH, initial_indent="  - ", subsequent_indent="    ")
