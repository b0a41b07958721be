"""The files beside a lot's layers: the report as a page and on paper, what the crew stakes out, layers for a phone."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from pipelines.deliverables.files.geojson import geojson_text
from pipelines.deliverables.files.geoparquet import FOLDER, refuse_without_parquet, write_geoparquet
from pipelines.deliverables.files.geotiff import write_geotiff
from pipelines.deliverables.files.layer_table import rounded
from pipelines.deliverables.files.place import Writer
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.stakeout import level_shot_table, profile_table, stakeout_table
from pipelines.deliverables.report.blocks import Paragraph, Report, Subhead, said_items
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.html import report_html
from pipelines.deliverables.report.lot.answer import lot_answer_blocks
from pipelines.deliverables.report.lot.brief import brief_entries, brief_title, caution_short
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.report.lot.report import lot_report
from pipelines.deliverables.report.lot.reviewer import leaving_blocks, warning_blocks
from pipelines.deliverables.report.pdf import appendix_pdf, report_pdf
from pipelines.deliverables.report.text import Entry, blocks_as_text, entries_as_text, files_entry
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.say import sentence
from terrain.unit_table import Units, si_factor

DECIMALS = 3
"""Of feet or metres in what the crew reads."""


def lot_files(
    findings: Findings, *, made_on: date, geojson: bool = False, parquet: bool = False
) -> dict[str, Writer]:
    """What writes each file beside lot.gpkg, runoff.csv and summary.json."""
    units = unit_system(findings.units)
    day = made_on.isoformat()

    @cache
    def parts() -> tuple[Mapping[str, pd.DataFrame], Report, MapPicture]:
        layers = lot_tables(findings, units)
        picture = lot_map(findings, layers, units)
        return layers, lot_report(findings, layers, units, picture), picture

    files: dict[str, Writer] = {
        "report.html": lambda path: _write(path, report_html(*parts()[1:], made_on=day)),
        "report.pdf": lambda path: _write(path, report_pdf(*parts()[1:], made_on=day)),
        "appendix.pdf": lambda path: _write(path, appendix_pdf(parts()[1], made_on=day)),
    }
    if findings.plan.pipe_runs:
        files["stakeout.csv"] = lambda path: _write(path, csv_text(stakeout_table(findings, units).round(DECIMALS)))
        files["profiles.csv"] = lambda path: _write(path, csv_text(profile_table(findings, units).round(DECIMALS)))
    if findings.plan.level_shots:
        shots = level_shot_table(findings, units).round(DECIMALS)
        files["level_shots.csv"] = lambda path: _write(path, csv_text(shots))
    if findings.fall_to_spare is not None:
        spare = findings.fall_to_spare
        unit = "ft" if units == "us" else "m"
        told = replace(spare, values=np.round(spare.values / si_factor(unit), DECIMALS), unit=unit)
        odds = () if findings.odds_of_fall is None else (findings.odds_of_fall,)
        files["fall_to_spare.tif"] = lambda path: write_geotiff(path, told, *odds)
    if geojson:
        files["lot.geojson"] = lambda path: _write(path, geojson_text(parts()[0], findings.frame.crs))
    if parquet:
        files |= _parquet_files(findings, units)
    return files


def _parquet_files(findings: Findings, units: Units) -> dict[str, Writer]:
    """A file for each layer of shapes, with the values of lot.gpkg."""
    refuse_without_parquet()
    shaped = {
        name: rounded(name, table, units)
        for name, table in lot_tables(findings, units).items()
        if isinstance(table, gpd.GeoDataFrame)
    }
    crs = findings.frame.crs
    return {
        f"{FOLDER}/{name}.parquet": lambda path, table=table: write_geoparquet(path, table, crs=crs)  # type: ignore[misc]
        for name, table in shaped.items()
    }


def report_page(findings: Findings, *, made_on: date) -> str:
    """The report as one page."""
    units = unit_system(findings.units)
    layers = lot_tables(findings, units)
    picture = lot_map(findings, layers, units)
    return report_html(lot_report(findings, layers, units, picture), picture, made_on=made_on.isoformat())


def answer_text(findings: Findings, width: int) -> str:
    """The answer as a person reads it on a terminal: the same blocks as the page's."""
    units = unit_system(findings.units)
    layers = lot_tables(findings, units)
    cautions = said_items((caution.text for caution in findings.cautions), units)
    return blocks_as_text(
        (
            Paragraph((f"{findings.name}: {sentence(findings.plan.verdict, units)}",)),
            *lot_answer_blocks(findings, layers, units),
            *leaving_blocks(layers, units),
            *warning_blocks(findings, units),
            *((Subhead("Cautions"), cautions) if cautions.items else ()),
        ),
        width,
    )


def brief_text(findings: Findings, width: int, folder: str, files: Sequence[str]) -> str:
    """The answer at a glance, and the files that a folder holds."""
    units = unit_system(findings.units)
    entries = brief_entries(findings, lot_tables(findings, units), units)
    caution = Entry("Caution", (caution_short(findings.cautions, units),))
    return entries_as_text(brief_title(findings, units), (*entries, files_entry(folder, files), caution), width)


def _write(path: Path, content: str | bytes) -> None:
    path.write_bytes(content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content)
