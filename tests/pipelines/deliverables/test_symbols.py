"""The table of symbols: one state has one look, one look one state, and drawings take theirs from it alone."""

import itertools
import re
from collections import defaultdict
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from pipelines.deliverables.files.glyphs import glyphs
from pipelines.deliverables.files.styles import marker_svg
from pipelines.deliverables.files.symbols import Symbol, symbol_of, symbols

ROOM = Path(__file__).parents[3] / "pipelines" / "deliverables"
# source: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
# IEEE Transactions on Visualization and Computer Graphics 15 (6), 2009, severity 1.0; the digits from memory
SIMULATED = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    "none": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
}
APART = 12.0
"""Least difference of two hues, some five times what an eye just sees (2.3: Mahy and others, 1994). [CIE 1976]"""


def every() -> list[Symbol]:
    return [symbol for listed in symbols().values() for symbol in listed]


def main_colour(symbol: Symbol) -> str:
    """What a reader sees of a symbol: the fill of what is filled with a colour, else the line."""
    plain = symbol.colour.lower() in ("#ffffff", "#fff") or (symbol.kind == "fill" and symbol.opacity == 0.0)
    return symbol.edge if plain else symbol.colour


def linear(colour: str) -> np.ndarray:
    part = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE L*a*b* of linear sRGB, white D65 (IEC 61966-2-1; CIE 15)."""
    to_xyz = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                       [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
    xyz = to_xyz @ np.clip(light, 0.0, 1.0) / np.array([0.95047, 1.0, 1.08883])
    x, y, z = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_one_state_has_one_look_and_one_look_one_state() -> None:
    looks, states = defaultdict(set), defaultdict(set)
    for symbol in every():
        looks[symbol.state].add(symbol.look)
        states[symbol.look].add(symbol.state)
    assert {state: found for state, found in looks.items() if len(found) > 1} == {}
    assert {look: found for look, found in states.items() if len(found) > 1} == {}


def test_every_glyph_is_drawn_after_something_and_used() -> None:
    used = {symbol.shape for symbol in every() if symbol.kind == "marker"}
    assert used == set(glyphs())
    looks = [glyph.look for glyph in glyphs().values()]
    assert len(set(looks)) == len(looks)
    for name, glyph in glyphs().items():
        points = np.array([point for part in (glyph.face, glyph.line, glyph.solid) for out in part for point in out])
        assert 0.85 <= np.abs(points).max() <= 1.0 + 1e-9, name


def test_no_two_glyphs_look_alike() -> None:
    seen = {name: _raster(name) for name in glyphs()}
    for one, other in itertools.combinations(seen, 2):
        union = np.count_nonzero(seen[one] | seen[other])
        assert np.count_nonzero(seen[one] ^ seen[other]) > 0.25 * union, (one, other)


def _raster(name: str) -> np.ndarray:
    """The lines and solids of a glyph on 40 by 40 cells."""
    cells = np.zeros((41, 41), dtype=bool)
    for outline in (*glyphs()[name].line, *glyphs()[name].solid):
        for (x0, y0), (x1, y1) in itertools.pairwise(outline):
            at = np.linspace(0.0, 1.0, 60)
            columns, rows = 20 + 18 * (x0 + at * (x1 - x0)), 20 + 18 * (y0 + at * (y1 - y0))
            for shift in (0, 1):
                cells[np.rint(rows).astype(int) + shift, np.rint(columns).astype(int)] = True
    return cells


@pytest.mark.parametrize("sight", SIMULATED)
def test_hues_are_told_apart(sight: str) -> None:
    # the darkest, strongest colour of each hue stands for it
    hues: dict[str, list[str]] = defaultdict(list)
    for symbol in every():
        hues[symbol.hue].append(main_colour(symbol))
    shown = {}
    for hue, colours in hues.items():
        usual = max(set(colours), key=lambda colour: (colours.count(colour), colour))
        shown[hue] = lab(np.array(SIMULATED[sight]) @ linear(usual))
    close = {(one, other): round(float(np.linalg.norm(shown[one] - shown[other])), 1)
             for one, other in itertools.combinations(shown, 2)
             if np.linalg.norm(shown[one] - shown[other]) < APART}  # fmt: skip
    assert close == {}


def test_a_colour_has_one_hue() -> None:
    meant = defaultdict(set)
    for symbol in every():
        meant[main_colour(symbol)].add(symbol.hue)
    assert {colour: hues for colour, hues in meant.items() if len(hues) > 1} == {}


def test_drawings_take_their_marks_from_the_table() -> None:
    """No drawing names a marker of its own: a map, a plot and a figure draw glyphs of the table."""
    own = re.compile(r"""marker=["']|MARKERS|SimpleMarker(?!", _head)|semi_circle|"[sov^pDX]",""")
    for path in (ROOM / "report" / "figures" / "map_svg.py", ROOM / "report" / "figures" / "swale.py",
                 ROOM / "lot" / "plot.py", ROOM / "swale" / "plot.py", ROOM / "files" / "styles.py"):  # fmt: skip
        found = [line for line in path.read_text(encoding="utf-8").splitlines() if own.search(line)]
        assert [line for line in found if 'marker="."' not in line] == [], path.name


def test_a_word_in_a_text_chooses_the_symbol() -> None:
    states = [symbols()["fittings"][symbol_of("fittings", {"kind": kind})].state
              for kind in ("4 in cleanout", "4 in wye", "3 in 45 bend")]  # fmt: skip
    assert states == ["cleanout", "fitting", "fitting"]


def test_the_mark_of_a_level_shot_stands_aside_of_whatever_is_there() -> None:
    (shot,) = symbols()["level_shots"]
    for other in every():
        if other.kind == "marker" and other is not shot:
            assert max(map(abs, shot.aside)) >= (shot.width + other.width) / 2.0, other.state
    # in a GIS the drawing's middle is the place, from which a line leads to the mark
    drawn = ElementTree.fromstring(marker_svg(shot))
    left, top, wide, high = (float(part) for part in drawn.get("viewBox", "").split())
    assert (left, top) == (-wide / 2.0, -high / 2.0)
    line, *_, glyph = drawn
    right, below = (float(part) for part in line.get("d", "").removeprefix("M0 0L").split())
    assert glyph.get("transform") == f"translate({right:g} {below:g})"
    assert right / below == pytest.approx(shot.aside[0] / shot.aside[1])
