"""How a result was made: version, inputs with their hashes, units, rules and warnings, as rows of key and value."""

from collections.abc import Iterator, Sequence

import pandas as pd

from pipelines.deliverables.files.layer_table import make_layer
from pipelines.deliverables.files.place import OUTPUTS
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.words.rules import parameter_rows
from pipelines.deliverables.words.say import say
from terrain.unit_table import Units


def run_info(findings: Findings, units: Units, outputs: Sequence[str]) -> pd.DataFrame:
    """Rows of the table run_info."""
    rows = list(_rows(findings, units, outputs))
    return make_layer("run_info", units, key=[key for key, _ in rows], value=[value for _, value in rows])


def _rows(findings: Findings, units: Units, outputs: Sequence[str]) -> Iterator[tuple[str, str]]:
    frame = findings.frame
    authority = frame.crs.to_authority()
    yield "program", "lotshed"
    yield "version", findings.version
    yield "name", findings.name
    yield "units", units
    yield "crs", ":".join(authority) if authority else frame.crs.name
    yield "crs_name", frame.crs.name
    yield "z_unit_m", repr(frame.unit)
    yield "vertical_datum", say(findings.vertical_datum, units)
    yield "cell_width_m", repr(findings.grid.cell_width)
    yield "cell_height_m", repr(findings.grid.cell_height)
    yield "verdict", say(findings.plan.verdict, units)
    for file in findings.inputs:
        yield f"input.{file.key}.file", file.file
        yield f"input.{file.key}.sha256", file.sha256
        if file.crs is not None:
            yield f"input.{file.key}.crs", file.crs
        if file.cell_size is not None:
            yield f"input.{file.key}.cell_size_m", repr(file.cell_size)
    for name, value, mark in parameter_rows(findings.rules, findings.parameters, units):
        yield f"parameter.{name}", f"{value} [{mark}]" if mark else value
    for number, warning in enumerate(findings.warnings, start=1):
        yield f"warning.{number}", say(warning, units)
    yield OUTPUTS, ", ".join(outputs)
