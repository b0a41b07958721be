"""What a basin takes: the least of its grate, the entrance of its outlet pipe, and that pipe."""

from dataclasses import dataclass
from typing import Literal

from pipelines.hydraulics.access_hole import entrance_capacity
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.grate import SAG_CLOGGING, Grate, grate_capacity
from pipelines.hydraulics.limits import require_finite, require_not_negative
from pipelines.hydraulics.manning import full_pipe_capacity


@dataclass(frozen=True, slots=True)
class BasinCapacity:
    """Flow that a basin takes and why not more.

    Attributes
    ----------
    flow, grate, entrance, pipe : float
        The least of the three, and each. [m3/s]
    governed_by : str
        grate, entrance or pipe.
    """

    flow: float
    grate: float
    entrance: float
    pipe: float
    governed_by: Literal["grate", "entrance", "pipe"]


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
    by_grate = grate_capacity(grate, ponding, clogging=clogging).flow
    by_entrance = entrance_capacity(rim - invert, diameter)
    by_pipe = full_pipe_capacity(diameter, slope, roughness)
    least = min(by_grate, by_entrance, by_pipe)
    governed_by: Literal["grate", "entrance", "pipe"] = "pipe"
    if least == by_grate:
        governed_by = "grate"
    elif least == by_entrance:
        governed_by = "entrance"
    return BasinCapacity(least, by_grate, by_entrance, by_pipe, governed_by)
