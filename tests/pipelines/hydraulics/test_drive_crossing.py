"""A drive and its culvert share a flow."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.hydraulics.channel.barrel import circular_barrel
from pipelines.hydraulics.channel.culvert import Culvert, culvert_flow, culvert_inlet
from pipelines.hydraulics.channel.drive_crossing import DriveCrossing, crossing_flow, drive_weir_flow
from pipelines.hydraulics.weir import overtopping_flow

CULVERT = Culvert(circular_barrel(0.3048), culvert_inlet("metal_projecting"), 6.0, 0.024, 10.0, 9.95)
DRIVE = DriveCrossing(CULVERT, np.array([0.0, 3.0, 6.0]), np.array([10.9, 10.6, 10.8]))


def test_below_the_drive_the_culvert_carries_all():
    found = crossing_flow(DRIVE, 0.03, tailwater=9.9)
    assert found.headwater == culvert_flow(CULVERT, 0.03, tailwater=9.9).headwater
    assert (found.through, found.over) == (0.03, 0.0)


@given(st.floats(0.001, 1.0), st.floats(9.5, 11.0))
def test_both_add_up_at_one_headwater(flow, tailwater):
    found = crossing_flow(DRIVE, flow, tailwater=tailwater)
    assert found.through + found.over == pytest.approx(flow, rel=1e-6)
    assert found.headwater >= tailwater - 1e-9
    if found.over > 0.0 and found.through > 0.0:
        assert drive_weir_flow(DRIVE, found.headwater, tailwater) == pytest.approx(found.over, rel=1e-4, abs=1e-7)


def test_without_tailwater_the_drive_is_a_free_weir():
    assert drive_weir_flow(DRIVE, 10.75, 9.0) == overtopping_flow(DRIVE.along, DRIVE.crest, 10.75)
    assert drive_weir_flow(DRIVE, 10.6, 9.0) == 0.0


def test_tailwater_drowns_it():
    free = drive_weir_flow(DRIVE, 10.75, 9.0)
    assert drive_weir_flow(DRIVE, 10.75, 10.6 + 0.8 * 0.15) == pytest.approx(free)
    assert drive_weir_flow(DRIVE, 10.75, 10.6 + 0.96 * 0.15) == pytest.approx(0.8 * free)


def test_dry():
    found = crossing_flow(DRIVE, 0.0, tailwater=9.0)
    assert (found.headwater, found.governs) == (10.0, "none")


def test_what_an_adverse_culvert_keeps_back_stays():
    adverse = replace(DRIVE, culvert=replace(CULVERT, invert_down=10.05))
    assert crossing_flow(adverse, 0.0, tailwater=9.0).headwater == 10.05
    assert crossing_flow(adverse, 1e-9, tailwater=9.0).headwater == pytest.approx(10.05, abs=0.001)
