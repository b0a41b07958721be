"""A lot whose street nobody gave: plans lead over its frontage to a low line found there; somebody must confirm it."""

import re
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from shapely import Point, box
from shapely.affinity import translate

from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.words.say import say, say_all
from pipelines.lot import screen_lot
from pipelines.lot_suggestions import suggest_for_lot

SAMPLES = Path(__file__).parents[3] / "sample_data"
LOTS = {
    1: (5.2, 4.0, 24.8, 25.7), 2: (-20.0, 4.0, 5.2, 25.7), 3: (24.8, 4.0, 45.0, 25.7), 4: (5.2, 25.7, 24.8, 45.0),
    5: (-20.0, -40.0, 45.0, -8.0),
}  # fmt: skip
GROUNDS = re.compile(r"grounds = 1\n")


@pytest.fixture(scope="module")
def small(made_lots, tmp_path_factory):
    """Writes the small lot with neighbors and without street and outfalls."""

    def write(numbers=tuple(LOTS), parcel="", **changed):
        layers = {**made_lots.SMALL_LAYERS, "parcel": [{"lot": n, "geometry": box(*LOTS[n])} for n in numbers]}
        layers |= {"outfalls": None, "right_of_way": None, **changed}
        layers = {key: rows for key, rows in layers.items() if rows is not None}
        site = made_lots.write_lot(
            tmp_path_factory.mktemp("lot"), made_lots.small_ground(), layers, more=made_lots.SMALL_MORE
        )
        site.write_text(site.read_text().replace('"parcel"\n', f'"parcel"\nwhere = "lot = 1"\n{parcel}', 1))
        return site

    return write


@pytest.fixture(scope="module")
def found(small):
    return screen_lot(small())


def shifted(findings, number):
    """A neighbor where the run has it, in the metric frame."""
    west, south, *_ = findings.parcel.total_bounds
    return translate(box(*LOTS[number]), west - LOTS[1][0], south - LOTS[1][1])


def test_the_plan_leads_over_the_frontage_to_the_low_line(found) -> None:
    plan = found.plan
    assert plan.pipe_runs
    (line,) = plan.discharges
    (outfall,) = [each for each in plan.outfalls if each.id == line.outfall]
    low, (_, south, _, _) = outfall.point, found.parcel.total_bounds
    # the swale's bottom runs 2.4 m before the line
    assert south - low.y == pytest.approx(4.0 - 1.6, abs=0.5)
    for run in plan.pipe_runs:
        for number in (2, 3, 4, 5):
            assert run.line.intersection(shifted(found, number).buffer(-0.1)).is_empty


def test_what_nobody_confirmed_is_never_sure_and_says_what_to_look_at_and_whom_to_ask(found) -> None:
    plan = found.plan
    assert plan.parts.outfall.state == "cannot_tell"
    assert all(line.verdict == "cannot_tell" for line in plan.discharges)
    # the fall is judged for itself
    assert not say(plan.parts.fall.why, "us").startswith(("The outfall was found", "No right of way"))
    said = say(plan.parts.outfall.why, "us")
    for part in ("found in the lidar", "south of the lot", "nobody has confirmed it", "look whether water runs off"):
        assert part in said, said
    assert "ask the owner of the street (municipality or county), whose permission it needs" in said
    warned = " ".join(say_all(found.warnings, "us"))
    assert "the south side of the lot is taken for its frontage" in warned
    assert "assumed to be the way off" in warned


def test_the_frontage_is_a_layer_and_drawn(found) -> None:
    table = lot_tables(found, "si")["frontage"]
    assert list(table["side"]) == ["south"]
    assert list(table["known_by"]) == ["found"]
    assert table["width_m"].iloc[0] == pytest.approx(12.0)
    assert table.geometry.iloc[0].length == pytest.approx(19.6)
    places = lot_tables(found, "si")["outfalls"]
    assert not places["given"].any()
    # the small lot's ground falls to the west along its street, by 2 mm a metre
    assert set(places["falls_to"]) <= {"west", "south-west", "north-west"}


def test_a_found_outfall_given_as_it_was_handed_over_is_confirmed(found, small, tmp_path) -> None:
    layer = lot_tables(found, "si")["outfalls"]
    layer.to_file(tmp_path / "lot.gpkg", layer="outfalls", engine="pyogrio")
    site = small()
    used = found.plan.discharges[0].outfall
    site.write_text(
        f'{site.read_text()}\n[outfalls]\nfile = "{tmp_path}/lot.gpkg"\nlayer = "outfalls"\n'
        f"where = \"id = '{used}'\"\n"
    )
    plan = screen_lot(site).plan
    assert [each.given for each in plan.outfalls] == [True]
    assert plan.pipe_runs
    assert "nobody has confirmed it" not in say(plan.parts.outfall.why, "us")


def test_odds_are_told_over_the_possible_grounds(small) -> None:
    site = small()
    site.write_text(GROUNDS.sub("grounds = 12\n", site.read_text()))
    findings = screen_lot(site)
    table = lot_tables(findings, "si")["outfalls"]
    # a swale 0.6 m deep is there on nearly all that this lidar allows
    assert table["found_pct"].max() >= 90.0
    used = [each for each in findings.plan.outfalls if each.verdict is not None]
    assert f"{100.0 * used[0].found:.0f} % of the grounds" in say(used[0].to_confirm, "us")


def test_a_neighbor_s_ground_is_no_way_off_though_an_outfall_is_drawn_behind_it(small) -> None:
    behind = [{"geometry": Point(15.0, 28.5), "kind": "ditch"}]
    barred = screen_lot(small(outfalls=behind)).plan
    assert not barred.pipe_runs
    # without the lot behind it in the file nobody knows whose ground that is
    assert screen_lot(small((1, 2, 3), outfalls=behind)).plan.discharges[0].mode != "none"


@pytest.mark.parametrize(
    ("numbers", "parcel", "told"),
    [
        ((1,), "", "The parcel file holds no neighbor"),
        ((1, 2, 3), "", "Say which side the street is on"),
        ((1, 2, 3), 'street_side = "south"\n', "as [parcel] street_side says"),
    ],
)
def test_start_asks_where_nothing_shows_the_street(small, numbers, parcel, told) -> None:
    suggested = suggest_for_lot(small(numbers, parcel))
    assert told in " ".join(say_all(suggested.street, "us"))
    asked = "Which side is the street on?" in say_all(suggested.gains, "us")[0]
    assert asked == (not parcel)
    assert suggested.outfalls


def without_street_and_outfalls(number: int, folder: Path) -> Path:
    text = (SAMPLES / f"lot_{number:02d}.toml").read_text()
    text = re.sub(r"\[(outfalls|right_of_way)\]\n(?:[^\[\n].*\n)*", "", text)
    site = folder / "site.toml"
    site.write_text(re.sub(r'(file|table|curve) = "', lambda found: f"{found[0]}{SAMPLES}/", text))
    return site


@pytest.mark.parametrize(
    "number", [12, *(pytest.param(n, marks=pytest.mark.thorough) for n in range(1, 17) if n not in (6, 10, 12, 14))]
)
def test_a_sample_lot_ends_at_the_true_swale_or_ditch(number: int, tmp_path: Path) -> None:
    # lots 6, 10 and 14 lay no line, with their own outfalls either
    plan = screen_lot(without_street_and_outfalls(number, tmp_path), grounds=1).plan
    swales = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="swales").union_all()
    used = [each for each in plan.outfalls if each.verdict is not None]
    assert used
    for each in used:
        assert not each.given
        assert shapely.distance(swales, each.point) <= 1.5
    assert plan.parts.outfall.state in ("cannot_tell", "no")
    if number == 12:
        # whose outfall nobody confirmed, and whose fall is there all the same
        assert plan.parts.fall.state == "sure"
