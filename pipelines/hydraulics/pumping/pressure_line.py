"""A line under pressure: Hazen-Williams friction, fittings by size, the velocity head lost at the exit."""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from math import pi, sqrt

from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_not_negative, require_positive
from terrain.unit_table import FOOT, INCH

SLOWEST_VELOCITY = 2 * FOOT
"""Below it silt stays in the line; sewer codes ask 2 to 3 ft/s. [m/s]"""

FASTEST_VELOCITY = 8 * FOOT
"""Upper end of the range that sewer codes give a force main, 8 ft/s. [m/s]"""

ABSURD_VELOCITY = 10 * FOOT
"""Not above 10 ft/s at the peak: Fair, Geyer and Okun, Table 14.9. [m/s]"""

RELIEF_HOLE = 3 / 16 * INCH
"""Hole between pump and check valve that lets air out, part of every lift; common practice, no source. [m]"""


@dataclass(frozen=True, slots=True)
class Fitting:
    """A fitting's loss, as a length of pipe in diameters or as a number of velocity heads.

    Attributes
    ----------
    kind, words : str
        Key of the table, and what it is.
    length_over_diameter, k : float or None
        One of the two. [-]
    source : str
        Where it comes from.
    """

    kind: str
    words: str
    length_over_diameter: float | None
    k: float | None
    source: str


@dataclass(frozen=True, slots=True)
class PressureLine:
    """What a pump pushes against.

    Attributes
    ----------
    static_lift : float
        From the pump-off level to the highest point of the line or its outlet, whichever is higher. [m]
    length, inside : float
        Of the pipe, and its inside diameter. [m]
    hazen_williams : float
        C. [-]
    fittings : mapping of str to int
        How many of each kind.
    outlet_bore : float or None
        Inside diameter of the open end where it differs from the pipe's. [m]
    """

    static_lift: float
    length: float
    inside: float
    hazen_williams: float
    fittings: Mapping[str, int]
    outlet_bore: float | None = None


@dataclass(frozen=True, slots=True)
class LineHead:
    """Head that a line takes at a flow, in its parts.

    Attributes
    ----------
    static, friction, fittings, exit : float
        [m]
    velocity, outlet_velocity : float
        In the pipe and out of its open end. [m/s]
    """

    static: float
    friction: float
    fittings: float
    exit: float
    velocity: float
    outlet_velocity: float

    @property
    def minor(self) -> float:
        """Of fittings and exit together. [m]"""
        return self.fittings + self.exit

    @property
    def total(self) -> float:
        """[m]"""
        return self.static + self.friction + self.minor


@lru_cache(maxsize=1)
def fitting_table() -> dict[str, Fitting]:
    """Every fitting by its kind.

    Returns
    -------
    dict of str to Fitting

    References
    ----------
    .. [1] 2018 International Residential Code, Appendix A, Table A.2.2; Crane, "Flow of Fluids", TP-410. The column
       `source` of fittings.csv names the one of each row.
    """
    text = files("pipelines.hydraulics.pumping").joinpath("fittings.csv").read_text(encoding="utf-8")
    return {
        row["kind"]: Fitting(
            row["kind"],
            row["words"],
            float(row["length_over_diameter"]) if row["length_over_diameter"] else None,
            float(row["k"]) if row["k"] else None,
            row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    }


def friction_hazen_williams(flow: float, length: float, inside: float, hazen_williams: float) -> float:
    """Head lost to friction in a full pipe.

    Parameters
    ----------
    flow : float
        [m3/s]
    length, inside : float
        [m]
    hazen_williams : float
        C, 150 for smooth plastic. [-]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If a number is negative or not finite, or the diameter or C not above zero.

    Notes
    -----
    h = 10.67 L Q^1.852 / (C^1.852 d^4.8704); in feet, gpm and inches 10.44. For water near 16 degrees Celsius in
    turbulent flow, pipes of 1 in and more.

    References
    ----------
    .. [1] Hazen and Williams, "Hydraulic Tables", 3rd ed., 1920; the SI constant 10.67 as in public glossaries.
    """
    require_not_negative(flow=flow, length=length)
    require_positive(inside=inside, hazen_williams=hazen_williams)
    return float(10.67 * length * (flow / hazen_williams) ** 1.852 / inside**4.8704)


def equivalent_length(kind: str, inside: float) -> float:
    """Length of pipe that loses as much as a fitting.

    Parameters
    ----------
    kind : str
        elbow_90, elbow_45, tee_branch, tee_run, check_valve or gate_valve.
    inside : float
        Inside diameter. [m]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If there is no such fitting, or it is counted in velocity heads.

    References
    ----------
    .. [1] Crane, "Flow of Fluids", TP-410; 2018 International Residential Code, Appendix A, Table A.2.2.
    """
    fitting = _fitting(kind)
    require_positive(inside=inside)
    if fitting.length_over_diameter is None:
        raise HydraulicsError(f"{fitting.words} is counted in velocity heads, it has no equivalent length")
    return fitting.length_over_diameter * inside


def line_head(line: PressureLine, flow: float) -> LineHead:
    """Head that a line takes at a flow: lift, friction, fittings, exit.

    Parameters
    ----------
    line : PressureLine
        The line.
    flow : float
        [m3/s]

    Returns
    -------
    LineHead
        [m], [m/s]

    Raises
    ------
    HydraulicsError
        If a number of the line is out of range, a fitting unknown or its count negative.

    References
    ----------
    .. [1] Hazen and Williams, "Hydraulic Tables", 3rd ed., 1920.
    .. [2] Crane, "Flow of Fluids", TP-410: equivalent lengths, and one velocity head lost at the exit.
    """
    require_not_negative(static_lift=line.static_lift)
    _refuse_bad_counts(line.fittings)
    friction = friction_hazen_williams(flow, line.length, line.inside, line.hazen_williams)
    velocity = flow / (pi * line.inside**2 / 4)
    outlet_velocity = flow / (pi * (line.outlet_bore or line.inside) ** 2 / 4)
    in_pipe, in_heads = 0.0, 0.0
    for kind, count in line.fittings.items():
        fitting = _fitting(kind)
        if fitting.length_over_diameter is not None:
            in_pipe += count * fitting.length_over_diameter * line.inside
        else:
            in_heads += count * (fitting.k or 0.0)
    lost = friction_hazen_williams(flow, in_pipe, line.inside, line.hazen_williams)
    lost += in_heads * velocity**2 / (2 * GRAVITY)
    return LineHead(line.static_lift, friction, lost, outlet_velocity**2 / (2 * GRAVITY), velocity, outlet_velocity)


def jet_height(flow: float, bore: float) -> float:
    """Height to which water stands over an open end that points up, its velocity head.

    Parameters
    ----------
    flow : float
        [m3/s]
    bore : float
        Inside diameter of the end. [m]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the bore not above zero.

    Notes
    -----
    v^2 / 2g. Air and the fall of the water back on itself make what is seen lower: read it as a least flow.

    References
    ----------
    .. [1] Torricelli's law, any text of hydraulics.
    """
    require_not_negative(flow=flow)
    require_positive(bore=bore)
    return (flow / (pi * bore**2 / 4)) ** 2 / (2 * GRAVITY)


def flow_from_jet(height: float, bore: float) -> float:
    """Flow whose velocity head is the height water is seen to stand over an open end.

    Parameters
    ----------
    height, bore : float
        [m]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the height is negative or the bore not above zero.

    References
    ----------
    .. [1] Torricelli's law, any text of hydraulics.
    """
    require_not_negative(height=height)
    require_positive(bore=bore)
    return pi * bore**2 / 4 * sqrt(2 * GRAVITY * height)


def relief_hole_flow(head: float, bore: float = RELIEF_HOLE) -> float:
    """Water that the relief hole under the check valve sends back while the pump runs.

    Parameters
    ----------
    head : float
        Of the pump. [m]
    bore : float, optional
        3/16 in by default. [m]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If the head is negative or the bore not above zero.

    Notes
    -----
    Sharp-edged orifice, Q = 0.61 A (2 g h)^0.5.

    References
    ----------
    .. [1] White, "Fluid Mechanics", ch. 6, sharp-edged orifice.
    """
    require_not_negative(head=head)
    require_positive(bore=bore)
    return 0.61 * pi * bore**2 / 4 * sqrt(2 * GRAVITY * head)


def velocity_warnings(velocity: float) -> tuple[str, ...]:
    """What is to be said of the velocity in a pressure line.

    Parameters
    ----------
    velocity : float
        [m/s]

    Returns
    -------
    tuple of str

    References
    ----------
    .. [1] Fair, Geyer and Okun, "Water and Wastewater Engineering", Table 14.9.
    """
    said = f"{velocity / FOOT:.1f} ft/s ({velocity:.2f} m/s) in the line"
    if velocity > ABSURD_VELOCITY:
        return (f"{said} is absurd: not above 10 ft/s (3.0 m/s) even at the peak; take a larger pipe",)
    if velocity > FASTEST_VELOCITY:
        return (f"{said} is above 8 ft/s (2.4 m/s): wear and water hammer; take a larger pipe",)
    if velocity < SLOWEST_VELOCITY:
        return (f"{said} is below 2 ft/s (0.6 m/s): silt stays in it; take a smaller pipe",)
    return ()


def _fitting(kind: str) -> Fitting:
    if kind not in fitting_table():
        raise HydraulicsError(f"fitting {kind!r} is not in the table: it has {', '.join(fitting_table())}")
    return fitting_table()[kind]


def _refuse_bad_counts(fittings: Mapping[str, int]) -> None:
    bad = [f"{count!r} of {kind}" for kind, count in fittings.items() if isinstance(count, bool) or count < 0]
    if bad:
        raise HydraulicsError(f"fittings are counted in whole numbers of 0 or above, here are {', '.join(bad)}")
    if fittings.get("exit"):
        raise HydraulicsError("the exit is always counted: leave it out of the fittings")
