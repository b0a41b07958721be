"""Culvert by the highway agency's method: inlet control, outlet control, and which of the two governs."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from math import sqrt
from typing import Literal

from pipelines.hydraulics.channel.barrel import Barrel, critical_depth, wet_area
from pipelines.hydraulics.channel.barrel_profile import depth_at_inlet
from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_finite, require_not_negative, require_positive
from terrain.reason import Reason, reason
from terrain.shown_text import quoted
from terrain.unit_table import FOOT

FRICTION_FACTOR = 2 * GRAVITY
"""Of the friction of a full barrel: 19.6 in SI, 29 in feet. [m/s2]"""

UNSUBMERGED_TO = 3.5
SUBMERGED_FROM = 4.0

PROFILE_TO, FULL_FROM = 1.2, 1.5
"""Headwater over height up to which outlet control is stepped along the barrel, and from which it counts as full.
HDS-5 takes its full barrel as sound from 1.2. [-]"""


@dataclass(frozen=True, slots=True)
class CulvertInlet:
    """How a culvert begins: one row of the method's table.

    Attributes
    ----------
    name, words : str
        Key, and what it is.
    k, m, c, y : float
        Constants of the unsubmerged and submerged equations. [-]
    entrance_loss : float
        Velocity heads lost there in outlet control. [-]
    slope_factor : float
        -0.5, or 0.7 for a mitered end. [-]
    """

    name: str
    words: str
    k: float
    m: float
    c: float
    y: float
    entrance_loss: float
    slope_factor: float


@dataclass(frozen=True, slots=True)
class Culvert:
    """A culvert in place.

    Attributes
    ----------
    barrel : Barrel
        Its inside.
    inlet : CulvertInlet
        How it begins.
    length : float
        [m]
    roughness : float
        Manning's n. [-]
    invert_up, invert_down : float
        Bottom at its two ends, top of the silt where it is silted. [m]
    """

    barrel: Barrel
    inlet: CulvertInlet
    length: float
    roughness: float
    invert_up: float
    invert_down: float

    @property
    def slope(self) -> float:
        """Fall over length, negative where it lies adverse. [-]"""
        return (self.invert_up - self.invert_down) / self.length


@dataclass(frozen=True, slots=True)
class CulvertFlow:
    """What a culvert does to a flow.

    Attributes
    ----------
    headwater : float
        Level upstream, the higher of what inlet and outlet make. [m]
    governs : str
        inlet or outlet.
    warnings : tuple of Reason
        What a reader must know.
    """

    headwater: float
    governs: Literal["inlet", "outlet"]
    warnings: tuple[Reason, ...]


@lru_cache(maxsize=1)
def culvert_inlets() -> dict[str, CulvertInlet]:
    """Every inlet by its key.

    References
    ----------
    .. [1] FHWA, "Hydraulic Design of Highway Culverts", HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, Table A.1 and Table C.2.
    """
    text = files("pipelines.hydraulics.channel").joinpath("culvert_inlets.csv").read_text(encoding="utf-8")
    numbers = ("k", "m", "c", "y", "entrance_loss", "slope_factor")
    return {
        row["inlet"]: CulvertInlet(row["inlet"], row["words"], *(float(row[name]) for name in numbers))
        for row in csv.DictReader(text.splitlines())
    }


def culvert_inlet(name: str) -> CulvertInlet:
    """One inlet by its key."""
    if name not in culvert_inlets():
        raise HydraulicsError(f"culvert inlet {quoted(name)} is not in the table: it has {', '.join(culvert_inlets())}")
    return culvert_inlets()[name]


def inlet_control_depth(barrel: Barrel, inlet: CulvertInlet, flow: float, slope: float) -> float:
    """Depth of water above the upstream invert where the inlet controls.

    Parameters
    ----------
    barrel : Barrel
        Its inside.
    inlet : CulvertInlet
        How it begins.
    flow : float
        [m3/s]
    slope : float
        Of the barrel. [-]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If the flow is negative or the slope not finite.

    Notes
    -----
    With x = 1.811 Q / (A D^0.5): up to 3.5, HW/D = Hc/D + K x^M + Ks S (form 1); from 4.0, HW/D = c x^2 + Y + Ks S; in
    between, along the straight line that joins them.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, appendix A, eq. A.1 to A.3.
    """
    require_not_negative(flow=flow)
    require_finite(slope=slope)
    if flow == 0:
        return 0.0
    per_x = barrel.area * sqrt(barrel.rise) / 1.811
    x = flow / per_x
    # a steep mild term must not take the headwater below the critical energy, so adverse barrels count as level
    slope_term = inlet.slope_factor * max(slope, 0.0)
    if x <= UNSUBMERGED_TO:
        return barrel.rise * _unsubmerged(barrel, inlet, x * per_x, x, slope_term)
    if x >= SUBMERGED_FROM:
        return barrel.rise * (inlet.c * x**2 + inlet.y + slope_term)
    low = _unsubmerged(barrel, inlet, UNSUBMERGED_TO * per_x, UNSUBMERGED_TO, slope_term)
    high = inlet.c * SUBMERGED_FROM**2 + inlet.y + slope_term
    share = (x - UNSUBMERGED_TO) / (SUBMERGED_FROM - UNSUBMERGED_TO)
    return barrel.rise * (low + share * (high - low))


def full_barrel_loss(barrel: Barrel, flow: float, *, length: float, roughness: float, entrance_loss: float) -> float:
    """Head lost by a full barrel: entrance, friction, and the velocity head at its end.

    Parameters
    ----------
    barrel : Barrel
        Its inside.
    flow : float
        [m3/s]
    length : float
        [m]
    roughness : float
        Manning's n. [-]
    entrance_loss : float
        Velocity heads. [-]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If a number is negative or not finite.

    Notes
    -----
    H = (1 + ke + 19.6 n^2 L / R^(4/3)) V^2 / 2g; in feet 29.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3; UFC 3-230-17FA, eq. 2.
    """
    require_not_negative(flow=flow, length=length, roughness=roughness, entrance_loss=entrance_loss)
    velocity = flow / barrel.area
    friction = FRICTION_FACTOR * roughness**2 * length / barrel.hydraulic_radius ** (4 / 3)
    return float((1 + entrance_loss + friction) * velocity**2 / (2 * GRAVITY))


def culvert_flow(culvert: Culvert, flow: float, *, tailwater: float) -> CulvertFlow:
    """Level upstream of a culvert that passes a flow.

    Parameters
    ----------
    culvert : Culvert
        In place.
    flow : float
        [m3/s]
    tailwater : float
        Level at its lower end. [m]

    Returns
    -------
    CulvertFlow
        [m]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    In outlet control the water is stepped up the barrel from tailwater or critical depth, and the entrance takes its
    share of the velocity head there; no flow enters with less than the least energy at which it then can, which alone
    is left of outlet control where a steep barrel runs freely. Where that fills the culvert it gives way to a full
    barrel with ho at its end, the greater of tailwater and (dc + D)/2.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3: headwater is the greater of inlet and outlet control;
       backwater below 1.2 D, the full barrel above.
    """
    require_positive(length=culvert.length, roughness=culvert.roughness)
    require_not_negative(flow=flow)
    require_finite(tailwater=tailwater, invert_up=culvert.invert_up, invert_down=culvert.invert_down)
    if flow == 0:
        # what an adverse culvert keeps back stays
        return CulvertFlow(max(tailwater, culvert.invert_up, culvert.invert_down), "outlet", ())
    by_outlet, at_inlet = _outlet_control(culvert, flow, tailwater - culvert.invert_down)
    by_inlet = inlet_control_depth(culvert.barrel, culvert.inlet, flow, culvert.slope)
    depth = max(by_inlet, by_outlet)
    governs: Literal["inlet", "outlet"] = "inlet" if at_inlet or by_inlet > by_outlet else "outlet"
    return CulvertFlow(culvert.invert_up + depth, governs, _warnings(culvert, depth, governs))


def _outlet_control(culvert: Culvert, flow: float, tail: float) -> tuple[float, bool]:
    """Depth above the upstream invert by outlet control, and whether the flow passes critical depth at the inlet."""
    barrel, inlet = culvert.barrel, culvert.inlet
    critical = critical_depth(barrel, flow)
    inside = depth_at_inlet(
        barrel, flow, depth_out=max(tail, 0.0), length=culvert.length, slope=culvert.slope, roughness=culvert.roughness
    )
    # the least of depth and velocity heads at the entrance is at the critical depth of that much more flow
    least_depth = critical_depth(barrel, flow * sqrt(1 + inlet.entrance_loss))

    def head(depth: float) -> float:
        velocity = flow / wet_area(barrel, min(depth, barrel.rise))
        return float(depth + (1 + inlet.entrance_loss) * velocity**2 / (2 * GRAVITY))

    stepped = head(max(inside, least_depth))
    loss = full_barrel_loss(
        barrel, flow, length=culvert.length, roughness=culvert.roughness, entrance_loss=inlet.entrance_loss
    )
    full = max(tail, (critical + barrel.rise) / 2) + loss - (culvert.invert_up - culvert.invert_down)
    share = min(max((stepped / barrel.rise - PROFILE_TO) / (FULL_FROM - PROFILE_TO), 0.0), 1.0)
    least = min(head(least_depth), PROFILE_TO * barrel.rise)
    return max(least, (1 - share) * stepped + share * full), inside <= critical * (1 + 1e-9)


def _unsubmerged(barrel: Barrel, inlet: CulvertInlet, flow: float, x: float, slope_term: float) -> float:
    depth = critical_depth(barrel, flow)
    energy = depth + (flow / wet_area(barrel, depth)) ** 2 / (2 * GRAVITY)
    # what a mitered end adds for its slope was measured on deeper water: it goes with the flow
    added = min(slope_term, energy / barrel.rise)
    return float(max(energy / barrel.rise + inlet.k * x**inlet.m + added, 0.0))


def _warnings(culvert: Culvert, depth: float, governs: str) -> tuple[Reason, ...]:
    said = []
    if culvert.slope < 0:
        said.append(reason("culvert_adverse"))
    if culvert.barrel.silt > 0:
        said.append(reason("culvert_silted", silt=culvert.barrel.silt))
    if governs == "outlet" and depth < PROFILE_TO * culvert.barrel.rise:
        said.append(reason("culvert_headwater_low"))
    if culvert.barrel.diameter < 1 * FOOT - 1e-9:
        said.append(reason("culvert_small", least=1 * FOOT))
    return tuple(said)
