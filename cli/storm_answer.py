"""The answer of `lotshed storm` as a person reads it on a terminal."""

from pipelines.deliverables.words.quantities import format_quantity
from pipelines.hydrology.rain.rainfall import duration_text
from pipelines.hydrology.storm_question import StormAnswer
from terrain.unit_table import Units

SERIES = {
    "partial_duration": "storms above a threshold (partial duration)",
    "annual_maximum": "the largest of each year (annual maximum)",
    "unknown": "not said by the table",
}


def storm_answer(answer: StormAnswer, units: Units) -> str:
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
    duration = duration_text(answer.duration)

    def rain(depth: float) -> tuple[str, str]:
        return format_quantity(depth, "rain", units), format_quantity(depth / answer.duration, "rate", units)

    lines = [
        f"{rain(answer.depth)[0]} in {duration}: {rain(answer.depth)[1]}",
        f"return period: {period}",
        "",
        f"depth of {duration} in the table:",
        *(
            f"  {years:>6g} yr  {', '.join(rain(depth))}"
            for years, depth in zip(answer.return_periods, answer.depths, strict=True)
        ),
        "",
        f"source: {answer.source}",
        f"series: {SERIES[answer.series]}",
    ]
    return "\n".join(lines)
