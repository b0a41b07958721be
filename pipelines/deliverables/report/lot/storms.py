"""What it does storm by storm, at everything that must stay dry: as sentences and as a table."""

from collections.abc import Iterator

import numpy as np

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.report.blocks import Head, Inline, Table, Words
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.say import say, sentence
from pipelines.layout.storm_by_storm import in_words
from terrain.unit_table import Units


def storm_sentences(findings: Findings, units: Units, *, improved: bool) -> Iterator[Words]:
    """For each edge, up to which storm it is dry and what the design storm does."""
    film = findings.rules["wet_film"].likely
    for told in in_words(findings.edges, improved=improved, film=film):
        yield (sentence(told, units),)


def storm_table(findings: Findings, units: Units) -> Table | None:
    """Depth and time at each edge in each storm, as it is and with the improvements."""
    if not findings.edges:
        return None
    rows: list[tuple[Inline, ...]] = []
    for at, row in enumerate(findings.edges):
        source = f"summary|storms|{at}"
        cells: list[Inline] = [row.edge.capitalize(), say(row.storm.rain.storm.name, units)]
        for key, value, kind in (
            ("depth_m", row.depth, "depth"), ("stands_h", row.time, "time"),
            ("depth_after_m", row.depth_after, "depth"), ("stands_after_h", row.time_after, "time"),
            ("room_after_m", row.room_after, "depth"),
        ):  # fmt: skip
            known = value is not None and np.isfinite(value)
            cells.append(number(value, kind, units, f"{source}|{key}") if known else "")
        rows.append(tuple(cells))
    depth = number(0.0, "depth", units).unit
    columns = (
        Head("Edge"), Head("Storm"), Head("Deep now", depth, True), Head("Stands now", "", True),
        Head("Deep with improvements", depth, True), Head("Stands then", "", True), Head("Up to the sill", depth, True),
    )  # fmt: skip
    return Table("storms", "What stands where it must stay dry, storm by storm", columns, tuple(rows))
