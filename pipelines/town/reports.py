"""Report pages of the lots that need most, made after all are ranked."""

from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path

from pipelines.deliverables.files.place import Writer
from pipelines.deliverables.files.text_file import write_text
from pipelines.deliverables.findings.town import TownFindings
from pipelines.deliverables.lot.written import report_page
from pipelines.deliverables.town.partitions import file_name
from pipelines.inputs.site_file import SiteFile
from pipelines.town.errors import TownRunError
from pipelines.town.job import LotTask, TownJob, screen_lot_of
from pipelines.town.town_lots import TownLot

MOST = 1000
"""Reports of one run. [-]"""


def wanted_reports(text: str | None) -> int:
    """How many reports `worst:N` asks for; none where nothing is asked."""
    if text is None:
        return 0
    word, _, number = text.partition(":")
    if word != "worst" or not number.isdigit() or not 1 <= int(number) <= MOST:
        raise TownRunError(f'--reports {text} is not known; write worst:N with N from 1 to {MOST:,}, as in "worst:50"')
    return int(number)


def report_files(
    findings: TownFindings,
    site: SiteFile,
    count: int,
    *,
    linked: bool,
    made_on: date,
    tell: Callable[[str, float | None], None],
) -> dict[str, Writer]:
    """What writes the report pages of the lots that need most.

    Parameters
    ----------
    findings : TownFindings
        Of the town.
    site : SiteFile
        Of the town.
    count : int
        How many. [-]
    linked : bool
        The heights lie in tiles outside the virtual raster's folder.
    made_on : date
        That stands on the pages.
    tell : callable
        Told in words how far it is, from 0 to 1. [-]

    Returns
    -------
    dict of str to Writer
        By the name of the file.
    """
    rows = sorted((row for row in findings.rows if row.status == "done"), key=lambda row: -(row.need or 0.0))
    job = TownJob(site, "plan", linked, "")
    pages: dict[str, Writer] = {}
    for number, row in enumerate(rows[:count], start=1):
        tell(f"writing report {number} of {min(count, len(rows))}: {row.name}", 0.92)
        found = screen_lot_of(job, LotTask(TownLot(row.lot, row.name, row.parcel), findings.grounds)).findings
        if found is not None:
            page = report_page(found, made_on=made_on)
            pages[f"reports/{file_name(row.lot)}.html"] = partial(_write, page)
    return pages


def _write(text: str, path: Path) -> None:
    write_text(path, text)
