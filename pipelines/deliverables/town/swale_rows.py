"""Rows of a town's swales: those that each group of them left, put together."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import pandas as pd

from pipelines.deliverables.files.layer_table import layers, make_layer
from pipelines.deliverables.findings.swale import SwaleFindings
from pipelines.deliverables.findings.town_swales import SwaleTold


def put_together(
    whole: Mapping[str, pd.DataFrame], parts: Sequence[Mapping[str, pd.DataFrame]], swales: Sequence[SwaleTold]
) -> dict[str, pd.DataFrame]:
    """Tables of all swales out of those of the groups, and of what hangs on no single one, by id."""
    found = {}
    for name, table in whole.items():
        own = [each for each in (*(part[name] for part in parts if name in part), table) if len(each)]
        found[name] = _one(own) if len(own) > 1 else own[0] if own else table
    state = {each.id: each for each in swales}
    ids = found["swales"]["id"]
    return found | {
        "swales": found["swales"].assign(
            status=[state[each].status for each in ids], message=[state[each].message for each in ids]
        )
    }


def rows_of_failed(swales: Sequence[SwaleTold], findings: SwaleFindings) -> dict[str, pd.DataFrame]:
    """Rows of swales of which nothing is known but what went wrong."""
    failed = [each for each in swales if each.status != "done"]
    columns: dict[str, list[object]] = {column.name: [None] * len(failed) for column in layers()["swales"].columns}
    columns |= {"id": [each.id for each in failed], "name": [each.name for each in failed]}
    lines = [each.line for each in failed]
    return {"swales": make_layer("swales", findings.units, crs=findings.frame.crs, geometry=lines, **columns)}


def _one(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    together = pd.concat([pd.DataFrame(each) for each in tables], ignore_index=True)
    if isinstance(tables[0], gpd.GeoDataFrame):
        together = gpd.GeoDataFrame(together, geometry="geometry", crs=tables[0].crs)
    return together.sort_values("id", kind="stable", ignore_index=True) if "id" in together else together
