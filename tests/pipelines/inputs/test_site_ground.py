"""The ground of a site: brought to level shots, and held to the rules of its site file."""

import numpy as np
import pytest

from pipelines.deliverables.words.say import say_all
from pipelines.inputs.site_ground import open_site, read_lot_ground
from terrain.errors import GroundError
from terrain.flow.burnt_cells import cells_inside

SITE = """
[elevation]
file = "ground.tif"
[parcel]
file = "site.gpkg"
layer = "parcels"
where = "lot = 1"
"""
X, Y = 500020.0, 4100020.0


@pytest.fixture
def ground(site_folder):
    """Write a site file and read the ground of its lot."""

    def run(text="", *, shots=None):
        if shots is not None:
            lines = [f"{name},{x},{y},{height}" for name, (x, y, height) in shots.items()]
            (site_folder / "shots.csv").write_text("\n".join(["point,easting,northing,height_m", *lines]))
            text += '\n[levels]\nfile = "shots.csv"\n'
        (site_folder / "site.toml").write_text(f"{SITE}{text}")
        inputs = open_site(site_folder / "site.toml")
        return read_lot_ground(inputs, lambda window: cells_inside(window.grid, inputs.layers.parcel))

    return run


def height(x, y):
    """Of the plane that the raster holds, at the middle of the cell of a place. [m]"""
    column, row = np.floor((x - 500000.0) / 0.5), np.floor((4100080.0 - y) / 0.5)
    return 100.0 + 0.01 * column - 0.005 * row


def test_level_shots_shift_the_ground_and_it_is_said(ground):
    places = {"a": (X + 2, Y + 2), "b": (X + 28, Y + 2), "c": (X + 2, Y + 38)}
    shots = {name: (x, y, height(x, y) - 50.0 + (0.2 if name == "c" else 0.0)) for name, (x, y) in places.items()}
    surface, _ = ground(shots=shots)
    plain, _ = ground()
    corner = np.unravel_index(np.nanargmin(plain.elevation), plain.elevation.shape)
    assert surface.elevation[corner] == pytest.approx(plain.elevation[corner] - 50.0, abs=1e-5)
    shifted, off = say_all(surface.warnings, "si")
    assert shifted == "Level shots: the ground is shifted down by 50.00 m to their datum and bent to each of them."
    assert off == "Level shots: one of 3 lies 0.20 m above the shifted lidar. Check that shot."
    assert len(ground('[rules]\nlevel_shot_misfit = "25 cm"', shots=shots)[0].warnings) == 1


def test_shots_that_lie_elsewhere_are_refused_by_their_file(ground):
    with pytest.raises(GroundError, match=r"level shots shots\.csv: none of the 1 level shots lies on known ground"):
        ground(shots={"a": (X + 9000, Y, 1.0)})


def test_the_rules_of_the_site_file_hold(ground):
    with pytest.raises(GroundError, match=r"4800 cells .* at least 5000 are needed"):
        ground("[rules]\nleast_cells_on_lot = 5000")
    (told,) = [each for each in ground('[rules]\ncoarsest_cell = "40 cm"')[0].warnings if each.code == "raster_coarse"]
    assert (told["cell"], told["limit"]) == (pytest.approx(0.5), pytest.approx(0.4))
    near, _ = ground('[rules]\nwindow_margin = "5 m"')
    far, _ = ground()
    assert near.grid.shape < far.grid.shape


def test_a_culverts_end_reaches_as_far_as_the_rule_says(ground):
    text = '[culverts]\nfile = "site.gpkg"\nlayer = "culverts"\n'
    beds = []
    for reach in ("1 m", "6 m"):
        _, opened = ground(f'{text}[rules]\nculvert_end_reach = "{reach}"\n')
        beds.append(float(opened.elevation[opened.grid.cells(X + 3.0, Y - 6.0)]))
    assert beds[1] < beds[0] - 0.02
