"""What a run over a town hands over, as a folder that is whole or not there."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from pipelines.deliverables.errors import HandoverError
from pipelines.deliverables.files.geopackage import write_geopackage
from pipelines.deliverables.files.layer_table import Layer, layers, rounded
from pipelines.deliverables.files.place import Writer, hand_over
from pipelines.deliverables.files.table_csv import csv_text
from pipelines.deliverables.files.text_file import summary_text, write_text
from pipelines.deliverables.findings.town import LOT_LAYERS, TownFindings
from pipelines.deliverables.town.layers import of_lots, town_tables
from pipelines.deliverables.town.page import town_page
from pipelines.deliverables.town.summary import town_summary

MAIN = ("town.html", "town.gpkg", "lots.csv", "runoff.csv", "summary.json")


def write_town(
    findings: TownFindings,
    out_dir: Path,
    *,
    overwrite: bool = False,
    made_on: date | None = None,
    extra_files: Mapping[str, Writer] | None = None,
) -> tuple[str, ...]:
    """Write town.gpkg, the same as GeoParquet, runoff.csv, lots.csv, summary.json and town.html, whole."""
    further = dict(extra_files or {})
    own, of_a_lot = of_lots(), {*LOT_LAYERS, "runoff"}
    names = [name for name in town_tables(findings) if name != "run_info"]
    outputs = [*MAIN, *(f"parquet/{name}.parquet" for name in names), *further]
    tables = town_tables(findings, outputs=outputs)
    kinds = {**layers(), **own}
    told = {name: table if name in of_a_lot else rounded(name, table, findings.units) for name, table in tables.items()}
    day = (made_on or date.today()).isoformat()
    files: dict[str, Writer] = {
        "town.html": lambda path: write_text(path, town_page(findings, made_on=day)),
        "town.gpkg": lambda path: write_geopackage(path, told, crs=findings.crs, units=findings.units, others=own),
        "lots.csv": lambda path: write_text(path, csv_text(_with_place(told["lots"]))),
        "runoff.csv": lambda path: write_text(path, csv_text(told["runoff"])),
        "summary.json": lambda path: write_text(path, summary_text(town_summary(findings))),
        **{f"parquet/{name}.parquet": _parquet(told[name], kinds[name], findings) for name in names},
    }
    hand_over(out_dir, {**files, **further}, overwrite=overwrite)
    return tuple(outputs)


def _with_place(lots: pd.DataFrame) -> pd.DataFrame:
    """Lots as rows, with a place on each in the map's coordinates."""
    places = lots.geometry.representative_point()
    table = pd.DataFrame(lots.drop(columns=lots.geometry.name))
    table.insert(3, "easting", places.x.round(2))
    table.insert(4, "northing", places.y.round(2))
    return table


def _parquet(table: pd.DataFrame, layer: Layer, findings: TownFindings) -> Writer:
    """A layer as GeoParquet, a table as Parquet; texts stay texts where a column is empty."""

    def write(path: Path) -> None:
        try:
            import pyarrow  # noqa: F401
        except ImportError:
            raise HandoverError(
                "GeoParquet needs the package pyarrow, which is not installed; install lotshed with its extra `town`: "
                'pip install "lotshed[town]"'
            ) from None
        kinds: dict[str, Any] = {
            name: {"text": "string", "real": "float64"}.get(column.type)
            for name, column in layer.written(findings.units)
        }
        typed = table.astype({name: kind for name, kind in kinds.items() if kind and name in table})
        if isinstance(typed, gpd.GeoDataFrame):
            typed.set_crs(findings.crs, allow_override=True).to_parquet(path, index=False)
        else:
            typed.to_parquet(path, index=False)

    return write
