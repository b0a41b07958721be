"""Trench of stone and perforated pipe: what it takes in, holds, carries and lets go."""

from dataclasses import dataclass
from math import inf, pi, sqrt
from typing import Literal

from pipelines.hydraulics.constants import DENSITY_OF_WATER, GRAVITY, VISCOSITY_OF_WATER
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_fraction, require_not_negative, require_positive
from pipelines.hydraulics.manning import full_pipe_capacity
from pipelines.hydraulics.pipe_catalogue import Pipe
from terrain.unit_table import INCH

DESIGN_POROSITY = 0.35
"""Voids over whole volume on the safe side; stone is printed at 0.40. [-]"""

STONE_SIZE = 0.5 * INCH
"""Size of a ball that loses as much as washed No. 57 stone; common practice, no source. [m]"""

SURFACE_CLOGGING = 0.5
"""Share of a stone surface taken as silted or under leaves, as for a grate in a sag. [-]"""

Cover = Literal["grade", "soil"]


@dataclass(frozen=True, slots=True)
class StoneTrench:
    """A French drain.

    Attributes
    ----------
    length, width, depth : float
        Of the stone. [m]
    pipe : Pipe or None
        Perforated pipe in it.
    slope : float
        Of the pipe. [-]
    cover : str
        grade: stone comes up to the ground; soil: fabric, soil and sod lie over it.
    porosity : float
        Voids over whole volume. [-]
    """

    length: float
    width: float
    depth: float
    pipe: Pipe | None
    slope: float
    cover: Cover
    porosity: float = DESIGN_POROSITY


@dataclass(frozen=True, slots=True)
class TrenchIntake:
    """What a trench takes in along its length.

    Attributes
    ----------
    flow : float
        [m3/s]
    catches_sheet_flow : bool
        Whether water that runs over the ground in a storm gets into it.
    why : str
        In a sentence.
    """

    flow: float
    catches_sheet_flow: bool
    why: str


@dataclass(frozen=True, slots=True)
class TrenchReport:
    """A trench against the flow that arrives along it.

    Attributes
    ----------
    intake : TrenchIntake
        Along its length.
    carries, pipe_carries, stone_carries : float
        Along it: both, the pipe, and the stone. [m3/s]
    roughness : float or None
        Manning's n of the pipe. [-]
    storage : float
        Water that pipe and voids hold. [m3]
    taken : float
        The least of inflow, intake and what it carries. [m3/s]
    length_needed : float
        Length whose intake matches the inflow; infinite where none would. [m]
    emptied_by_pipe, emptied_by_soil : float
        Time to empty from full through the pipe, and through the bottom alone. [s]
    warnings : tuple of str
        What a reader must know.
    """

    intake: TrenchIntake
    carries: float
    pipe_carries: float
    stone_carries: float
    roughness: float | None
    storage: float
    taken: float
    length_needed: float
    emptied_by_pipe: float
    emptied_by_soil: float
    warnings: tuple[str, ...]


def velocity_ergun(gradient: float, porosity: float, size: float = STONE_SIZE) -> float:
    """Flow through a square metre of clean stone under a gradient.

    Parameters
    ----------
    gradient : float
        Head lost over length. [-]
    porosity : float
        Voids over whole volume. [-]
    size : float, optional
        Of balls that lose as much as the stone. [m]

    Returns
    -------
    float
        Over the whole section, voids and stone. [m/s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    dp/L = 150 mu (1 - e)^2 v / (e^3 d^2) + 1.75 rho (1 - e) v^2 / (e^3 d), water at 10 degrees Celsius. For packed beds
    with a Reynolds number from about 1 to 2400; a trench of stone lies within.

    References
    ----------
    .. [1] Ergun, "Fluid flow through packed columns", Chemical Engineering Progress 48, 1952, p. 89.
    """
    require_not_negative(gradient=gradient)
    require_fraction(porosity=porosity)
    require_positive(size=size, porosity=porosity, solid_share=1 - porosity)
    slow = 150 * VISCOSITY_OF_WATER * (1 - porosity) ** 2 / (porosity**3 * size**2)
    fast = 1.75 * DENSITY_OF_WATER * (1 - porosity) / (porosity**3 * size)
    push = DENSITY_OF_WATER * GRAVITY * gradient
    return (sqrt(slow**2 + 4 * fast * push) - slow) / (2 * fast)


def trench_storage(trench: StoneTrench) -> float:
    """Water that a trench holds in its voids and its pipe.

    Parameters
    ----------
    trench : StoneTrench
        The trench.

    Returns
    -------
    float
        [m3]

    Raises
    ------
    HydraulicsError
        If a number is out of range or the pipe does not fit.

    Notes
    -----
    porosity x (trench volume - pipe's outside volume) + pipe's inside volume. Manuals that say "void ratio 0.40" mean
    this porosity; a true void ratio of 0.40 would be a porosity of 0.29.

    References
    ----------
    .. [1] Stormwater Manager's Resource Center, infiltration criteria: porosity as voids over total volume, 0.40.
    """
    _check(trench)
    whole = trench.length * trench.width * trench.depth
    if trench.pipe is None:
        return trench.porosity * whole
    outside, inside = (pi * d**2 / 4 * trench.length for d in (trench.pipe.outside, trench.pipe.inside))
    return trench.porosity * (whole - outside) + inside


def trench_intake(trench: StoneTrench, *, soil_rate: float) -> TrenchIntake:
    """Water that gets into a trench along its length.

    Parameters
    ----------
    trench : StoneTrench
        The trench.
    soil_rate : float
        Rate at which the soil over it lets water through; counts where it lies under soil. [m/s]

    Returns
    -------
    TrenchIntake
        [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    References
    ----------
    .. [1] Ergun, Chemical Engineering Progress 48, 1952, p. 89, straight down under a gradient of 1: stone to grade.
    .. [2] Darcy's law under a gradient of 1 for soil over fabric.
    """
    _check(trench)
    require_not_negative(soil_rate=soil_rate)
    surface = trench.length * trench.width
    if trench.cover == "soil":
        return TrenchIntake(
            surface * soil_rate, False,
            "under soil and fabric it takes only what the soil lets through: it does not catch storm sheet flow",
        )
    rate = velocity_ergun(1.0, trench.porosity) * (1 - SURFACE_CLOGGING)
    return TrenchIntake(surface * rate, True, "stone to grade catches sheet flow along its length, half of it silted")


def report_trench(trench: StoneTrench, inflow: float, *, soil_rate: float) -> TrenchReport:
    """A trench against the flow that arrives along it.

    Parameters
    ----------
    trench : StoneTrench
        The trench.
    inflow : float
        Along its whole length. [m3/s]
    soil_rate : float
        Of the soil under and over it. [m/s]

    Returns
    -------
    TrenchReport
        [m3/s], [m3], [m], [s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    Emptying through the pipe counts half of what the pipe carries full, since it falls as the trench empties.

    References
    ----------
    .. [1] Ergun, Chemical Engineering Progress 48, 1952, p. 89; FHWA, HEC-22, 3rd ed., 2009, eq. 7-1, for the pipe.
    """
    require_not_negative(inflow=inflow)
    intake = trench_intake(trench, soil_rate=soil_rate)
    storage = trench_storage(trench)
    in_pipe, pipe_outside, roughness = 0.0, 0.0, None
    if trench.pipe is not None:
        roughness = trench.pipe.roughness
        in_pipe = full_pipe_capacity(trench.pipe.inside, trench.slope, roughness)
        pipe_outside = pi * trench.pipe.outside**2 / 4
    in_stone = (trench.width * trench.depth - pipe_outside) * velocity_ergun(trench.slope, trench.porosity)
    carries = in_pipe + in_stone
    per_metre = intake.flow / trench.length
    return TrenchReport(
        intake=intake,
        carries=carries,
        pipe_carries=in_pipe,
        stone_carries=in_stone,
        roughness=roughness,
        storage=storage,
        taken=min(inflow, intake.flow, carries),
        length_needed=inflow / per_metre if per_metre > 0 else (inf if inflow > 0 else 0.0),
        emptied_by_pipe=storage / (carries / 2) if carries > 0 else inf,
        emptied_by_soil=drain_down_time(trench.depth, trench.porosity, soil_rate),
        warnings=_warnings(trench, inflow, intake, carries),
    )


def drain_down_time(depth: float, porosity: float, soil_rate: float) -> float:
    """Time in which stone full of water empties through its bottom.

    Parameters
    ----------
    depth : float
        Of the stone. [m]
    porosity : float
        [-]
    soil_rate : float
        Of the soil under it. [m/s]

    Returns
    -------
    float
        Infinite where the soil lets nothing through. [s]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    t = n d / f.

    References
    ----------
    .. [1] Stormwater Manager's Resource Center, infiltration criteria.
    """
    require_not_negative(depth=depth, soil_rate=soil_rate)
    require_fraction(porosity=porosity)
    if soil_rate == 0:
        return inf if depth > 0 and porosity > 0 else 0.0
    return porosity * depth / soil_rate


def deepest_stone(time: float, porosity: float, soil_rate: float) -> float:
    """Depth of stone that empties through its bottom within a time.

    Parameters
    ----------
    time : float
        [s]
    porosity : float
        [-]
    soil_rate : float
        [m/s]

    Returns
    -------
    float
        [m]

    Raises
    ------
    HydraulicsError
        If a number is out of range.

    Notes
    -----
    d = f t / n.

    References
    ----------
    .. [1] Stormwater Manager's Resource Center, infiltration criteria.
    """
    require_not_negative(time=time, soil_rate=soil_rate)
    require_fraction(porosity=porosity)
    require_positive(porosity=porosity)
    return soil_rate * time / porosity


def _check(trench: StoneTrench) -> None:
    require_positive(length=trench.length, width=trench.width, depth=trench.depth)
    require_not_negative(slope=trench.slope)
    require_fraction(porosity=trench.porosity)
    if trench.pipe is not None and trench.pipe.outside >= min(trench.width, trench.depth):
        raise HydraulicsError(
            f"pipe {trench.pipe.key} is {trench.pipe.outside:.3f} m across and does not fit into a trench "
            f"{trench.width:.3f} m wide with {trench.depth:.3f} m of stone"
        )


def _warnings(trench: StoneTrench, inflow: float, intake: TrenchIntake, carries: float) -> tuple[str, ...]:
    said = []
    if not intake.catches_sheet_flow:
        said.append(intake.why)
    if inflow > intake.flow:
        said.append("more arrives along it than it takes in: the rest runs over it")
    if inflow > carries:
        said.append("more arrives than pipe and stone carry at this slope: it fills and spills along its length")
    if trench.pipe is not None and trench.pipe.interior != "perforated":
        said.append(f"{trench.pipe.key} has no holes: water in the stone does not get into it")
    if trench.slope == 0:
        said.append("laid level it carries nothing away: it stores, and the soil must take it")
    return tuple(said)
