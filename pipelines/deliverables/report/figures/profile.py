"""Profiles of pipes: ground, pipe, cover and fittings along each run."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.deliverables.report.blocks import Figure
from pipelines.deliverables.report.figures.svg import INK, PALE, Plot
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.say import say
from pipelines.deliverables.words.slopes import slope_range
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import Fitting, PipeRun
from terrain.arrays import FloatArray
from terrain.grid import Grid
from terrain.sampling import sample_bilinear
from terrain.unit_table import Units, si_factor

GROUND, PIPE, WATER = "#8a5a00", "#000000", "#0072b2"
WIDTH, HEIGHT = 760.0, 300.0
SLOPE_WIDTH = 56.0
"""Narrower segments on paper have no room for their slope. [px]"""


def stations_of(line: LineString) -> FloatArray:
    """Distance along a line to each of its vertices. [m]"""
    xy = shapely.get_coordinates(line)
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def profile_figure(
    run: PipeRun, fittings: Sequence[Fitting], ground: FloatArray, grid: Grid, units: Units
) -> Figure:
    """Profile of one run."""
    one = si_factor("ft" if units == "us" else "m")
    unit = "ft" if units == "us" else "m"
    bore = find_pipe(run.pipe_key).outside
    stations = stations_of(run.line)
    inverts = shapely.get_coordinates(run.line, include_z=True)[:, 2]
    along, heights = _ground_along(run, stations, ground, grid)
    low = min(float(inverts.min()), float(np.nanmin(heights)))
    high = max(float((inverts + bore).max()), float(np.nanmax(heights)))
    room = 0.18 * max(high - low, 0.3)
    plot = Plot(
        WIDTH, HEIGHT, (0.0, float(stations[-1]) / one), ((low - 1.6 * room) / one, (high + 2.2 * room) / one),
        top=30.0,
    )
    plot.axes(f"Station, {unit} from {run.from_id}", f"Elevation, {unit}")
    surface = plot.at(zip(along / one, heights / one, strict=True))
    base = [(plot.x(along[-1] / one), plot.bottom), (plot.x(0.0), plot.bottom)]
    plot.area([*surface, *base], colour=GROUND, opacity=0.10)
    plot.line(surface, colour=GROUND, width=2.0)
    invert = plot.at(zip(stations / one, inverts / one, strict=True))
    crown = plot.at(zip(stations / one, (inverts + bore) / one, strict=True))
    plot.area([*crown, *reversed(invert)], colour=PIPE, opacity=0.22)
    plot.line(crown, colour=PIPE, width=1.0)
    plot.line(invert, colour=PIPE, width=2.0, dash="8 3 2 3" if run.kind == "pressure" else None)
    _label_ends(plot, run, stations / one, inverts / one, units)
    _mark_cover(plot, run, along, heights, stations, inverts + bore, one, units)
    _name_slopes(plot, run, stations, inverts, one, units)
    for fitting in fittings:
        _mark_fitting(plot, run, fitting, stations, inverts, one)
    _name_lines(plot, run, units)
    return Figure(
        f"profile-{run.id}", f"{run.id}: {run.from_id} to {run.to_id}", plot.markup(), _in_words(run, units)
    )


def _ground_along(
    run: PipeRun, stations: FloatArray, ground: FloatArray, grid: Grid
) -> tuple[FloatArray, FloatArray]:
    """Ground every cell along a run, and as the plan took it at each vertex."""
    count = max(int(stations[-1] / max(grid.cell_width, 0.25)), 1)
    at = np.linspace(0.0, stations[-1], count + 1)
    points = shapely.get_coordinates(shapely.line_interpolate_point(shapely.force_2d(run.line), at))
    heights = sample_bilinear(ground, grid, points[:, 0], points[:, 1])
    along = np.concatenate([at, stations])
    heights = np.concatenate([heights, np.asarray(run.ground, dtype=np.float64)])
    order = np.argsort(along, kind="stable")
    known = np.isfinite(heights[order])
    return along[order][known], heights[order][known]


def _label_ends(plot: Plot, run: PipeRun, stations: FloatArray, inverts: FloatArray, units: Units) -> None:
    for place, level, anchor, shift in (
        (stations[0], run.invert_up, "start", 4.0), (stations[-1], run.invert_down, "end", -4.0),
    ):
        at = inverts[0] if anchor == "start" else inverts[-1]
        plot.add("circle", cx=plot.x(place), cy=plot.y(at), r=3.0, fill=PIPE)
        words = f"invert {number(level, 'level', units).text}"
        below = min(plot.y(at) + 17.0, plot.bottom - 4.0)
        plot.text(plot.x(place) + shift, below, words, anchor=anchor, weight="bold", halo=True)


def _mark_cover(
    plot: Plot, run: PipeRun, along: FloatArray, heights: FloatArray, stations: FloatArray, crown: FloatArray,
    one: float, units: Units,
) -> None:  # fmt: skip
    """A measure where cover is least."""
    over = heights - np.interp(along, stations, crown)
    # not over an end taper, where the pipe comes out of the ground
    least = int(np.argmin(np.abs(over - run.least_cover)))
    x = plot.x(along[least] / one)
    top, bottom = plot.y(heights[least] / one), plot.y(float(np.interp(along[least], stations, crown)) / one)
    plot.line([(x, top), (x, bottom)], colour=WATER, width=1.5, dash="3 2")
    words = f"least cover {number(run.least_cover, 'depth', units).text}"
    anchor = "start" if x < plot.left + 70.0 else "end" if x > plot.right - 70.0 else "middle"
    plot.text(x, min(top, bottom) - 7.0, words, anchor=anchor, fill=WATER, halo=True)


def _mark_fitting(
    plot: Plot, run: PipeRun, fitting: Fitting, stations: FloatArray, inverts: FloatArray, one: float
) -> None:
    station = float(shapely.line_locate_point(shapely.force_2d(run.line), Point(fitting.point.x, fitting.point.y)))
    x, y = plot.x(station / one), plot.y(float(np.interp(station, stations, inverts)) / one)
    plot.line([(x, y - 9.0), (x, y + 9.0)], colour=INK, width=1.0)
    plot.add("circle", cx=x, cy=y - 12.0, r=3.5, fill="#ffffff", stroke=INK, stroke_width=1.2)


def _name_slopes(
    plot: Plot, run: PipeRun, stations: FloatArray, inverts: FloatArray, one: float, units: Units
) -> None:
    """The slope of each segment under its middle, where there is room for it."""
    for segment in run.segments if len(run.segments) > 1 else ():
        if plot.x(segment.end / one) - plot.x(segment.start / one) < SLOPE_WIDTH:
            continue
        middle = 0.5 * (segment.start + segment.end)
        below = plot.y(float(np.interp(middle, stations, inverts)) / one) + 17.0
        words = number(segment.slope, "slope", units).text
        plot.text(plot.x(middle / one), min(below, plot.bottom - 4.0), words, anchor="middle", fill=PIPE, halo=True)


def _name_lines(plot: Plot, run: PipeRun, units: Units) -> None:
    slopes = slope_range(run)
    slope = "under pressure" if slopes is None else f"falls {say(slopes, units)}"
    words = f"{run.size} {run.standard}, {number(run.length, 'length', units).text}, {slope}"
    plot.text(plot.left + 8.0, plot.top - 12.0, words, weight="bold")
    x = plot.right
    for name, colour, width, dash in (
        ("pipe", PIPE, 2.0, "8 3 2 3" if run.kind == "pressure" else None), ("ground", GROUND, 2.0, None),
    ):
        x -= 8.0 * len(name) + 8.0
        plot.text(x, plot.top - 12.0, name, fill=PALE, size=11.0)
        plot.line([(x - 26.0, plot.top - 16.0), (x - 5.0, plot.top - 16.0)], colour=colour, width=width, dash=dash)
        x -= 38.0


def _in_words(run: PipeRun, units: Units) -> str:
    return (
        f"Profile of {run.id}: invert {number(run.invert_up, 'level', units).text} at {run.from_id}, "
        f"{number(run.invert_down, 'level', units).text} at {run.to_id}, "
        f"{number(run.length, 'length', units).text} long, least cover {number(run.least_cover, 'depth', units).text}, "
        f"deepest trench {number(run.deepest, 'length', units).text}."
    )
