"""Where water may leave: outfalls as given, places found in the right of way, daylight on the lot's own lawn."""

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from pipelines.inputs.rules import load_rules, read_overrides
from pipelines.layout.diagnosis.division import parcel_cells
from pipelines.layout.ways.outfall_sites import daylight_places, found_outfalls, given_outfalls
from pipelines.layout.ways.outlets.found_kind import kind_of_low_line
from terrain.flow.drainage import drain_ground

LEFT, TOP, SIZE = 500000.0, 4000000.0, 40
RULES = load_rules()
NOTHING = Polygon()
FOOT = 0.3048
SIX_INCHES = FOOT / 2.0


def shifted(shape: shapely.Geometry) -> shapely.Geometry:
    """A shape given from the lower left corner of a grid of 40 x 40 cells of a metre."""
    return shapely.transform(shape, lambda xy: xy + np.array([LEFT, TOP - SIZE]))


LOT = shifted(box(8.0, 12.0, 32.0, 36.0))
STREET = shifted(box(0.0, 0.0, 40.0, 12.0))


@pytest.fixture
def street(ground_of):
    """A lot that falls south by 2 % to a street whose swale falls east by 1 %, its bottom 6 m below the lot line."""
    row, column = np.indices((SIZE, SIZE))
    y = SIZE - row - 0.5
    ground = 100.0 + 0.02 * (y - 12.0)
    swale = 99.0 - 0.01 * column + 0.1 * np.abs(y - 6.5)
    return drain_ground(ground_of(np.where(y < 12.0, np.minimum(ground, swale), ground)))


@pytest.mark.parametrize(
    ("kind", "clearance", "under"),
    [
        ("swale", SIX_INCHES, 0.0), ("ditch", SIX_INCHES, 0.0), ("pond", SIX_INCHES, 0.0), ("inlet", 0.0, 2.5 * FOOT),
        ("curb", 0.0, FOOT / 6.0),
    ],
)  # fmt: skip
def test_a_pipe_stays_clear_of_the_bottom_of_what_carries_on(
    street, kind: str, clearance: float, under: float
) -> None:
    point = shifted(Point(20.5, 7.4))
    (site,) = given_outfalls([(point, kind, None)], street, LOT, RULES)
    # the lowest ground within a metre: the swale's bottom, in the next cell south
    assert site.bottom == pytest.approx(99.0 - 0.01 * 20 - under)
    assert site.level == pytest.approx(site.bottom + clearance)
    # nobody gave its level: the ground at it is none
    assert not site.verified
    assert site.under > 0.0
    assert site.point == point
    assert site.to_confirm


def test_a_level_that_is_given_is_kept_and_a_shot_beside_is_the_bottom(street) -> None:
    point = shifted(Point(20.5, 6.5))
    (given,) = given_outfalls([(point, "swale", 98.3)], street, LOT, RULES)
    assert (given.bottom, given.level) == pytest.approx((98.3, 98.3 + SIX_INCHES))
    assert given.verified
    assert given.under == given.over == 0.0
    shots = [Point(point.x + 0.9, point.y, 98.55), Point(point.x + 5.0, point.y, 90.0)]
    (shot,) = given_outfalls([(point, "swale", None)], street, LOT, RULES, shots=shots)
    assert shot.bottom == 98.55
    assert shot.verified
    assert shot.under == shot.over == 0.0


def test_a_line_gives_places_three_metres_apart_near_the_lot(street) -> None:
    line = shifted(LineString([(0.0, 6.5), (40.0, 6.5)]))
    sites = given_outfalls([(line, "swale", None)], street, LOT, RULES)
    assert {site.id for site in sites} == {"outfall-1"}
    x = np.array([site.point.x - LEFT for site in sites])
    assert np.diff(x) == pytest.approx(np.full(len(x) - 1, 40.0 / 13.0), rel=0.1)
    assert all(shapely.distance(site.point, LOT) <= RULES["outfall_reach"].likely for site in sites)
    # each place has a bottom of its own, falling east
    assert (np.diff([site.bottom for site in sites]) < 0.0).all()
    far = shifted(LineString([(0.0, -60.0), (40.0, -60.0)]))
    assert given_outfalls([(far, "swale", None)], street, LOT, RULES) == ()


def test_places_are_found_where_the_street_carries_water_away(street) -> None:
    on_lot = parcel_cells(LOT, street)
    sites = found_outfalls(street, LOT, on_lot, STREET, NOTHING, RULES)
    assert 1 <= len(sites) <= 3
    for site in sites:
        assert not site.verified
        assert site.to_confirm.code == "confirm_found"
        assert shapely.intersects(STREET, site.point)
        row, column = street.ground.grid.cells(site.point.x, site.point.y)
        assert street.accumulation[row, column] >= RULES["outfall_least_area"].likely
        assert site.level == pytest.approx(site.bottom + SIX_INCHES)
    # the one that carries most comes first: the lower, eastern end of the swale
    assert sites[0].point.x == max(site.point.x for site in sites)
    apart = [a.point.distance(b.point) for a in sites for b in sites if a is not b]
    assert min(apart, default=9.0) >= 6.0


def test_nothing_is_found_on_a_neighbours_ground_or_where_water_comes_back(street, ground_of) -> None:
    on_lot = parcel_cells(LOT, street)
    uphill = shifted(box(0.0, 36.0, 40.0, 40.0))
    assert found_outfalls(street, LOT, on_lot, uphill, NOTHING, RULES) == ()
    # the street lies uphill, and its water runs on through the lot
    above = shifted(box(0.0, 28.0, 40.0, 40.0))
    lot = shifted(box(8.0, 4.0, 32.0, 28.0))
    flat = np.repeat(100.0 - 0.02 * np.arange(SIZE)[:, None], SIZE, axis=1)
    back = drain_ground(ground_of(flat))
    assert found_outfalls(back, lot, parcel_cells(lot, back), above, NOTHING, RULES) == ()


def test_without_a_right_of_way_it_is_said_that_nobody_named_the_owner(street) -> None:
    sites = found_outfalls(street, LOT, parcel_cells(LOT, street), None, NOTHING, RULES)
    assert sites
    assert all(site.to_confirm["unowned"] for site in sites)


def ruled(**given: str | int):
    """Rules of which a site file gives some."""
    return RULES.with_overrides(read_overrides(given))


def test_a_site_file_says_how_far_apart_places_lie_and_how_many_are_tried(street) -> None:
    on_lot = parcel_cells(LOT, street)
    assert [len(daylights(street, rules=ruled(daylight_places=most))) for most in (0, 2, 6)] == [0, 2, 6]
    farther = daylights(street, rules=ruled(daylight_apart="9 m"))
    assert all(a.point.distance(b.point) >= 9.0 for a in farther for b in farther if a is not b)
    inner = daylights(street, rules=ruled(outlet_offset_line="8 m"))
    assert inner
    assert all(shapely.within(site.point, shapely.buffer(LOT, -8.0)) for site in inner)
    assert found_outfalls(street, LOT, on_lot, STREET, NOTHING, ruled(outfall_least_area="2000 m2")) == ()
    (one,) = found_outfalls(street, LOT, on_lot, STREET, NOTHING, ruled(outfalls_found=1))
    assert one == found_outfalls(street, LOT, on_lot, STREET, NOTHING, RULES)[0]
    line = shifted(LineString([(0.0, 6.5), (40.0, 6.5)]))
    few, many, most = (given_outfalls([(line, "swale", None)], street, LOT, ruled(outfall_spacing=apart))
                       for apart in ("8 m", "2 m", "0 m"))
    assert [len(few), len(many), len(most)] == [5, 20, 400]


def daylights(drainage, *, way=STREET, paving=NOTHING, houses=NOTHING, barred=NOTHING, wet=None, rules=RULES):
    wet = np.zeros((SIZE, SIZE), dtype=bool) if wet is None else wet
    return daylight_places(
        drainage, LOT, parcel_cells(LOT, drainage), right_of_way=way, paving=paving, houses=houses, barred=barred,
        wet=wet, rules=rules,
    )


def test_daylight_is_the_lots_own_lawn_that_drains_to_the_street(street) -> None:
    walk, house = shifted(box(18.0, 12.0, 20.0, 30.0)), shifted(box(22.0, 24.0, 30.0, 32.0))
    sites = daylights(street, paving=walk, houses=house)
    assert sites
    for site in sites:
        # 10 ft from the line and from a house, 5 ft from a walk
        assert shapely.within(site.point, shapely.buffer(LOT, -3.05))
        assert site.point.distance(walk) >= 1.52 - 0.71
        assert site.point.distance(house) >= 3.05 - 0.71
        assert site.level == site.bottom
    assert [site.level for site in sites] == sorted(site.level for site in sites)
    assert all(a.point.distance(b.point) >= 5.0 for a in sites for b in sites if a is not b)


def test_daylight_is_nowhere_that_sends_water_to_a_neighbour_or_to_what_is_wet(street, ground_of) -> None:
    assert daylights(street, way=None) == ()
    assert daylights(street, way=shifted(box(0.0, 36.0, 40.0, 40.0))) == ()
    assert daylights(street, wet=np.ones((SIZE, SIZE), dtype=bool)) == ()
    sideways = drain_ground(ground_of(np.repeat(100.0 - 0.02 * np.arange(SIZE)[None, :], SIZE, axis=0)))
    assert daylights(sideways) == ()


@pytest.mark.parametrize(
    ("deep", "paved", "kind"),
    [(0.1, True, "curb"), (0.1, False, "swale"), (0.4, True, "swale"), (0.4, False, "swale"), (0.8, False, "ditch")],
)
def test_a_low_line_is_taken_for_what_its_depth_and_paving_say(deep: float, paved: bool, kind: str, ground_of) -> None:
    row, column = np.mgrid[0:SIZE, 0:SIZE]
    # a trough of a known depth along a row, falling east; both banks 2 m off
    ground = 100.0 - 0.01 * column - deep * np.clip(1.0 - np.abs(row - 33) / 2.0, 0.0, 1.0)
    drainage = drain_ground(ground_of(ground))
    grid = drainage.ground.grid
    x, y = (float(each) for each in grid.centres(33, 20))
    street = box(x - 15.0, y - 7.0, x + 15.0, y - 1.0) if paved else NOTHING
    cell = 33 * SIZE + 20

    def taken_for(**given: str) -> tuple[str, float | None]:
        return kind_of_low_line(drainage, cell, Point(x, y), street, ruled(**given))

    found, depth = taken_for()
    assert found == kind
    assert depth == pytest.approx(deep, abs=0.05)
    # each rule acts
    if kind == "ditch":
        assert taken_for(found_ditch_depth="4 ft")[0] == "swale"
        assert taken_for(found_section_reach="2.5 ft")[1] < depth
    if kind == "curb":
        assert taken_for(found_gutter_depth="2 in")[0] == taken_for(found_gutter_reach="1 ft")[0] == "swale"
