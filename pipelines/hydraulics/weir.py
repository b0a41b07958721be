"""Water over a road, a berm or the rim of a pond: a broad-crested weir of any crest profile."""

from collections.abc import Sequence

import numpy as np

from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_finite, require_not_negative
from pipelines.hydraulics.weir_kernel import head_along_crest
from terrain.arrays import FloatArray
from terrain.unit_table import FOOT

ROADWAY_COEFFICIENT = 2.8 * FOOT**0.5
"""Low end of what HDS-5 gives a paved road under shallow water, 2.8 ft^0.5/s. [m^0.5/s]"""

LARGEST_COEFFICIENT = (2 / 3) ** 1.5 * GRAVITY**0.5
"""Of a crest without friction, where the flow is critical: 3.09 ft^0.5/s. [m^0.5/s]"""


def overtopping_flow(
    station: Sequence[float] | FloatArray,
    crest: Sequence[float] | FloatArray,
    level: float,
    coefficient: float = ROADWAY_COEFFICIENT,
) -> float:
    """Flow over a broad crest of any profile.

    Parameters
    ----------
    station : sequence of float
        Along the crest, rising. [m]
    crest : sequence of float
        Height of the crest at each. [m]
    level : float
        Of the water upstream, at rest. [m]
    coefficient : float, optional
        [m^0.5/s]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If there are fewer than two points, stations do not rise, a number is out of range, or the coefficient above
        that of a crest without friction.

    Notes
    -----
    C times the integral of head^1.5 along the crest, exact for straight pieces; C L h^1.5 for a level one.

    References
    ----------
    .. [1] FHWA, "Hydraulic Design of Highway Culverts", HDS-5, 3rd ed., 2012, ch. 3, roadway overtopping of a sag.
    """
    require_finite(level=level)
    require_not_negative(coefficient=coefficient)
    if coefficient > LARGEST_COEFFICIENT * (1 + 1e-9):
        raise HydraulicsError(
            f"weir coefficient is {coefficient}, a broad crest has at most {LARGEST_COEFFICIENT:.3f} m^0.5/s"
        )
    x = np.asarray(station, dtype=np.float64)
    z = np.asarray(crest, dtype=np.float64)
    along = head_along_crest(x, z, float(level)) if x.ndim == 1 and x.size >= 2 and x.shape == z.shape else np.nan
    if not np.isfinite(along):
        raise HydraulicsError("a crest needs two points or more with rising stations and finite heights")
    return float(coefficient * along)
