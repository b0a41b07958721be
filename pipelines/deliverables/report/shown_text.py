"""Text that people wrote, made fit to show: nothing in it turns, hides or stretches what stands around it."""

import re
import unicodedata

MOST = 600
"""Longer text is cut, with its length said."""
_UNIT = re.compile(r"((?:^|\d )(?:ft|yd|m))([23])\b")
_RAISED = str.maketrans("23", "²³")
_TURNS = set("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def shown(text: str, *, most: int = MOST) -> str:
    """Text without control characters and marks that turn the reading direction, cut where it is too long to read."""
    text = _UNIT.sub(lambda found: found[1] + found[2].translate(_RAISED), text)
    if text.isascii() and text.isprintable() and len(text) <= most:
        return text
    cut = f"{text[:most]}… ({len(text):,} characters)" if len(text) > most else text
    return "".join(map(_visible, cut))


def breakable(text: str, *, most: int = 24) -> str:
    """Text whose long words may be broken by a typesetter."""
    words = text.split(" ")
    return " ".join(
        "\u200b".join(word[at : at + most] for at in range(0, len(word), most)) if len(word) > most else word
        for word in words
    )


def _visible(character: str) -> str:
    if character in "\n\t\r\u2028\u2029":
        return " "
    if character in _TURNS or unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff":
        return f"[U+{ord(character):04X}]"
    return character
