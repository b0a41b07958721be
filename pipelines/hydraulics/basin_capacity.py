"""What a basin takes: the least of its grate, the entrance of its outlet pipe, and that pipe."""

from dataclasses import dataclass
from typing import Literal

from pipelines.hydraulics.access_hole import entrance_capacity
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.grate import SAG_CLOGGING, Grate, grate_capacity
from pipelines.hydraulics.limits import require_finite, require_not_negative
from pipelines.hydraulics.manning import full_pipe_capacity

Governing = Literal["grate", "entrance", "pipe"]


@dataclass(frozen=True, slots=True)
class BasinCapacity:
    """Flow that a basin takes, and which of its parts takes no more. [m3/s]"""

    flow: float
    governed_by: Governing


def basin_capacity(
    grate: Grate,
    ponding: float,
    *,
    rim: float,
    invert: float,
    diameter: float,
    slope: float,
    roughness: float,
    clogging: float = SAG_CLOGGING,
) -> BasinCapacity:
    """Flow that a basin takes with water ponded over its grate to a depth.

    Parameters
    ----------
    grate : Grate
        Its grate.
    ponding : float
        Depth over the grate. [m]
    rim, invert : float
        Of the grate, and of the outlet pipe. [m]
    diameter : float
        Inside, of the outlet pipe. [m]
    slope, roughness : float
        Of the outlet pipe. [-]
    clogging : float, optional
        Share of the grate that is blocked. [-]

    Returns
    -------
    BasinCapacity
        [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is out of range or the pipe leaves above the rim.

    Notes
    -----
    The basin itself may fill to its rim, no higher: the grate's own head is spent in the grate.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, 3rd ed., 2009, eq. 4-26, 4-27, 7-1, 7-18 and 7-19.
    """
    require_not_negative(ponding=ponding)
    require_finite(rim=rim, invert=invert)
    if rim <= invert:
        raise HydraulicsError(f"the outlet pipe's invert, {invert} m, must lie below the basin's rim, {rim} m")
    takes: dict[Governing, float] = {
        "grate": grate_capacity(grate, ponding, clogging=clogging),
        "entrance": entrance_capacity(rim - invert, diameter),
        "pipe": full_pipe_capacity(diameter, slope, roughness),
    }
    least = min(takes, key=lambda part: takes[part])
    return BasinCapacity(takes[least], least)
