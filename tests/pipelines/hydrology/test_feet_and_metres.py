"""Every public formula in feet and inches as printed, and in metres: the same answer."""

import math

import pytest

from pipelines.hydrology.hydrographs import rational_peak, time_to_peak_nrcs
from pipelines.hydrology.losses import retention_curve_number, runoff_curve_number
from pipelines.hydrology.time_of_concentration import shallow_velocity, sheet_flow_limit, sheet_flow_time

FT, IN, CFS, ACRE, MIN, H = 0.3048, 0.0254, 0.3048**3, 43560 * 0.3048**2, 60.0, 3600.0


def printed_runoff(rain, number):
    retention = 1000 / number - 10
    return max(rain - 0.2 * retention, 0) ** 2 / (rain + 0.8 * retention)


CASES = {
    "retention": (retention_curve_number(78) / IN, 1000 / 78 - 10, 1e-12),
    "runoff": (runoff_curve_number(4.3 * IN, 78) / IN, printed_runoff(4.3, 78), 1e-12),
    "sheet flow": (
        sheet_flow_time(85 * FT, 0.013, 0.15, 3.1 * IN) / H,
        0.007 * (0.15 * 85) ** 0.8 / (3.1**0.5 * 0.013**0.4),
        1e-12,
    ),
    "limit of sheet flow": (sheet_flow_limit(0.004, 0.24) / FT, 100 * 0.004**0.5 / 0.24, 1e-12),
    "shallow flow": (shallow_velocity("gravel", 0.03) / FT, 16.135 * 0.03**0.5, 1e-12),
    # practice takes 1.008333 as 1
    "rational": (rational_peak(0.3, 4 * IN / H, 2 * ACRE) / CFS, 0.3 * 4 * 2, 8.4e-3),
    "time to peak": (time_to_peak_nrcs(0.5 * H, 4 * MIN) / MIN, 4 / 2 + 0.6 * 30, 1e-12),
}


@pytest.mark.parametrize("formula", CASES)
def test_formula_in_both_systems(formula):
    metric, printed, tolerance = CASES[formula]
    assert math.isfinite(metric)
    assert metric == pytest.approx(printed, rel=tolerance)
