"""Names and numbers on a map's first view, and what they cover."""

import shapely
from shapely import box

from pipelines.deliverables.files.symbols import symbols
from pipelines.deliverables.report.figures.map_labels import (
    PX,
    ToPixels,
    map_labels,
    place_labels,
    roofs_seen,
    symbol_boxes,
)
from pipelines.deliverables.report.figures.map_picture import MapPicture
from pipelines.deliverables.report.figures.map_svg import WIDTH


def names_lying_on(picture: MapPicture) -> tuple[int, list[tuple[str, str]]]:
    """How many are written, and which of them lie on a point symbol, a roof or each other: told by shapely."""
    west, south, east, north = picture.view
    to_pixels = ToPixels(west, north, WIDTH / (east - west))
    seen = [layer for layer in picture.layers if layer.on]
    placed = place_labels(map_labels(seen, to_pixels), symbol_boxes(seen, to_pixels), roofs_seen(seen, to_pixels),
                          WIDTH, WIDTH * (north - south) / (east - west))  # fmt: skip
    names = [(label.text, box(left, top, left + label.size[0], top + label.size[1])) for label, left, top in placed]
    there = [("a name", shape) for _, shape in names]
    for layer in seen:
        for feature in layer.features:
            symbol = symbols()[layer.name][feature.symbol]
            shape = shapely.transform(
                feature.shape, lambda xy: (xy - (west, north)) * (to_pixels.scale, -to_pixels.scale)
            )
            if layer.name == "roofs":
                there.append(("a roof", shape))
            elif symbol.kind == "marker":
                right, below = (PX * part for part in symbol.aside)
                half = symbol.width * PX / 2.0
                there += [(layer.name, box(x + right - half, y + below - half, x + right + half, y + below + half))
                          for x, y in shapely.get_coordinates(shape)]  # fmt: skip
    return len(names), [(text, what) for text, name in names for what, shape in there
                        if name is not shape and shapely.intersection(name, shape).area > 1.0]  # fmt: skip
