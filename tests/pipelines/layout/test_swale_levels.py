"""Capacity of measured swales: Manning's on exact sections, and the estimate of what cells hide."""

from types import SimpleNamespace

import numpy as np
import pytest

from pipelines.hydraulics.channel.open_channel import cross_section, wetted_section
from pipelines.hydraulics.channel.standard_step import capacity_at, make_channel
from pipelines.layout.swale.levels import cell_loss, swale_capacity
from terrain.swale.sections import SwaleSection, cut_sections
from terrain.swale.thalweg import snap_thalweg

FOOT = 0.3048


def _exact(bottom_width, side_slope, depth, station=0.0):
    half = bottom_width / 2 + side_slope * depth
    offsets = np.unique(np.concatenate([np.linspace(-half, half, 401), [-bottom_width / 2, bottom_width / 2]]))
    rise = np.maximum(np.abs(offsets) - bottom_width / 2, 0.0) / side_slope
    return SwaleSection(station, 0.0, station, (1.0, 0.0), offsets, 10.0 + rise, 10.0 + depth, 10.0 + depth,
                        "shelf", "shelf")  # fmt: skip


@pytest.mark.parametrize(
    ("bottom_width", "side_slope", "depth", "roughness", "slope", "expected"),
    [
        # Univ. of Iowa 53:119 problem 30: triangle 1V:3H, 1 ft deep, n 0.04, S 0.015: 8.302 ft3/s
        (0.0, 3.0, 1.0 * FOOT, 0.04, 0.015, 8.302 * FOOT**3),
        # the same formula in SI: b 0.6 m, z 3, y 0.15 m, n 0.035, S 0.01: 0.09804 m3/s
        (0.6, 3.0, 0.15, 0.035, 0.01, 0.09804),
    ],
    ids=["triangle", "trapezoid"],
)
def test_capacity_on_exact_sections_is_manning_to_one_per_cent(
    bottom_width, side_slope, depth, roughness, slope, expected
):
    section = _exact(bottom_width, side_slope, depth)
    channel = make_channel([0.0], [cross_section(section.offsets, section.elevations, roughness)])
    carried = capacity_at(channel, np.array([section.bank_full]), np.array([slope]))
    assert carried[0] == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("depth", [0.2, 0.9])
def test_velocity_times_area_is_the_flow_however_small_the_swale(depth):
    section = _exact(0.3, 3.0, depth)
    channel = make_channel([0.0], [cross_section(section.offsets, section.elevations, 0.035)])
    bank, bottom = np.array([section.bank_full]), np.array([10.0])
    site = SimpleNamespace(channel=channel, bank=bank, bottom=bottom, slope=np.array([0.01]), sections=[section])
    found = swale_capacity(site, freeboard=0.0, cell=0.5)
    assert found.bank_full[0] > 0.0
    assert found.velocity[0] * (0.3 + 3.0 * depth) * depth == pytest.approx(found.bank_full[0], rel=1e-3)


@pytest.mark.parametrize("cell", [0.25, 0.5, 1.0])
def test_the_estimate_of_what_cells_hide_is_near_what_they_do_hide(made_swale, cell):
    def vee(t):
        return np.minimum(np.abs(t) / 5.0, 0.3)

    true = _exact(0.0, 5.0, 0.3)
    whole = _conveyance(true, true.bank_full)
    made = made_swale(vee, cell=cell, angle=37.0)
    sections = cut_sections(made.surface, snap_thalweg(made.surface, made.drawn))
    hidden = np.mean([1.0 - _conveyance(section, section.bank_full) / whole for section in sections])
    estimate = np.mean([cell_loss(section, cell) for section in sections])
    assert hidden > 0.0
    assert estimate == pytest.approx(hidden, rel=0.25)


def test_finer_cells_hide_less():
    section = _exact(0.5, 4.0, 0.3)
    losses = [cell_loss(section, cell) for cell in (0.1, 0.25, 0.5, 1.0)]
    assert losses == sorted(losses)
    assert losses[0] < 0.05
    assert cell_loss(SwaleSection(0.0, 0.0, 0.0, (1.0, 0.0), np.array([-1.0, 0.0, 1.0]), np.full(3, 5.0), 5.0, 5.0,
                                  "none", "none"), 0.5) == 0.0  # fmt: skip


def _conveyance(section, level):
    return wetted_section(cross_section(section.offsets, section.elevations, 0.05), level).conveyance
