"""What is found of a curb, an inlet and a pond: held against Manning by hand, volumes and levels that were made so."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import rasterio
from scipy.optimize import brentq

from pipelines.deliverables.words.say import say

_SPEC = importlib.util.spec_from_file_location("looks", Path(__file__).with_name("test_outfall_looks.py"))
_LOOKS = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_LOOKS)
looked, place, without_lines = _LOOKS.looked, _LOOKS.place, _LOOKS.without_lines
CROSS, CURB = 0.02, 0.30
"""Slopes of the pavement and of the curb's face as half a metre of raster shows it."""


def street(t):
    """Half a road that falls to a gutter at 0, its crown 5 m off, a curb 15 cm high and a verge beyond."""
    pavement = CROSS * np.where(t > -5.0, -t, 10.0 + t)
    return np.where(t <= 0.0, pavement, np.minimum(CURB * t, 0.15) + 0.03 * np.maximum(t - 0.5, 0.0))


def sag(s):
    """A street that falls 1 % to a low point 20 m down it, and rises again."""
    return 0.01 * np.abs(s - 20.0)


def test_the_gutter_runs_as_deep_and_wide_as_manning_says(swale_files):
    site = swale_files(street, elevation='rmse = "2 cm"')
    unsure, sure = looked(site, place(20.0, 99.8, kind="curb"), place(20.0, 99.8, kind="curb", shot=True))

    def surplus(depth):
        area = depth**2 * (1 / CROSS + 1 / CURB) / 2.0
        wetted = depth * (np.hypot(1.0, 1 / CROSS) + np.hypot(1.0, 1 / CURB))
        return area * (area / wetted) ** (2 / 3) * np.sqrt(0.01) / 0.016 - sure.flow

    depth = brentq(surplus, 1e-4, 0.1)
    assert sure.level == pytest.approx(99.8 + depth, abs=0.01)
    assert depth > 0.02
    assert sure.why["water"]["depth"] == pytest.approx(depth, abs=0.01)
    assert sure.why["water"]["spread"] == pytest.approx(depth * (1 / CROSS + 1 / CURB), abs=0.5)
    assert (unsure.state, sure.state) == ("cannot_tell", "sure")
    assert "next inlet down the street" in say(unsure.why, "us")
    # a swale that is drawn there is no gutter, and changes nothing; a rougher one stands higher
    (alone,) = looked(without_lines(site), place(20.0, 99.8, kind="curb"))
    assert alone.level == unsure.level
    site.write_text(site.read_text() + "\n[rules]\nn_gutter = 0.032\n")
    (rougher,) = looked(site, place(20.0, 99.8, kind="curb"))
    assert rougher.level > sure.level + 0.005


def test_a_low_point_down_the_street_leaves_the_gutters_water_to_its_inlet(swale_files):
    site = without_lines(swale_files(street, sag, elevation='rmse = "1 cm"'))
    near, far = looked(site, place(14.0, 100.06, kind="curb", shot=True), place(-40.0, 100.6, kind="curb", shot=True))
    assert (near.state, near.level) == ("cannot_tell", None)
    told = near.why["told"]
    assert told.code == "outfall_gutter_low"
    assert told["distance"] == pytest.approx(6.0, abs=1.5)
    # over the crown it runs to the street's other side
    assert told["above"] == pytest.approx(100.10 - 100.06, abs=0.02)
    assert far.state == "sure"
    assert far.level > 100.6


def test_an_inlet_tells_what_reaches_it_and_stays_unknown(swale_files):
    low, even = (
        without_lines(swale_files(street, along, name=name, elevation='rmse = "1 cm"'))
        for name, along in (("low", sag), ("even", lambda s: -0.01 * s))
    )
    (inlet,) = looked(low, place(20.0, 99.4, kind="inlet", shot=True))
    assert (inlet.state, inlet.level) == ("cannot_tell", None)
    assert inlet.why["told"].code == "outfall_inlet_in_low"
    assert inlet.why["told"]["above"] == pytest.approx(100.10 - 99.4, abs=0.02)
    (on_grade,) = looked(even, place(20.0, 99.4, kind="inlet"))
    (gutter,) = looked(even, place(20.0, 99.8, kind="curb"))
    assert on_grade.why["told"].code == "outfall_inlet_on_grade"
    # the same ground; as one catchment its water takes longer than joined to a gutter bit by bit
    assert 0.65 * gutter.flow < on_grade.why["told"]["flow"] < 1.05 * gutter.flow
    assert "the pipe that leaves it" in say(on_grade.why, "us")
    (given,) = looked(low, place(20.0, 99.4, kind="inlet", shot=True, high_water=99.9))
    assert (given.state, given.level) == ("sure", 99.9)


def pond(x, y, z):
    """Water 99.5 m high, 8 m round, in banks of one to four."""
    away = np.hypot(x, y)
    return np.where(away < 8.0, 99.5, np.minimum(z, 99.5 + 0.25 * (away - 8.0)))


def pond_site(swale_files, millimetres, **options):
    # cones shed the rain around the pond, so that its own bowl alone drains to it
    def ground(x, y, z):
        return pond(x, y, z - 0.02 * np.hypot(x, y))

    rain = f'depth = "{millimetres} mm"\nduration = "60 min"'
    options = {"ground": ground, "rain": rain, "elevation": 'rmse = "2 cm"', "soil": 'group = "D"'} | options
    return without_lines(swale_files(lambda t: 0.6 + 0.0 * t, lambda s: 0.0 * s, name=f"pond-{millimetres}", **options))


@pytest.mark.parametrize("floor", [99.4, 99.5, 99.6], ids=["below", "at", "above"])
def test_a_ponds_surface_is_the_tailwater_whatever_the_outlets_floor(swale_files, floor):
    site = pond_site(swale_files, 40)
    plain, shot = looked(site, *(place(9.0, floor, kind="pond", shot=shot) for shot in (False, True)))
    assert plain.level == shot.level == pytest.approx(99.5, abs=1e-6)
    assert plain.why["surface"] == pytest.approx(99.5 - floor, abs=1e-6)
    # how far it rises is its overflow's matter, so that no shot makes it sure; given high water does
    assert (plain.state, shot.state) == ("cannot_tell", "cannot_tell")
    (given,) = looked(site, place(9.0, floor, kind="pond", shot=True, high_water=99.9))
    assert (given.state, given.level) == ("sure", 99.9)
    words = say(plain.why, "si")
    assert "high-water mark and its overflow" in words
    assert ("below its lowest invert" in words) == (floor > 99.5)


def test_a_closed_pond_rises_by_what_runs_into_it(swale_files):
    site = pond_site(swale_files, 40)
    (look,) = looked(site, place(9.0, 99.5, kind="pond"))
    with rasterio.open(site.with_name("ground.tif")) as file:
        held = np.clip(99.5 + look.rise - file.read(1), 0.0, None)
    rows, columns = np.indices(held.shape)
    away = np.hypot(columns - (held.shape[1] - 1) / 2, rows - (held.shape[0] - 1) / 2) * 0.5
    # curve number 84 (NRCS TR-55, table 2-2a: open space in fair condition, group D; memory) on the bowl that drains
    # to it: banks one to four reach ground that falls 1 in 50 from 100.6 m at its middle
    kept = 25.4 * (1000.0 / 84.0 - 10.0)
    runoff = (40.0 - 0.2 * kept) ** 2 / (40.0 + 0.8 * kept) / 1000.0
    rim = (100.6 - 99.5 + 0.25 * 8.0) / (0.25 + 0.02)
    assert held[away < rim].sum() * 0.25 == pytest.approx(runoff * np.pi * rim**2, rel=0.1)
    # a heavier storm raises it further
    (more,) = looked(pond_site(swale_files, 80), place(9.0, 99.5, kind="pond"))
    assert more.rise > look.rise > 0.0


def test_a_pond_that_no_lidar_shows_is_not_made_up(swale_files):
    (look,) = looked(without_lines(swale_files(street)), place(20.0, 99.8, kind="pond"))
    assert (look.state, look.level, look.rise) == ("cannot_tell", None, None)
    assert "which the lidar does not show" in say(look.why, "us")
