"""A bank below a lot that may hide a culvert: named, with what the lot looks like if it is open, on made ground."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from shapely import Point, affinity, box

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.summary import summary
from pipelines.deliverables.report.lot.map import lot_map
from pipelines.deliverables.words.say import say
from pipelines.lot import screen_lot

ROWS, COLUMNS, CELL = 100, 90, 1.0
X, Y = np.meshgrid(np.arange(COLUMNS) + 0.5, ROWS - np.arange(ROWS) - 0.5)
MORE = '[rain]\ndepth = "4 in"\nduration = "60 min"\n[house]\nfoundation = "slab"\n[soil]\ngroup = "D"\n'
LOT, HOUSE = box(25.0, 42.0, 65.0, 75.0), box(27.0, 65.0, 34.0, 72.0)
MIDDLE, BANK = 45.0, 32.0

MARKS = "hidden_culverts"

Screen = Callable[..., Findings]


def ground(bank: str = "rail", behind: float = 0.0) -> np.ndarray:
    """A valley that falls south past the lot to a bank across it, rough by 5 mm."""
    z = 100.0 + 0.02 * Y + 0.04 * np.abs(X - MIDDLE) + np.where(Y < BANK, behind, 0.0)
    high = 100.0 + 0.02 * BANK + 1.2
    # both are as high; the ridge is three times as broad
    half, batter = {"rail": (2.0, 2.0), "ridge": (3.0, 20.0), "none": (0.0, 1e-3)}[bank]
    crest = high - np.maximum(np.abs(Y - BANK) - half, 0.0) / batter
    crest -= np.where(np.abs(X - MIDDLE) < 4.0, 0.1, 0.0)
    z = np.where(X < 74.0, np.maximum(z, crest), z)
    # the house stands high, so that what is wrong is the pond alone
    z = np.maximum(z, 102.6 - 0.1 * np.maximum(np.hypot(X - 30.5, Y - 68.5) - 5.0, 0.0))
    # a ditch beside the lot that the bank does not cross, deep enough to drain to
    z = np.minimum(z, 98.0 + 0.02 * Y + 0.5 * np.abs(X - 80.0))
    return z + np.random.default_rng(5).normal(0.0, 0.005, z.shape)


SHAPES = {
    "parcel": LOT, "roofs": HOUSE, "right_of_way": box(65.0, 0.0, 90.0, 100.0), "outfalls": Point(80.0, 45.0),
}  # fmt: skip


BARE = ground("none")


@pytest.fixture
def screen(make_lot) -> Screen:
    def run(surface: np.ndarray, *, turns: int = 0, more: str = "", **options: Any) -> Findings:
        """Screens the lot on a ground, both turned by quarters to the left."""
        turned = {name: quarters(shape, turns) for name, shape in SHAPES.items()}
        layers: dict[str, list[dict[str, Any]]] = {name: [{"geometry": shape}] for name, shape in turned.items()}
        layers["outfalls"][0]["kind"] = "ditch"
        return screen_lot(make_lot(np.rot90(surface, turns), layers, more=MORE + more, cell=CELL, **options))

    return run


def quarters(shape: Any, turns: int) -> Any:
    """A shape on ground that was turned by quarters to the left about its own corner."""
    high, wide = float(ROWS), float(COLUMNS)
    for _ in range(turns):
        shape = affinity.affine_transform(shape, [0.0, -1.0, 1.0, 0.0, high, 0.0])
        high, wide = wide, high
    return shape


def test_a_rail_embankment_below_the_lot_is_named_with_what_hangs_on_it(screen: Screen) -> None:
    found = screen(ground())
    (hidden,) = found.hidden_culverts
    place = affinity.translate(hidden.bank.point, -500000.0, -4400000.0)
    assert place.distance(Point(MIDDLE, BANK)) < 3.0
    # the lot's wet lawn is the bank's doing: opened along the valley's bottom, nothing stands there
    assert hidden.depth > 0.9
    assert hidden.depth_open < 0.1
    assert [say(each, "us") for each in hidden.ends] == ["the lawn"]
    assert hidden.begins == ()
    parts = found.plan.parts
    assert (parts.cause.state, parts.cure.state) == ("cannot_tell", "cannot_tell")
    assert parts.cure.why.code == "hangs_on_culvert"
    assert "hangs on a culvert" in say(found.plan.verdict, "us")


def test_it_is_told_in_the_warnings_the_checks_the_map_and_the_summary(screen: Screen) -> None:
    found = screen(ground())
    (hidden,) = found.hidden_culverts
    assert hidden.why in found.warnings
    assert found.plan.site_checks[0].code == "check_culvert"
    words = say(hidden.why, "us")
    assert "south of the lot (at 5000" in words
    assert "the trouble at the lawn is gone" in words
    (drawn,) = [each for each in lot_map(found, lot_tables(found, "us"), "us").layers if each.name == MARKS]
    assert [each.id for each in drawn.features] == ["bank-1-line"]
    told = json.loads(json.dumps(summary(found)))["hidden_culverts"]
    assert [each["id"] for each in told] == ["bank-1"]
    assert told[0]["northing"] == pytest.approx(4400000.0 + BANK, abs=2.0)


@pytest.mark.parametrize(
    "surface",
    [ground("ridge"), ground(behind=0.9), BARE],
    ids=["a natural ridge of the same height", "higher ground behind", "no bank"],
)
def test_what_hides_no_culvert_is_not_named(screen: Screen, surface: np.ndarray) -> None:
    found = screen(surface)
    # the valley is dammed by the ridge as by the bank
    assert found.low_spots or surface is BARE
    assert found.hidden_culverts == ()
    assert "hangs_on_culvert" not in repr(found.plan.parts)


def test_the_answer_turns_with_the_ground(screen: Screen) -> None:
    (straight,), (turned,) = (screen(ground(), turns=turns, folder=str(turns)).hidden_culverts for turns in (0, 1))
    assert turned.depth == pytest.approx(straight.depth, abs=0.01)
    assert turned.depth_open == pytest.approx(straight.depth_open, abs=0.1)
    assert turned.ends == straight.ends
    assert turned.bank.height == pytest.approx(straight.bank.height, abs=0.05)


def test_feet_say_the_same(screen: Screen) -> None:
    foot = 1200.0 / 3937.0
    feet = {"crs": "EPSG:2267", "metres": foot, "unit": "ftUS", "unit_metres": foot, "east": 6e5, "north": 2e5}
    (metres,), (us,) = (
        screen(ground(), folder=name, **options).hidden_culverts for name, options in (("m", {}), ("ft", feet))
    )
    assert us.depth == pytest.approx(metres.depth, abs=0.01)
    assert us.bank.height == pytest.approx(metres.bank.height, abs=0.02)
    assert us.ends == metres.ends


FAR_ROWS, FAR_LOT, ROAD = 200, box(25.0, 142.0, 65.0, 175.0), 62.0


def far_ground(road: bool) -> np.ndarray:
    """A valley that falls south by 1 % from a lot, with or without a road 10 m wide on a bank across it, 80 m below."""
    x, y = np.meshgrid(np.arange(COLUMNS) + 0.5, FAR_ROWS - np.arange(FAR_ROWS) - 0.5)
    z = 100.0 + 0.01 * y + 0.04 * np.abs(x - MIDDLE)
    top = 100.0 + 0.01 * ROAD + 1.3 - np.maximum(np.abs(y - ROAD) - 5.0, 0.0) / 2.0 + 0.005 * (x - MIDDLE)
    z = np.maximum(z, top) if road else z
    return z + np.random.default_rng(5).normal(0.0, 0.005, z.shape)


@pytest.fixture
def screen_far(make_lot) -> Screen:
    def run(road: bool, *, more: str = "") -> Findings:
        layers: dict[str, list[dict[str, Any]]] = {
            "parcel": [{"geometry": FAR_LOT}], "roofs": [{"geometry": box(27.0, 165.0, 34.0, 172.0)}],
        }  # fmt: skip
        return screen_lot(make_lot(far_ground(road), layers, more=MORE + more, cell=CELL))

    return run


def test_a_wide_road_eighty_metres_below_the_lot_is_seen_with_its_pond(screen_far: Screen) -> None:
    found = screen_far(road=True)
    (hidden,) = found.hidden_culverts
    place = affinity.translate(hidden.bank.point, -500000.0, -4400000.0)
    assert place.y == pytest.approx(ROAD, abs=5.0)
    assert 10.0 < hidden.bank.width < 14.0
    assert FAR_LOT.distance(place) == pytest.approx(80.0, abs=6.0)
    # the pond behind it comes up to the lot, a valley's floor that rises by 1 %
    (pond,) = [each for each in found.low_spots if each.spot.id == hidden.bank.spot.id]
    assert affinity.translate(pond.shape, -500000.0, -4400000.0).distance(FAR_LOT) < 30.0
    assert hidden.depth == pytest.approx(1.2, abs=0.2)
    assert hidden.depth_open < 0.1


def test_the_same_valley_without_the_road_hides_none_and_reads_less(screen_far: Screen) -> None:
    found = screen_far(road=False)
    assert found.hidden_culverts == ()
    assert found.grid.shape[0] < 120


def test_the_bank_is_a_layer_of_the_file_and_of_the_map(screen: Screen) -> None:
    found = screen(ground())
    (hidden,) = found.hidden_culverts
    layers = lot_tables(found, "si")
    (row,) = layers["hidden_culverts"].to_dict("records")
    assert row["id"] == "bank-1"
    assert row["height_m"] == pytest.approx(hidden.bank.height)
    assert row["width_m"] == pytest.approx(hidden.bank.width)
    assert row["decides"]
    assert row["why"] == say(hidden.why, "si")
    line = affinity.translate(row["geometry"], -500000.0, -4400000.0)
    # from the pond's side to the other, under the crest
    assert line.coords[0][1] > BANK > line.coords[-1][1]
    (drawn,) = [each for each in lot_map(found, layers, "si").layers if each.name == "hidden_culverts"]
    assert [each.id for each in drawn.features] == ["bank-1-line"]
