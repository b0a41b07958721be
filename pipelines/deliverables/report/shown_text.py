"""Text of the report as it is shown: fit to show, with raised digits in units, and breakable where it is long."""

import re

from terrain.shown_text import MOST
from terrain.shown_text import shown as fit_to_show

__all__ = ["MOST", "breakable", "shown"]

_UNIT = re.compile(r"((?:^|\d )(?:ft|yd|m))([23])\b")
_RAISED = str.maketrans("23", "²³")


def shown(text: str, *, most: int = MOST) -> str:
    """Text fit to show, `ft2` as `ft²`."""
    return fit_to_show(_UNIT.sub(lambda found: found[1] + found[2].translate(_RAISED), text), most=most)


def breakable(text: str, *, most: int = 24) -> str:
    """Text whose long words may be broken by a typesetter."""
    words = text.split(" ")
    return " ".join(
        "\u200b".join(word[at : at + most] for at in range(0, len(word), most)) if len(word) > most else word
        for word in words
    )
