"""What of the rain runs off: curve numbers, weighted by runoff and never by curve number."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.hydrology.errors import SurfaceError
from pipelines.hydrology.rain.storms import DesignStorm
from pipelines.hydrology.sub_catchment import SurfaceShare
from terrain.arrays import FloatArray
from terrain.unit_table import INCH

INITIAL_ABSTRACTION = 0.2
_AVERAGE = (0.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0)
_DRY = (0.0, 15.0, 22.0, 31.0, 40.0, 51.0, 63.0, 78.0, 100.0)
_WET = (0.0, 50.0, 60.0, 70.0, 78.0, 85.0, 91.0, 96.0, 100.0)
UNCONNECTED_LIMIT = 0.30
"""Share of all impervious ground above which unconnected counts as connected. [-]"""


def retention_curve_number(curve_number: float) -> float:
    """Potential maximum retention after runoff begins.

    Parameters
    ----------
    curve_number : float
        Above 0, at most 100. [-]

    Returns
    -------
    float
        S. [m]

    Raises
    ------
    SurfaceError
        If the curve number is out of its range.

    Notes
    -----
    S = 1000 / CN - 10, in inches.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, eq. 2-4.
    """
    if not 0.0 < curve_number <= 100.0:
        raise SurfaceError(f"curve number {curve_number}: give one above 0, at most 100")
    return (1000.0 / curve_number - 10.0) * INCH


def runoff_curve_number(rain: float, curve_number: float, *, initial_abstraction: float = INITIAL_ABSTRACTION) -> float:
    """Depth that runs off a depth of rain.

    Parameters
    ----------
    rain : float
        Fallen since the start. [m]
    curve_number : float
        Above 0, at most 100. [-]
    initial_abstraction : float
        Share of the retention that is taken before any runs off. [-]

    Returns
    -------
    float
        Runoff, 0 until the initial abstraction is full. [m]

    Raises
    ------
    SurfaceError
        If the rain is negative or not finite, or the curve number out of its range.

    Notes
    -----
    Q = (P - Ia)^2 / (P - Ia + S), Ia = 0.2 S. The method is not for snowmelt or frozen ground, and weak where the
    curve number is below about 40 or the runoff below about half an inch.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, eq. 2-1 to 2-4.
    """
    # of one number, which is asked for often, numpy takes ten times as long
    if not (math.isfinite(rain) and rain >= 0.0):
        raise SurfaceError("a depth of rain is negative or not finite: give 0 or above")
    retention = retention_curve_number(curve_number)
    effective = max(rain - initial_abstraction * retention, 0.0)
    whole = effective + retention
    return float(effective * effective / whole) if whole > 0.0 else 0.0


def runoff_depths(
    rain: FloatArray, curve_number: float | FloatArray, *, initial_abstraction: float = INITIAL_ABSTRACTION
) -> FloatArray:
    """Depth that runs off, for many depths of rain or many curve numbers at once.

    Parameters
    ----------
    rain : float ndarray
        Fallen since the start. [m]
    curve_number : float or float ndarray
        Of a shape that broadcasts with `rain`; NaN gives NaN. [-]
    initial_abstraction : float
        Share of the retention that is taken before any runs off. [-]

    Returns
    -------
    float ndarray
        Runoff. [m]

    Raises
    ------
    SurfaceError
        If rain is negative or not finite, or a curve number out of its range.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, eq. 2-1 to 2-4.
    """
    if not (np.isfinite(rain).all() and (rain >= 0.0).all()):
        raise SurfaceError("a depth of rain is negative or not finite: give 0 or above")
    numbers = np.asarray(curve_number, dtype=np.float64)
    if ((numbers <= 0.0) | (numbers > 100.0)).any():
        raise SurfaceError("a curve number is out of its range: give one above 0, at most 100")
    retention = (1000.0 / numbers - 10.0) * INCH
    effective = np.maximum(rain - initial_abstraction * retention, 0.0)
    # where nothing is retained and nothing falls, the quotient would be 0 / 0
    whole = effective + retention
    return np.where(whole > 0.0, effective * effective / np.where(whole > 0.0, whole, 1.0), 0.0)


def excess_of_shares(storm: DesignStorm, shares: Sequence[SurfaceShare]) -> FloatArray:
    """Rainfall excess of each step on ground of several surfaces, runoff weighted by area.

    Parameters
    ----------
    storm : DesignStorm
        Rain in steps.
    shares : sequence of SurfaceShare
        Surfaces of the ground.

    Returns
    -------
    (n,) float ndarray
        Mean over the ground. [m]

    Raises
    ------
    SurfaceError
        If the shares hold no area.

    References
    ----------
    .. [1] NRCS, National Engineering Handbook part 630, ch. 10: the curve number applied to cumulative rain, and
       runoff rather than curve numbers weighted by area (weighted-Q method).
    """
    area = total_area(shares)
    numbers = effective_curve_numbers(shares)
    fallen = storm.cumulative
    runoff = np.zeros(fallen.size)
    for share, number in zip(shares, numbers, strict=True):
        runoff += share.area / area * runoff_depths(fallen, number)
    return np.diff(runoff)


def runoff_of_shares(rain: float, shares: Sequence[SurfaceShare]) -> float:
    """Depth that runs off ground of several surfaces, runoff weighted by area.

    Parameters
    ----------
    rain : float
        [m]
    shares : sequence of SurfaceShare
        Surfaces of the ground.

    Returns
    -------
    float
        Mean over the ground. [m]

    Raises
    ------
    SurfaceError
        If the shares hold no area.

    References
    ----------
    .. [1] As of `excess_of_shares`.
    """
    area = total_area(shares)
    numbers = effective_curve_numbers(shares)
    return sum(
        share.area / area * runoff_curve_number(rain, number) for share, number in zip(shares, numbers, strict=True)
    )


def effective_curve_numbers(shares: Sequence[SurfaceShare]) -> tuple[float, ...]:
    """Curve number that each share's runoff is reckoned with.

    Parameters
    ----------
    shares : sequence of SurfaceShare
        Surfaces of the ground.

    Returns
    -------
    tuple of float
        Each share's own, but of unconnected impervious ground midway between its own and the mean of the pervious
        ground its water crosses, where all impervious ground is less than 30 %. [-]

    Raises
    ------
    SurfaceError
        If the shares hold no area.

    Notes
    -----
    This is the published composite CNp + f (98 - CNp) (1 - R / 2) taken apart: f R of the ground at the midway
    number, f (1 - R) at 98, the rest at CNp.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, fig. 2-4 and Appendix F, from memory; example 2-4 confirms it.
    """
    area = total_area(shares)
    pervious = sum(share.area for share in shares if not share.impervious)
    if pervious <= 0.0 or 1.0 - pervious / area >= UNCONNECTED_LIMIT:
        return tuple(share.curve_number for share in shares)
    crossed = sum(share.area * share.curve_number for share in shares if not share.impervious) / pervious
    return tuple(
        share.curve_number if share.connected or not share.impervious else 0.5 * (share.curve_number + crossed)
        for share in shares
    )


def composite_curve_number(shares: Sequence[SurfaceShare]) -> float:
    """Curve number weighted by area, for comparison only: runoff is weighted, not curve numbers.

    Parameters
    ----------
    shares : sequence of SurfaceShare
        Surfaces of the ground.

    Returns
    -------
    float
        Not rounded. [-]

    Raises
    ------
    SurfaceError
        If the shares hold no area.

    References
    ----------
    .. [1] NRCS, TR-55, 2nd ed., 1986, ch. 2, figs. 2-3 and 2-4.
    """
    area = total_area(shares)
    return sum(s.area / area * number for s, number in zip(shares, effective_curve_numbers(shares), strict=True))


def composite_coefficient(shares: Sequence[SurfaceShare]) -> float:
    """Rational coefficient weighted by area.

    Parameters
    ----------
    shares : sequence of SurfaceShare
        Surfaces of the ground.

    Returns
    -------
    float
        [-]

    Raises
    ------
    SurfaceError
        If the shares hold no area.

    References
    ----------
    .. [1] FHWA, "Urban Drainage Design Manual", HEC-22, eq. 3-2.
    """
    area = total_area(shares)
    return sum(share.area / area * share.coefficient for share in shares)


def dry_and_wet(shares: Sequence[SurfaceShare]) -> tuple[tuple[SurfaceShare, ...], tuple[SurfaceShare, ...]]:
    """The same ground after a dry spell and after a wet one.

    Parameters
    ----------
    shares : sequence of SurfaceShare
        Surfaces at the average runoff condition.

    Returns
    -------
    dry, wet : tuple of SurfaceShare
        Curve numbers of pervious surfaces at runoff conditions I and III; impervious ones as they are.

    Raises
    ------
    SurfaceError
        If a curve number is out of its range.

    References
    ----------
    .. [1] As of `curve_number_dry` and `curve_number_wet`.
    """
    dry = tuple(s if s.impervious else replace(s, curve_number=curve_number_dry(s.curve_number)) for s in shares)
    wet = tuple(s if s.impervious else replace(s, curve_number=curve_number_wet(s.curve_number)) for s in shares)
    return dry, wet


def curve_number_dry(curve_number: float) -> float:
    """Curve number at runoff condition I, the dry bound, of one at the average condition.

    Parameters
    ----------
    curve_number : float
        Average condition. [-]

    Returns
    -------
    float
        Linear between the printed tens. [-]

    Raises
    ------
    SurfaceError
        If the curve number is out of its range.

    References
    ----------
    .. [1] USDA-SCS 1985, as printed in Beven, K. J., "Rainfall-Runoff Modelling: The Primer", Table B6.3.2; the same
       numbers as NRCS, National Engineering Handbook part 630, ch. 10, Table 10-1.
    """
    retention_curve_number(curve_number)
    return float(np.interp(curve_number, _AVERAGE, _DRY))


def curve_number_wet(curve_number: float) -> float:
    """Curve number at runoff condition III, the wet bound, of one at the average condition.

    Parameters
    ----------
    curve_number : float
        Average condition. [-]

    Returns
    -------
    float
        Linear between the printed tens. [-]

    Raises
    ------
    SurfaceError
        If the curve number is out of its range.

    References
    ----------
    .. [1] As of `curve_number_dry`.
    """
    retention_curve_number(curve_number)
    return float(np.interp(curve_number, _AVERAGE, _WET))


def total_area(shares: Sequence[SurfaceShare]) -> float:
    """Area of all shares. [m2]"""
    area = sum(share.area for share in shares)
    if not area > 0.0:
        raise SurfaceError("ground without area has no runoff: give at least one surface with an area above 0")
    return area


def impervious_fraction(shares: Sequence[SurfaceShare]) -> float:
    """Share of ground that sheds rain at once. [-]"""
    return sum(share.area for share in shares if share.impervious) / total_area(shares)
