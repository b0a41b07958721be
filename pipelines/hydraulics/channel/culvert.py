"""Culvert by the highway agency's method: inlet control, outlet control, and which of the two governs."""

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from math import sqrt
from typing import Literal

from scipy.optimize import brentq

from pipelines.hydraulics.channel.barrel import Barrel, critical_depth, normal_depth, wet_area
from pipelines.hydraulics.constants import GRAVITY
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_finite, require_not_negative, require_positive
from terrain.unit_table import FOOT

FRICTION_FACTOR = 2 * GRAVITY
"""Of the friction of a full barrel: 19.6 in SI, 29 in feet. [m/s2]"""

UNSUBMERGED_TO = 3.5
SUBMERGED_FROM = 4.0


@dataclass(frozen=True, slots=True)
class CulvertInlet:
    """How a culvert begins: one row of the method's table.

    Attributes
    ----------
    name, shape, words : str
        Key, circular or box, and what it is.
    form : int
        Form of the unsubmerged equation, 1 or 2.
    k, m, c, y : float
        Constants of the unsubmerged and submerged equations. [-]
    entrance_loss : float
        Velocity heads lost there in outlet control. [-]
    slope_factor : float
        -0.5, or 0.7 for a mitered end. [-]
    """

    name: str
    shape: str
    words: str
    form: int
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
    flow : float
        [m3/s]
    headwater : float
        Level upstream, the higher of the two. [m]
    inlet_control, outlet_control : float
        Level upstream that each would make. [m]
    governs : str
        inlet or outlet.
    critical_depth, velocity : float
        Velocity of the water leaving it. [m], [m/s]
    full : bool
        It runs full at its outlet.
    warnings : tuple of str
        What a reader must know.
    """

    flow: float
    headwater: float
    inlet_control: float
    outlet_control: float
    governs: Literal["inlet", "outlet"]
    critical_depth: float
    velocity: float
    full: bool
    warnings: tuple[str, ...]


@lru_cache(maxsize=1)
def culvert_inlets() -> dict[str, CulvertInlet]:
    """Every inlet by its key.

    Returns
    -------
    dict of str to CulvertInlet

    References
    ----------
    .. [1] FHWA, "Hydraulic Design of Highway Culverts", HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, Table A.1 and Table C.2.
    """
    text = files("pipelines.hydraulics.channel").joinpath("culvert_inlets.csv").read_text(encoding="utf-8")
    return {
        row["inlet"]: CulvertInlet(
            row["inlet"], row["shape"], row["words"], int(row["form"]),
            *(float(row[name]) for name in ("k", "m", "c", "y", "entrance_loss", "slope_factor")),
        )
        for row in csv.DictReader(text.splitlines())
    }


def culvert_inlet(name: str) -> CulvertInlet:
    """One inlet by its key.

    Parameters
    ----------
    name : str
        Key of culvert_inlets.csv.

    Returns
    -------
    CulvertInlet

    Raises
    ------
    HydraulicsError
        If there is no such inlet.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, Table A.1.
    """
    if name not in culvert_inlets():
        raise HydraulicsError(f"culvert inlet {name!r} is not in the table: it has {', '.join(culvert_inlets())}")
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
        If the flow is negative, the slope not finite, or the inlet is of another shape.

    Notes
    -----
    With x = 1.811 Q / (A D^0.5): up to 3.5, HW/D = Hc/D + K x^M + Ks S (form 1) or K x^M (form 2); from 4.0,
    HW/D = c x^2 + Y + Ks S; in between, along the straight line that joins them.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, appendix A, eq. A.1 to A.3.
    """
    require_not_negative(flow=flow)
    require_finite(slope=slope)
    if inlet.shape != barrel.shape:
        raise HydraulicsError(f"inlet {inlet.name!r} is for a {inlet.shape} culvert, the barrel is {barrel.shape}")
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
        [m], [m/s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3: ho is the greater of tailwater and (dc + D)/2; headwater
       is the greater of inlet and outlet control; water leaves at normal depth under inlet control, else at the
       tailwater's depth between critical depth and the crown.
    """
    require_positive(length=culvert.length, roughness=culvert.roughness)
    require_not_negative(flow=flow)
    require_finite(tailwater=tailwater, invert_up=culvert.invert_up, invert_down=culvert.invert_down)
    barrel = culvert.barrel
    if flow == 0:
        level = max(tailwater, culvert.invert_up)
        return CulvertFlow(0.0, level, level, level, "outlet", 0.0, 0.0, False, ())
    critical = critical_depth(barrel, flow)
    depth_out = max(tailwater - culvert.invert_down, (critical + barrel.rise) / 2)
    loss = full_barrel_loss(
        barrel, flow, length=culvert.length, roughness=culvert.roughness, entrance_loss=culvert.inlet.entrance_loss
    )
    by_outlet = culvert.invert_down + depth_out + loss
    by_inlet = culvert.invert_up + inlet_control_depth(barrel, culvert.inlet, flow, culvert.slope)
    headwater = max(by_inlet, by_outlet)
    governs: Literal["inlet", "outlet"] = "inlet" if by_inlet > by_outlet else "outlet"
    leaving = min(max(tailwater - culvert.invert_down, critical), barrel.rise)
    if governs == "inlet":
        uniform = normal_depth(barrel, flow, max(culvert.slope, 0.0), culvert.roughness)
        leaving = leaving if uniform is None else uniform
    return CulvertFlow(
        flow, headwater, by_inlet, by_outlet, governs, critical, flow / wet_area(barrel, leaving),
        leaving >= barrel.rise, _warnings(culvert, headwater, by_outlet),
    )


def culvert_capacity(culvert: Culvert, *, headwater: float, tailwater: float) -> float:
    """Flow that a culvert passes with the water upstream at a level.

    Parameters
    ----------
    culvert : Culvert
        In place.
    headwater, tailwater : float
        Levels. [m]

    Returns
    -------
    float
        0 where the water does not reach it, or does not stand above the tailwater. [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    References
    ----------
    .. [1] FHWA, HDS-5, 3rd ed., FHWA-HIF-12-026, 2012, ch. 3, solved for the flow.
    """
    require_finite(headwater=headwater, tailwater=tailwater)

    def above(flow: float) -> float:
        return culvert_flow(culvert, flow, tailwater=tailwater).headwater - headwater

    smallest = 1e-9 * culvert.barrel.area * sqrt(GRAVITY * culvert.barrel.rise)
    if above(smallest) >= 0:
        return 0.0
    largest = culvert.barrel.area
    while above(largest) < 0:
        largest *= 2
    return float(brentq(above, smallest, largest, xtol=1e-12, rtol=1e-10))


def _unsubmerged(barrel: Barrel, inlet: CulvertInlet, flow: float, x: float, slope_term: float) -> float:
    if inlet.form == 2:
        return float(inlet.k * x**inlet.m)
    depth = critical_depth(barrel, flow)
    energy = depth + (flow / wet_area(barrel, depth)) ** 2 / (2 * GRAVITY)
    return float(max(energy / barrel.rise + inlet.k * x**inlet.m + slope_term, 0.0))


def _warnings(culvert: Culvert, headwater: float, by_outlet: float) -> tuple[str, ...]:
    said = []
    if culvert.slope < 0:
        said.append("the culvert lies adverse, its lower end above its upper: silt gathers in it")
    if culvert.barrel.silt > 0:
        said.append("silted: its open part is taken as a barrel of its own, an approximation")
    filled = (headwater - culvert.invert_up) / culvert.barrel.rise
    if headwater == by_outlet and filled < 0.75:
        said.append("headwater is below 0.75 of its height, where outlet control by this method should not be used")
    elif headwater == by_outlet and filled < 1.2:
        said.append("headwater is below 1.2 of its height: outlet control by this method is to be taken with caution")
    if culvert.barrel.rise < 1 * FOOT:
        said.append("smaller than the 12 in culverts that the method was measured on")
    return tuple(said)
