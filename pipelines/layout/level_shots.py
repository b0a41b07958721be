"""Level shots that would lessen most what this lidar leaves open: where, what is read, and what they are worth."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from shapely import Point

from pipelines.layout.diagnosis.possible_troubles import PlaceOnGrounds
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.parts import LevelShot
from pipelines.layout.plan import Plan
from pipelines.layout.ways.fall import level_above, verdict_by_count
from terrain.arrays import FloatArray, IntArray
from terrain.ground import OPEN
from terrain.lidar.worth_of_shots import shots_worth_taking
from terrain.reason import Reason, reason

ALONG_LINE = 4.0
"""Places along a line where a level may be read lie so far apart. [m]"""


class _Place(NamedTuple):
    """Where a level may be read: what is read there, and its height on each ground above the best estimate's. [m]"""

    what: Reason
    point: Point
    above: FloatArray


class _Figure(NamedTuple):
    """What decides on each ground by being above 0 [m], and the question that it answers."""

    question: Reason
    values: FloatArray


def level_shots(situation: Situation, plan: Plan, places: Sequence[PlaceOnGrounds]) -> tuple[LevelShot, ...]:
    """Shots in the order in which they are worth most; none where nothing is in doubt, or grounds are not counted."""
    if situation.grounds is None or plan.refer_out:
        return ()
    figures = [each for each in _figures(plan, places) if verdict_by_count(each.values >= 0.0) == "cannot_tell"]
    if not figures:
        return ()
    spots = [*_at_places(situation, places), *_along_lines(situation, plan), *_at_outfalls(situation, plan)]
    found = shots_worth_taking(
        np.array([each.values for each in figures]), np.array([each.above for each in spots]),
        situation.rules["shot_error"].likely, known=bool(situation.shots),
    )
    return tuple(
        LevelShot(
            id=f"shot-{order}", order=order, point=spots[each.candidate].point, what=spots[each.candidate].what,
            gain=reason("shot_is_reference") if each.figure is None else reason(
                "shot_lessens_doubt", question=figures[each.figure].question, before=round(100.0 * each.before),
                after=round(100.0 * each.after),
            ),
            doubt_before=None if each.figure is None else each.before,
            doubt_after=None if each.figure is None else each.after,
        )
        for order, each in enumerate(found, start=1)
    )  # fmt: skip


def _figures(plan: Plan, places: Sequence[PlaceOnGrounds]) -> Iterator[_Figure]:
    for line in plan.discharges:
        if line.on_grounds and line.outfall is not None:
            yield _Figure(
                reason("doubt_fall", names=line.serves, outfall=line.outfall), np.array(line.on_grounds)
            )
    built = bool(plan.pipe_runs or plan.catch_basins or plan.take_off)
    for place in places:
        # where works are built what else may stand on a lawn changes nothing
        if place.kind == "lawn" and built:
            continue
        yield _Figure(reason("doubt_stands", place=place.name), place.over)


def _at_places(situation: Situation, places: Sequence[PlaceOnGrounds]) -> Iterator[_Place]:
    """Each place's lowest ground, where the low spots there spill, and the lowest ground at the house."""
    width = situation.grid.shape[1]
    for place in places:
        yield _cell(situation, reason("shot_low", place=place.name), place.low)
        for spot in situation.counted_spots:
            if spot.spill_cell is not None and np.isin(place.low, spot.cells):
                yield _cell(situation, reason("shot_spill", spot=spot.id), spot.spill_cell)
    earth = situation.drainage.ground
    for number, house in enumerate(shapely.get_parts(situation.houses), start=1):
        # a sill stands over the ground that is nearest to the house
        rows, columns = np.nonzero((earth.kind == OPEN) & situation.on_parcel)
        x, y = situation.grid.centres(rows, columns)
        near = shapely.distance(house, shapely.points(x, y))
        if near.size and near.min() <= 2.0 * max(situation.grid.cell_width, situation.grid.cell_height):
            at = int(np.argmin(near))
            yield _cell(situation, reason("shot_sill", house=number), int(rows[at] * width + columns[at]))


def _along_lines(situation: Situation, plan: Plan) -> Iterator[_Place]:
    for run in plan.pipe_runs:
        line = shapely.force_2d(run.line)
        for along in np.arange(0.0, line.length, ALONG_LINE).tolist():
            what = reason("shot_collector", name=run.from_id) if along == 0.0 else reason(
                "shot_line", run=run.id, along=along
            )  # fmt: skip
            yield _spot(situation, what, shapely.line_interpolate_point(line, along))


def _at_outfalls(situation: Situation, plan: Plan) -> Iterator[_Place]:
    used = {line.outfall for line in plan.discharges}
    for outfall in plan.outfalls:
        if outfall.id in used and not outfall.verified:
            yield _Place(reason("shot_bottom", outfall=outfall.id), outfall.point, level_above(situation, outfall))


def _cell(situation: Situation, what: Reason, cell: int) -> _Place:
    row, column = np.divmod(np.array([cell]), situation.grid.shape[1])
    x, y = situation.grid.centres(row, column)
    return _read(situation, what, Point(float(x[0]), float(y[0])), row, column)


def _spot(situation: Situation, what: Reason, point: Point) -> _Place:
    return _read(situation, what, point, *situation.grid.cells(np.array([point.x]), np.array([point.y])))


def _read(situation: Situation, what: Reason, point: Point, row: IntArray, column: IntArray) -> _Place:
    assert situation.grounds is not None
    return _Place(what, point, situation.grounds.at(row, column)[:, 0])
