"""Water along a culvert's barrel, stepped upstream from its outlet: free, full, or free above and full below."""

import numpy as np
from scipy.optimize import brentq

from pipelines.hydraulics.channel.barrel import Barrel, critical_depth, free_sections
from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.limits import require_finite, require_not_negative, require_positive
from terrain.arrays import FloatArray

_SEARCHED, _STEPS = 40, 120


def depth_at_inlet(
    barrel: Barrel, flow: float, *, depth_out: float, length: float, slope: float, roughness: float
) -> float:
    """Depth just inside the upper end of a barrel; above its rise where it runs full there.

    Parameters
    ----------
    barrel : Barrel
        Its inside.
    flow : float
        Above zero. [m3/s]
    depth_out : float
        Of the tailwater at the lower end; below the critical depth the flow falls freely. [m]
    length : float
        [m]
    slope : float
        Of its bottom, negative where it is adverse. [-]
    roughness : float
        Manning's n. [-]

    Returns
    -------
    float
        The critical depth where the water shoots through a steep barrel. [m]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    Direct step: the energy at two depths, over the difference of friction slope and bottom slope, is the distance
    between them. A free surface ends at the crown, at the normal depth, or at the critical depth.

    References
    ----------
    .. [1] Chow, "Open-Channel Hydraulics", 1959, sec. 10-3, the direct step method.
    """
    require_positive(flow=flow, length=length, roughness=roughness)
    require_not_negative(depth_out=depth_out)
    require_finite(slope=slope)
    rise, critical = barrel.rise, critical_depth(barrel, flow)
    full = (flow * roughness / barrel.area) ** 2 / barrel.hydraulic_radius ** (4 / 3)
    depth, left = max(depth_out, critical), length
    if depth >= rise:
        falls = slope - full
        if depth - falls * length >= rise:
            return float(depth - falls * length)
        left -= (depth - rise) / falls
        depth = rise

    def friction(at: FloatArray) -> FloatArray:
        area, perimeter = free_sections(barrel, at)
        return (flow * roughness) ** 2 * perimeter ** (4 / 3) / area ** (10 / 3)

    rises = float(friction(np.array([depth]))[0]) > slope
    end = rise if rises else critical
    if depth == end:
        return float(depth)
    tried = np.linspace(depth, end, _SEARCHED)
    crossed = np.flatnonzero((friction(tried) > slope) != rises)
    if crossed.size:
        between = sorted(tried[[crossed[0] - 1, crossed[0]]].tolist())
        end = float(brentq(lambda at: float(friction(np.array([at]))[0]) - slope, *between, xtol=1e-12))
    # close together at both ends, where depth changes fast from the critical one and slowly towards the normal one
    share = np.linspace(0.0, 1.0, _STEPS)
    depths = depth + (end - depth) * share**2 * (3.0 - 2.0 * share)
    energy = depths + (flow / free_sections(barrel, depths)[0]) ** 2 / (2.0 * GRAVITY)
    spent = friction(depths) - slope
    away = np.concatenate([[0.0], np.cumsum(np.diff(energy) / ((spent[1:] + spent[:-1]) / 2.0))])
    if left < away[-1]:
        return float(np.interp(left, away, depths))
    return float(end + (full - slope) * (left - away[-1])) if rises and not crossed.size else float(end)
