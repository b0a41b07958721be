"""Sizes in which culverts for drives are sold."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from terrain.unit_table import INCH


@dataclass(frozen=True, slots=True)
class CulvertSize:
    """One size: its key, "15 in", and diameters. [m]"""

    key: str
    inside: float
    outside: float


@lru_cache(maxsize=1)
def culvert_sizes() -> tuple[CulvertSize, ...]:
    """Every size, smallest first.

    References
    ----------
    .. [1] Inside: the nominal sizes of AASHTO M 294; outside as corrugated pipe of several makers has it, from memory.
    """
    text = files("pipelines.hydraulics.channel").joinpath("culvert_sizes.csv").read_text(encoding="utf-8")
    return tuple(
        CulvertSize(row["key"], float(row["inside_in"]) * INCH, float(row["outside_in"]) * INCH)
        for row in csv.DictReader(text.splitlines())
    )
