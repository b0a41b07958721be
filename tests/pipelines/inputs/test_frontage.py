"""Where the street is, on parcel maps made so that a person sees the answer."""

from pathlib import Path

import geopandas as gpd
import pytest
from shapely import LineString, Point, Polygon, affinity, box, union_all

from pipelines.inputs.errors import LayerError
from pipelines.inputs.rules import load_rules
from pipelines.inputs.shapes.frontage import Frontage, find_frontage
from pipelines.inputs.site_file import read_site_file
from pipelines.inputs.site_ground import open_site
from terrain.errors import LotshedError

RULES = load_rules()
SAMPLES = Path(__file__).parents[3] / "sample_data"
WIDE, DEEP, STREET = 20.0, 30.0, 15.0


def lot(column: int, row: int = 0) -> Polygon:
    """Lots in rows: 0 and 1 back to back, the street in the south of row 0, row -1 across it."""
    south = {0: 0.0, 1: DEEP, -1: -STREET - DEEP}[row]
    return box(column * WIDE, south, (column + 1) * WIDE, south + DEEP)


def block(columns: range = range(5), *, rows: tuple[int, ...] = (0, 1, -1)) -> list[Polygon]:
    """Every lot of a block but the one that is asked about, in its middle."""
    return [lot(column, row) for row in rows for column in columns if (column, row) != (2, 0)]


def found(others: list[Polygon], parcel: Polygon | None = None, **said: tuple[str, ...]) -> Frontage:
    return find_frontage(lot(2) if parcel is None else parcel, others, RULES, **said)


def edges_of(frontage: Frontage) -> list[tuple[str, float, float | None]]:
    return sorted((e.side, round(e.line.length, 1), e.width and round(e.width, 1)) for e in frontage.edges)


SOUTH = [("south", WIDE, STREET)]


def test_a_lot_in_a_row_faces_the_street_before_it() -> None:
    frontage = found(block())
    assert (frontage.state, edges_of(frontage), frontage.unsure) == ("found", SOUTH, ())
    assert frontage.edges[0].line.equals(LineString([(40.0, 0.0), (60.0, 0.0)]))


@pytest.mark.parametrize("angle", [7.0, 30.0, 45.0, 90.0, 200.0])
def test_a_turned_map_has_the_same_frontage(angle: float) -> None:
    turned = [affinity.rotate(each, angle, origin=(0.0, 0.0)) for each in [lot(2), *block()]]
    frontage = found(turned[1:], turned[0])
    line = affinity.rotate(frontage.edges[0].line, -angle, origin=(0.0, 0.0))
    assert frontage.state == "found"
    assert line.equals_exact(LineString([(40.0, 0.0), (60.0, 0.0)]), 1e-6)


@pytest.mark.parametrize("shift", [-1.9, -0.4, 0.4, 1.0, 1.9])
def test_parcels_that_gap_or_overlap_by_a_metre_or_two_are_shared(shift: float) -> None:
    # each neighbor drawn that much nearer to the lot, or farther off
    beside = [affinity.translate(lot(1), shift), affinity.translate(lot(3), -shift)]
    behind = affinity.translate(union_all([lot(1, 1), lot(2, 1), lot(3, 1)]), 0.0, -shift)
    frontage = found([*beside, behind, *(lot(column, -1) for column in range(5))])
    assert (frontage.state, [edge.side for edge in frontage.edges], frontage.unsure) == ("found", ["south"], ())
    assert frontage.edges[0].line.length == pytest.approx(WIDE, abs=2.0 * max(shift, 0.0) + 1.0)


def test_a_gap_wider_than_a_sliver_is_an_alley() -> None:
    behind = [affinity.translate(lot(column, 1), 0.0, 4.0) for column in range(5)]
    frontage = found([*block(rows=(0, -1)), *behind])
    assert edges_of(frontage) == [("north", WIDE, 4.0), *SOUTH]


def test_a_corner_lot_faces_both_streets() -> None:
    beyond = [affinity.translate(lot(column, row), 12.0) for row in (0, -1) for column in (3, 4)]
    frontage = found([lot(1), lot(0), *(lot(column, 1) for column in range(3)), lot(2, -1), *beyond])
    assert edges_of(frontage) == [("east", DEEP, 12.0), *SOUTH]
    # the ground before it goes round the corner, and stops at the middle of each street
    ground = frontage.ground(lot(2), 50.0)
    assert ground.intersects(box(62.0, -2.0, 62.1, -1.9))
    assert not ground.intersects(box(60.0 + 6.0 + 1.1, 1.0, 90.0, 20.0))


def test_a_cut_corner_is_still_two_streets() -> None:
    beyond = [affinity.translate(lot(column, row), 12.0) for row in (0, -1) for column in (3, 4)]
    cut = lot(2).difference(Polygon([(60.0, 0.0), (56.0, 0.0), (60.0, 4.0)]))
    frontage = found([lot(1), *(lot(column, 1) for column in range(3)), lot(2, -1), *beyond], cut)
    assert {"south", "east"} <= set(frontage.sides)
    assert "north" not in frontage.sides
    assert "west" not in frontage.sides


def test_a_condominium_s_footprints_and_the_common_ground_are_no_neighbors() -> None:
    units = [box(44.0, 8.0, 49.0, 20.0), box(49.0, 8.0, 54.0, 20.0)]
    common = box(39.0, -1.0, 61.0, 31.0)
    assert edges_of(found([*block(), *units, common, lot(2)])) == SOUTH


def test_a_street_kept_as_a_parcel_is_a_street() -> None:
    street = box(-40.0, -STREET, 140.0, 0.0)
    frontage = found([*block(), street])
    assert edges_of(frontage) == SOUTH
    assert not frontage.neighbors.intersects(street.buffer(-0.1))
    # where nothing lies on its other side too
    frontage = found([*block(range(-2, 7), rows=(0, 1)), street])
    assert frontage.sides == ("south",)
    assert frontage.width == pytest.approx(STREET, rel=0.1)


def test_a_branched_street_parcel_is_one() -> None:
    street = union_all([box(-40.0, -STREET, 140.0, 0.0), box(100.0, -60.0, 115.0, 60.0)])
    assert edges_of(found([*block(), street])) == SOUTH


def test_a_long_lot_that_touches_few_is_a_neighbor() -> None:
    frontage = found([lot(1), lot(3), lot(2, 1), box(20.0, -5.0, 80.0, 0.0)])
    assert frontage.state == "closed"


def test_a_flag_lot_faces_the_street_with_its_pole_alone() -> None:
    flag = union_all([lot(2, 1), box(56.0, 0.0, 60.0, DEEP)])
    front = box(40.0, 0.0, 56.0, DEEP)
    behind = [box(20.0, 2 * DEEP, 80.0, 3 * DEEP)]
    frontage = found([*block(rows=(0, -1)), lot(1, 1), lot(3, 1), front, *behind], flag)
    assert edges_of(frontage) == [("south", 4.0, STREET)]


def test_a_lot_on_the_bulb_of_a_dead_end_has_one_frontage() -> None:
    bulb = Point(50.0, -14.0).buffer(20.0, quad_segs=32)
    mine = lot(2).difference(bulb)
    others = [each.difference(bulb) for each in [*block(rows=(0, 1)), *(lot(column, -1) for column in range(5))]]
    frontage = found(others, mine)
    assert frontage.state == "found"
    assert "north" not in frontage.sides
    assert sum(edge.line.length for edge in frontage.edges) >= WIDE


def test_the_end_of_the_map_is_no_street_where_one_is_seen() -> None:
    frontage = found(block(rows=(0, -1)))
    assert edges_of(frontage) == SOUTH
    assert [edge.side for edge in frontage.unsure] == ["north"]


def test_a_row_without_lots_across_leaves_two_sides_open() -> None:
    frontage = found(block(rows=(0,)))
    assert frontage.state == "open"
    assert set(frontage.sides) == {"north", "south"}


def test_a_lot_alone_tells_nothing_and_a_person_s_word_settles_it() -> None:
    assert found([]).state == "alone"
    assert not found([]).edges
    assert edges_of(found([], said=("west",))) == [("west", DEEP, None)]
    assert edges_of(found(block(rows=(0,)), said=("south",))) == [("south", WIDE, None)]
    assert {edge.side for edge in found([], said=("south", "east")).edges} == {"south", "east"}
    with pytest.raises(LayerError, match=r'street_side = "north": no free edge of the lot faces north; .* face south'):
        found(block(), said=("north",))


def test_the_ground_before_it_is_nobody_s() -> None:
    frontage = found(block())
    ground = frontage.ground(lot(2), 12.0)
    assert ground.intersection(union_all(block())).area == pytest.approx(0.0, abs=0.6)
    assert ground.intersection(lot(2)).area < 0.6 * WIDE
    west, south, east, _ = ground.bounds
    assert west == pytest.approx(40.0, abs=0.6)
    assert east == pytest.approx(60.0, abs=0.6)
    # its half of the street, and a little over the middle
    assert south == pytest.approx(-0.5 * STREET - 1.0)


@pytest.mark.parametrize("number", range(1, 17))
def test_each_sample_lot_faces_the_lane(number: int) -> None:
    frontage = open_site(SAMPLES / f"lot_{number:02d}.toml").layers.frontage
    street = gpd.read_file(SAMPLES / "neighbourhood.gpkg", layer="right_of_way").query("kind == 'street'").union_all()
    assert frontage.state == "found"
    assert frontage.sides == ("south" if number <= 8 else "north",)
    for edge in frontage.edges:
        assert street.boundary.buffer(1.0).covers(edge.line)


def test_the_key_of_the_site_file(tmp_path: Path) -> None:
    text = (SAMPLES / "lot_only.toml").read_text().replace('file = "', f'file = "{SAMPLES}/')
    site = tmp_path / "site.toml"
    site.write_text(text.replace("[parcel]", '[parcel]\nstreet_side = "south"'))
    assert read_site_file(site).parcel.street_side == ("south",)
    assert open_site(site).layers.frontage.state == "said"
    site.write_text(text.replace("[parcel]", '[parcel]\nstreet_side = "left"'))
    with pytest.raises(LotshedError, match=r"parcel.*street_side.*north"):
        read_site_file(site)
