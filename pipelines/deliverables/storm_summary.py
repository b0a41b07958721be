"""Which storm a rain was, for scripts, in SI."""

from typing import Any

from pipelines.hydrology.storm_question import StormAnswer


def storm_summary(answer: StormAnswer) -> dict[str, Any]:
    """What a rain table says of a rain."""
    return {
        "depth_mm": answer.depth * 1000,
        "duration_min": answer.duration / 60,
        "intensity_mm_h": answer.intensity * 1000 * 3600,
        "return_period_yr": answer.return_period,
        "beyond_table": answer.beyond_table,
        "below_table": answer.below_table,
        "same_duration": [
            {"return_period_yr": float(years), "depth_mm": float(depth) * 1000}
            for years, depth in zip(answer.return_periods, answer.depths, strict=True)
        ],
        "series": answer.series,
        "source": answer.source,
    }
