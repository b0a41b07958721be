"""Slope and cover of a run in words, segment by segment: over a broken grade a mean tells a crew nothing."""

from collections.abc import Callable

from pipelines.deliverables.words.quantities import written
from pipelines.layout.plan import PipeRun
from terrain.reason import Reason, reason
from terrain.unit_table import FOOT, Units


def slopes_of(run: PipeRun) -> Reason | None:
    """Slope of each segment and how far it goes, downstream; None for pressure."""
    if run.slope is None:
        return None
    if len(run.segments) < 2:
        return reason("slope_alone", slope=run.slope)
    return reason("slopes_by_segment", segments=tuple(
        reason("slope_of_segment", slope=each.slope, length=each.end - each.start) for each in run.segments
    ))


def covers_of(run: PipeRun) -> Reason:
    """Least cover of each segment, downstream, or of the whole line."""
    if not run.segments:
        return reason("cover_of_segment", cover=run.least_cover)
    return reason("covers_by_segment", segments=tuple(
        reason("cover_of_segment", cover=each.least_cover) for each in run.segments
    ))


def slope_range(run: PipeRun) -> Reason | None:
    """Its one slope, or the flattest and the steepest of its segments; None for pressure."""
    if run.slope is None or len(run.segments) < 2:
        return slopes_of(run)
    slopes = [each.slope for each in run.segments]
    return reason("slope_range", flattest=min(slopes), steepest=max(slopes), segments=len(slopes))


def fall_for_crew(slope: float) -> Reason:
    """A slope as a crew reads it off a level."""
    return reason("fall_for_crew", fall=slope * 10.0 * FOOT, metric_fall=slope * 10.0)


def fall_over_ten(units: Units) -> tuple[Callable[[float], str], str]:
    """What writes a slope as the fall over ten feet or metres, without its unit, and that unit."""
    kind, length = ("depth", 10.0 * FOOT) if units == "us" else ("diameter", 10.0)
    return (lambda slope: written(slope * length, kind, units)[0]), "in / 10 ft" if units == "us" else "mm / 10 m"
