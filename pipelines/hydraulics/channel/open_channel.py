"""Open channel of any measured cross-section: its wet part at a level, and what that carries."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.hydraulics.channel.wet_kernel import wet_parts
from pipelines.hydraulics.errors import HydraulicsError
from pipelines.hydraulics.limits import require_finite
from pipelines.hydraulics.manning import velocity_manning
from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class CrossSection:
    """A measured section, looking downstream; made by `cross_section`.

    Attributes
    ----------
    station : (n,) float ndarray
        Distance across, never falling. [m]
    elevation : (n,) float ndarray
        Ground at each. [m]
    roughness : (n - 1,) float ndarray
        Manning's n between neighbouring points. [-]
    """

    station: FloatArray
    elevation: FloatArray
    roughness: FloatArray

    @property
    def lowest(self) -> float:
        """[m]"""
        return float(self.elevation.min())


@dataclass(frozen=True, slots=True)
class WettedSection:
    """The part of a section that holds water, with its composite Manning's n. [m2], [m], [m], [-]"""

    area: float
    perimeter: float
    top_width: float
    roughness: float

    @property
    def hydraulic_radius(self) -> float:
        """[m]"""
        return self.area / self.perimeter if self.perimeter > 0 else 0.0

    @property
    def hydraulic_depth(self) -> float:
        """Area over top width. [m]"""
        return self.area / self.top_width if self.top_width > 0 else 0.0

    @property
    def conveyance(self) -> float:
        """Flow over the root of the slope. [m3/s]"""
        return self.area * velocity_manning(self.hydraulic_radius, 1.0, self.roughness) if self.area > 0 else 0.0


def cross_section(
    station: Sequence[float] | FloatArray,
    elevation: Sequence[float] | FloatArray,
    roughness: float | Sequence[float] | FloatArray,
) -> CrossSection:
    """Section from points across."""
    x = np.array(station, dtype=np.float64)
    z = np.array(elevation, dtype=np.float64)
    if x.ndim != 1 or x.shape != z.shape or x.size < 3:
        raise HydraulicsError(f"a section needs three points or more, here are {x.size} stations and {z.size} heights")
    n = np.array(np.broadcast_to(np.asarray(roughness, dtype=np.float64), (x.size - 1,)))
    faults = [f"point {i + 1} is at {x[i]}, {z[i]}, not finite" for i in range(x.size) if not np.isfinite(x[i] + z[i])]
    faults += [f"station of point {i + 2} falls back" for i in range(x.size - 1) if x[i + 1] < x[i]]
    faults += [f"n after point {i + 1} is {n[i]}" for i in range(n.size) if not (np.isfinite(n[i]) and n[i] > 0)]
    if faults:
        raise HydraulicsError("cross-section: " + "; ".join(faults))
    return CrossSection(x, z, n)


def wetted_section(section: CrossSection, stage: float) -> WettedSection:
    """Area, perimeter, top width and composite roughness of a section filled to a level.

    Only ground in one piece with the lowest point is wet: a low place behind a bank stays dry until the bank is passed.
    Above an end of the section water is held by an upright wall there, which counts as wetted.

    Parameters
    ----------
    section : CrossSection
        The section.
    stage : float
        Level of the water. [m]

    Returns
    -------
    WettedSection
        [m2], [m], [m]

    Raises
    ------
    HydraulicsError
        If the level is not finite.

    Notes
    -----
    Composite n by Horton and Einstein: n = (sum(P_i n_i^1.5) / sum(P_i))^(2/3).

    References
    ----------
    .. [1] USACE Coastal and Hydraulics Laboratory, text on composite roughness, eq. 2-26.
    """
    require_finite(stage=stage)
    dry = WettedSection(0.0, 0.0, 0.0, float(section.roughness[0]))
    if stage <= section.lowest:
        return dry
    area, top_width, perimeter, weighted = wet_parts(section.station, section.elevation, section.roughness, stage)
    return WettedSection(area, perimeter, top_width, (weighted / perimeter) ** (2 / 3))
