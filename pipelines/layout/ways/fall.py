"""Fall to spare of collectors, by lidar or by level shots, and the verdict on it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple, cast

import numpy as np
import shapely
from scipy.special import betaincinv
from shapely import LineString, Point

from pipelines.inputs.ground_rules import lidar_noise
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.diagnosis.protected import mask_of
from pipelines.layout.diagnosis.situation import Situation
from pipelines.layout.plan import Outfall, Verdict
from pipelines.layout.routing.fall_to_spare import ROUNDING, fall_to_spare, way_lengths
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedLine, RoutePipe, RouteSpec
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import LaySettings, WayGround, collectors_of, route_spec, settings_to_try
from terrain.arrays import BoolArray, FloatArray
from terrain.ground import OPEN
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason

SURE_SHARE = 0.9
"""What holds on this share of the grounds that lidar allows is sure. [-]"""


class Fall(NamedTuple):
    """A fall to spare and its standard error; the same on the best estimate alone, and on each ground that lidar allows
    (none where they are not counted). [m]"""

    spare: float
    error: float
    laid: float
    on_grounds: FloatArray

    @classmethod
    def of(cls, laid: float, on_grounds: FloatArray, error: float, least_error: float) -> "Fall":
        """The likeliest of the grounds, and how far they differ; by the formula alone where there are none."""
        if not on_grounds.size:
            return cls(laid, error, laid, on_grounds)
        return cls(float(np.median(on_grounds)), max(float(on_grounds.std()), least_error), laid, on_grounds)


def spare_to(
    ground: WayGround,
    catching: Catching,
    flows: Mapping[str, float],
    name: str,
    outfall: OutfallSite,
    settings: LaySettings | None = None,
) -> Fall | None:
    """Fall to spare from a collector to an outfall, by the trade's target slope and cover where no others are given."""
    settings = settings or settings_to_try(ground.situation.rules, ground.layout)[0]
    spec, _ = route_spec(ground, settings)
    field = replace(ground.field, cover=np.maximum(ground.field.cover, settings.cover))
    (collector,) = collectors_of(catching, flows, [name], spec, settings)
    pipe = spec.pipes[spec.pipe_for(collector.flow)]
    cell = field.nearest_allowed(collector.point.x, collector.point.y)
    if cell is None:
        return None
    elsewhere = np.full(field.grid.shape, np.inf)
    elsewhere[cell] = -np.inf
    fall = fall_to_spare(
        field, OutfallTarget(outfall.id, outfall.point, outfall.level), pipe,
        spec if collector.through else replace(spec, basin_drop=0.0), known=elsewhere,
    )
    if not np.isfinite(fall.spare[cell]):
        return None
    # what the collector itself allows may bind before the ground along the way does
    needed = outfall.level + spec.dig_tolerance + pipe.min_slope * float(fall.length[cell])
    own, spare = collector.invert - needed, float(fall.spare[cell])
    at = collector.point
    if own > spare:
        binding = int(fall.binding[cell])
        x, y = field.grid.centres(binding // field.grid.shape[1], binding % field.grid.shape[1])
        at = Point(float(x), float(y))
    way = [(name, fall.way_from(*cell), pipe)]
    on_grounds = _on_grounds(ground, {name: collector}, way, outfall, spec, settings.cover)
    return Fall.of(min(own, spare), on_grounds, error_of_fall(at, outfall.point, ground), _least_error(ground))


def spare_along(
    ground: WayGround,
    collectors: Mapping[str, Collector],
    way: Sequence[tuple[RoutedLine, RoutePipe]],
    outfall: OutfallSite,
    spec: RouteSpec,
    cover: float,
) -> Fall:
    """Fall to spare along the way of lines as they are laid."""
    stretches = [(line.from_id, line.xy, pipe) for line, pipe in way]
    start = collectors[way[0][0].from_id]
    laid, binding = np.inf, start.point
    for part in _parts_along(ground, collectors, stretches, outfall, spec, cover):
        if part.left.min() < laid:
            laid, binding = float(part.left.min()), Point(part.points[int(np.argmin(part.left))])
    on_grounds = _on_grounds(ground, collectors, stretches, outfall, spec, cover)
    return Fall.of(laid, on_grounds, error_of_fall(binding, outfall.point, ground), _least_error(ground))


class _Part(NamedTuple):
    """Places of a way, and what each leaves to spare. [m]"""

    points: FloatArray
    left: FloatArray


def _on_grounds(
    ground: WayGround,
    collectors: Mapping[str, Collector],
    way: Sequence[tuple[str, FloatArray, RoutePipe]],
    outfall: OutfallSite,
    spec: RouteSpec,
    cover: float,
) -> FloatArray:
    """Least fall to spare along a way on each ground that lidar allows, the outfall's level among what differs. [m]"""
    grounds, grid = ground.situation.grounds, ground.field.grid
    if grounds is None or not all(len(xy) > 1 and LineString(xy).length for _, xy, _ in way):
        return np.empty(0)
    least = np.full(grounds.count, np.inf)
    for part in _parts_along(ground, collectors, way, outfall, spec, cover):
        counts = np.isfinite(part.left)
        if counts.any():
            above = grounds.at(*grid.cells(*part.points[counts].T))
            least = np.minimum(least, (part.left[counts] + above).min(axis=1))
    return least - level_above(ground.situation, outfall)


def level_above(situation: Situation, outfall: OutfallSite | Outfall) -> FloatArray:
    """By how much an outfall's level lies above its likeliest on each ground; not at all where somebody gave it. [m]"""
    grounds, grid = situation.grounds, situation.grid
    assert grounds is not None
    if outfall.verified:
        return np.zeros(grounds.count)
    reach = situation.rules["outfall_bottom_reach"].likely if outfall.given else 0.0
    near = shapely.buffer(outfall.point, max(reach, grid.cell_width, grid.cell_height))
    earth = situation.drainage.ground
    return grounds.lowest(earth.elevation, mask_of(near, grid) & (earth.kind == OPEN))


def _least_error(ground: WayGround) -> float:
    return ground.situation.rules["shot_error"].likely if ground.situation.shots else 0.0


def _parts_along(
    ground: WayGround,
    collectors: Mapping[str, Collector],
    way: Sequence[tuple[str, FloatArray, RoutePipe]],
    outfall: OutfallSite,
    spec: RouteSpec,
    cover: float,
) -> Iterator[_Part]:
    """What each place of a way leaves to spare, infinite where nothing is asked of it; last what its beginning does."""
    field, grid = ground.field, ground.field.grid
    start = collectors[way[0][0]]
    need, ahead = outfall.level + spec.dig_tolerance, 0.0
    for from_id, xy, pipe in reversed(way):
        step = 0.5 * min(grid.cell_width, grid.cell_height)
        points = shapely.get_coordinates(shapely.segmentize(LineString(xy), step))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        rest = along[-1] - along
        rows, columns = grid.cells(points[:, 0], points[:, 1])
        rows, columns = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
        left = field.ground[rows, columns] - np.maximum(field.cover[rows, columns], cover) - pipe.crown
        left -= need + pipe.min_slope * rest
        # at a collector its own invert counts, not the cells beside it
        beside = (along < 1.0) & (from_id in collectors)
        left[~np.isfinite(left) | (ahead + rest <= spec.taper_length) | beside] = np.inf
        yield _Part(points, left)
        need, ahead = need + pipe.min_slope * float(along[-1]), ahead + float(along[-1])
        passed = collectors.get(from_id)
        if passed is not None and passed is not start and passed.through:
            need += spec.basin_drop
    yield _Part(np.array([[start.point.x, start.point.y]]), np.array([start.invert - need]))


def out_of_reach(
    ground: WayGround,
    catching: Catching,
    flows: Mapping[str, float],
    wanted: Sequence[str],
    targets: Sequence[OutfallSite],
    settings: LaySettings,
) -> dict[str, Reason]:
    """Collectors that no line can serve whatever its way: even the shortest needs more fall than there is."""
    spec, _ = route_spec(ground, settings)
    short: dict[str, float] = {}
    for collector in collectors_of(catching, flows, wanted, spec, settings):
        cell = ground.field.nearest_allowed(collector.point.x, collector.point.y)
        if cell is None:
            continue
        x, y = ground.field.grid.centres(*cell)
        slope = spec.pipes[spec.pipe_for(collector.flow)].min_slope
        # no way is shorter than the straight one; one that has its fall settles it
        straight = [np.hypot(x - site.point.x, y - site.point.y) - ROUNDING for site in targets]
        most = [collector.invert - site.level - slope * way for site, way in zip(targets, straight, strict=True)]
        found = -np.inf
        for left, site in sorted(zip(most, targets, strict=True), key=lambda each: -each[0]):
            if left <= found or found >= 0.0:
                break
            length = float(way_lengths(ground.field, site.point)[cell])
            if np.isfinite(length):
                found = max(found, collector.invert - site.level - slope * length)
        if -np.inf < found < 0.0:
            short[collector.id] = found
    return {name: reason("short_of_fall", short=-left) for name, left in short.items()}


def error_of_fall(upper: Point, lower: Point, ground: WayGround) -> float:
    """Standard error of the fall between two places: of lidar, or of level shots near them. [m]"""
    rmse, noise = ground.situation.rmse, lidar_noise(ground.situation.rules)
    between = fall_error(rmse, float(shapely.distance(upper, lower)), **noise)
    shots = ground.situation.shots
    if not shots:
        return between
    nearest = [min(float(shapely.distance(place, shot)) for shot in shots) for place in (upper, lower)]
    by_shots = float(np.hypot(fall_error(rmse, nearest[0], **noise), fall_error(rmse, nearest[1], **noise)))
    return max(min(between, by_shots), ground.situation.rules["shot_error"].likely)


def verdict_of(spare: float, error: float, sigmas: float) -> Verdict:
    """Whether a fall to spare stands clear of its error, by so many of its standard errors."""
    if abs(spare) <= sigmas * error:
        return "cannot_tell"
    return "sure" if spare > 0.0 else "no"


def verdict_as_laid(spare: float, margin: float, error: float, sigmas: float, *, over: float = 0.0) -> Verdict:
    """Verdict on a line that is laid: it falls all the way by this ground, so it is never a plain no.

    Sure where the trade's target stands clear of its error; also where it is clearly missed and the floors that the
    line is laid by stand clear. The outfall's level may lie so much over what the line is laid to. [m]
    """
    spare, margin = spare - over, margin - over
    by_target = verdict_of(spare, error, sigmas)
    if by_target == "no":
        return "sure" if verdict_of(margin, error, sigmas) == "sure" else "cannot_tell"
    return by_target


def odds_of(holds: BoolArray) -> Reason:
    """On how many of the grounds that lidar allows something holds."""
    return reason("gravity_on_grounds", holds=int(np.count_nonzero(holds)), grounds=int(holds.size))


def verdict_by_count(holds: BoolArray) -> Verdict:
    """Sure on nine of ten grounds, no on one of ten; of few, where the share is shown to be so high or low.

    Notes
    -----
    Of fewer than 100 the one-sided 90 % bound of the share is held against 85 % [1]_.

    References
    ----------
    .. [1] Clopper and Pearson, "The use of confidence or fiducial limits", Biometrika 26, 1934, pp. 404-413.
    """
    count, all_of = int(np.count_nonzero(holds)), int(holds.size)
    for verdict, found in (("sure", count), ("no", all_of - count)):
        shown = all_of >= 100 or (found > 0 and betaincinv(found, all_of - found + 1, 0.1) >= 0.85)
        if found >= SURE_SHARE * all_of and shown:
            return cast(Verdict, verdict)
    return "cannot_tell"
