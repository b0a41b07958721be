"""What a check of swales hands over, as a folder that is whole or not there."""

from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path

from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.place import Writer, hand_over
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import summary_text, write_text
from pipelines.deliverables.findings.swale import SwaleFinding, SwaleFindings
from pipelines.deliverables.report.html import report_html
from pipelines.deliverables.report.pdf import appendix_pdf, report_pdf
from pipelines.deliverables.report.swale_report import swale_map, swale_report
from pipelines.deliverables.swale.layers import stations_table, swale_tables
from pipelines.deliverables.swale.plot import profile_png, sections_png
from pipelines.deliverables.swale.summary import swale_summary
from terrain.unit_table import Units


def write_swales(
    findings: SwaleFindings, out_dir: Path, *, overwrite: bool = False, made_on: date | None = None
) -> tuple[str, ...]:
    """Write swale.gpkg, stations.csv, summary.json, the report and two pictures a swale into a folder, whole."""
    files: dict[str, Writer] = {}
    for found in findings.swales:
        files[f"{found.site.id}_profile.png"] = partial(_write_picture, found, findings.units, profile_png)
        files[f"{found.site.id}_sections.png"] = partial(_write_picture, found, findings.units, sections_png)
    outputs = ["swale.gpkg", "stations.csv", "summary.json", "report.html", "report.pdf", "appendix.pdf", *files]
    tables = swale_tables(findings, outputs=outputs)
    report, picture = swale_report(findings, tables), swale_map(findings, tables)
    day = (made_on or date.today()).isoformat()
    main: dict[str, Writer] = {
        "swale.gpkg": lambda path: write_geopackage(path, tables, crs=findings.frame.crs, units=findings.units),
        "stations.csv": lambda path: write_text(path, csv_text(stations_table(findings))),
        "summary.json": lambda path: write_text(path, summary_text(swale_summary(findings))),
        "report.html": lambda path: write_text(path, report_html(report, picture, made_on=day, view_name="Swales")),
        "report.pdf": lambda path: _write_bytes(path, report_pdf(report, picture, made_on=day)),
        "appendix.pdf": lambda path: _write_bytes(path, appendix_pdf(report, made_on=day)),
    }
    hand_over(out_dir, {**main, **files}, overwrite=overwrite)
    return tuple(outputs)


def _write_bytes(path: Path, content: bytes) -> None:
    path.write_bytes(content)


def _write_picture(found: SwaleFinding, units: Units, draw: Callable[[SwaleFinding, Units], bytes], path: Path) -> None:
    path.write_bytes(draw(found, units))
