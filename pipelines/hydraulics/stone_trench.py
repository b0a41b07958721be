"""Trench of stone and perforated pipe, brought to grade: what it takes in along its length and carries."""

from dataclasses import dataclass
from math import pi, sqrt

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


@dataclass(frozen=True, slots=True)
class StoneTrench:
    """A French drain whose stone comes up to the ground: under soil it takes only what the soil lets through.

    Attributes
    ----------
    length, width, depth : float
        Of the stone. [m]
    pipe : Pipe
        Perforated pipe in it.
    slope : float
        Of the pipe. [-]
    porosity : float
        Voids over whole volume; what manuals call a void ratio of 0.40 is a porosity of 0.40. [-]
    """

    length: float
    width: float
    depth: float
    pipe: Pipe
    slope: float
    porosity: float = DESIGN_POROSITY


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


def trench_capacity(
    trench: StoneTrench, *, clogging: float = SURFACE_CLOGGING, stone_size: float = STONE_SIZE
) -> float:
    """Flow that a trench takes in along its length and carries to its end, the lesser of both.

    Parameters
    ----------
    trench : StoneTrench
        The trench.
    clogging : float, optional
        Share of its surface that is silted or under leaves. [-]
    stone_size : float, optional
        Of balls that lose as much as the stone. [m]

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    HydraulicsError
        If a number is out of range or the pipe does not fit.

    Notes
    -----
    Water enters straight down under a gradient of 1; it leaves through the full pipe and through the stone around it
    under the pipe's slope.

    References
    ----------
    .. [1] Ergun, Chemical Engineering Progress 48, 1952, p. 89; FHWA, HEC-22, 3rd ed., 2009, eq. 7-1, for the pipe.
    """
    require_positive(length=trench.length, width=trench.width, depth=trench.depth)
    require_not_negative(slope=trench.slope)
    require_fraction(porosity=trench.porosity, clogging=clogging)
    pipe = trench.pipe
    if pipe.outside >= min(trench.width, trench.depth):
        raise HydraulicsError(
            f"pipe {pipe.key} is {pipe.outside:.3f} m across and does not fit into a trench {trench.width:.3f} m wide "
            f"with {trench.depth:.3f} m of stone"
        )
    taken_in = trench.length * trench.width * velocity_ergun(1.0, trench.porosity, stone_size) * (1 - clogging)
    stone = trench.width * trench.depth - pi * pipe.outside**2 / 4
    carried = full_pipe_capacity(pipe.inside, trench.slope, pipe.roughness) + stone * velocity_ergun(
        trench.slope, trench.porosity, stone_size
    )
    return min(taken_in, carried)
