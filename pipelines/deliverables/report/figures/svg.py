"""A drawing as SVG, built element by element so that no text can become markup."""

from collections.abc import Iterable, Sequence
from math import ceil, floor, log10
from xml.etree import ElementTree

from pipelines.deliverables.report.shown_text import shown

Points = Iterable[tuple[float, float]]
FONT = "DejaVu Sans, Verdana, Arial, sans-serif"
INK, PALE, GRID = "#1a1a1a", "#555555", "#d9d9d9"


class Drawing:
    """An SVG drawing of a given size. [px]"""

    def __init__(self, width: float, height: float) -> None:
        self.root = ElementTree.Element(
            "svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {_n(width)} {_n(height)}",
        )
        self.root.set("font-family", FONT)
        self._open = [self.root]

    def add(self, tag: str, **attributes: object) -> ElementTree.Element:
        """Add an element; underscores in names become hyphens, a trailing one is dropped, None is left out."""
        element = ElementTree.SubElement(self._open[-1], tag)
        for name, value in attributes.items():
            if value is not None:
                text = _n(value) if isinstance(value, float) else str(value)
                element.set(name.rstrip("_").replace("_", "-"), text)
        return element

    def open(self, tag: str = "g", **attributes: object) -> ElementTree.Element:
        """Add an element and put what follows inside it."""
        element = self.add(tag, **attributes)
        self._open.append(element)
        return element

    def close(self) -> None:
        """End the innermost open element."""
        self._open.pop()

    def text(self, x: float, y: float, words: str, *, size: float = 12.0, anchor: str = "start", fill: str = INK,
             weight: str | None = None, halo: bool = False, turn: float | None = None,
             most: int = 80) -> None:  # fmt: skip
        """Add words, cut where they are longer than so many characters; with a halo they read over a picture."""
        element = self.add(
            "text", x=x, y=y, font_size=size, text_anchor=anchor, fill=fill, font_weight=weight,
            stroke="#ffffff" if halo else None, stroke_width=3.0 if halo else None,
            stroke_linejoin="round" if halo else None, paint_order="stroke" if halo else None,
            transform=None if turn is None else f"rotate({_n(turn)} {_n(x)} {_n(y)})",
        )
        element.text = shown(words, most=most)

    def line(self, points: Points, *, colour: str = INK, width: float = 1.5, dash: str | None = None) -> None:
        """Add a line through points."""
        self.add("path", d=path_data(points), fill="none", stroke=colour, stroke_width=width, stroke_dasharray=dash,
                 stroke_linejoin="round")  # fmt: skip

    def area(self, points: Points, *, colour: str, opacity: float = 1.0) -> None:
        """Add a filled area."""
        self.add("path", d=path_data(points) + "Z", fill=colour, fill_opacity=opacity, stroke="none")

    def markup(self) -> str:
        """The drawing as text."""
        return ElementTree.tostring(self.root, encoding="unicode")


def path_data(points: Points) -> str:
    """Path through points, as SVG writes it."""
    parts = [f"{_n(x)} {_n(y)}" for x, y in points]
    return "M" + "L".join(parts) if parts else ""


def round_steps(low: float, high: float, most: int) -> list[float]:
    """Round values between two, at steps of 1, 2 or 5 times a power of ten. [unit]"""
    step = round_step(max(high - low, 1e-9) / max(most, 1))
    first = ceil(low / step - 1e-9)
    return [n * step for n in range(first, floor(high / step + 1e-9) + 1)]


def round_step(least: float) -> float:
    """Smallest of 1, 2, 5 times a power of ten that is at least so much. [unit]"""
    power = 10.0 ** floor(log10(least))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= least * (1.0 - 1e-9))


class Plot(Drawing):
    """A drawing with axes: values across and up, in the units that people read."""

    def __init__(
        self, width: float, height: float, across: tuple[float, float], up: tuple[float, float], *,
        left: float = 62.0, right: float = 16.0, top: float = 14.0, bottom: float = 42.0,
    ) -> None:  # fmt: skip
        super().__init__(width, height)
        self.left, self.right, self.top, self.bottom = left, width - right, top, height - bottom
        self.across, self.up = _apart(across), _apart(up)

    def x(self, value: float) -> float:
        """Place of a value across. [px]"""
        low, high = self.across
        return self.left + (value - low) / (high - low) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Place of a value up. [px]"""
        low, high = self.up
        return self.bottom - (value - low) / (high - low) * (self.bottom - self.top)

    def at(self, values: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        """Places of pairs of values. [px]"""
        return [(self.x(a), self.y(b)) for a, b in values]

    def axes(self, across_name: str, up_name: str, *, across_most: int = 8, up_most: int = 6) -> None:
        """Draw grid, numbers and names of both axes; across no numbers where that axis has no name."""
        for value, text in _labelled(round_steps(*self.across, across_most)):
            self.line([(self.x(value), self.top), (self.x(value), self.bottom)], colour=GRID, width=1.0)
            if across_name:
                self.text(self.x(value), self.bottom + 15.0, text, size=11.0, anchor="middle", fill=PALE)
        for value, text in _labelled(round_steps(*self.up, up_most)):
            self.line([(self.left, self.y(value)), (self.right, self.y(value))], colour=GRID, width=1.0)
            self.text(self.left - 6.0, self.y(value) + 4.0, text, size=11.0, anchor="end", fill=PALE)
        self.line([(self.left, self.top), (self.left, self.bottom), (self.right, self.bottom)], colour=PALE, width=1.0)
        self.text((self.left + self.right) / 2.0, self.bottom + 33.0, across_name, anchor="middle")
        middle = (self.top + self.bottom) / 2.0
        self.text(15.0, middle, up_name, anchor="middle", turn=-90.0)


def _labelled(values: Sequence[float]) -> Iterable[tuple[float, str]]:
    step = values[1] - values[0] if len(values) > 1 else 1.0
    decimals = max(0, -floor(log10(step) + 1e-9))
    return [(value, f"{value + 0.0:,.{decimals}f}") for value in values]


def _apart(ends: tuple[float, float]) -> tuple[float, float]:
    low, high = ends
    return (low, high) if high - low > 1e-9 else (low - 0.5, low + 0.5)


def _n(value: object) -> str:
    return f"{round(float(value), 2) + 0.0:g}" if abs(float(value)) < 1e5 else f"{float(value):.2f}"  # type: ignore[arg-type]
