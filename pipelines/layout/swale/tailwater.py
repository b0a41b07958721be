"""Tailwater at an outlet: how long it submerges the pipe, and what that does to the gravity line behind it."""

from dataclasses import dataclass
from math import pi
from typing import Literal

import numpy as np

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import full_barrel_loss
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from pipelines.inputs.rules import Rules
from terrain.arrays import FloatArray

TailwaterState = Literal["free", "part", "always"]


@dataclass(frozen=True, slots=True)
class Tailwater:
    """What the swale's water does at an outlet.

    Attributes
    ----------
    state : str
        free (never above the threshold), part (part of the storm), always.
    share : float
        Of the time that the swale runs, in which the outlet is submerged. [-]
    submerged : float
        How long. [s]
    highest : float
        Level. [m]
    above : float
        Of the highest level over the threshold, negative where it stays below. [m]
    """

    state: TailwaterState
    share: float
    submerged: float
    highest: float
    above: float


@dataclass(frozen=True, slots=True)
class GravityLine:
    """The last run of a gravity line.

    Attributes
    ----------
    diameter, length, roughness : float
        Inside diameter, plan length, Manning's n. [m], [m], [-]
    invert_up, invert_down : float
        [m]
    rim : float
        Lowest level upstream at which water comes out: a grate's rim. [m]
    flow : float
        Peak that it is laid for. [m3/s]
    """

    diameter: float
    length: float
    roughness: float
    invert_up: float
    invert_down: float
    rim: float
    flow: float


@dataclass(frozen=True, slots=True)
class SubmergedLine:
    """What tailwater does to a gravity line.

    Attributes
    ----------
    level_up : float
        Of the water at its upper end at the peak. [m]
    surcharges : bool
        Water stands above the rim there.
    capacity_free, capacity : float
        Most it carries without coming out at the rim, with a free outlet and with this tailwater. [m3/s]
    lost : float
        Share of the free capacity that the tailwater takes. [-]
    """

    level_up: float
    surcharges: bool
    capacity_free: float
    capacity: float
    lost: float


def tailwater_at(level: FloatArray, flow: FloatArray, step: float, threshold: float, rules: Rules) -> Tailwater:
    """How long an outlet is submerged; water that runs off in a storm's last trickle is not counted as the storm."""
    if len(level) != len(flow) or len(level) == 0:
        raise HydraulicsError(f"{len(level)} levels and {len(flow)} flows: give one of each for every time")
    least, most = rules["swale_runs_share"].likely, rules["swale_always_share"].likely
    runs = flow >= least * flow.max() if flow.max() > 0.0 else np.ones(len(flow), dtype=np.bool_)
    under = level > threshold
    share = float(under[runs].mean())
    state: TailwaterState = "free" if share == 0.0 else "always" if share >= most else "part"
    highest = float(level.max())
    return Tailwater(state, share, float(under[runs].sum() * step), highest, highest - threshold)


def line_under_tailwater(line: GravityLine, tailwater: float) -> SubmergedLine:
    """Level at the upper end of a gravity line that runs full, and what it still carries.

    Notes
    -----
    Level up = the higher of tailwater and crown at the outlet + (1 + 0.5 + 19.63 n^2 L / R^(4/3)) V^2 / 2g, and not
    below the crown at the upper end. An outlet that is not submerged may run part full, so that a free capacity is on
    the low side.

    References
    ----------
    .. [1] FHWA, "Hydraulic Design of Highway Culverts", HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3, full barrel;
       FHWA, "Urban Drainage Design Manual", HEC-22, 4th ed., 2024, hydraulic grade line from the tailwater.
    """
    require_positive(diameter=line.diameter, length=line.length, roughness=line.roughness)
    require_not_negative(flow=line.flow)
    barrel = circular_barrel(line.diameter)

    def loss(flow: float) -> float:
        return full_barrel_loss(barrel, flow, length=line.length, roughness=line.roughness, entrance_loss=0.5)

    # the loss goes with the square of the flow
    per_square = loss(pi * line.diameter**2 / 4.0) / (pi * line.diameter**2 / 4.0) ** 2

    def capacity(start: float) -> float:
        return float(np.sqrt(max(line.rim - start, 0.0) / per_square))

    crown = line.invert_down + line.diameter
    start = max(tailwater, crown)
    level_up = max(start + loss(line.flow), line.invert_up + min(line.diameter, line.rim - line.invert_up))
    free = capacity(crown)
    carried = capacity(start)
    return SubmergedLine(level_up, level_up > line.rim, free, carried, 1.0 - carried / free if free > 0.0 else 0.0)
