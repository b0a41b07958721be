"""Text that people wrote, made fit to show: nothing in it turns, hides or stretches what stands around it."""

import unicodedata

MOST = 1_000
"""Longer text is cut, with its length said."""
MOST_QUOTED = 80
"""The same of a value that a message quotes."""
_TURNS = set("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def shown(text: str, *, most: int = MOST) -> str:
    """Text without control characters and marks that turn the reading direction, cut where it is too long to read."""
    if len(text) <= most and text.isascii() and text.isprintable():
        return text
    cut = f"{text[:most]}… ({len(text):,} characters)" if len(text) > most else text
    return "".join(map(_visible, cut))


def quoted(value: object) -> str:
    """A value as a message quotes it: text between quotation marks, at most 80 characters of it, with its length."""
    if isinstance(value, str):
        text = value.strip()
        if len(text) <= MOST_QUOTED:
            return f'"{shown(text)}"'
        return f'"{shown(text[:MOST_QUOTED])}…" ({len(text):,} characters)'
    if isinstance(value, int) and abs(value) >= 10**MOST_QUOTED:
        # Python does not write out whole numbers of thousands of digits
        return f"a whole number of about {int((value.bit_length() - 1) * 0.30103) + 1:,} digits"
    try:
        text = repr(value)
    except (ValueError, RecursionError):
        return f"a {type(value).__name__} too large to quote"
    return shown(text, most=MOST_QUOTED)


def _visible(character: str) -> str:
    if character in "\n\t\r\u2028\u2029":
        return " "
    if character in _TURNS or unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff":
        return f"[U+{ord(character):04X}]"
    return character
