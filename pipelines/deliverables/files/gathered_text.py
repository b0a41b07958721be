"""What was gathered beside ground and parcel: in words for a terminal, and as tables of the site file."""

import json
import re
from collections.abc import Sequence
from pathlib import Path

from pipelines.deliverables.words.say import say
from pipelines.inputs.gathering import Gathered, Taken
from pipelines.inputs.input_files import path_from
from terrain.reason import reason
from terrain.unit_table import Units


def gathered_lines(gathered: Gathered, units: Units) -> list[tuple[str, str]]:
    """What was taken and what not, as pairs of what and value."""
    lines = []
    for each in gathered.taken:
        named = ", ".join(value.name if isinstance(value, Path) else value for _, value in each.keys)
        told = reason("gathered_taken", named=named, near=each.near, on_lot=each.on_lot)
        lines.append((each.table.replace("_", " "), say(told, units)))
    for left in gathered.left_out:
        lines.append(("not taken", say(reason("gathered_left_out", layer=left.layer, why=left.why), units)))
    return lines


def with_gathered(
    text: str, gathered: Gathered, folder: Path, *, name: str | None = None, street: Sequence[str] = ()
) -> str:
    """A site file with a table for each thing that was found, in place of the comment that asks for it."""
    if name:
        text = re.sub(r"^name = .*$", lambda _: f"name = {_quoted(name)}", text, count=1, flags=re.MULTILINE)
    if street:
        sides = _quoted(street[0]) if len(street) == 1 else f"[{', '.join(map(_quoted, street))}]"
        text = re.sub(
            r"^(\[parcel\]\n(?:.+\n)*?)(?:# street_side = .*\n|(?=\n))",
            lambda found: f"{found[1]}street_side = {sides}\n", text, count=1, flags=re.MULTILINE,
        )
    for each in gathered.taken:
        table = _table(each, folder)
        block = re.compile(rf"^(?:# )?\[{each.table}\](?:.*\n)(?:.+\n)*", re.MULTILINE)
        there = block.search(text)
        if there:
            text = text[: there.start()] + table + text[there.end() :]
        else:
            text = f"{text.rstrip()}\n\n{table}"
    return text


def _table(each: Taken, folder: Path) -> str:
    lines = "".join(
        f"{key} = {_quoted(path_from(folder, value) if isinstance(value, Path) else value)}\n"
        for key, value in each.keys
    )
    return f"[{each.table}]\n{lines}"


def _quoted(text: str) -> str:
    # TOML's basic strings are JSON's, but for the one control character that JSON leaves bare
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
