"""Fall to spare of collectors, by lidar or by level shots, and the verdict on it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, Point

from pipelines.inputs.ground_rules import lidar_noise
from pipelines.layout.catching.proposal import Catching
from pipelines.layout.plan import Verdict
from pipelines.layout.routing.fall_to_spare import fall_to_spare
from pipelines.layout.routing.spec import Collector, OutfallTarget, RoutedLine, RoutePipe, RouteSpec
from pipelines.layout.ways.outfall_sites import OutfallSite
from pipelines.layout.ways.settings import LaySettings, WayGround, collectors_of, route_spec, settings_to_try
from terrain.lidar_error import fall_error
from terrain.reason import Reason, reason


def spare_to(
    ground: WayGround, catching: Catching, flows: Mapping[str, float], name: str, outfall: OutfallSite
) -> tuple[float, float] | None:
    """Fall to spare from a collector to an outfall by the trade's target slope and cover, and its error. [m]"""
    settings = settings_to_try(ground.situation.rules, ground.layout)[0]
    spec, _ = route_spec(ground, settings)
    field = replace(ground.field, cover=np.maximum(ground.field.cover, settings.cover))
    (collector,) = collectors_of(catching, flows, [name], spec, settings)
    pipe = spec.pipes[spec.pipe_for(collector.flow)]
    fall = fall_to_spare(
        field, OutfallTarget(outfall.id, outfall.point, outfall.level), pipe,
        spec if collector.through else replace(spec, basin_drop=0.0),
    )
    cell = field.nearest_allowed(collector.point.x, collector.point.y)
    if cell is None or not np.isfinite(fall.spare[cell]):
        return None
    # what the collector itself allows may bind before the ground along the way does
    needed = outfall.level + spec.dig_tolerance + pipe.min_slope * float(fall.length[cell])
    own = collector.invert - needed
    if own <= float(fall.spare[cell]):
        return own, error_of_fall(collector.point, outfall.point, ground)
    binding = int(fall.binding[cell])
    x, y = field.grid.centres(binding // field.grid.shape[1], binding % field.grid.shape[1])
    return float(fall.spare[cell]), error_of_fall(Point(float(x), float(y)), outfall.point, ground)


def spare_along(
    ground: WayGround,
    collectors: Mapping[str, Collector],
    way: Sequence[tuple[RoutedLine, RoutePipe]],
    outfall: OutfallSite,
    spec: RouteSpec,
    cover: float,
) -> tuple[float, float]:
    """Fall to spare along the way of lines as they are laid, and its error. [m]"""
    field, grid = ground.field, ground.field.grid
    start = collectors[way[0][0].from_id]
    need, ahead = outfall.level + spec.dig_tolerance, 0.0
    least, binding = np.inf, start.point
    for line, pipe in reversed(way):
        step = 0.5 * min(grid.cell_width, grid.cell_height)
        points = shapely.get_coordinates(shapely.segmentize(LineString(line.xy), step))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        rest = along[-1] - along
        rows, columns = grid.cells(points[:, 0], points[:, 1])
        rows, columns = np.clip(rows, 0, grid.shape[0] - 1), np.clip(columns, 0, grid.shape[1] - 1)
        left = field.ground[rows, columns] - np.maximum(field.cover[rows, columns], cover) - pipe.crown
        left -= need + pipe.min_slope * rest
        # at a collector its own invert counts, not the cells beside it
        beside = (along < 1.0) & (line.from_id in collectors)
        left[~np.isfinite(left) | (ahead + rest <= spec.taper_length) | beside] = np.inf
        if left.min() < least:
            least, binding = float(left.min()), Point(points[int(np.argmin(left))])
        need, ahead = need + pipe.min_slope * float(along[-1]), ahead + float(along[-1])
        passed = collectors.get(line.from_id)
        if passed is not None and passed is not start and passed.through:
            need += spec.basin_drop
    if start.invert - need < least:
        least, binding = start.invert - need, start.point
    return least, error_of_fall(binding, outfall.point, ground)


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
    collectors = collectors_of(catching, flows, wanted, spec, settings)
    for site in targets:
        fall = fall_to_spare(ground.field, OutfallTarget(site.id, site.point, site.level), spec.pipes[0], spec)
        for collector in collectors:
            cell = ground.field.nearest_allowed(collector.point.x, collector.point.y)
            length = float(fall.length[cell]) if cell is not None else np.nan
            if np.isfinite(length):
                slope = spec.pipes[spec.pipe_for(collector.flow)].min_slope
                left = collector.invert - site.level - slope * length
                short[collector.id] = max(short.get(collector.id, -np.inf), left)
    return {
        name: reason("short_of_fall", short=-left)
        for name, left in short.items()
        if left < 0.0
    }


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
