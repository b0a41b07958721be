"""The answer of `lotshed storm` as a person reads it on a terminal."""

from pipelines.hydrology.storm_question import StormAnswer
from terrain.unit_table import INCH

SERIES = {
    "partial_duration": "storms above a threshold (partial duration)",
    "annual_maximum": "the largest of each year (annual maximum)",
    "unknown": "not said by the table",
}


def storm_answer(answer: StormAnswer) -> str:
    """The run's answer as plain text, every number with its unit."""
    first, last = answer.return_periods[0], answer.return_periods[-1]
    if answer.beyond_table:
        period = f"beyond the table, which ends at {last:g} yr"
    elif answer.below_table:
        period = f"below the table, which begins at {first:g} yr"
    elif answer.return_period is None:
        period = "unknown"
    else:
        period = f"about {answer.return_period:.{0 if answer.return_period >= 10 else 1}f} yr"
    lines = [
        f"{_depth(answer.depth)} in {answer.duration / 60:g} min: {_intensity(answer.intensity)}",
        f"return period: {period}",
        "",
        f"depth of {answer.duration / 60:g} min in the table:",
    ]
    for years, depth in zip(answer.return_periods, answer.depths, strict=True):
        lines.append(f"  {years:>6g} yr  {_depth(depth)}, {_intensity(depth / answer.duration)}")
    lines += ["", f"source: {answer.source}", f"series: {SERIES[answer.series]}"]
    return "\n".join(lines)


def _depth(depth: float) -> str:
    return f"{depth / INCH:.2f} in ({depth * 1000:.1f} mm)"


def _intensity(intensity: float) -> str:
    return f"{intensity * 3600 / INCH:.2f} in/h ({intensity * 3600 * 1000:.0f} mm/h)"
