"""Where names and numbers are written on a map: beside what they belong to, never over a symbol or each other,
and over a roof only a name of what is proposed that has no other room.

A page places them anew at every zoom, by the same rule (map.js).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.report.figures.map_picture import MapLayer

FIRST = ("sumps", "catch_basins", "outfalls", "level_shots", "outlets", "crossings", "suspected_culverts", "pipe_runs",
         "french_drains", "channel_drains", "low_spots", "standing_water", "culverts", "swales")  # fmt: skip
"""Layers whose names come first where there is no room for all; the rest come after their numbers."""
CHARACTER, LINE = 6.9, 14.0
"""Width of a character and height of a line. [px]"""
SMALL = 0.82
"""Size of a number's letters of those of a name. [-]"""
PX = 96.0 / 25.4
CLEAR = 3.0
"""Between a name and its symbol. [px]"""
SHARES = (0.5, 0.35, 0.65, 0.2, 0.8)
"""Places along a line where its name may stand. [-]"""
NEAR = 150.0
"""Within which a name of what was given is not written again. [px]"""
STEPS = (0.0, 12.0, 26.0, 42.0)
"""How much farther off a name may stand. [px]"""

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Label:
    """A name or number on the map.

    Attributes
    ----------
    layer, text : str
        Whose name, and the name.
    at : tuple of (float, float)
        Places that it may stand beside, the best first. [px]
    reach : float
        Half of what the symbol there takes. [px]
    long : float
        Length of the line that it belongs to, which it may not outdo; infinite elsewhere. [px]
    inside : bool
        It may stand over its place.
    small : bool
        A number, or a name of what was given, rather than of what is proposed.
    once : bool
        Not written again near by.
    """

    layer: str
    text: str
    at: tuple[tuple[float, float], ...]
    reach: float
    long: float
    inside: bool
    small: bool
    once: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Width and height. [px]"""
        size = SMALL if self.small else 1.0
        return CHARACTER * size * len(self.text), LINE * size


class ToPixels:
    """From the metric frame to a drawing, north up. [m] to [px]"""

    def __init__(self, west: float, north: float, scale: float) -> None:
        self.west, self.north, self.scale = west, north, scale

    def __call__(self, x: float, y: float) -> tuple[float, float]:
        return (x - self.west) * self.scale, (self.north - y) * self.scale


def map_labels(layers: Sequence[MapLayer], to_pixels: ToPixels, *, most: int = 26) -> tuple[Label, ...]:
    """Names and numbers of the features, the most important first."""
    rank = {name: position for position, name in enumerate(FIRST)}
    names, numbers = [], []
    for layer in sorted(layers, key=lambda each: rank.get(each.name, len(rank))):
        for feature in layer.features:
            symbol = symbols()[layer.name][feature.symbol]
            reach = symbol.width * PX / 2.0 + CLEAR if symbol.kind == "marker" else CLEAR + 2.0
            if feature.label:
                text = feature.label if len(feature.label) <= most else feature.label[: most - 1] + "…"
                names.append(_label(layer.name, text, feature.shape, reach, to_pixels, small=False))
            for note in feature.notes:
                numbers.append(_label(layer.name, note.text, note.shape, reach + CLEAR, to_pixels, small=True))
    first = [each for each in names if each.layer in rank]
    rest = (replace(each, small=True, once=True) for each in names if each.layer not in rank)
    return (*first, *numbers, *rest)


def symbol_boxes(layers: Sequence[MapLayer], to_pixels: ToPixels) -> list[Box]:
    """What the point symbols take. [px]"""
    boxes = []
    for layer in layers:
        for feature in layer.features:
            symbol = symbols()[layer.name][feature.symbol]
            if symbol.kind != "marker":
                continue
            half, (right, below) = symbol.width * PX / 2.0, (PX * part for part in symbol.aside)
            for x, y in shapely.get_coordinates(feature.shape):
                left, top = to_pixels(x + right / to_pixels.scale, y - below / to_pixels.scale)
                boxes.append((left - half, top - half, left + half, top + half))
    return boxes


def roofs_seen(layers: Sequence[MapLayer], to_pixels: ToPixels) -> BaseGeometry:
    """Ground under roofs. [px]"""
    shapes = [feature.shape for layer in layers if layer.name == "roofs" for feature in layer.features]
    return shapely.transform(shapely.union_all(shapes), lambda xy: np.array([to_pixels(x, y) for x, y in xy]))


def place_labels(
    labels: Sequence[Label], taken: Sequence[Box], roofs: BaseGeometry, width: float, height: float
) -> Iterator[tuple[Label, float, float]]:
    """Left and top of each label that finds room on a sheet, in order: off the roofs where it can. [px]"""
    shapely.prepare(roofs)
    used = list(taken)
    written: list[tuple[str, float, float]] = []
    for label in labels:
        wide, high = label.size
        if label.long < 0.6 * wide:
            continue
        again = [(x, y) for text, x, y in written if label.once and text == label.text]
        room = [
            (left, top, left + wide, top + high) for left, top in _candidates(label)
            if 0.0 <= left <= width - wide and 0.0 <= top <= height - high
            and all(math.hypot(left - x, top - y) >= NEAR for x, y in again)
            and all(left > r or left + wide < l or top > b or top + high < t for l, t, r, b in used)  # noqa: E741
        ]  # fmt: skip
        on_a_roof = None if label.small or not room else room[0]
        found = next((each for each in room if not roofs.intersects(shapely.box(*each))), on_a_roof)
        if found is not None:
            used.append(found)
            written.append((label.text, *found[:2]))
            yield label, *found[:2]


def _candidates(label: Label) -> Iterator[tuple[float, float]]:
    wide, high = label.size
    if label.inside:
        for x, y in label.at:
            yield x - wide / 2.0, y - high / 2.0
    for step in STEPS:
        off = label.reach + step
        for x, y in label.at:
            yield from (
                (x + off, y - high / 2.0), (x - off - wide, y - high / 2.0), (x - wide / 2.0, y - off - high),
                (x - wide / 2.0, y + off), (x + 0.7 * off, y - 0.7 * off - high), (x + 0.7 * off, y + 0.7 * off),
                (x - 0.7 * off - wide, y - 0.7 * off - high), (x - 0.7 * off - wide, y + 0.7 * off),
            )  # fmt: skip


def _label(
    layer: str, text: str, shape: BaseGeometry, reach: float, to_pixels: ToPixels, *, small: bool
) -> Label:
    if shape.geom_type == "MultiLineString":
        shape = max(shapely.get_parts(shape), key=shapely.length)
    if shape.geom_type == "LineString":
        line = cast(LineString, shape)
        points = [shapely.line_interpolate_point(line, share, normalized=True) for share in SHARES]
        at = tuple(to_pixels(point.x, point.y) for point in points)
        return Label(layer, text, at, reach, float(line.length) * to_pixels.scale if small else float("inf"), False,
                     small)  # fmt: skip
    point = shape if shape.geom_type == "Point" else shapely.point_on_surface(shape)
    x, y = shapely.get_coordinates(point)[0]
    return Label(layer, text, (to_pixels(x, y),), reach, float("inf"), shape.area > 0.0, small)
