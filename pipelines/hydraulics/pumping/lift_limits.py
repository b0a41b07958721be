"""What the trade holds a lift to, and where a sump's floats stand: by the rules, which a site file can override."""

from dataclasses import dataclass

from pipelines.hydraulics.pumping.pressure_line import ABSURD_VELOCITY, FASTEST_VELOCITY, RELIEF_HOLE, SLOWEST_VELOCITY
from pipelines.hydraulics.pumping.sump_basin import FLOAT_MARGIN, MOST_STARTS_PER_HOUR, FloatLevels
from pipelines.inputs.rules import Rules
from terrain.reason import Reason, reason
from terrain.unit_table import HOUR


@dataclass(frozen=True, slots=True)
class LiftLimits:
    """What a lift is warned of, and its relief hole.

    Attributes
    ----------
    slowest, fastest, absurd : float
        Velocity in the line. [m/s]
    starts_per_hour : float
        [1/h]
    relief_hole : float
        Diameter. [m]
    float_margin : float
        Water between pump on and off over what drains back. [-]
    """

    slowest: float = SLOWEST_VELOCITY
    fastest: float = FASTEST_VELOCITY
    absurd: float = ABSURD_VELOCITY
    starts_per_hour: float = MOST_STARTS_PER_HOUR
    relief_hole: float = RELIEF_HOLE
    float_margin: float = FLOAT_MARGIN


def lift_limits(rules: Rules) -> LiftLimits:
    """The limits that the rules set."""
    return LiftLimits(
        slowest=rules["pressure_velocity"].low,
        fastest=rules["pressure_velocity"].high,
        absurd=rules["pressure_velocity_peak"].likely,
        starts_per_hour=rules["starts_per_hour"].likely * HOUR,
        relief_hole=rules["relief_hole"].likely,
        float_margin=rules["float_margin"].likely,
    )


def float_levels(rules: Rules) -> FloatLevels:
    """The float levels of a yard sump by the rules."""
    return FloatLevels(*(rules[key].likely for key in ("sump_off", "sump_on", "sump_alarm", "sump_inlet")))


def velocity_warnings(velocity: float, limits: LiftLimits) -> tuple[Reason, ...]:
    """What is to be said of the velocity in a pressure line. [m/s]"""
    if velocity > limits.absurd:
        return (reason("line_velocity_absurd", velocity=velocity, most=limits.absurd),)
    if velocity > limits.fastest:
        return (reason("line_velocity_fast", velocity=velocity, most=limits.fastest),)
    if velocity < limits.slowest:
        return (reason("line_velocity_slow", velocity=velocity, least=limits.slowest),)
    return ()
