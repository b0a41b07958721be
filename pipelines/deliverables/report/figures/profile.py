"""Profiles of pipes: ground, pipe and cover along each run, and under them every break with its heights and slopes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.stakeout import GRADE, Stake, benchmark_of, profile_of, stakes_of
from pipelines.deliverables.report.blocks import Figure
from pipelines.deliverables.report.figures.svg import GRID, PALE, Plot
from pipelines.deliverables.report.numbers import number
from pipelines.deliverables.words.quantities import format_quantity
from pipelines.deliverables.words.slopes import fall_over_ten
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.layout.plan import PipeRun
from terrain.arrays import BoolArray, FloatArray
from terrain.unit_table import Units, si_factor

GROUND, PIPE, WATER = "#8a5a00", "#000000", "#0072b2"
WIDTH = 760.0
DRAWN = 96.0
"""Height of the drawing above its rows. [px]"""
LEFT, RIGHT, TOP = 96.0, 14.0, 30.0
ROW, TURNED = 12.0, 31.0
"""Height of a row of upright words and of one of numbers set on end. [px]"""
APART = 27.0
"""Least from one column of numbers to the next. [px]"""
CHARACTER = 5.3
"""Width of a character of the rows. [px]"""


@dataclass(frozen=True, slots=True)
class _Run:
    """A run as it is drawn: stations [m], heights above the benchmark [m], where cover is told."""

    run: PipeRun
    stakes: tuple[Stake, ...]
    stations: FloatArray
    inverts: FloatArray
    ground: FloatArray
    crown: FloatArray
    told: BoolArray


def profile_figure(run: PipeRun, findings: Findings, units: Units) -> Figure:
    """Profile of one run, and of those that lie in its trench."""
    unit = "ft" if units == "us" else "m"
    one = si_factor(unit)
    drawn = _drawn(run, findings)
    key = _key(run, drawn.stakes)
    plot = _plot(drawn, one, key)
    plot.axes("", f"{unit} above benchmark", across_most=10, up_most=5)
    surface = plot.at(zip(drawn.stations / one, drawn.ground / one, strict=True))
    plot.area([*surface, (plot.right, plot.bottom), (plot.left, plot.bottom)], colour=GROUND, opacity=0.10)
    plot.line(surface, colour=GROUND, width=1.8)
    invert = plot.at(zip(drawn.stations / one, drawn.inverts / one, strict=True))
    crown = plot.at(zip(drawn.stations / one, drawn.crown / one, strict=True))
    plot.area([*crown, *reversed(invert)], colour=PIPE, opacity=0.22)
    plot.line(crown, colour=PIPE, width=0.9)
    plot.line(invert, colour=PIPE, width=1.8, dash="8 3 2 3" if run.kind == "pressure" else None)
    _mark_crossings(plot, drawn, findings, one)
    _mark_cover(plot, drawn, one, units)
    _rows(plot, drawn, one, units, key)
    also = [each.id for each in findings.plan.pipe_runs if each.beside == run.id]
    name = " and ".join([run.id, *also])
    exaggerated = (plot.bottom - plot.top) / (plot.up[1] - plot.up[0]) / (
        (plot.right - plot.left) / (plot.across[1] - plot.across[0]))  # fmt: skip
    long = number(run.length, "length", units).text
    title = (f"{name}: {run.from_id} to {run.to_id}, {run.size} {run.standard}, {long}; "
             f"heights drawn {exaggerated:.1f} times the lengths")  # fmt: skip
    return Figure(f"profile-{run.id}", title, plot.markup(), _in_words(drawn, units))


def profiles_of(findings: Findings) -> tuple[PipeRun, ...]:
    """The runs that have a profile of their own: of two in one trench the first."""
    ids = {run.id for run in findings.plan.pipe_runs}
    return tuple(run for run in findings.plan.pipe_runs if run.beside not in ids)


def cover_told(run: PipeRun) -> tuple[float, float] | None:
    """Station and height of the least cover outside outlet tapers; None where the pipe stands out of the ground."""
    stations, inverts = profile_of(run)
    pipe = find_pipe(run.pipe_key)
    cover = np.asarray(run.ground, dtype=np.float64) - inverts + pipe.wall - pipe.outside
    cover = np.where(_covered(run, stations), cover, np.inf)
    least = int(np.argmin(cover))
    return (float(stations[least]), float(cover[least])) if 0.0 < cover[least] < np.inf else None


def _covered(run: PipeRun, stations: FloatArray) -> BoolArray:
    """Vertices where cover is wanted: not in the taper before an outlet."""
    kept = np.ones(len(stations), dtype=bool)
    for segment in run.segments:
        if segment.least_cover is None:
            kept &= ~((stations > segment.start + 1e-6) & (stations <= segment.end + 1e-6))
    pipe = find_pipe(run.pipe_key)
    points = np.asarray(run.ground, dtype=np.float64)
    inverts = profile_of(run)[1]
    # an end comes out of the ground whether or not a segment of its own says so
    for end in reversed(range(len(stations))):
        if points[end] - inverts[end] + pipe.wall - pipe.outside >= run.least_cover - 1e-6:
            break
        kept[end] = False
    return kept


def _drawn(run: PipeRun, findings: Findings) -> _Run:
    benchmark = benchmark_of(findings)
    zero = 0.0 if benchmark is None else benchmark.elevation
    stations, inverts = profile_of(run)
    pipe = find_pipe(run.pipe_key)
    stakes = tuple(stake for stake in stakes_of(findings) if stake.run == run.id and stake.what != GRADE)
    return _Run(run, stakes, stations, inverts - zero, np.asarray(run.ground, dtype=np.float64) - zero,
                inverts - zero + pipe.outside - pipe.wall, _covered(run, stations))  # fmt: skip


def _plot(drawn: _Run, one: float, key: Sequence[str]) -> Plot:
    low = min(float(drawn.inverts.min()), float(drawn.ground.min()))
    high = max(float(drawn.crown.max()), float(drawn.ground.max()))
    room = 0.12 * max(high - low, 0.3)
    rows = 3 * TURNED + 2 * ROW + ROW * len(key) + 6.0
    return Plot(
        WIDTH, TOP + DRAWN + 18.0 + rows, (0.0, float(drawn.stations[-1]) / one),
        ((low - room) / one, (high + 1.5 * room) / one), left=LEFT, right=RIGHT, top=TOP, bottom=18.0 + rows,
    )


def _mark_crossings(plot: Plot, drawn: _Run, findings: Findings, one: float) -> None:
    own = [crossing for crossing in findings.crossings if crossing.run == drawn.run.id]
    for at, crossing in enumerate(own):
        x = plot.x(crossing.station / one)
        plot.line([(x, plot.top), (x, plot.bottom)], colour=PALE, width=0.8, dash="2 3")
        plot.text(x, plot.top - 3.0 - 10.0 * (at % 3), f"{crossing.kind}: dig by hand", size=9.0,
                  anchor=_anchor(plot, x), fill=PALE)  # fmt: skip


def _mark_cover(plot: Plot, drawn: _Run, one: float, units: Units) -> None:
    """A measure where cover is least, or that the pipe stands out of the ground."""
    over = np.where(drawn.told, drawn.ground - drawn.crown, np.inf)
    least = int(np.argmin(over))
    if not np.isfinite(over[least]):
        return
    x = plot.x(drawn.stations[least] / one)
    top, bottom = plot.y(drawn.ground[least] / one), plot.y(drawn.crown[least] / one)
    plot.line([(x, top), (x, bottom)], colour=WATER, width=1.5, dash="3 2")
    words = f"least cover {format_quantity(float(over[least]), 'depth', units)}"
    if over[least] <= 0.0:
        words = f"out of the ground by {format_quantity(float(-over[least]), 'depth', units)}"
    plot.text(x, min(top, bottom) - 5.0, words, size=10.0, anchor=_anchor(plot, x), fill=WATER, halo=True)


def _anchor(plot: Plot, x: float) -> str:
    return "start" if x < plot.left + 60.0 else "end" if x > plot.right - 60.0 else "middle"


def _key(run: PipeRun, stakes: Sequence[Stake]) -> list[str]:
    """What stands at each numbered place, in lines that fit."""
    size = f", {run.size}"
    named = [f"{at} {stake.what.replace(size, '').replace(' degree', '°')}" for at, stake in enumerate(stakes, start=1)]
    lines: list[str] = []
    for text in named:
        if lines and CHARACTER * (len(lines[-1]) + len(text) + 2) < WIDTH - RIGHT:
            lines[-1] += f"; {text}"
        else:
            lines.append(text)
    return lines


def _rows(plot: Plot, drawn: _Run, one: float, units: Units, key: Sequence[str]) -> None:
    """Under the drawing, a column for each break and fitting, and between two the fall from one to the other."""
    stakes = drawn.stakes
    columns = _columns([plot.x(stake.station / one) for stake in stakes], plot.left + 6.0, plot.right - 2.0)
    grounds = np.interp([stake.station for stake in stakes], drawn.stations, drawn.ground)
    unit = number(0.0, "level", units).unit
    over, per = fall_over_ten(units)
    heads = ((f"Station, {unit}", TURNED), (f"Ground, {unit}", TURNED), (f"Invert, {unit}", TURNED),
             (f"Fall, {per}", ROW), ("Place", ROW))  # fmt: skip
    top = plot.bottom + 18.0
    for head, high in heads:
        plot.line([(4.0, top), (plot.right, top)], colour=GRID, width=0.8)
        plot.text(4.0, top + high / 2.0 + 3.5, head, size=9.5)
        top += high
    first = plot.bottom + 18.0
    for at, (stake, x) in enumerate(zip(stakes, columns, strict=True)):
        real = plot.x(stake.station / one)
        leader = [(real, plot.y(stake.above_benchmark / one)), (real, plot.bottom), (x, first)]
        plot.line(leader, colour=PALE, width=0.6)
        for row, value in enumerate((stake.station, float(grounds[at]), stake.above_benchmark)):
            plot.text(x + 3.5, first + (row + 1) * TURNED - 3.0, number(value, "level", units).bare, size=9.5,
                      turn=-90.0)  # fmt: skip
        plot.text(x, first + 3 * TURNED + ROW + 10.0, str(at + 1), size=9.5, anchor="middle", weight="bold")
    for here, after, stake in zip(columns, columns[1:], stakes, strict=False):
        words = "pressure" if stake.slope is None else over(stake.slope)
        if CHARACTER * len(words) < after - here or stake.slope is not None:
            plot.text((here + after) / 2.0, first + 3 * TURNED + 10.0, words, size=8.5, anchor="middle")
    for line, text in enumerate(key):
        plot.text(4.0, top + ROW * (line + 1) - 2.0, text, size=9.5, most=200)


def _columns(places: Sequence[float], left: float, right: float) -> list[float]:
    """Places of the columns: each as near to its own as the room between them lets it."""
    apart = min(APART, (right - left) / max(len(places) - 1, 1))
    moved: list[float] = []
    for place in places:
        moved.append(max(place, left, moved[-1] + apart if moved else left))
    for at in reversed(range(len(moved))):
        moved[at] = min(moved[at], right - apart * (len(moved) - 1 - at))
    return moved


def _in_words(drawn: _Run, units: Units) -> str:
    run = drawn.run
    cover = cover_told(run)
    covered = "" if cover is None else f"least cover {number(cover[1], 'depth', units).text}, "
    return (
        f"Profile of {run.id}: invert {number(run.invert_up, 'level', units).text} at {run.from_id}, "
        f"{number(run.invert_down, 'level', units).text} at {run.to_id}, "
        f"{number(run.length, 'length', units).text} long, {covered}"
        f"deepest trench {number(run.deepest, 'length', units).text}."
    )
