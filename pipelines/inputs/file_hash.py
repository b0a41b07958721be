"""The hash by which a file is known again."""

import hashlib
from pathlib import Path

from terrain.reading.named_file import address_of


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
