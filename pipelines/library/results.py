"""What a job found, as a script or a notebook holds it."""

import html
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from pipelines.deliverables.files.text_file import plain_values
from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.swale import SwaleFindings
from pipelines.deliverables.lot.handover import write_lot
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.plot import plot_layers
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.lot.written import answer_text, lot_files
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.figures.map_svg import map_drawing
from pipelines.deliverables.report.lot.answer import worst_verdict
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.report.swale_report import swale_map
from pipelines.deliverables.swale.handover import write_swales
from pipelines.deliverables.swale.layers import swale_tables
from pipelines.deliverables.swale.summary import swale_summary
from pipelines.deliverables.unit_systems import unit_system
from pipelines.deliverables.words.say import say_all, sentence
from terrain.reason import Reason

WIDTH = 100


@dataclass(frozen=True)
class ScreenedLot:
    """One screened lot.

    Attributes
    ----------
    findings : Findings
        Everything found, as values. [SI]
    """

    findings: Findings

    @cached_property
    def layers(self) -> dict[str, pd.DataFrame]:
        """Layers and tables by name: GeoDataFrames with their CRS set, units in the columns' names."""
        return lot_tables(self.findings, unit_system(self.findings.units))

    @cached_property
    def summary(self) -> Mapping[str, Any]:
        """As summary.json: always SI, None for what is unknown."""
        found: Mapping[str, Any] = plain_values(summary(self.findings))
        return found

    @property
    def verdict(self) -> str:
        """sure, cannot_tell or no: of the least sure line."""
        return worst_verdict(self.findings)

    @property
    def headline(self) -> str:
        """The answer in a sentence."""
        return sentence(self.findings.plan.verdict, unit_system(self.findings.units))

    @property
    def answer(self) -> str:
        """The whole answer as text, as the command line prints it with --full."""
        return answer_text(self.findings, WIDTH)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was assumed or is doubtful."""
        return say_all(self.findings.warnings, unit_system(self.findings.units))

    def plot(self, ax: Any = None) -> Any:
        """Draw the layers on a map.

        Parameters
        ----------
        ax : matplotlib Axes, optional
            Where to draw; a new figure without it.

        Returns
        -------
        matplotlib Axes
            In the map's CRS.
        """
        return plot_layers(self.layers, self.findings, ax)

    def save(self, folder: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write what `lotshed screen` writes: GeoPackage, tables, summary, report.

        Parameters
        ----------
        folder : path
            Need not exist; is whole or as it was.
        overwrite : bool
            Whether an earlier result may be replaced.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        HandoverError
            If the folder cannot take the result.
        """
        files = lot_files(self.findings, made_on=date.today())
        write_lot(self.findings, Path(folder), overwrite=overwrite, extra_files=files)
        return Path(folder)

    def __repr__(self) -> str:
        told = self.findings.plan.verdict
        if isinstance(told, Reason) and told.code == "verdict_on_cells":
            told = told["verdict"]
        short = told["way"] if isinstance(told, Reason) and told.code == "headline" else told
        return f"<{self.findings.name}: {sentence(short, unit_system(self.findings.units))} [{self.verdict}]>"

    def _repr_html_(self) -> str:
        units = unit_system(self.findings.units)
        return _page(self.findings.name, self.headline, lot_map(self.findings, self.layers, units))


@dataclass(frozen=True)
class CheckedSwales:
    """A site's swales, checked.

    Attributes
    ----------
    findings : SwaleFindings
        Everything found, as values. [SI]
    """

    findings: SwaleFindings

    @cached_property
    def layers(self) -> dict[str, pd.DataFrame]:
        """Layers and tables by name: GeoDataFrames with their CRS set, units in the columns' names."""
        return swale_tables(self.findings)

    @cached_property
    def summary(self) -> Mapping[str, Any]:
        """As summary.json: always SI, None for what is unknown."""
        found: Mapping[str, Any] = plain_values(swale_summary(self.findings))
        return found

    @property
    def verdict(self) -> dict[str, str]:
        """takes_it, short, holds_water or cannot_tell, by swale."""
        return {found.site.id: found.answer for found in self.findings.swales}

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was assumed or is doubtful."""
        return say_all(self.findings.warnings, self.findings.units)

    def save(self, folder: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write what `lotshed swale` writes: GeoPackage, tables, summary, report, pictures.

        Parameters
        ----------
        folder : path
            Need not exist; is whole or as it was.
        overwrite : bool
            Whether an earlier result may be replaced.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        HandoverError
            If the folder cannot take the result.
        """
        write_swales(self.findings, Path(folder), overwrite=overwrite)
        return Path(folder)

    def __repr__(self) -> str:
        answers = ", ".join(f"{name} {answer}" for name, answer in self.verdict.items())
        return f"<{self.findings.name}: {answers}>"

    def _repr_html_(self) -> str:
        return _page(self.findings.name, repr(self.verdict), swale_map(self.findings, self.layers))


def _page(name: str, headline: str, picture: MapPicture | None) -> str:
    drawn = "" if picture is None else map_drawing(picture, moving=False)
    return f"<div><p><b>{html.escape(name)}</b>: {html.escape(headline)}</p>{drawn}</div>"
