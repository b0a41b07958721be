"""The compiled loop over the part of a cross-section that is under water."""

from typing import Any

import numpy as np
from numba import njit

from terrain.compiled import ensure_cache

ensure_cache()


@njit(cache=True)  # type: ignore[untyped-decorator]
def wet_parts(x: Any, z: Any, n: Any, stage: float) -> Any:
    """Area, top width, wetted perimeter, and its length times n to the power of 1.5. [m2], [m], [m], [m]"""
    left = right = int(np.argmin(z))
    while left > 0 and z[left - 1] < stage:
        left -= 1
    while right < z.size - 1 and z[right + 1] < stage:
        right += 1
    area, top, perimeter, weighted = 0.0, 0.0, 0.0, 0.0
    for i in range(max(left - 1, 0), min(right + 1, z.size - 1)):
        depth_a, depth_b = max(stage - z[i], 0.0), max(stage - z[i + 1], 0.0)
        run, rise = x[i + 1] - x[i], abs(z[i + 1] - z[i])
        # a segment that leaves the water is wet over the share of its rise that lies below the level
        wet = abs(depth_a - depth_b) / rise if rise > 0.0 else 1.0
        length = wet * np.hypot(run, rise)
        area += wet * run * (depth_a + depth_b) / 2.0
        top += wet * run
        perimeter += length
        weighted += length * n[i] ** 1.5
    for end, segment in ((0, 0), (z.size - 1, n.size - 1)):
        if left <= end <= right:
            perimeter += stage - z[end]
            weighted += (stage - z[end]) * n[segment] ** 1.5
    return area, top, perimeter, weighted


@njit(cache=True)  # type: ignore[untyped-decorator]
def wet_table(x: Any, z: Any, n: Any, stages: Any) -> Any:
    """Area, top width, wetted perimeter and its length times n to the power of 1.5 at each of many levels (k,), rows of
    one array; 0 where dry."""
    found = np.zeros((4, stages.size))
    lowest = z.min()
    for k in range(stages.size):
        if stages[k] > lowest:
            found[0, k], found[1, k], found[2, k], found[3, k] = wet_parts(x, z, n, stages[k])
    return found
