"""Cross-sections of made swales, whose true shape is known."""

import numpy as np
import pytest
import shapely
from shapely import LineString

from terrain.errors import GeometryError
from terrain.ground import BARRIER, OPEN, Ground
from terrain.swale.sections import cut_sections
from terrain.swale.thalweg import snap_thalweg


def vee(t):
    return np.minimum(np.abs(t) / 5.0, 0.3)


def trapezoid(t):
    return np.clip((np.abs(t) - 0.5) / 2.5, 0.0, 0.4)


def _conveyance_shape(offsets, elevations, level):
    """A R^(2/3) by fine strips, written apart from the program's."""
    at = np.linspace(offsets[0], offsets[-1], 6001)
    ground = np.interp(at, offsets, elevations)
    depth = np.maximum(level - ground, 0.0)
    area = np.trapezoid(depth, at)
    wet = (depth[1:] > 0) | (depth[:-1] > 0)
    perimeter = np.hypot(np.diff(at), np.diff(ground))[wet].sum()
    return area * (area / perimeter) ** (2 / 3)


def test_sections_on_cell_centres_are_the_ground_itself(made_swale):
    made = made_swale(trapezoid, cell=0.5)
    thalweg = snap_thalweg(made.surface, made.drawn, reach=0.0)
    sections = cut_sections(made.surface, thalweg, spacing=5.0)
    assert len(sections) == 21
    for section in sections:
        # a corner of the trapezoid every half metre, each on a cell centre
        np.testing.assert_allclose(
            section.elevations, 100.0 + trapezoid(section.offsets) - 0.01 * (section.station - 50.0), atol=1e-9
        )
        assert (section.offsets[0], section.offsets[-1]) == pytest.approx((-1.5, 1.5), abs=0.13)
        assert section.depth == pytest.approx(0.4, abs=0.01)
        assert (section.left_kind, section.right_kind) == ("shelf", "shelf")


@pytest.mark.parametrize(("cell", "least", "most"), [(0.25, 0.04, 0.10), (0.5, 0.12, 0.17), (1.0, 0.20, 0.35)])
@pytest.mark.parametrize("shape", [vee, lambda t: np.clip((np.abs(t) - 0.6) / 3.0, 0.0, 0.3)], ids=["vee", "trapezoid"])
def test_loss_to_the_cell_size_is_measured_and_always_on_the_low_side(made_swale, shape, cell, least, most):
    made = made_swale(shape, cell=cell, angle=37.0, drawn_off=0.5)
    sections = cut_sections(made.surface, snap_thalweg(made.surface, made.drawn))
    true_offsets = np.linspace(-1.5, 1.5, 3001)
    for share, widest in ((1.0, most), (0.5, 2.0 * most)):
        exact = _conveyance_shape(true_offsets, shape(true_offsets), 0.3 * share)
        lost = []
        for section in sections:
            bottom = 100.0 - 0.01 * (section.station - 50.0)
            level = min(section.bank_full, bottom + 0.3) if share == 1.0 else bottom + 0.3 * share
            lost.append(1.0 - _conveyance_shape(section.offsets, section.elevations, level) / exact)
        assert min(lost) > 0.0
        assert np.mean(lost) < widest
        if share == 1.0:
            assert np.mean(lost) > least


def test_sections_in_a_bend_do_not_cross(made_swale):
    made = made_swale(lambda t: np.zeros_like(t), lambda s: 0.0 * s, length=30.0, beside=30.0)
    grid = made.surface.grid
    x, y = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    made.surface.elevation[:] = 100.0 + np.minimum(np.abs(np.hypot(x, y) - 6.0) / 8.0, 0.8) - 0.1 * np.arctan2(y, x)
    turns = np.linspace(-2.4, 2.4, 30)
    drawn = LineString(np.column_stack([6.0 * np.cos(turns), 6.0 * np.sin(turns)]))
    sections = cut_sections(made.surface, snap_thalweg(made.surface, drawn), spacing=1.5)
    # the inner bank stands 6.4 m inside the bottom, past the middle of the bend
    assert any(section.left_cut for section in sections)
    assert not any(section.right_cut for section in sections)
    lines = [shapely.force_2d(section.line) for section in sections]
    for index, line in enumerate(lines):
        for other in lines[index + 1 :]:
            assert not line.crosses(other) or line.intersection(other).distance(
                shapely.union_all([line.boundary, other.boundary])
            ) < 1e-6
    for section in sections:
        assert section.left_level - section.bottom > 0.5


def test_a_barrier_ends_a_section(made_swale):
    made = made_swale(lambda t: np.abs(t) / 5.0)
    grid = made.surface.grid
    _, y = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    kind = np.where(np.abs(y - 2.0) < 0.3, BARRIER, OPEN)
    ground = Ground(grid, made.surface.elevation, kind, np.full(grid.shape, -1), np.full(grid.shape, -1))
    section = cut_sections(ground, snap_thalweg(ground, made.drawn, reach=0.0))[5]
    assert (section.left_kind, section.right_kind) == ("wall", "none")
    assert section.offsets[0] == pytest.approx(-1.75, abs=0.13)
    assert section.offsets[-1] == pytest.approx(8.0, abs=0.13)


def test_a_drive_across_does_not_move_the_banks(made_swale):
    made = made_swale(trapezoid)
    grid = made.surface.grid
    x, _ = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    drive = np.abs(x) < 2.0
    made.surface.elevation[drive] = np.maximum(made.surface.elevation, 100.35 - 0.01 * x)[drive]
    sections = cut_sections(made.surface, snap_thalweg(made.surface, made.drawn))
    for section in sections:
        assert section.width == pytest.approx(3.0, abs=0.26)
        assert section.bank_full == pytest.approx(100.4 - 0.01 * (section.station - 50.0), abs=0.02)


def test_a_gap_in_a_bank_lowers_it_there_and_nowhere_else(made_swale):
    made = made_swale(trapezoid)
    grid = made.surface.grid
    x, y = grid.centres(*np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]])
    gap = (np.abs(x) < 2.0) & (y > 0.9)
    made.surface.elevation[gap] = np.minimum(made.surface.elevation, 100.2)[gap]
    sections = cut_sections(made.surface, snap_thalweg(made.surface, made.drawn, reach=0.0))
    low = [section.station for section in sections if section.depth < 0.3]
    assert low == [50.0]
    assert sections[10].left_level == pytest.approx(100.2, abs=0.02)
    assert sections[10].right_level == pytest.approx(100.4, abs=0.02)


def test_no_section_stands_in_a_gap(made_swale):
    made = made_swale(trapezoid)
    thalweg = snap_thalweg(made.surface, made.drawn, reach=0.0)
    stations = [section.station for section in cut_sections(made.surface, thalweg, gaps=[(41.0, 48.5), (60.2, 64.0)])]
    assert {41.0, 48.5, 60.2, 64.0} <= set(stations)
    assert not any(41.0 < at < 48.5 or 60.2 < at < 64.0 for at in stations)
    # those at 40 and 60 stood too near
    assert 40.0 not in stations
    assert (np.diff(stations) > 1.2).all()


def test_noise_widens_the_scatter_and_not_the_banks(made_swale):
    generator = np.random.default_rng(7)
    made = made_swale(trapezoid, angle=20.0, noise=lambda shape: 0.03 * generator.standard_normal(shape))
    sections = cut_sections(made.surface, snap_thalweg(made.surface, made.drawn))
    assert np.mean([section.width for section in sections]) == pytest.approx(3.0, abs=0.5)
    assert np.mean([section.depth for section in sections]) == pytest.approx(0.4, abs=0.05)


def test_a_swale_shorter_than_the_spacing_is_told(made_swale):
    made = made_swale(vee, length=4.0)
    thalweg = snap_thalweg(made.surface, made.drawn)
    with pytest.raises(GeometryError, match=r"4\.0 m long, shorter than the 5 m between sections"):
        cut_sections(made.surface, thalweg, spacing=5.0)


def test_a_swale_shut_in_by_walls_is_told(made_swale):
    made = made_swale(vee)
    thalweg = snap_thalweg(made.surface, made.drawn)
    shape = made.surface.elevation.shape
    walls, nowhere = np.full(shape, BARRIER), np.full(shape, -1)
    shut = Ground(made.surface.grid, made.surface.elevation, walls, nowhere, nowhere)
    with pytest.raises(GeometryError, match="walls or unknown ground stand on both sides"):
        cut_sections(shut, thalweg)
