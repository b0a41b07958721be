"""Sizes in which culverts for drives are sold."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from pipelines.hydraulics.errors import HydraulicsError
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


def culverts_named(keys: Sequence[str]) -> tuple[CulvertSize, ...]:
    """Sizes by their keys, smallest first."""
    held = {size.key: size for size in culvert_sizes()}
    unknown = [key for key in keys if key not in held]
    if unknown:
        raise HydraulicsError(f"culvert {', '.join(unknown)} is not in the catalogue; it holds {', '.join(held)}")
    return tuple(sorted((held[key] for key in keys), key=lambda size: size.inside))
