"""The pipes a lot is drained with, by standard and nominal size."""

import csv
import re
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from importlib.resources import files
from typing import Literal

from pipelines.hydraulics.errors import HydraulicsError
from terrain.shown_text import quoted
from terrain.unit_table import INCH

Interior = Literal["smooth", "corrugated", "perforated"]


@dataclass(frozen=True, slots=True)
class Pipe:
    """One size of one standard.

    Attributes
    ----------
    key, standard : str
        What it is called, "4 in SDR-35", and its standard's short name, "SDR-35".
    size : str
        Nominal size in words, "1-1/2 in".
    nominal, outside, inside : float
        Nominal size, outside diameter, and outside less two minimum walls. [m]
    wall : float
        Minimum wall; half of outside less inside where the standard gives no wall. [m]
    roughness : float
        Manning's n for design. [-]
    hazen_williams : float or None
        C under pressure; None where it is not a pressure pipe. [-]
    """

    key: str
    standard: str
    size: str
    nominal: float
    outside: float
    inside: float
    wall: float
    interior: Interior
    roughness: float
    hazen_williams: float | None


@lru_cache(maxsize=1)
def pipe_catalogue() -> tuple[Pipe, ...]:
    """Every pipe, in the order of the table.

    Returns
    -------
    tuple of Pipe

    References
    ----------
    .. [1] Dimensions: ASTM D1785 as the library fluids has it, D3034, D2729, F405; the column `source` of pipes.csv
       names each, `from_memory` what was read in no standard or table of it.
    .. [2] Roughness: Caltrans, "Highway Design Manual", Table 851.2 (smooth plastic 0.012); City of Austin, "Drainage
       Criteria Manual", Table 5-2 (perforated 0.020); small corrugated 0.018 from memory.
    """
    text = files("pipelines.hydraulics").joinpath("pipes.csv").read_text(encoding="utf-8")
    return tuple(_pipe(row) for row in csv.DictReader(text.splitlines()))


def find_pipe(name: str) -> Pipe:
    """Pipe by its key or by what people write for it, as in "1-1/2 in sch 40" or '4" SDR35'."""
    size, words = _read_name(name)
    keys = [pipe.key for pipe in pipe_catalogue()]
    if size is None:
        near = get_close_matches(name, keys, n=1, cutoff=0.0)[0]
        raise HydraulicsError(f"pipe {quoted(name)} does not start with a size: write it as in {near!r}")
    found = [pipe for pipe in pipe_catalogue() if _fits(pipe, size, words)]
    exact = [pipe for pipe in found if set(_standard_words(pipe.standard)) == set(words)]
    if len(exact or found) == 1:
        return (exact or found)[0]
    if found:
        raise HydraulicsError(f"pipe {quoted(name)} may be {_listed(found)}: name the standard")
    same_size = [pipe for pipe in pipe_catalogue() if pipe.nominal == size]
    same_words = [pipe for pipe in pipe_catalogue() if words and set(words) <= set(_standard_words(pipe.standard))]
    held = _listed(same_size or same_words) or ", ".join(keys)
    raise HydraulicsError(f"pipe {quoted(name)} is not in the catalogue; it holds {held}")


@lru_cache(maxsize=64)
def sizes_of(standard: str) -> tuple[Pipe, ...]:
    """Pipes of one standard, smallest first."""
    words = set(_standard_words(standard))
    found = [pipe for pipe in pipe_catalogue() if set(_standard_words(pipe.standard)) == words]
    if not found:
        known = sorted({pipe.standard for pipe in pipe_catalogue()})
        raise HydraulicsError(f"standard {quoted(standard)} is not in the pipe catalogue: it has {', '.join(known)}")
    return tuple(sorted(found, key=lambda pipe: pipe.inside))


def next_sizes_up(pipe: Pipe, count: int = 2) -> tuple[Pipe, ...]:
    """The next larger sizes of the same standard."""
    return tuple(other for other in sizes_of(pipe.standard) if other.inside > pipe.inside)[:count]


def _pipe(row: dict[str, str]) -> Pipe:
    nominal = float(row["nominal_in"]) * INCH
    if row["outside_in"]:
        outside, inside = float(row["outside_in"]) * INCH, float(row["inside_in"]) * INCH
        wall = float(row["minimum_wall_in"]) * INCH if row["minimum_wall_in"] else (outside - inside) / 2
    else:
        from fluids.piping import nearest_pipe

        _, inside, outside, wall = nearest_pipe(NPS=float(row["nominal_in"]), schedule=_SCHEDULES[row["source"]])
    return Pipe(
        key=row["key"],
        standard=row["standard"],
        size=row["key"].removesuffix(row["standard"]).strip(),
        nominal=nominal,
        outside=outside,
        inside=inside,
        wall=wall,
        interior=_INTERIORS[row["interior"]],
        roughness=float(row["n_design"]),
        hazen_williams=float(row["hazen_williams_c"]) if row["hazen_williams_c"] else None,
    )


_SCHEDULES = {"ASTM D1785": "40D1785"}
_INTERIORS: dict[str, Interior] = {"smooth": "smooth", "corrugated": "corrugated", "perforated": "perforated"}
_SIZE = re.compile(
    r"""^\s*(?:(\d+)[-\s]+(\d+)\s*/\s*(\d+)|(\d+)\s*/\s*(\d+)|(\d+(?:\.\d+)?))\s*(?:inches|inch|in\b\.?|["”])"""
)


def _read_name(name: str) -> tuple[float | None, list[str]]:
    match = _SIZE.match(name.lower())
    if match is None:
        return None, []
    whole, above, below, only_above, only_below, decimal = match.groups()
    if (below or only_below) and not int(below or only_below):
        return None, []
    if whole:
        inches = int(whole) + Fraction(int(above), int(below))
    elif only_above:
        inches = Fraction(int(only_above), int(only_below))
    else:
        inches = Fraction(decimal)
    return float(inches) * INCH, _standard_words(name[match.end():])


def _standard_words(text: str) -> list[str]:
    text = text.lower().replace("schedule", "sch")
    # "sch40", "sdr 35" and "sdr-35" are one word each; ASTM and PVC say nothing that tells pipes apart
    text = re.sub(r"\b(sch|sdr|d|f)[-\s.]*(\d+)", r"\1\2", text)
    return [word for word in re.findall(r"[a-z0-9]+", text) if word not in {"astm", "pvc", "pipe", "plastic", "solid"}]


def _fits(pipe: Pipe, size: float, words: list[str]) -> bool:
    return abs(pipe.nominal - size) < 1e-6 and set(words) <= set(_standard_words(pipe.standard))


def _listed(pipes: list[Pipe]) -> str:
    return ", ".join(pipe.key for pipe in pipes)
