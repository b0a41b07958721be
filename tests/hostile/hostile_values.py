"""Texts and numbers that a bad day brings."""

from typing import Any

import numpy as np

HOSTILE_TEXTS = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "</title></svg>&amp;\"'>",
    "=1+1",
    "@SUM(A1:A9)",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "\t=1+1",
    "\x1b[31mred\x1b[0m",
    "\x1b]0;title\x07",
    "\x9b31m",
    "a\u202eb\u2066c",
    "\x00nul",
    "bell\x07",
    "line\nbreak\r\nand\u2028more",
    "x" * 10_000,
    "\u0301" * 50,
    '#image("/etc/passwd")',
    '#read("/etc/hostname")',
    "$ x^2 $ *b* _i_ `raw` @ref <lab>",
    "\\u{41} // /* */ ~ --- = Heading",
    "{{ 7 * 7 }} {% raw %}",
    "%s %n {0} {}",
    "'; DROP TABLE parcel; --",
    "\U0001f4a7 \u0645\u0627\u0621 \u6c34",
    "../../../../etc/passwd",
    " ",
    "\ufeff",
    "\uffff",
)
QUANTITIES = (
    "0 m",
    "-1 m",
    "1e9 m",
    "-1e9 m",
    "1e-300 m",
    "1e300 m",
    "nan m",
    "inf ft",
    "0 %",
    "1e9 %",
    "100 %",
    "0 min",
    "1e9 h",
    "0 in/h",
    "1e9 in/h",
    "0 yr",
    "1e9 yr",
    "0 gpm",
    "1e9 gpm",
    "3 ft 6 in",
    "1-1/0 in",
    "1/0 in",
    "9**9**9 m",
    "9" * 5000 + " m",
    "1 mm",
    "30 ft",
    "2 cfs",
    "5 kW",
    "0.1 ft/10 ft",
    "0 ft/0 ft",
)
NUMBERS = (0, -1, 1, 35, 1e9, -1e9, 1e308, 5e-324, float("nan"), float("inf"), float("-inf"), -0.0, 0.5, 10**30)


def any_text(draw: np.random.Generator) -> str:
    return HOSTILE_TEXTS[int(draw.integers(len(HOSTILE_TEXTS)))]


def any_number(draw: np.random.Generator) -> float:
    return NUMBERS[int(draw.integers(len(NUMBERS)))]


def any_value(draw: np.random.Generator) -> Any:
    """Text, quantity, number, truth value, list or table."""
    kind = int(draw.integers(7))
    if kind == 0:
        return any_text(draw)
    if kind <= 2:
        return QUANTITIES[int(draw.integers(len(QUANTITIES)))]
    if kind <= 4:
        return any_number(draw)
    others: list[Any] = [True, False, [], {}, [1, 2, 3], [[0.0, 0.0]], {"low": "1 m"}, {"file": "ground.tif"}, [[]], ""]
    return others[int(draw.integers(len(others)))]
