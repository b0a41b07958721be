"""The compiled loops over a round barrel: its critical depth, and the water stepped up it from its outlet."""

from math import acos, asin, cos, sin, sqrt
from typing import Any

from numba import njit

from pipelines.hydraulics.constants import GRAVITY
from terrain.compiled import ensure_cache

ensure_cache()

# Halvings that leave nothing of a barrel's height but round-off.
_HALVINGS = 60
_SEARCHED, _STEPS = 40, 120


@njit(cache=True)  # type: ignore[untyped-decorator]
def _segment(depth: Any, diameter: Any) -> Any:
    """Area and top width of a round pipe filled to a depth. [m2], [m]"""
    theta = 2.0 * acos(1.0 - 2.0 * min(depth / diameter, 1.0))
    return max(diameter**2 * (theta - sin(theta)) / 8.0, 0.0), diameter * max(sin(theta / 2.0), 0.0)


@njit(cache=True)  # type: ignore[untyped-decorator]
def _critical_flow(depth: Any, diameter: Any, silt: Any, silted: Any) -> Any:
    """Flow that passes a depth above the silt with least energy. [m3/s]"""
    area, width = _segment(depth + silt, diameter)
    return (area - silted) * sqrt(max(GRAVITY * (area - silted) / width, 0.0))


@njit(cache=True)  # type: ignore[untyped-decorator]
def critical_in_barrel(diameter: Any, silt: Any, flow: Any) -> Any:
    """Depth above the silt at which a flow above zero passes with least energy, as of `barrel.critical_depth`. [m]"""
    rise = diameter - silt
    silted = _segment(silt, diameter)[0] if silt > 0.0 else 0.0
    low, high = 1e-9 * rise, (1.0 - 1e-9) * rise
    if _critical_flow(high, diameter, silt, silted) <= flow:
        return rise
    if _critical_flow(low, diameter, silt, silted) >= flow:
        return low
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _critical_flow(middle, diameter, silt, silted) < flow:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@njit(cache=True)  # type: ignore[untyped-decorator]
def _free(depth: Any, diameter: Any, silt: Any, lost: Any) -> Any:
    """Wet area and wetted perimeter at a depth above the silt no higher than the crown, and open there."""
    # the angle by the arc sine of the root keeps its digits in shallow water
    half = 2.0 * asin(sqrt(min(max((depth + silt) / diameter, 0.0), 1.0)))
    return diameter**2 / 4.0 * (half - sin(half) * cos(half)) - lost[0], diameter * half + lost[1]


@njit(cache=True)  # type: ignore[untyped-decorator]
def _friction(depth: Any, diameter: Any, silt: Any, lost: Any, carried: Any) -> Any:
    """Friction slope; `carried` is flow times roughness. [-]"""
    area, perimeter = _free(depth, diameter, silt, lost)
    return carried**2 * perimeter ** (4.0 / 3.0) / area ** (10.0 / 3.0)


@njit(cache=True)  # type: ignore[untyped-decorator]
def free_depth_up(
    diameter: Any, silt: Any, lost: Any, flow: Any, roughness: Any, slope: Any, length: Any, depth: Any, critical: Any,
    full: Any,
) -> Any:  # fmt: skip
    """Depth at the upper end of a length over which a barrel's surface is free at a depth at its lower end.

    `lost` holds the silt's area and what it adds to the perimeter, `full` the friction slope of the full barrel.
    """
    rise, carried = diameter - silt, flow * roughness
    rises = _friction(depth, diameter, silt, lost, carried) > slope
    end = rise if rises else critical
    if depth == end:
        return depth
    crosses, before = False, depth
    for k in range(1, _SEARCHED):
        tried = depth + (end - depth) * k / (_SEARCHED - 1)
        if (_friction(tried, diameter, silt, lost, carried) > slope) != rises:
            # the normal depth lies between
            crosses, after = True, tried
            for _ in range(_HALVINGS):
                middle = 0.5 * (before + after)
                if (_friction(middle, diameter, silt, lost, carried) > slope) == rises:
                    before = middle
                else:
                    after = middle
            end = 0.5 * (before + after)
            break
        before = tried
    away, below = 0.0, depth
    area = _free(depth, diameter, silt, lost)[0]
    energy = depth + (flow / area) ** 2 / (2.0 * GRAVITY)
    spent = _friction(depth, diameter, silt, lost, carried) - slope
    for k in range(1, _STEPS):
        # close together at both ends, where depth changes fast from the critical one and slowly towards the normal one
        share = k / (_STEPS - 1.0)
        above = depth + (end - depth) * share**2 * (3.0 - 2.0 * share)
        area = _free(above, diameter, silt, lost)[0]
        energy_above = above + (flow / area) ** 2 / (2.0 * GRAVITY)
        spent_above = _friction(above, diameter, silt, lost, carried) - slope
        step = (energy_above - energy) / (0.5 * (spent_above + spent))
        if away + step > length:
            return below + (above - below) * (length - away) / step
        away, below, energy, spent = away + step, above, energy_above, spent_above
    return end + (full - slope) * (length - away) if rises and not crosses else end
