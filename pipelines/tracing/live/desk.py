"""What is drawn, kept on disk as it is drawn, and screened by one warm worker: the newest drawing alone."""

import json
import tempfile
import threading
import time
import tomllib
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import shapely

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.place import prepare_place
from pipelines.deliverables.files.single_file import write_single_text
from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.handover import write_lot
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.written import lot_files
from pipelines.deliverables.report.lot.brief import brief_entries
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.report.text import entries_as_text
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.say import sentence
from pipelines.inputs.site_file import read_site_file
from pipelines.inputs.traced.traced_file import read_traced
from pipelines.lot import screen_lot
from pipelines.tracing.things import look
from terrain.errors import LotshedError
from terrain.kept import keeping
from terrain.reason import Reason
from terrain.unit_table import Units

TRACED = "traced.geojson"
EMPTY = '{"type": "FeatureCollection", "replaces": [], "answers": {}, "features": []}\n'
FIRST_GROUNDS = 10
"""Grounds that the first answer is tried on; the site's own number follows. [-]"""
SETTLE = 0.15
"""Wait for a drawing to come to rest before it is screened. [s]"""
WIDTH = 40
WORKS = (
    "surface_works", "french_drains", "channel_drains", "pipe_runs", "fittings", "outfalls", "catch_basins", "sumps",
)  # fmt: skip
"""Layers of what is proposed, from the bottom up."""
COMPARED = ("Wrong", "Verdict", "Build", "Drains to", "Cost", "Faults")
"""What is told of a trial beside what was kept."""
OF_PIPE = ("chosen_pipe_too_small", "chosen_pipe_thin", "line_too_small")


class OvertakenError(Exception):
    """A newer drawing has come; this one need not be finished."""


def live_site(site: Path) -> tuple[Path, Path]:
    """The site file that is screened and its traced file; where it names none, a site file beside it that does."""
    text = ""
    try:
        text = site.read_text(encoding="utf-8-sig")
        section = tomllib.loads(text).get("traced")
    except (OSError, ValueError):
        section = None
    if isinstance(section, dict) and isinstance(section.get("file"), str):
        traced = Path(site.parent, section["file"])
    else:
        # says what is wrong with it before anything is written
        read_site_file(site)
        traced = site.parent / TRACED
        site = site.with_name(f"{site.stem}-traced.toml")
        write_single_text(site, f'{text.rstrip()}\n\n[traced]\nfile = "{TRACED}"\n')
    if not traced.exists():
        write_single_text(traced, EMPTY)
    return site, traced


class LiveDesk:
    """One lot's drawing and its answer."""

    def __init__(self, site: Path, traced: Path) -> None:
        self.site, self.traced = site, traced
        self._room = tempfile.TemporaryDirectory(prefix="lotshed-")
        self._trial: Path | None = None
        self._changed = threading.Condition()
        self._drawing = 0
        self._counted: tuple[int, Findings] | None = None
        self._told: dict[str, Any] = {"drawing": 0, "doing": "", "fault": None, "answer": None}
        threading.Thread(target=self._work, name="screening", daemon=True).start()

    def put(self, text: str, *, trial: bool = False) -> int:
        """Check a drawing and have it screened; gives its number. It is kept on disk unless it is only tried."""
        with self._changed:
            # what is tried has a file of its own each, since the last may still be read
            beside = Path(self._room.name, f"{self._drawing + 1}.geojson")
            beside.write_text(text, encoding="utf-8")
            read_traced(beside)
            if not trial:
                write_single_text(self.traced, text)
            self._trial = beside if trial else None
            self._drawing += 1
            self._told = {**self._told, "drawing": self._drawing, "doing": "waiting", "fault": None}
            self._changed.notify()
            return self._drawing

    def told(self) -> dict[str, Any]:
        """How far it is, and the last answer with the number of its drawing."""
        return self._told

    def hand_over(self) -> Path:
        """Write the usual folder of the drawing as it is, beside the site file; no page says where."""
        counted = self._counted
        if counted is None or counted[0] != self._drawing:
            raise HandoverError("the drawing is not counted on all grounds yet; wait until the page says that it is")
        if self._trial is not None:
            raise HandoverError("what is tried is neither kept nor undone; keep it or undo it first")
        folder = self.site.with_name(f"{self.site.stem}-result")
        prepare_place(folder, overwrite=True)
        write_lot(counted[1], folder, overwrite=True, extra_files=lot_files(counted[1], made_on=date.today()))
        return folder

    @keeping()
    def _work(self) -> None:
        done = 0
        while True:
            with self._changed:
                while self._drawing == done:
                    self._changed.wait()
            # a drag sends several
            time.sleep(SETTLE)
            with self._changed:
                done, trial = self._drawing, self._trial
            try:
                for grounds in (FIRST_GROUNDS, None):
                    self._screen(done, grounds, trial)
            except OvertakenError:
                continue
            except Exception as error:
                own = isinstance(error, LotshedError)
                fault = str(error) if own else f"A defect of lotshed: {type(error).__name__}: {error}"
                # the worker outlives whatever a drawing does to it
                with suppress(OvertakenError):
                    self._tell(done, doing="", fault=fault)

    def _screen(self, drawing: int, grounds: int | None, trial: Path | None) -> None:
        def progress(text: str, _: float | None) -> None:
            # every stage asks: the newest drawing alone is worth the time
            self._tell(drawing, doing=text)

        # the first answer tells of no way beside the chosen one
        findings = screen_lot(
            self.site, progress=progress, grounds=grounds, traced=trial, chosen_alone=grounds is not None
        )
        if grounds is None:
            self._counted = (drawing, findings)
        state = {"of": drawing, "provisional": grounds is not None, "trial": trial is not None}
        answer = shown_answer(findings) | state
        self._tell(drawing, doing="" if grounds is None else "counting on all grounds", answer=answer)

    def _tell(self, drawing: int, **news: Any) -> None:
        with self._changed:
            if drawing != self._drawing:
                raise OvertakenError
            self._told = {**self._told, **news}


def shown_answer(findings: Findings) -> dict[str, Any]:
    """The answer at a glance, and what is proposed as shapes of the map's metric plane."""
    units = unit_system(findings.units)
    tables = lot_tables(findings, units)
    picture = lot_map(findings, tables, units)
    west, south = picture.ground.grid.bounds[0], picture.ground.grid.bounds[1]
    works = [
        {"look": look(symbols()[layer.name][each.symbol]), "words": each.label,
         "geometry": json.loads(shapely.to_geojson(shapely.force_2d(each.shape)))}
        for layer in picture.layers if layer.name in WORKS and layer.on for each in layer.features
    ]  # fmt: skip
    entries = brief_entries(findings, tables, units)
    pipe = _pipe_told(findings, units)
    return {
        "text": entries_as_text(findings.name, entries, WIDTH), "works": works, "corner": [west, south],
        "told": {entry.name: list(entry.told) for entry in entries if entry.name in COMPARED} | pipe,
    }  # fmt: skip


def _pipe_told(findings: Findings, units: Units) -> dict[str, list[str]]:
    """What is said of the pipe that was chosen."""
    said = [each for each in findings.plan.warnings if isinstance(each, Reason) and each.code in OF_PIPE]
    return {"Pipe": [sentence(each, units) for each in said]} if said else {}
