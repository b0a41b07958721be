"""Steps in which a raster's heights come."""

import numpy as np

from terrain.arrays import FloatArray

FINEST = 1e-4
"""Heights that differ by less are the same: single precision at some hundred meters. [m]"""
MOST_AGAIN, COMMON = 0.9, 0.99
"""Of rounded heights so many occur more than once; so many tell the step, the rest may have been drawn across. [-]"""


def rounding_step(elevation: FloatArray) -> float:
    """Step of which heights are multiples, but for what was drawn across holes; 0 where they are not rounded. [m]

    Notes
    -----
    A value rounded to steps of q errs by a variance of q^2 / 12 [1]_.

    References
    ----------
    .. [1] JCGM 100:2008, "Evaluation of measurement data - Guide to the expression of uncertainty in measurement",
       F.2.2.1 (resolution of a digital indication).
    """
    heights, times = np.unique(elevation[np.isfinite(elevation)], return_counts=True)
    if times[times > 1].sum() < MOST_AGAIN * times.sum():
        return 0.0
    often = np.argsort(-times, kind="stable")
    often = often[: int(np.searchsorted(np.cumsum(times[often]), COMMON * times.sum())) + 1]
    apart = np.diff(np.sort(heights[often]))
    apart = apart[apart > FINEST]
    if not apart.size:
        return 0.0
    # the least difference errs as much as any; those near it tell the step
    step = float(np.median(apart[apart < 1.5 * apart.min()]))
    multiples = apart / step
    rounded = step > 10.0 * FINEST and float(np.abs(multiples - np.round(multiples)).max()) * step < 5.0 * FINEST
    return step if rounded else 0.0
