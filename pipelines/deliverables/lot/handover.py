"""What one screened lot hands over, as a folder that is whole or not there."""

from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pandas as pd

from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.layer_table import rounded
from pipelines.deliverables.files.place import Writer, hand_over
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import summary_text, write_text
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.unit_systems import unit_system


def write_lot(
    findings: Findings,
    out_dir: Path,
    *,
    overwrite: bool = False,
    extra_files: Mapping[str, Writer] | None = None,
    extra_layers: Mapping[str, pd.DataFrame] | None = None,
) -> None:
    """Write lot.gpkg, runoff.csv and summary.json, and what else is given, into a folder and swap it in whole."""
    units = unit_system(findings.units)
    further = dict(extra_files or {})
    outputs = ["lot.gpkg", "runoff.csv", "summary.json", *further]
    made = lot_tables(findings, units, outputs=outputs)

    @cache
    def tables() -> Mapping[str, pd.DataFrame]:
        fit = {name: rounded(name, table, units) for name, table in made.items()}
        return {**fit, **(extra_layers or {}), "run_info": fit["run_info"]}

    files: dict[str, Writer] = {
        "lot.gpkg": lambda path: write_geopackage(path, tables(), crs=findings.frame.crs, units=units),
        "runoff.csv": lambda path: write_text(path, csv_text(tables()["runoff"])),
        "summary.json": lambda path: write_text(path, summary_text(summary(findings))),
    }
    apart = {name for name in (*files, *further) if not name.endswith((".html", ".pdf"))}
    hand_over(out_dir, {**files, **further}, overwrite=overwrite, apart=apart)
