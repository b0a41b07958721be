"""Where names are written on a map, so that they do not cover each other."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import cast

import shapely
from shapely import LineString

from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.report.figures.map_picture import MapFeature, MapLayer

FIRST = ("sumps", "catch_basins", "outfalls", "outlets", "crossings", "suspected_culverts", "french_drains",
         "channel_drains", "low_spots", "standing_water")  # fmt: skip
"""Layers whose names come first where there is no room for all."""
CHARACTER, LINE = 6.9, 14.0
"""Width of a character and height of a line. [px]"""
MARK = 9.0
"""Half of what a marker takes. [px]"""

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Label:
    """A name on the map.

    Attributes
    ----------
    layer, text : str
        Whose name, and the name.
    x, y : float
        What it belongs to. [px]
    right, down : float
        From there to the text's own point. [px]
    anchor : str
        start, middle or end.
    fits : bool
        It covers nothing at the first view.
    """

    layer: str
    text: str
    x: float
    y: float
    right: float
    down: float
    anchor: str
    fits: bool


def place_labels(
    layers: Sequence[MapLayer], to_pixels: "ToPixels", *, most: int = 22
) -> tuple[Label, ...]:
    """Names of the features that have one, the most important first."""
    named = [(layer, feature) for layer in layers for feature in layer.features if feature.label]
    rank = {name: position for position, name in enumerate(FIRST)}
    named.sort(key=lambda each: rank.get(each[0].name, len(rank)))
    taken: list[Box] = [
        (x - MARK, y - MARK, x + MARK, y + MARK)
        for layer in layers
        for feature in layer.features
        if symbols()[layer.name][feature.symbol].kind == "marker" and feature.label
        for x, y in [to_pixels(*feature.shape.bounds[:2])]
    ]
    placed = []
    for layer, feature in named:
        text = feature.label if len(feature.label) <= most else feature.label[: most - 1] + "…"
        label = _free(layer, feature, text, to_pixels, taken)
        placed.append(label)
        if label.fits:
            taken.append(box_of(label))
    return tuple(placed)


class ToPixels:
    """From the metric frame to a drawing, north up. [m] to [px]"""

    def __init__(self, west: float, north: float, scale: float) -> None:
        self.west, self.north, self.scale = west, north, scale

    def __call__(self, x: float, y: float) -> tuple[float, float]:
        return (x - self.west) * self.scale, (self.north - y) * self.scale


def box_of(label: Label) -> Box:
    """Left, top, right, bottom of a name. [px]"""
    wide = CHARACTER * len(label.text)
    left = label.x + label.right - {"start": 0.0, "middle": wide / 2.0, "end": wide}[label.anchor]
    return left, label.y + label.down - LINE + 3.0, left + wide, label.y + label.down + 3.0


def _free(layer: MapLayer, feature: MapFeature, text: str, to_pixels: ToPixels, taken: Sequence[Box]) -> Label:
    first: Label | None = None
    for label in _candidates(layer, feature, text, to_pixels):
        first = first or label
        left, top, right, bottom = box_of(label)
        if all(left > r or right < l or top > b or bottom < t for l, t, r, b in taken):  # noqa: E741
            return label
    assert first is not None
    return Label(layer.name, text, first.x, first.y, first.right, first.down, first.anchor, False)


def _candidates(layer: MapLayer, feature: MapFeature, text: str, to_pixels: ToPixels) -> Iterator[Label]:
    shape = feature.shape
    if symbols()[layer.name][feature.symbol].kind == "marker":
        x, y = to_pixels(*shape.bounds[:2])
        for right, down, anchor in (
            (12.0, 4.0, "start"), (-12.0, 4.0, "end"), (0.0, -12.0, "middle"), (0.0, 22.0, "middle"),
        ):  # fmt: skip
            yield Label(layer.name, text, x, y, right, down, anchor, True)
    elif shape.geom_type.endswith("LineString"):
        for share in (0.5, 0.3, 0.7, 0.15, 0.85):
            point = shapely.line_interpolate_point(cast(LineString, shape), share, normalized=True)
            x, y = to_pixels(point.x, point.y)
            for right, down, anchor in ((8.0, 4.0, "start"), (-8.0, 4.0, "end"), (0.0, -7.0, "middle")):
                yield Label(layer.name, text, x, y, right, down, anchor, True)
    else:
        point = shapely.point_on_surface(shape)
        x, y = to_pixels(point.x, point.y)
        for down in (4.0, 20.0, -14.0):
            yield Label(layer.name, text, x, y, 0.0, down, "middle", True)
