"""The points of a pump's curve as its seller prints them: pump.csv."""

import os
from dataclasses import dataclass

import numpy as np

from pipelines.inputs.errors import TableError
from pipelines.inputs.tables.csv_table import one_of, read_csv_table
from terrain.arrays import FloatArray
from terrain.unit_table import si_factor

_FLOWS = {"flow_gpm": "gpm", "flow_l_s": "l/s"}
_HEADS = {"head_ft": "ft", "head_m": "m"}

MOST_FLOW, MOST_HEAD = 1.0, 1000.0
"""Far beyond any pump of a lot. [m3/s], [m]"""


@dataclass(frozen=True, slots=True, eq=False)
class PumpPoints:
    """Points of a pump's curve.

    Attributes
    ----------
    flow : (n,) float ndarray
        Rising. [m3/s]
    head : (n,) float ndarray
        Falling. [m]
    """

    flow: FloatArray
    head: FloatArray


def read_pump_points(path: str | os.PathLike[str]) -> PumpPoints:
    """Read pump.csv: columns flow_gpm or flow_l_s, and head_ft or head_m."""
    table = read_csv_table(path, "pump curve")
    flow_column, head_column = one_of(table, tuple(_FLOWS)), one_of(table, tuple(_HEADS))
    if len(table.rows) < 2:
        raise TableError(f"{table.where} has one point; a curve needs at least two")
    flows = [table.number(row, flow_column, least=0.0) for row in table.rows]
    heads = [table.number(row, head_column, least=0.0) for row in table.rows]
    for row, flow, head in zip(table.rows, flows, heads, strict=True):
        if flow * si_factor(_FLOWS[flow_column]) > MOST_FLOW or head * si_factor(_HEADS[head_column]) > MOST_HEAD:
            raise TableError(
                f"{table.where}: line {row.line}: {flow:g} {_FLOWS[flow_column]} at {head:g} {_HEADS[head_column]} is "
                f"no pump for a lot; it may give up to {MOST_FLOW / si_factor('gpm'):,.0f} gpm and {MOST_HEAD:g} m"
            )
    for before, (row, flow, head) in zip(
        zip(flows, heads, strict=True), zip(table.rows[1:], flows[1:], heads[1:], strict=True), strict=False
    ):
        if flow == before[0]:
            raise TableError(f"{table.where}: line {row.line}: {flow_column} {flow:g} stands twice; keep one of them")
        if flow < before[0]:
            raise TableError(
                f"{table.where}: line {row.line}: {flow_column} falls from {before[0]:g} to {flow:g}; sort rows by flow"
            )
        if head >= before[1]:
            raise TableError(
                f"{table.where}: line {row.line}: {head_column} does not fall ({before[1]:g}, then {head:g}); "
                "a pump's head falls as its flow rises"
            )
    return PumpPoints(
        np.array(flows) * si_factor(_FLOWS[flow_column]), np.array(heads) * si_factor(_HEADS[head_column])
    )
