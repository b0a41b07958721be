"""Point symbols: their outlines from one table, for the map, the styles of layers and the plots."""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

STEP = 10.0
"""Between the points of an arc. [degrees]"""

Outline = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Glyph:
    """A point symbol about its middle; x to the right, y down, its half size 1.

    Attributes
    ----------
    look : str
        What it is drawn after.
    face, line, solid : tuple of outlines
        Filled with the symbol's colour, drawn with its edge colour, filled with its edge colour.
    """

    look: str
    face: tuple[Outline, ...]
    line: tuple[Outline, ...]
    solid: tuple[Outline, ...]


@cache
def glyphs() -> dict[str, Glyph]:
    """Every point symbol by its name."""
    text = resources.files("pipelines.deliverables.files").joinpath("glyphs.toml").read_text(encoding="utf-8")
    return {
        name: Glyph(each["look"], *(tuple(map(_outline, each.get(part, ()))) for part in ("face", "line", "solid")))
        for name, each in tomllib.loads(text).items()
    }


def glyph_data(outlines: tuple[Outline, ...], reach: float, *, closed: bool) -> str:
    """Outlines as the path data of SVG, so many units from the middle."""
    end = "Z" if closed else ""
    return "".join(
        "M" + "L".join(f"{reach * x:.2f} {reach * y:.2f}" for x, y in outline) + end for outline in outlines
    )


def plot_marker(ax: Any, x: Any, y: Any, name: str, *, size: float, colour: str, edge: str, **options: Any) -> None:
    """Draw a point symbol on matplotlib's axes; the size in points."""
    from matplotlib.path import Path

    # a legend shows one part: the lines tell the shape
    glyph, label = glyphs()[name], options.pop("label", None)
    for outlines, face, line in ((glyph.face, colour, "none"), (glyph.line, "none", edge), (glyph.solid, edge, "none")):
        if not outlines:
            continue
        # a marker is scaled to its own reach: corners that nothing is drawn from keep every part to one scale
        points = [(-1.0, -1.0), (1.0, 1.0), *((px, -py) for outline in outlines for px, py in outline)]
        codes = [Path.MOVETO, Path.MOVETO]
        for outline in outlines:
            codes += [Path.MOVETO, *[Path.LINETO] * (len(outline) - 1)]
        ax.scatter(x, y, s=size**2, marker=Path(points, codes), facecolors=face, edgecolors=line, linewidths=0.9,
                   label=label if outlines is glyph.line else None, **options)  # fmt: skip


def _outline(part: Any) -> Outline:
    if isinstance(part, list):
        return tuple((float(x), float(y)) for x, y in part)
    (x, y), radius = part["at"], part["radius"]
    first, last = float(part.get("from", 0.0)), float(part.get("to", 360.0))
    count = math.ceil((last - first) / STEP)
    turns = (math.radians(first + (last - first) * at / count) for at in range(count + 1))
    return tuple((x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns)
