"""Files that a person named: regular ones are opened, and nothing else."""

import os
import re
import stat
from pathlib import Path

from terrain.errors import LotshedError

MOST_TABLE_BYTES = 8_000_000
"""Of a table or a site file; a lot's own are some kilobytes, and a value of this project. [byte]"""
_ADDRESS = re.compile(r"(https?):/+([^/].*)", re.IGNORECASE | re.DOTALL)
_KINDS = {
    stat.S_IFIFO: "a named pipe", stat.S_IFCHR: "a device", stat.S_IFBLK: "a device", stat.S_IFDIR: "a folder",
    stat.S_IFSOCK: "a socket",
}  # fmt: skip


def address_of(path: Path) -> str | None:
    """The address that a person typed in a file's place; `Path` takes one of its two slashes away."""
    match = _ADDRESS.match(str(path))
    return f"{match[1].lower()}://{match[2]}" if match else None


def refuse_no_file(path: Path, what: str, error: type[LotshedError], *, missing: str = "does not exist") -> None:
    """Raise unless a path leads to a regular file; nothing is opened."""
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        raise error(f"{what} {missing}") from None
    except (OSError, ValueError) as fault:
        raise error(f"{what} cannot be read: {getattr(fault, 'strerror', None) or fault}") from None
    _refuse_kind(mode, what, error)


def read_named_file(
    path: Path,
    what: str,
    error: type[LotshedError],
    *,
    missing: str = "does not exist",
    most_bytes: int = MOST_TABLE_BYTES,
) -> bytes:
    """All bytes of a regular file of a size that makes sense for it."""
    refuse_no_file(path, what, error, missing=missing)
    try:
        with open(path, "rb", opener=_without_waiting) as file:
            held = file.read(most_bytes + 1)
    except OSError as fault:
        raise error(f"{what} cannot be read: {fault.strerror}") from None
    if len(held) > most_bytes:
        raise error(f"{what} is larger than {most_bytes / 1e6:g} MB, the most that is read of such a file; cut it down")
    return held


def refuse_odd_siblings(path: Path, what: str, error: type[LotshedError]) -> None:
    """Raise where a file that GDAL would read along with this one, by its name, is no regular file."""
    stem = path.stem.lower()
    try:
        beside = [each for each in os.scandir(path.parent) if each.name.lower().startswith(stem)]
    except OSError:
        return
    for each in beside:
        try:
            mode = each.stat().st_mode
        except OSError:
            continue
        if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
            _refuse_kind(mode, f"{what}: {each.name} beside it", error)


def _without_waiting(path: str, flags: int) -> int:
    """A pipe put in a file's place meanwhile must not hold us up."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _refuse_kind(mode: int, what: str, error: type[LotshedError]) -> None:
    if not stat.S_ISREG(mode):
        kind = _KINDS.get(stat.S_IFMT(mode), "no regular file")
        raise error(f"{what} is {kind}, and only regular files are read; give the file itself")
