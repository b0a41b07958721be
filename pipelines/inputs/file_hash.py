"""The hash by which a file is known again, and the state in which it lies there."""

import contextlib
import hashlib
from pathlib import Path

from terrain.reading.named_file import address_of

FileState = tuple[tuple[str, int, int, int], ...]
"""Name, number, size and time of the last change of a file and of those beside it that are named like it."""


def state_of(path: Path) -> FileState | None:
    """What changes when someone writes to a file or to what belongs to it; None where it may point elsewhere."""
    with contextlib.suppress(OSError):
        if address_of(path) is not None or not path.is_file():
            return None
        with path.open("rb") as file:
            if file.read(64).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
                return None
        beside = sorted(each for each in path.parent.iterdir() if each.name.startswith(path.stem))
        told = [(each.name, each.stat()) for each in beside]
        return tuple((name, state.st_ino, state.st_size, state.st_mtime_ns) for name, state in told)
    return None


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes; of a folder, of the names and hashes of its files in order; of an address, words."""
    if address_of(path) is not None:
        return "read in parts"
    digest = hashlib.sha256()
    if path.is_dir():
        for each in sorted(each for each in path.rglob("*") if each.is_file()):
            digest.update(f"{each.relative_to(path).as_posix()} {sha256_of(each)}\n".encode())
        return digest.hexdigest()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()
