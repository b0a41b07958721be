"""The compiled loop that steps a pool through a storm."""

import numpy as np
from numba import njit

from terrain.compiled import ensure_cache

ensure_cache()

_STILL = 1e-9


@njit(cache=True)
def route_pool(  # type: ignore[no-untyped-def]
    inflow, step, weight, start, watched, volumes, ground, losses, which, which_step
):
    """Volumes, what leaves by pipe and over the sill at each step, and what soaks away.

    The inflow's steps, then steps without inflow as long as it is watched and not at rest; none where `watched` is 0.
    Row `which[k]` of the losses holds from the time k `which_step` on, the last to the end.
    [m3/s], [s], [-], [m3], [s], [m3], [m3/s], [m3/s], [-], [s] to [m3], [m3/s], [m3/s], [m3]
    """
    last = which.size - 1
    capacity = volumes[-1]
    most = inflow.size + (np.int64(np.ceil(watched / step)) + 2 if watched > 0.0 else 0)
    held, left, spilt = np.empty(most + 1), np.zeros(most + 1), np.zeros(most + 1)
    held[0] = volume = start
    soaked, time, end, done = 0.0, 0.0, 0.0, 0
    while done < most:
        lost_at = losses[which[min(int(time / which_step), last)]]
        flow = 0.0
        if done < inflow.size:
            flow = inflow[done]
        else:
            if done == inflow.size:
                end = time + watched
            still = _at(lost_at, volumes, volume) * step < _STILL * capacity or volume < _STILL * capacity
            if time >= end or (still and (last == 0 or time > last * which_step)):
                break
        before = (1.0 - weight) * _at(lost_at, volumes, volume) if weight < 1.0 else 0.0
        after = _end_of_step(volume + step * (flow - before), step * weight, volumes, lost_at)
        lost = volume + step * flow - after
        into_ground = lost * _ground_share(after, volumes, ground, lost_at)
        over = max(0.0, after - capacity)
        soaked += into_ground
        done += 1
        left[done] = (lost - into_ground) / step
        spilt[done] = over / step
        held[done] = volume = after - over
        time += step
    return held[: done + 1], left[: done + 1], spilt[: done + 1], soaked


@njit(cache=True)
def _at(rates, volumes, volume):  # type: ignore[no-untyped-def]
    """One of the columns at a volume."""
    low = min(max(np.searchsorted(volumes, volume, side="right") - 1, 0), volumes.size - 2)
    below, above = volumes[low], volumes[low + 1]
    part = min(max((volume - below) / (above - below), 0.0), 1.0)
    return rates[low] + part * (rates[low + 1] - rates[low])


@njit(cache=True)
def _end_of_step(wanted, step, volumes, losses):  # type: ignore[no-untyped-def]
    """Volume at the end of a step: the V for which V + step x L(V) is `wanted`, at least 0. [m3]"""
    if wanted <= step * losses[0]:
        return 0.0
    low, high = 0, volumes.size - 1
    if wanted >= volumes[high] + step * losses[high]:
        return wanted - step * losses[high]
    while high - low > 1:
        middle = (low + high) // 2
        if volumes[middle] + step * losses[middle] <= wanted:
            low = middle
        else:
            high = middle
    below, above = volumes[low] + step * losses[low], volumes[high] + step * losses[high]
    return volumes[low] + (wanted - below) / (above - below) * (volumes[high] - volumes[low])


@njit(cache=True)
def _ground_share(volume, volumes, ground, losses):  # type: ignore[no-untyped-def]
    """Share of the losses at a volume that goes into the ground; of a dry pool, of its first water. [-]"""
    all_of_it = _at(losses, volumes, volume)
    if all_of_it > 0.0:
        return _at(ground, volumes, volume) / all_of_it
    # what left must have gone the way the next water would
    return ground[1] / losses[1] if losses[1] > 0.0 else 1.0
