"""The ground as a picture: shaded, contoured, and as heights that a page can read under the pointer."""

import base64
import struct
import zlib
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
from contourpy import contour_generator
from scipy.ndimage import gaussian_filter

from terrain.arrays import FloatArray, IntArray
from terrain.grid import Grid
from terrain.reading.surface import snapped_cells
from terrain.unit_table import Units, si_factor

MOST_CELLS = 250_000
"""More are thinned out, so that a report stays small."""
MOST_BYTES = 720_000
"""Of a picture under the map: under a million as the text that a page carries."""
UNKNOWN = 65535
SMOOTHING = 1.0
"""Standard deviation of what contours are smoothed by, since lidar's noise would curl them. [m]"""
WANTED_CONTOURS = 14
STEPS = {"us": (0.25, 0.5, 1.0, 2.0, 5.0, 10.0), "si": (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0)}
DARKEST, LIGHTEST = (205, 202, 195), (253, 252, 249)

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class GroundPicture:
    """A piece of ground, ready to be shown.

    Attributes
    ----------
    grid : Grid
        Its cells, thinned where there are too many.
    elevation : (rows, cols) float ndarray
        NaN where unknown. [m]
    thinned : int
        Every so many-th cell of the run's grid was taken. [-]
    first_row, first_column : int
        Of the run's grid. [-]
    """

    grid: Grid
    elevation: FloatArray
    thinned: int
    first_row: int
    first_column: int


def ground_picture(elevation: FloatArray, grid: Grid, bounds: Bounds) -> GroundPicture:
    """Cut the ground to a rectangle."""
    rows, columns = snapped_cells(grid, bounds)
    cells = (rows[1] - rows[0]) * (columns[1] - columns[0])
    thinned = max(1, int(np.ceil(np.sqrt(cells / MOST_CELLS))))
    cut = elevation[rows[0] : rows[1] : thinned, columns[0] : columns[1] : thinned]
    # a thinned cell is as wide as those it stands for, its height is that of their north-west one
    part = Grid(
        (cut.shape[0], cut.shape[1]), grid.left + columns[0] * grid.cell_width, grid.top - rows[0] * grid.cell_height,
        grid.cell_width * thinned, grid.cell_height * thinned, grid.frame,
    )  # fmt: skip
    return GroundPicture(part, cut, thinned, rows[0], columns[0])


def shaded_png(picture: GroundPicture) -> bytes:
    """The ground lit from the north-west, as an image."""
    grid = picture.grid
    known = np.isfinite(picture.elevation)
    if not known.any():
        return _png(np.zeros(grid.shape, dtype=np.uint8))
    filled = np.where(known, picture.elevation, np.nanmean(picture.elevation))
    if min(grid.shape) < 2:
        light = np.ones(grid.shape)
    else:
        down, across = np.gradient(gaussian_filter(filled, 0.7), grid.cell_height, grid.cell_width)
        # flat lots show nothing at their true slope: the relief is raised until a fall of the steep tenth is plain
        steep = max(float(np.percentile(np.hypot(down, across)[known], 90)), 1e-6)
        raised = min(1.0 / steep, 12.0)
        east, north = -across * raised, down * raised
        light = (1.0 - east * np.sqrt(0.5) + north * np.sqrt(0.5)) / np.sqrt(2.0 * (1.0 + east**2 + north**2))
    shade = np.clip((light - 0.15) / 0.8, 0.0, 1.0)
    return _png(np.where(known, 1 + np.round(shade * 62), 0).astype(np.uint8))


def photo_jpeg(pixels: np.ndarray) -> bytes:
    """A picture as small as a report may carry."""
    from PIL import Image

    image = Image.fromarray(pixels)
    while True:
        for quality in (80, 65, 50, 35):
            file = BytesIO()
            image.save(file, "JPEG", quality=quality, optimize=True)
            if file.tell() < MOST_BYTES:
                return file.getvalue()
        image = image.resize((max(image.width * 3 // 4, 1), max(image.height * 3 // 4, 1)))


def heights_text(picture: GroundPicture) -> dict[str, object]:
    """Heights for a page: whole numbers of steps above the lowest ground, packed."""
    known = np.isfinite(picture.elevation)
    base = float(np.nanmin(picture.elevation)) if known.any() else 0.0
    reach = float(np.nanmax(picture.elevation)) - base if known.any() else 0.0
    step = max(0.001, reach / 65000.0)
    steps = np.where(known, np.round((np.where(known, picture.elevation, base) - base) / step), UNKNOWN)
    packed = base64.b64encode(steps.astype("<u2").tobytes()).decode("ascii")
    rows, columns = picture.grid.shape
    return {"rows": rows, "columns": columns, "base": base, "step": step, "steps": packed}


def contour_lines(
    picture: GroundPicture, units: Units, view: Bounds
) -> tuple[float, list[tuple[float, list[FloatArray]]]]:
    """Contours of the smoothed ground. [m]"""
    one = si_factor("ft" if units == "us" else "m")
    known = np.isfinite(picture.elevation)
    grid = picture.grid
    if not known.any() or min(grid.shape) < 2:
        return STEPS[units][0] * one, []
    filled = np.where(known, picture.elevation, 0.0)
    sigma = (SMOOTHING / grid.cell_height, SMOOTHING / grid.cell_width)
    weight = gaussian_filter(known.astype(np.float64), sigma)
    smooth = np.where(known, gaussian_filter(filled, sigma) / np.maximum(weight, 1e-9), np.nan)
    looked_at = smooth[
        max(int((grid.top - view[3]) / grid.cell_height), 0) : int((grid.top - view[1]) / grid.cell_height) + 1,
        max(int((view[0] - grid.left) / grid.cell_width), 0) : int((view[2] - grid.left) / grid.cell_width) + 1,
    ]
    if not np.isfinite(looked_at).any():
        looked_at = smooth
    low, high = (float(each) for each in np.nanpercentile(looked_at, (1.0, 99.0)))
    interval = next((step for step in STEPS[units] if (high - low) / one / step <= WANTED_CONTOURS), STEPS[units][-1])
    east = grid.left + (np.arange(grid.shape[1]) + 0.5) * grid.cell_width
    north = grid.top - (np.arange(grid.shape[0]) + 0.5) * grid.cell_height
    masking: Any = np.ma.masked_invalid
    masked = masking(smooth)
    generator = contour_generator(east, north, masked)
    first, last = int(np.ceil(np.nanmin(smooth) / one / interval)), int(np.floor(np.nanmax(smooth) / one / interval))
    lines: list[tuple[float, list[FloatArray]]] = []
    for number in range(first, min(last, first + 10 * WANTED_CONTOURS) + 1):
        level = number * interval * one
        found = [np.asarray(part) for part in generator.lines(level) if len(part) > 4]
        if found:
            lines.append((level, found))
    return interval * one, lines


def cell_runs(cells: IntArray, picture: GroundPicture, columns_of_run: int) -> list[list[int]]:
    """Cells of the run's grid as runs in the picture's rows."""
    rows, columns = picture.grid.shape
    down = cells // columns_of_run - picture.first_row
    across = cells % columns_of_run - picture.first_column
    on = (down % picture.thinned == 0) & (across % picture.thinned == 0)
    down, across = down[on] // picture.thinned, across[on] // picture.thinned
    inside = (down >= 0) & (down < rows) & (across >= 0) & (across < columns)
    flat = np.sort(down[inside] * columns + across[inside])
    if flat.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(flat) != 1) + 1
    starts = np.concatenate([[0], breaks])
    ends = np.concatenate([breaks, [flat.size]])
    return [[int(flat[start]), int(end - start)] for start, end in zip(starts, ends, strict=True)]


def _png(indices: np.ndarray) -> bytes:
    """Indices into 64 shades as a PNG; 0 is clear."""
    rows, columns = indices.shape
    palette = b"".join(
        bytes(round(dark + (light - dark) * shade / 62) for dark, light in zip(DARKEST, LIGHTEST, strict=True))
        for shade in (0, *range(63))
    )
    raw = b"".join(b"\0" + indices[row].tobytes() for row in range(rows))
    head = struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)
    parts = ((b"IHDR", head), (b"PLTE", palette), (b"tRNS", b"\0"), (b"IDAT", zlib.compress(raw, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in parts
    )
