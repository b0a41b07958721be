"""Backwater profiles of textbooks and teaching notes against the standard step."""

import numpy as np
import pytest

from pipelines.hydraulics.channel.open_channel import CrossSection, cross_section
from pipelines.hydraulics.channel.standard_step import Downstream, make_channel, water_surface

FOOT = 0.3048
CFS = FOOT**3


def trapezoid(bottom_width, side_slope, depth, roughness):
    """With its bottom at elevation 0."""
    run = side_slope * depth
    return cross_section([0.0, run, run + bottom_width, 2 * run + bottom_width], [depth, 0.0, 0.0, depth], roughness)


def _prism(bottom_width, side_slope, roughness, slope, length, steps, height):
    stations = np.linspace(0.0, length, steps + 1)
    shape = trapezoid(bottom_width, side_slope, height, roughness)
    sections = [
        CrossSection(shape.station, shape.elevation + slope * (length - at), shape.roughness) for at in stations
    ]
    return make_channel(stations, sections)


def _depths(channel, flow, depth, **options):
    flows = np.full(len(channel.station), flow)
    surface = water_surface(
        channel, flows, Downstream(level=channel.sections[-1].lowest + depth), contraction=0.0, expansion=0.0, **options
    )
    return surface.level - [section.lowest for section in channel.sections]


def _chow_distance(depth):
    """How far above the dam the water of the textbook's channel has fallen to a depth. [ft]"""
    channel = _prism(20 * FOOT, 2.0, 0.025, 0.0016, 3000 * FOOT, 100, 12 * FOOT)
    depths = _depths(channel, 400 * CFS, 5 * FOOT, energy_factor=1.10) / FOOT
    return 3000.0 - float(np.interp(depth, depths, channel.station / FOOT))


@pytest.mark.parametrize(
    ("depth", "printed"),
    [
        pytest.param(
            4.80, 155.0,
            marks=pytest.mark.published(
                source="Chow, Open-Channel Hydraulics, 1959, ch. 10", where="Example 10-1, first step", memory=True,
                worked=True,
            ),
        ),
        pytest.param(
            3.40, 2369.0,
            marks=pytest.mark.published(
                source="Chow, Open-Channel Hydraulics, 1959, ch. 10", where="Example 10-1, last step", memory=True,
                worked=True,
            ),
        ),
    ],
)  # fmt: skip
def test_backwater_of_a_dam_on_a_mild_slope(depth, printed):
    # the textbook steps in depth and prints whole feet; 1 % is what its steps differ from ours
    assert _chow_distance(depth) == pytest.approx(printed, rel=0.01)


@pytest.mark.parametrize(
    ("steps", "printed"),
    [
        pytest.param(
            1, 6.2848,
            marks=pytest.mark.published(
                source="Standard step method, backwater integration, teaching spreadsheet, public copy 473807557",
                where="first step of 150 m", memory=False, worked=True,
            ),
        ),
        pytest.param(
            2, 6.0795,
            marks=pytest.mark.published(
                source="Standard step method, backwater integration, teaching spreadsheet, public copy 473807557",
                where="second step of 150 m", memory=False, worked=True,
            ),
        ),
    ],
)  # fmt: skip
def test_steps_of_a_rectangular_channel(steps, printed):
    # 600 m3/s, n 0.04, slope 0.002, 50 m wide, 6.5 m at the lower end; the printed steps are 150 m long and take the
    # mean of the friction slopes, ours the slope at the mean conveyance: 1 mm apart
    depths = _depths(_prism(50.0, 0.0, 0.04, 0.002, 300.0, 2, 10.0), 600.0, 6.5)
    assert depths[2 - steps] == pytest.approx(printed, abs=1e-3)


@pytest.mark.published(
    source="Elementary Hydraulics, ch. 15, computation of water surface profiles", where="problem 15.1", memory=False,
    worked=True,
)  # fmt: skip
def test_depth_above_a_dam_in_a_wide_river():
    # 3.6 m2/s, slope 0.0014, n 0.025, 2.7 m at the dam: 2.174 m at 500 m above, by one predicted and corrected step;
    # our steps are 25 m long
    depths = _depths(_prism(1000.0, 0.0, 0.025, 0.0014, 500.0, 20, 10.0), 3600.0, 2.7)
    assert depths[0] == pytest.approx(2.174, rel=0.005)
