"""Steps in which a raster's heights come."""

import numpy as np

from terrain.arrays import FloatArray

FINEST = 1e-4
"""Heights that differ by less are the same: single precision at some hundred meters. [m]"""


def rounding_step(elevation: FloatArray) -> float:
    """Step of which all heights are multiples; 0 where they are not rounded. [m]

    Notes
    -----
    A value rounded to steps of q errs by a variance of q^2 / 12 [1]_.

    References
    ----------
    .. [1] JCGM 100:2008, "Evaluation of measurement data - Guide to the expression of uncertainty in measurement",
       F.2.2.1 (resolution of a digital indication).
    """
    heights = np.unique(elevation[np.isfinite(elevation)])
    apart = np.diff(heights)
    apart = apart[apart > FINEST]
    if not apart.size:
        return 0.0
    # the least difference errs as much as any; those near it tell the step
    step = float(np.median(apart[apart < 1.5 * apart.min()]))
    multiples = apart / step
    rounded = step > 10.0 * FINEST and float(np.abs(multiples - np.round(multiples)).max()) * step < 5.0 * FINEST
    return step if rounded else 0.0
