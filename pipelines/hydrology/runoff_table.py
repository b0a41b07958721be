"""One row of the runoff table: a sub-catchment from its ground, its flow path and the run's rain."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shapely import Geometry

from pipelines.hydrology.flow_path import Travel
from pipelines.hydrology.hydrographs import RATIONAL_LIMIT, rational_peak, runoff_hydrograph
from pipelines.hydrology.losses import (
    composite_coefficient,
    composite_curve_number,
    dry_and_wet,
    excess_of_shares,
    impervious_fraction,
    runoff_of_shares,
    total_area,
)
from pipelines.hydrology.rain.design_rain import DesignRain
from pipelines.hydrology.rain.storms import refined
from pipelines.hydrology.sub_catchment import SubCatchment, SurfaceShare

STEP = 30.0
"""The step of every hydrograph of a run, a tenth of the shortest time of concentration. [s]"""


@dataclass(frozen=True, slots=True)
class RunoffBounds:
    """Runoff of the same storm on the same ground after a dry spell and after a wet one. [m3]"""

    dry: float
    wet: float


def sub_catchment_runoff(
    id: str,
    drains_to: str,
    shares: Sequence[SurfaceShare],
    travel: Travel,
    rain: DesignRain,
    *,
    shape: Geometry,
    run_on: bool = False,
    step: float = STEP,
) -> SubCatchment:
    """What runs off a sub-catchment in the run's rain.

    Parameters
    ----------
    id, drains_to : str
        Its id, and that of what takes its water.
    shares : sequence of SurfaceShare
        Its surfaces; the sum of their areas is its area.
    travel : Travel
        Time along its longest path, as `along_path` gives it.
    rain : DesignRain
        The run's rain.
    shape : shapely Geometry
        Its ground.
    run_on : bool
        Lies outside the parcel.
    step : float
        Of its hydrograph; the same for all that are to be added. [s]

    Returns
    -------
    SubCatchment
        Peak in m3/s, volume in m3; rational_peak is NaN above 80 ha, where the method is not used.

    Raises
    ------
    SurfaceError
        If the shares hold no area.
    HydrographError
        If the step is too long for the time of concentration.

    References
    ----------
    .. [1] Of each number: the function of `losses`, `hydrographs` and `flow_path` it comes from.
    """
    area = total_area(shares)
    time = travel.time_of_concentration
    excess = excess_of_shares(refined(rain.storm, step), shares)
    hydrograph = runoff_hydrograph(excess, area, time, step)
    coefficient = composite_coefficient(shares)
    intensity = rain.intensity(time)
    depth = float(excess.sum())
    return SubCatchment(
        id=id,
        drains_to=drains_to,
        shape=shape,
        run_on=run_on,
        shares=tuple(shares),
        area=area,
        impervious_fraction=impervious_fraction(shares),
        runoff_coefficient=coefficient,
        curve_number=composite_curve_number(shares),
        flow_length=travel.length,
        slope=travel.slope,
        time_of_concentration=time,
        intensity=intensity,
        rational_peak=rational_peak(coefficient, intensity, area) if area <= RATIONAL_LIMIT else math.nan,
        storm_depth=rain.storm.depth,
        runoff_depth=depth,
        runoff_volume=depth * area,
        hydrograph=hydrograph,
    )


def runoff_bounds(rows: Iterable[SubCatchment]) -> RunoffBounds:
    """Runoff volume of some sub-catchments between its dry and its wet bound.

    Parameters
    ----------
    rows : iterable of SubCatchment
        Of one storm.

    Returns
    -------
    RunoffBounds
        Volumes. [m3]

    Raises
    ------
    SurfaceError
        If a curve number is out of its range.

    References
    ----------
    .. [1] As of `pipelines.hydrology.losses.dry_and_wet`.
    """
    dry = wet = 0.0
    for row in rows:
        drier, wetter = dry_and_wet(row.shares)
        dry += runoff_of_shares(row.storm_depth, drier) * row.area
        wet += runoff_of_shares(row.storm_depth, wetter) * row.area
    return RunoffBounds(dry, wet)
