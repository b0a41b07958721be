"""What was read, noted by its bytes, so that a later run can tell whether the same reads still give the same."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from hashlib import blake2b


@dataclass(frozen=True, slots=True)
class PlaceRead:
    """One read of a place.

    Attributes
    ----------
    key : str
        Table of the site file that names what was read; elevation for the raster.
    bounds : tuple of float
        West, south, east, north of the place; none where a filter chose what was read. [m]
    largest_hole : int
        Of a raster, most cells of a hole that was closed. [-]
    digest : str
        Of the bytes that came.
    """

    key: str
    bounds: tuple[float, ...]
    largest_hole: int
    digest: str


_LOG: ContextVar[dict[PlaceRead, None] | None] = ContextVar("read_log", default=None)


@contextmanager
def noting_reads() -> Iterator[dict[PlaceRead, None]]:
    """Note all reads within this, each once, in their order."""
    log: dict[PlaceRead, None] = {}
    token = _LOG.set(log)
    try:
        yield log
    finally:
        _LOG.reset(token)


def notes_reads() -> bool:
    """Whether reads are noted here."""
    return _LOG.get() is not None


def note_read(key: str, bounds: tuple[float, ...], parts: tuple[bytes, ...], *, largest_hole: int = 0) -> None:
    """Note a read, where reads are noted."""
    log = _LOG.get()
    if log is None:
        return
    digest = blake2b(digest_size=12)
    for part in parts:
        digest.update(part)
    log[PlaceRead(key, tuple(float(each) for each in bounds), largest_hole, digest.hexdigest())] = None
