"""Text and JSON as they are written to a file."""

import json
import math
import re
from pathlib import Path
from typing import Any

from pipelines.deliverables.words.say import say
from terrain.reason import Reason

_OBEYED = re.compile("[\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")


def write_text(path: Path, text: str) -> None:
    """Write a text file with the line breaks it holds."""
    # a file name that is no valid text shows as escapes instead of ending the run
    path.write_text(text, encoding="utf-8", errors="backslashreplace", newline="")


def summary_text(content: dict[str, Any]) -> str:
    """A summary as JSON text."""
    return json_text(plain_values(content), indent=2)


def json_text(content: Any, *, indent: int | None = None) -> str:
    """JSON in which what a terminal or an editor would obey stands as an escape, which reads as the same text."""
    text = json.dumps(content, indent=indent, ensure_ascii=False, allow_nan=False)
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", text) + "\n"


def plain_values(value: Any) -> Any:
    """Reasons in words, tuples as lists, what is not finite as None."""
    if isinstance(value, Reason):
        return say(value, "si")
    if isinstance(value, dict):
        return {str(key): plain_values(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain_values(part) for part in value]
    if value is None or isinstance(value, str | bool | int):
        return value
    # numpy's numbers and truth values speak for themselves once unwrapped
    plain = value.item() if hasattr(value, "item") else value
    if isinstance(plain, float):
        return plain + 0.0 if math.isfinite(plain) else None
    return plain
