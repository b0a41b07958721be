"""Compiled moving of a tree's bends and junctions: what its lines cost, where they lie in each other's way."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from pipelines.layout.routing.kernels.laying import Tube, station
from pipelines.layout.routing.kernels.straight import heading_of, line_value

MOST_ROUNDS = 3
FLUSH = 0.02
"""Lines nearer to each other than this, for longer than this, lie in one another. [m]"""
AT_END = 0.05
"""Lines that meet this near to an end of one of them are joined there. [m]"""
IN_BASIN = 0.25
"""A line that comes nearer to the middle of a basin runs through it. [m]"""
NEAR_BASIN = 2.0
"""A junction no farther from a basin whose line joins there is tried in the basin. [m]"""
TANGLE_COST = 1500.0
"""What it is held to cost where two lines of a tree cross. [money]"""


class Branches(NamedTuple):
    """What stays of a tree's runs wherever their bends are; upstream runs before those they join."""

    bed: Any  # the ground they are laid in
    walls: Any  # (n, 4) [m]
    hits: Any  # (n, 7) what may be crossed with care
    bends: Any  # (5,) of fittings that turn by so many times 22.5 degrees [money]
    tolerance: float  # of a joint [degrees]
    basin_drop: float  # [m]
    tubes: Any  # (runs, 9) fields of each run's Tube
    into: Any  # (runs,) run that each joins, -1 for none
    own: Any  # (runs,) highest invert at a run's collector, NaN where it begins at a junction [m]
    through: Any  # (runs,) whether a run begins in a basin that others pass
    stubs: Any  # (runs, 2) how much of a run may touch walls at its ends [m]
    kept: Any  # (n, 10) segments that were laid already, most moves leave most of them as they are


class Shapes(NamedTuple):
    """Vertices of each run, filled up to the longest."""

    x: Any  # (runs, most) [m]
    y: Any  # (runs, most) [m]
    count: Any  # (runs,)


INVERT, HEADING, PAID, END, TURNED = range(5)
"""Columns of what is known of each run: what it begins with and goes on to, and its cost, last invert and turns."""


@njit(cache=True)
def value_tree(tree: Any, shapes: Any, moved: Any, known: Any, told: Any, off_cost: float, most: float) -> Any:
    """Cost of all runs as high as they can lie, and how far their bends are off fittings; infinite where they cannot
    be laid so, or weigh more than `most` with so much for each degree that is off. [money], [degrees]

    Runs that were not moved are taken from what is known where they begin and go on alike; `told` takes what is found.
    """
    cost, off, runs = 0.0, 0.0, tree.into.size
    for k in range(runs):
        lost = tree.basin_drop if tree.through[k] else 0.0
        invert, heading, m = np.inf, np.nan, tree.into[k]
        for n in range(k):
            if tree.into[n] == k:
                invert = min(invert, told[n, END] - lost)
        t = tree.tubes[k]
        tube = Tube(t[0], t[1], t[2], t[3], t[4], t[5], t[6], t[7], t[8])
        # a larger pipe than those that meet needs its own cover
        own = tree.own[k] if not np.isnan(tree.own[k]) else station(tree.bed, tube, shapes.x[k, 0], shapes.y[k, 0])[1]
        if own < invert:
            invert = own
        if m >= 0 and not tree.through[m]:
            heading = heading_of(shapes.x[m, 0], shapes.y[m, 0], shapes.x[m, 1], shapes.y[m, 1])
        alike = known[k, HEADING] == heading or (np.isnan(known[k, HEADING]) and np.isnan(heading))
        if not moved[k] and known[k, INVERT] == invert and alike:
            for i in range(5):
                told[k, i] = known[k, i]
        else:
            n = shapes.count[k]
            told[k, INVERT], told[k, HEADING] = invert, heading
            told[k, PAID], told[k, END], told[k, TURNED] = line_value(
                tree.bed, tube, tree.walls, tree.hits, shapes.x[k, :n], shapes.y[k, :n], invert, tree.bends,
                tree.tolerance, heading, tree.stubs[k], k, tree.kept)
        cost, off = cost + told[k, PAID], off + told[k, TURNED]
        if not (np.isfinite(cost) and cost + off_cost * off < most):
            return np.inf, 0.0
    return (cost, off) if told[runs - 1, END] >= tree.tubes[runs - 1, 7] - 1e-7 else (np.inf, 0.0)


@njit(cache=True)
def tangles(shapes: Any) -> int:
    """How often lines of a tree cross each other or lie in one another; those that meet at an end do not."""
    count = 0
    for k in range(shapes.count.size):
        for m in range(k + 1, shapes.count.size):
            for i in range(shapes.count[k] - 1):
                for j in range(shapes.count[m] - 1):
                    over, lies_in = _beside(shapes, k, i, m, j)
                    crossed, lies = _beside(shapes, m, j, k, i)
                    if (over and crossed) or lies_in or lies:
                        count += 1
    return count


@njit(cache=True)
def _beside(shapes: Any, k: int, i: int, m: int, j: int) -> Any:
    """Whether piece j of line m reaches over to both sides of piece i of line k, and whether it lies in it.

    So does one whose bend touches the other, but near that line's own ends.
    """
    ax, ay = shapes.x[k, i], shapes.y[k, i]
    dx, dy = shapes.x[k, i + 1] - ax, shapes.y[k, i + 1] - ay
    length = np.hypot(dx, dy)
    dx, dy = dx / max(length, 1e-9), dy / max(length, 1e-9)
    px, py = shapes.x[m, j], shapes.y[m, j]
    qx, qy = shapes.x[m, j + 1], shapes.y[m, j + 1]
    side_p, along_p = dx * (py - ay) - dy * (px - ax), dx * (px - ax) + dy * (py - ay)
    side_q, along_q = dx * (qy - ay) - dy * (qx - ax), dx * (qx - ax) + dy * (qy - ay)
    over = abs(side_p) > 1e-6 and abs(side_q) > 1e-6 and side_p * side_q < 0.0
    shared = min(max(along_p, along_q), length) - max(min(along_p, along_q), 0.0)
    if abs(side_p) < FLUSH and abs(side_q) < FLUSH and shared > FLUSH:
        return over, True
    if j == 0 or abs(side_p) >= FLUSH or along_p <= -FLUSH or along_p >= length + FLUSH:
        return over, False
    last = shapes.count[k] - 1
    away = min(np.hypot(shapes.x[k, 0] - px, shapes.y[k, 0] - py),
               np.hypot(shapes.x[k, last] - px, shapes.y[k, last] - py))
    return over, away > AT_END


@njit(cache=True)
def tangled(tree: Any, shapes: Any) -> int:
    """How often lines cross or lie in one another, or run through a basin that is not theirs."""
    count = tangles(shapes)
    for k in range(tree.into.size):
        for m in range(tree.into.size) if tree.through[k] else range(0):
            if m != k and m != tree.into[k] and tree.into[m] != k:
                away = np.inf
                for i in range(shapes.count[m] - 1):
                    away = min(away, _distance(shapes, m, i, shapes.x[k, 0], shapes.y[k, 0]))
                count += away <= IN_BASIN
    return int(count)


@njit(cache=True)
def _distance(shapes: Any, m: int, i: int, px: float, py: float) -> float:
    """Distance of a point from a piece of a line. [m]"""
    ax, ay = shapes.x[m, i], shapes.y[m, i]
    dx, dy = shapes.x[m, i + 1] - ax, shapes.y[m, i + 1] - ay
    square = dx * dx + dy * dy
    share = min(max(((px - ax) * dx + (py - ay) * dy) / square, 0.0), 1.0) if square > 0.0 else 0.0
    return float(np.hypot(px - ax - share * dx, py - ay - share * dy))


class _Moving(NamedTuple):
    """The shapes from which moves start, those at hand, the cheapest so far, and what is known of them."""

    base: Any
    trial: Any
    best: Any
    moved: Any  # (runs,) which runs of the trial differ from the base
    known: Any  # (runs, 5) of the base
    told: Any  # (runs, 5) of the trial
    least: Any  # (1,) weight of the best [money]


@njit(cache=True)
def improve(tree: Any, start: Any, steps: Any, off_cost: float) -> Any:
    """Shapes of a tree with bends and junctions moved, and bends left out, as long as that makes it cheaper.

    `steps` (reaches, 8, 2) are tried one reach after the other [m]; each degree off is held to cost `off_cost`.
    """
    runs = tree.into.size
    work = _Moving(_copy(start), _copy(start), _copy(start), np.ones(runs, np.bool_), np.full((runs, 5), np.inf),
                   np.empty((runs, 5)), np.empty(1))
    cost, off = value_tree(tree, start, work.moved, work.known, work.told, off_cost, np.inf)
    work.least[0] = cost + off_cost * off + TANGLE_COST * tangled(tree, start)
    for reach in range(steps.shape[0]):
        for _ in range(MOST_ROUNDS):
            before, bends = work.least[0], work.best.count.copy()
            for k in range(runs):
                for i in range(1, bends[k] - 1):
                    _move(tree, work, k, i, steps[reach], off_cost)
            for k in range(runs):
                if np.isnan(tree.own[k]):
                    _move(tree, work, k, 0, steps[reach], off_cost)
            if work.least[0] > before - 0.05:
                break
    return work.best


@njit(cache=True)
def _move(tree: Any, work: Any, k: int, i: int, steps: Any, off_cost: float) -> None:
    """Try a bend elsewhere or left out; or a junction, the beginning of the run below it, elsewhere or in a basin."""
    base, trial = work.base, work.trial
    _put(work.best, base)
    if i >= base.count[k] - 1:  # a bend before it was left out
        return
    runs = tree.into.size
    for m in range(runs):
        work.moved[m] = True
    value_tree(tree, base, work.moved, work.known, work.told, off_cost, np.inf)
    for m in range(runs):
        for column in range(5):
            work.known[m, column] = work.told[m, column]
    if i > 0:
        _back(work)
        _leave_out(trial, k, i, i + 1)
        work.moved[k] = True
        _keep_if_cheaper(tree, work, off_cost)
    for m in range(runs) if i == 0 else range(0):
        near = np.hypot(base.x[m, 0] - base.x[k, 0], base.y[m, 0] - base.y[k, 0]) <= NEAR_BASIN
        if tree.into[m] == k and tree.through[m] and near:
            _back(work)
            _join_at(tree, work, k, base.x[m, 0], base.y[m, 0])
            _keep_if_cheaper(tree, work, off_cost)
    for turn in range(steps.shape[0]):
        _back(work)
        _shift(tree, work, k, i, steps[turn])
        _keep_if_cheaper(tree, work, off_cost)
        for m in range(runs) if i == 0 else range(0):  # a branch may come straight to a junction's new place
            if tree.into[m] == k and base.count[m] > 2:
                _back(work)
                _shift(tree, work, k, i, steps[turn])
                _leave_out(trial, m, 1, base.count[m] - 1)
                _keep_if_cheaper(tree, work, off_cost)


@njit(cache=True)
def _shift(tree: Any, work: Any, k: int, i: int, step: Any) -> None:
    trial = work.trial
    trial.x[k, i] += step[0]
    trial.y[k, i] += step[1]
    work.moved[k] = True
    for m in range(tree.into.size) if i == 0 else range(0):
        if tree.into[m] == k:
            trial.x[m, trial.count[m] - 1] += step[0]
            trial.y[m, trial.count[m] - 1] += step[1]
            work.moved[m] = True


@njit(cache=True)
def _join_at(tree: Any, work: Any, k: int, x: float, y: float) -> None:
    """Put a run's junction to a place, an inflow that begins there without length."""
    trial = work.trial
    trial.x[k, 0], trial.y[k, 0] = x, y
    work.moved[k] = True
    for m in range(tree.into.size):
        if tree.into[m] == k:
            if np.hypot(trial.x[m, 0] - x, trial.y[m, 0] - y) < 1e-9:
                trial.x[m, 0], trial.y[m, 0], trial.count[m] = x, y, 2
            trial.x[m, trial.count[m] - 1], trial.y[m, trial.count[m] - 1] = x, y
            work.moved[m] = True


@njit(cache=True)
def _leave_out(shapes: Any, k: int, first: int, after: int) -> None:
    """Take vertices from `first` to before `after` out of a line."""
    count = shapes.count[k]
    for i in range(after, count):
        shapes.x[k, first + i - after], shapes.y[k, first + i - after] = shapes.x[k, i], shapes.y[k, i]
    shapes.count[k] = count - (after - first)


@njit(cache=True)
def _keep_if_cheaper(tree: Any, work: Any, off_cost: float) -> None:
    cost, off = value_tree(tree, work.trial, work.moved, work.known, work.told, off_cost, work.least[0] - 1e-6)
    weight = cost + off_cost * off
    if weight >= work.least[0] - 1e-6:
        return
    weight += TANGLE_COST * tangled(tree, work.trial)
    if weight < work.least[0] - 1e-6:
        work.least[0] = weight
        _put(work.trial, work.best)


@njit(cache=True)
def _back(work: Any) -> None:
    _put(work.base, work.trial)
    for k in range(work.moved.size):
        work.moved[k] = False


@njit(cache=True)
def _put(shapes: Any, place: Any) -> None:
    # one by one: compiled copies of whole arrays are many times as long
    for k in range(shapes.count.size):
        place.count[k] = shapes.count[k]
        for i in range(shapes.count[k]):
            place.x[k, i], place.y[k, i] = shapes.x[k, i], shapes.y[k, i]


@njit(cache=True)
def _copy(shapes: Any) -> Any:
    return Shapes(shapes.x.copy(), shapes.y.copy(), shapes.count.copy())
