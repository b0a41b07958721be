"""The compiled loop along the crest of a weir."""

from typing import Any

import numpy as np
from numba import njit

from terrain.compiled import ensure_cache

ensure_cache()


@njit(cache=True)  # type: ignore[untyped-decorator]
def head_along_crest(station: Any, crest: Any, level: Any) -> Any:
    """Integral of head to the power of 1.5 along a crest of straight pieces; NaN where stations do not rise or a head
    is not finite. [m2.5]"""
    total = 0.0
    before = 0.0
    for i in range(station.size):
        head = max(level - crest[i], 0.0) if level == level and crest[i] == crest[i] else np.nan
        if not np.isfinite(head):
            return np.nan
        if i > 0:
            run, rise = station[i] - station[i - 1], abs(crest[i] - crest[i - 1])
            if not run > 0.0:
                return np.nan
            low, high = min(before, head), max(before, head)
            # over a sloping piece the head runs evenly from low to high: its integral of h^1.5 is
            # (high^2.5 - low^2.5)/2.5 over the slope; an almost level piece takes its mean, where the difference of
            # powers would lose its digits
            if rise <= 1e-7 * max(high, 1e-12):
                total += run * ((low + high) / 2.0) ** 1.5
            else:
                total += run / rise * (high**2.5 - low**2.5) / 2.5
        before = head
    return total
