"""The crew's plan, at a scale that a ruler reads: runs, inverts, crossings, structures and their ties."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from shapely import Geometry, LineString, Point, Polygon, STRtree, box

from pipelines.deliverables.findings.lot import CrossingPoint, Findings
from pipelines.deliverables.findings.stakeout import benchmark_of
from pipelines.deliverables.findings.ties import Structure, WallCorner, structures_of, ties_of, wall_corners
from pipelines.deliverables.report.blocks import Figure
from pipelines.deliverables.report.figures.map_picture import MapLayer, MapPicture
from pipelines.deliverables.report.figures.map_svg import PX, MapSheet, draw_layers, draw_north
from pipelines.deliverables.report.figures.svg import INK, PALE, Drawing
from pipelines.deliverables.report.numbers import number
from pipelines.layout.plan import PipeRun
from terrain.arrays import FloatArray
from terrain.unit_table import FOOT, Units

SCALES = {"us": (120, 240, 360, 480, 600, 1200, 2400), "si": (100, 200, 300, 500, 1000, 2000)}
"""One on paper is so many on the ground: 1 in = 10 ft is 120."""
WIDE, HIGH, LEAST_HIGH, ROW = 176.0, (112.0, 152.0), 70.0, 5.0
"""Room of the drawing on paper, the less high the more rows the table under it has; and a row. [mm]"""
BORDER = 10.0
"""Left around what is built. [mm]"""
DRAWN = ("right_of_way", "hardscape", "roofs", "parcel", "frontage", "keep_out", "utilities", "surface_works",
         "french_drains", "channel_drains", "pipe_runs", "fittings", "catch_basins", "sumps", "outfalls",
         "downspouts")  # fmt: skip
NEAR = 2.0
"""Crossings of one line this close together are told once. [m]"""
BAR, ARROW = (198.0, 36.0), (54.0, 66.0)
"""Room of the bar that tells the scale, and of the arrow to the north. [px]"""
CHARACTER, LINE, MARK = 5.6, 11.0, 7.0
"""Width of a character, height of a line, and half of what a mark takes. [px]"""
RIGHT, DOWN = (np.cos(np.radians(np.arange(0.0, 360.0, 15.0))), -np.sin(np.radians(np.arange(0.0, 360.0, 15.0))))
"""Ways in which a label may stand from its place."""
REACHES = (11.0, 20.0, 32.0, 46.0, 64.0, 86.0, 112.0)
"""How far from its place a label may stand. [px]"""


def plan_figure(findings: Findings, picture: MapPicture, units: Units) -> Figure:
    """The plan that the crew sets out by."""
    built, structures, corners = _built(findings), structures_of(findings), wall_corners(findings)
    most = max(HIGH[1] - ROW * len(structures), HIGH[0])
    scale = _scale(built, most, units)
    wide, high = WIDE, min(max(_size(built)[1] / scale * 1000.0 + 2.0 * BORDER, LEAST_HIGH), most)
    west, south, east, north = shapely.total_bounds(np.array(built, dtype=object)).tolist()
    left = (west + east) / 2.0 - wide / 2000.0 * scale
    top = (south + north) / 2.0 + high / 2000.0 * scale
    sheet = MapSheet(left, top, 1000.0 / scale * PX)
    drawing = Drawing(wide * PX, high * PX)
    seen = box(left, top - high / 1000.0 * scale, left + wide / 1000.0 * scale, top)
    draw_layers(drawing, sheet, _seen(picture.layers, seen, findings))
    works = shapely.union_all([LineString(sheet.at(line.coords)) for line in _pipes(findings)])
    bar = _free_corner(works, (wide * PX, high * PX), BAR, ("bottom left", "bottom right", "top left", "top right"))
    arrow = _free_corner(works.union(bar), (wide * PX, high * PX), ARROW, ("top right", "top left", "bottom right"))
    labels = _Labels(drawing, wide * PX, high * PX, [bar, arrow])
    _keep_clear(labels, sheet, findings, structures)
    _label(labels, sheet, findings, structures, corners, units)
    drawing.add("rect", x=0.5, y=0.5, width=wide * PX - 1.0, height=high * PX - 1.0, fill="none", stroke=PALE)
    draw_north(drawing, arrow.centroid.x, arrow.bounds[1] + 40.0)
    _scale_bar(drawing, scale, units, (bar.bounds[0], bar.bounds[3]))
    told = _scale_words(scale, units)
    return Figure(
        # a page holds the map with patterns of the same names
        "crew-plan", f"Plan, {told} on report.pdf printed at 100 %", drawing.markup().replace("hatch-", "plan-hatch-"),
        f"Plan of the improvements at {told}, north up: {', '.join(run.id for run in findings.plan.pipe_runs)}; "
        "their stations, inverts and ties are in the tables.", wide,
    )  # fmt: skip


def _built(findings: Findings) -> list[Geometry]:
    plan = findings.plan
    points = [*(basin.point for basin in plan.catch_basins), *(sump.point for sump in plan.sumps)]
    return [*_pipes(findings), *(channel.line for channel in plan.channel_drains), *points]


def _pipes(findings: Findings) -> list[LineString]:
    plan = findings.plan
    return [*(run.line for run in plan.pipe_runs), *(drain.line for drain in plan.french_drains)]


def _size(shapes: Sequence[Geometry]) -> tuple[float, float]:
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object)).tolist()
    return east - west, north - south


def _scale(built: Sequence[Geometry], most: float, units: Units) -> int:
    """The largest scale at which all that is built has room in a drawing of the most height. [mm]"""
    across, up = _size(built)
    return next((scale for scale in SCALES[units] if across / scale * 1000.0 <= WIDE - 2.0 * BORDER
                 and up / scale * 1000.0 <= most - 2.0 * BORDER), SCALES[units][-1])  # fmt: skip


def _scale_words(scale: int, units: Units) -> str:
    return f"1 in = {scale / 12:g} ft" if units == "us" else f"1:{scale}"


def _seen(layers: Sequence[MapLayer], seen: Geometry, findings: Findings) -> Iterator[MapLayer]:
    surface = findings.plan.surface
    by_name = {layer.name: layer for layer in layers}
    for name in DRAWN:
        if name not in by_name or (name == "surface_works" and (surface is None or not surface.proposed)):
            continue
        layer = by_name[name]
        kept = tuple(each for each in layer.features if shapely.intersects(each.shape, seen))
        yield MapLayer(layer.name, layer.title, kept)


@dataclass(slots=True)
class _Labels:
    """Labels that cover nothing, each tied to its place by a line where it stands off it."""

    drawing: Drawing
    wide: float
    high: float
    taken: list[Geometry] = field(default_factory=list)

    def write(self, at: tuple[float, float], text: str, *, bold: bool = False) -> None:
        """Write a label at the nearest free place, the least covered where none is free."""
        x, y = at
        long = CHARACTER * len(text) * (1.08 if bold else 1.0)
        best, where, tree = np.inf, (x, y), STRtree(self.taken)
        for reach in (reach for reach in REACHES if 0.3 * reach < best):  # farther ones cost at least so much
            middles = x + RIGHT * (reach + long / 2.0 * abs(RIGHT)), y + DOWN * (reach + LINE / 2.0 * abs(DOWN))
            covered = self._covered(_frames(*middles, long), tree) + 0.3 * reach
            least = int(np.argmin(covered))
            if covered[least] < best:
                best, where = float(covered[least]), (float(middles[0][least]), float(middles[1][least]))
        frame = _frames(*where, long)
        if np.hypot(where[0] - x, where[1] - y) > 26.0:
            tie = shapely.shortest_line(frame, Point(x, y))
            self.drawing.line([tuple(each) for each in shapely.get_coordinates(tie)], colour=PALE, width=0.7)
            self.taken.append(tie)
        self.drawing.text(where[0], where[1] + 3.5, text, size=9.5, anchor="middle", halo=True,
                          weight="bold" if bold else None)  # fmt: skip
        self.taken.append(frame)

    def _covered(self, frames: Any, tree: STRtree) -> FloatArray:
        """What each frame covers, and has off the sheet."""
        inside = box(2.0, 2.0, self.wide - 2.0, self.high - 2.0)
        outside = shapely.area(frames) - shapely.area(shapely.intersection(frames, inside))
        frame, other = tree.query(frames, predicate="intersects")
        shared = shapely.intersection(frames[frame], tree.geometries[other])
        # a line has no area: what of it is covered counts by its length
        each = shapely.area(shared) + 6.0 * shapely.length(shared)
        covered: FloatArray = 20.0 * outside + np.bincount(frame, weights=each, minlength=frames.size)
        return covered


def _frames(x: Any, y: Any, long: float) -> Any:
    """Frames of a label about one or many middles."""
    return shapely.box(x - long / 2.0, y - LINE / 2.0, x + long / 2.0, y + LINE / 2.0)


def _keep_clear(labels: _Labels, sheet: MapSheet, findings: Findings, structures: Sequence[Structure]) -> None:
    """What no label covers: marks, runs, the lot's line, roofs."""
    points = [each.point for each in structures] + [each.point for each in findings.plan.fittings]
    labels.taken += [Point(xy).buffer(MARK) for xy in sheet.at([(p.x, p.y) for p in points])]
    lines = [line.coords for line in _pipes(findings)]
    lines += [part.exterior.coords for shape in findings.parcel.geometry for part in shapely.get_parts(shape)]
    labels.taken += [LineString(sheet.at(line)) for line in lines]
    roofs = shapely.get_parts(findings.roofs.geometry.array)
    labels.taken += [Polygon(sheet.at(roof.exterior.coords)) for roof in roofs]


def _label(
    labels: _Labels, sheet: MapSheet, findings: Findings, structures: Sequence[Structure],
    corners: Sequence[WallCorner], units: Units,
) -> None:  # fmt: skip
    ties = [tie for each in structures for tie in ties_of(each.point, corners) or ()]
    used = {tie.corner for tie in ties} | {tie.wall_to for tie in ties}
    for corner in corners:
        if corner.name in used:
            ((x, y),) = sheet.at([(corner.point.x, corner.point.y)])
            labels.drawing.add("circle", cx=x, cy=y, r=2.6, fill="#ffffff", stroke=INK, stroke_width=1.2)
            labels.write((x, y), corner.name, bold=True)
    for each in structures:
        ((x, y),) = sheet.at([(each.point.x, each.point.y)])
        told = inverts_at(findings, each.point, units)
        name = each.id if not each.what or each.id not in {run.id for run in findings.plan.pipe_runs} else each.what
        labels.write((x, y), f"{name}, invert {told}" if told else name, bold=True)
    for run in findings.plan.pipe_runs:
        if not run.beside:
            labels.write(_middle(run, sheet), f"{_together(run, findings)}: {run.size}")
    seen: list[CrossingPoint] = []
    for crossing in findings.crossings:
        if any(each.kind == crossing.kind and each.point.distance(crossing.point) < NEAR for each in seen):
            continue
        seen.append(crossing)
        ((x, y),) = sheet.at([(crossing.point.x, crossing.point.y)])
        labels.write((x, y), f"{crossing.kind}: dig by hand")


def inverts_at(findings: Findings, point: Point, units: Units) -> str:
    """Inverts of the pipes that meet at a point, above the benchmark, highest first; empty where none does."""
    benchmark = benchmark_of(findings)
    if benchmark is None:
        return ""
    levels = []
    for line in (each for each in _pipes(findings) if each.has_z):
        for x, y, z in (line.coords[0], line.coords[-1]):
            if np.hypot(x - point.x, y - point.y) < 0.3:
                levels.append(round(z - benchmark.elevation, 4))
    texts = dict.fromkeys(number(level, "level", units).bare for level in sorted(levels, reverse=True))
    return " / ".join(texts)


def _together(run: PipeRun, findings: Findings) -> str:
    return " and ".join([run.id, *(each.id for each in findings.plan.pipe_runs if each.beside == run.id)])


def _middle(run: PipeRun, sheet: MapSheet) -> tuple[float, float]:
    at = shapely.line_interpolate_point(shapely.force_2d(run.line), 0.4, normalized=True)
    ((x, y),) = sheet.at([(at.x, at.y)])
    return x, y


def _free_corner(
    works: Geometry, sheet: tuple[float, float], size: tuple[float, float], corners: Sequence[str]
) -> Geometry:
    """The first corner of a sheet in which something of a size covers none of the works. [px]"""
    (wide, high), (long, deep) = sheet, size
    frames = []
    for corner in corners:
        left = 2.0 if "left" in corner else wide - long - 2.0
        top = 2.0 if "top" in corner else high - deep - 2.0
        frames.append(box(left, top, left + long, top + deep))
    return max(frames, key=lambda frame: min(shapely.distance(frame, works), 1.0))


def _scale_bar(drawing: Drawing, scale: int, units: Units, at: tuple[float, float]) -> None:
    """A bar of a round length, its frame's lower left corner at a place. [px]"""
    left, high = at
    one, unit = (FOOT, "ft") if units == "us" else (1.0, "m")
    length = next(each for each in (1, 2, 5, 10, 20, 50, 100, 200) if each * one / scale * 1000.0 >= 18.0)
    long = length * one / scale * 1000.0 * PX
    drawing.add("rect", x=left + 2.0, y=high - 34.0, width=long + 20.0, height=28.0, fill="#ffffff", fill_opacity=0.9)
    start = left + 10.0
    ends = [(start, high - 19.0), (start, high - 12.0), (start + long, high - 12.0), (start + long, high - 19.0)]
    drawing.line(ends, colour=INK, width=1.6)
    drawing.text(start + long / 2.0, high - 18.0, f"{length} {unit}", size=10.0, anchor="middle", weight="bold")
