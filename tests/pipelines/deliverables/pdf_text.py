"""Text boxes of a PDF's pages, read back from its content streams: where each line of letters stands."""

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

KERNED = 1.2
"""[pt]"""
SMALLEST = 2.7
"""Of letters of tables, sheets and profiles; smaller ones are the map's. [pt]"""


@dataclass(frozen=True)
class TextBox:
    """Letters shown in one go: left, bottom, right, top. [pt]"""

    left: float
    bottom: float
    right: float
    top: float
    letters: int

    def over(self, other: "TextBox") -> float:
        """Area that both cover, but for what kerning moves two letters of a word together. [pt2]"""
        wide = min(self.right, other.right) - max(self.left, other.left) - KERNED
        high = min(self.top, other.top) - max(self.bottom, other.bottom)
        return max(wide, 0.0) * max(high, 0.0)


def text_boxes(page: PageObject, reader: PdfReader) -> list[TextBox]:
    """Boxes of the page's own text; drawings that are embedded are left out."""
    fonts = {name: _widths(font.get_object()) for name, font in (page["/Resources"].get("/Font") or {}).items()}
    stack: list[Any] = []
    found: list[TextBox] = []
    at = text = line = np.eye(3)
    font, size = "", 0.0
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        match operator:
            case b"q":
                stack.append(at)
            case b"Q":
                at = stack.pop()
            case b"cm":
                at = _matrix(operands) @ at
            case b"BT":
                text = line = np.eye(3)
            case b"Tf":
                font, size = operands[0], float(operands[1])
            case b"Tm":
                text = line = _matrix(operands)
            case b"Td" | b"TD":
                text = line = _matrix([1, 0, 0, 1, *operands]) @ line
            case b"Tj" | b"TJ":
                shown = operands[0] if operator == b"TJ" else [operands[0]]
                long, letters = _length(shown, fonts[font], size)
                found.append(_box(text @ at, long, size, letters))
                text = _matrix([1, 0, 0, 1, long, 0]) @ text
    return [box for box in found if box.letters]


def overprinted(page: PageObject, reader: PdfReader) -> list[tuple[TextBox, TextBox]]:
    """Texts that lie on each other on a page, which must hold some."""
    boxes = [each for each in text_boxes(page, reader) if each.top - each.bottom > SMALLEST]
    assert boxes
    return [(one, other) for one, other in combinations(boxes, 2) if one.over(other) > 0.5]


def _matrix(values: Any) -> Any:
    a, b, c, d, e, f = (float(value) for value in values)
    return np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]])


def _box(placed: Any, long: float, size: float, letters: int) -> TextBox:
    # the body of small letters, which is what reads as overprinted
    corners = np.array([[0.0, 0.0, 1.0], [long, 0.45 * size, 1.0]]) @ placed
    (x0, y0, _), (x1, y1, _) = corners.tolist()
    return TextBox(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1), letters)


def _length(shown: Any, widths: Any, size: float) -> tuple[float, int]:
    long, letters = 0.0, 0
    for part in shown:
        if isinstance(part, (int, float)):
            long -= float(part) / 1000.0 * size
            continue
        raw = part.original_bytes if hasattr(part, "original_bytes") else bytes(part)
        codes = [raw[at] * 256 + raw[at + 1] for at in range(0, len(raw) - 1, 2)]
        long += sum(widths(code) for code in codes) / 1000.0 * size
        letters += len(codes)
    return long, letters


def _widths(font: Any) -> Any:
    """Widths of a composite font's letters by code (ISO 32000-1, 9.7.4.3)."""
    (inner,) = font["/DescendantFonts"]
    inner = inner.get_object()
    default, listed = float(inner.get("/DW", 1000)), inner.get("/W", [])
    table: dict[int, float] = {}
    at = 0
    while at < len(listed):
        second = listed[at + 1].get_object() if hasattr(listed[at + 1], "get_object") else listed[at + 1]
        if isinstance(second, list):
            table |= {int(listed[at]) + place: float(value) for place, value in enumerate(second)}
            at += 2
        else:
            table |= dict.fromkeys(range(int(listed[at]), int(second) + 1), float(listed[at + 2]))
            at += 3
    return lambda code: table.get(code, default)
