"""Which storm a rain was, for scripts, in SI."""

from typing import Any

from pipelines.hydrology.storm_question import StormAnswer
from terrain.unit_table import MILLIMETRE_PER_HOUR, MINUTE, si_factor


def storm_summary(answer: StormAnswer) -> dict[str, Any]:
    """What a rain table says of a rain."""
    millimetre = si_factor("mm")
    return {
        "depth_mm": answer.depth / millimetre,
        "duration_min": answer.duration / MINUTE,
        "intensity_mm_h": answer.intensity / MILLIMETRE_PER_HOUR,
        "return_period_yr": answer.return_period,
        "beyond_table": answer.beyond_table,
        "below_table": answer.below_table,
        "same_duration": [
            {"return_period_yr": float(years), "depth_mm": float(depth) / millimetre}
            for years, depth in zip(answer.return_periods, answer.depths, strict=True)
        ],
        "series": answer.series,
        "source": answer.source,
    }
