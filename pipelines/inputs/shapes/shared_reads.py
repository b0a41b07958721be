"""Reads that lots near each other share: a layer is read once for a block of them, and each takes what touches its box.

What a lot gets is what a read of its own would give it. Where that is not sure (shapes that were repaired, split in
parts or cut at the box), it reads for itself.
"""

import contextlib
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, TypeVar

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.grid import Frame

Bounds = tuple[float, float, float, float]
UIntArray = NDArray[np.uint64]
BLOCK = 1.0
"""Times its own box that a block reaches beyond a lot's on each side. [-]"""
AROUND_PARCELS = 4.0
"""The same of parcels, which are looked for near a lot alone. [-]"""
AROUND_LOT = 10.0
"""The same of the lot's own shape, which is small. [-]"""
MOST_FRAMES = 8
"""Of which blocks are kept. [-]"""
MOST_IN_BLOCK = 20_000
"""Shapes of one layer; a block that holds more is not shared. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class LayerBlock:
    """A layer within a box.

    Attributes
    ----------
    bounds : tuple of float
        Of the box, in the file's CRS.
    in_file : (n,) object ndarray
        Shapes as the file holds them.
    made : GeoDataFrame or None
        The same as they are used; None where lots must read for themselves.
    ids : (n,) object ndarray or None
        Of these.
    hashes : (n, 2) uint64 ndarray
        Of each feature's attributes and of its shape.
    tree : STRtree
        Of the shapes as the file holds them.
    """

    bounds: Bounds
    in_file: Any
    made: gpd.GeoDataFrame | None
    ids: Any
    hashes: UIntArray
    tree: shapely.STRtree

    def holds(self, box: Bounds) -> bool:
        """Whether a box lies in the block."""
        west, south, east, north = self.bounds
        return west <= box[0] and south <= box[1] and box[2] <= east and box[3] <= north


@dataclass(frozen=True, slots=True, eq=False)
class ChosenLot:
    """The lot in work: the filter that selects it, its feature's number, and its box in a frame's metres."""

    where: str
    id: str
    bounds: Bounds
    frame: Frame


Read = Callable[[Bounds], tuple[Any, gpd.GeoDataFrame | None, UIntArray]]


@dataclass(slots=True)
class SharedReads:
    """What was found and read so far: layers by file and name, the last block of each, and the lot in work."""

    found: dict[Any, Any] = field(default_factory=dict)
    blocks: dict[Any, LayerBlock] = field(default_factory=dict)
    lot: ChosenLot | None = None
    frames: list[Frame] = field(default_factory=list)

    def once(self, key: Any, find: Callable[[], Any]) -> Any:
        """What no lot changes, found once."""
        if key not in self.found:
            self.found[key] = find()
        return self.found[key]

    def _number(self, frame: Frame) -> int:
        """Of a frame; to compare CRSs takes as long as to find a lot's shapes."""
        for number, known in enumerate(self.frames):
            if known.crs is frame.crs and (known.x_scale, known.y_scale) == (frame.x_scale, frame.y_scale):
                return number
        if frame in self.frames:
            return self.frames.index(frame)
        if len(self.frames) == MOST_FRAMES:
            # where each lot has one of its own no block serves another
            self.frames.clear()
            self.blocks.clear()
        self.frames.append(frame)
        return len(self.frames) - 1

    def shapes(
        self, key: Any, frame: Frame, box: Bounds, read: Read, *, reach: float = BLOCK, only: str | None = None
    ) -> tuple[gpd.GeoDataFrame, UIntArray] | None:
        """Shapes that touch a box, or the `only` one of them of that id, and their hashes, out of the block around it;
        None where the lot must read for itself."""
        number = self._number(frame)
        block = self.blocks.get((key, number))
        if block is None or not block.holds(box):
            wide, high = reach * (box[2] - box[0]), reach * (box[3] - box[1])
            around = (box[0] - wide, box[1] - high, box[2] + wide, box[3] + high)
            in_file, made, hashes = read(around)
            ids = None if made is None else made["id"].to_numpy()
            block = LayerBlock(around, in_file, made, ids, hashes, shapely.STRtree(in_file))
            self.blocks[key, number] = block
        if block.made is None:
            return None
        touching = np.sort(block.tree.query(shapely.box(*box), "intersects"))
        if only is not None:
            touching = touching[block.ids[touching] == only]
        return block.made.take(touching), block.hashes[touching]


_SHARED: ContextVar[SharedReads | None] = ContextVar("shared_reads", default=None)


Known = TypeVar("Known")


def shared_once(key: Any, find: Callable[[], Known]) -> Known:
    """What no lot changes: found once where reads are shared, anew elsewhere."""
    shared = _SHARED.get()
    if shared is None:
        return find()
    known: Known = shared.once(key, find)
    return known


def shared_reads() -> SharedReads | None:
    """What is shared here; None where every lot reads for itself."""
    return _SHARED.get()


@contextlib.contextmanager
def sharing_reads() -> Iterator[None]:
    """Share reads for as long as this lasts."""
    before = _SHARED.set(SharedReads())
    try:
        yield
    finally:
        _SHARED.reset(before)
