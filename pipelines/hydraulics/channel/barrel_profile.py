"""Water along a culvert's barrel, stepped upstream from its outlet: free, full, or free above and full below."""

from pipelines.hydraulics.channel.barrel import Barrel, critical_depth
from pipelines.hydraulics.channel.barrel_kernel import free_depth_up
from pipelines.hydraulics.limits import require_finite, require_not_negative, require_positive
from pipelines.hydraulics.manning import CircularSegment, circular_segment


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

    # of the silt: its area, and what it takes from the wall and adds of its own
    silt = barrel.silt
    silted = circular_segment(silt, barrel.diameter) if silt > 0.0 else CircularSegment(0.0, 0.0, 0.0)
    lost = (silted.area, silted.top_width - silted.perimeter)
    return float(free_depth_up(barrel.diameter, silt, lost, flow, roughness, slope, left, float(depth), critical, full))
