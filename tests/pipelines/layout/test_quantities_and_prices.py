"""What a plan takes and costs, by hand: trenches, stone, spoil, hours, and the lines that come on top."""

from dataclasses import dataclass
from math import ceil, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from pipelines.deliverables.words.say import say
from pipelines.deliverables.words.take_off import in_trade_units
from pipelines.hydraulics.pipe_catalogue import find_pipe
from pipelines.inputs.rules import load_rules, read_overrides
from pipelines.inputs.tables.prices import default_prices
from pipelines.layout.plan import CatchBasin, ChannelDrain, Fitting, FrenchDrain, PipeRun, Sump
from pipelines.layout.quantities.quantities import (
    Access,
    Quantity,
    Works,
    quantities_of,
    run_volume,
    spoil_in_place,
    trench_width,
    turf_area,
)
from pipelines.layout.quantities.take_off import price_take_off, total_cost
from terrain.reason import reason
from terrain.unit_table import CUBIC_YARD, FOOT, HOUR, INCH

CUBIC_FOOT = FOOT**3
RULES = load_rules()
EASY = Access()
SDR, D2729 = find_pipe("4 in SDR-35"), find_pipe("4 in D2729 perforated")


def run(length: float, depth_up: float, depth_down: float, *, pipe=SDR, paved: float = 0.0, crossings=()) -> PipeRun:
    """A run of a length, its trench so deep at its ends under level ground at 100 m."""
    z = (100.0 - depth_up + pipe.wall, 100.0 - depth_down + pipe.wall)
    return PipeRun(
        id="run-1", from_id="basin-1", to_id="outfall-1", kind="gravity", purpose="collector", size=pipe.size,
        standard=pipe.standard, pipe_key=pipe.key, line=LineString([(0, 0, z[0]), (length, 0, z[1])]),
        ground=(100.0, 100.0), length=length, slope=(z[0] - z[1]) / length, invert_up=z[0], invert_down=z[1],
        peak_flow=0.001, velocity=1.0, capacity=0.006, filled=0.3, least_cover=depth_up - pipe.outside,
        deepest=max(depth_up, depth_down), under_paving=paved, crossings=crossings,
    )


def drain(length: float, width: float, depth: float) -> FrenchDrain:
    return FrenchDrain(
        "drain-1", "run-1", LineString([(0, 0, 99.6), (length, 0, 99.5)]), length, width, depth, D2729.key, 0.01, 0.001,
        "",
    )


def basin(*, rim: float = 100.0, invert: float = 99.5) -> CatchBasin:
    return CatchBasin("basin-1", "run-1", Point(0, 0), "12 in", 0.001, 0.001, "grate", 0.0, rim, invert, False, "")


def sump() -> Sump:
    return Sump(
        "sump-1", "run-2", Point(0, 0), 1.5, 0.002, 4.0, 1.5, 0.001, 10.0, "24 in wide", 100.0, 99.4, 99.0, 98.8, 9.0,
        (),
    )


def amounts(works: Works, access: Access = EASY) -> dict[str, float]:
    """In US units of the trade."""
    told = {each.item: in_trade_units(each.amount, each.kind, "us")[0] for each in quantities_of(works, RULES, access)}
    return told | {"labour": sum(amount for item, amount in told.items() if item.startswith("labour, "))}


def test_a_trench_of_stone_a_foot_by_eighteen_inches_and_100_ft() -> None:
    # computed by hand: 150 ft3 = 5.556 yd3 dug; pipe 9.690 ft3; stone 140.31 ft3 = 5.197 yd3; 7.28 ton at 1.40 ton/yd3
    works = Works(french_drains=(drain(100 * FOOT, FOOT, 1.5 * FOOT),))
    assert spoil_in_place(works, RULES) / CUBIC_YARD == pytest.approx(5.556, abs=5e-4)
    found = amounts(works)
    assert found["spoil in place"] == pytest.approx(5.556, abs=5e-4)
    pipe = pi * (4.215 / 12) ** 2 / 4 * 100
    assert pipe == pytest.approx(9.690, abs=5e-4)
    stone = (150.0 - pipe) / 27.0
    assert stone == pytest.approx(5.197, abs=5e-4)
    assert 1.4 * stone == pytest.approx(7.28, abs=5e-3)
    # ten percent more is bought (common practice, no source)
    assert found["washed stone"] == pytest.approx(1.4 * stone * 1.10, rel=1e-6)
    assert found["stone delivery"] == 1.0
    # bottom and two sides, 17.5 % more for laps
    assert found["filter fabric"] == pytest.approx(100.0 * (1.0 + 2.0 * 1.5) * 1.175, rel=1e-9)
    assert found["4 in D2729 perforated pipe"] == pytest.approx(100.0 * 1.075)
    # common earth swells by a quarter, 5 yd3 on a truck
    assert found["spoil disposal, loose"] == pytest.approx(5.5556 * 1.25, rel=1e-4)
    assert found["truckloads of spoil"] == 2.0
    assert found["sod"] == pytest.approx(100.0 * 2 * 0.15 / FOOT * 1.10, rel=1e-9)


@pytest.mark.parametrize(("soil", "swell"), [("sand", 0.15), ("clay", 0.30), ("earth", 0.25)])
def test_spoil_swells_by_its_soil(soil: str, swell: float) -> None:
    works = Works(french_drains=(drain(10.0, 0.3, 0.5),))
    found = amounts(works, Access(soil=soil))
    assert found["spoil disposal, loose"] == pytest.approx(found["spoil in place"] * (1.0 + swell))


def test_a_trench_of_pipe_is_dug_by_average_end_areas() -> None:
    one = run(20.0, 0.4, 0.8)
    # 10 in wide, which is more than the pipe and 10 cm
    assert trench_width(one, RULES) == pytest.approx(10 * INCH)
    assert run_volume(one, RULES) == pytest.approx(20.0 * 0.6 * 10 * INCH)
    wide = run(20.0, 0.6, 0.6, pipe=find_pipe("8 in SDR-35"))
    assert trench_width(wide, RULES) == pytest.approx(find_pipe("8 in SDR-35").outside + 0.1)
    # where the pipe lies above the ground nothing is dug
    assert run_volume(run(10.0, 0.5, -0.5), RULES) < run_volume(run(10.0, 0.5, 0.0), RULES) * 1.0 + 1e-12


def test_spoil_of_a_pipe_trench_is_what_the_pipe_takes_the_place_of() -> None:
    works = Works(pipe_runs=(run(30.0, 0.5, 0.5),))
    assert spoil_in_place(works, RULES) == pytest.approx(30.0 * pi * SDR.outside**2 / 4)
    assert amounts(works)["4 in SDR-35 pipe"] == pytest.approx(30.0 / FOOT * 1.075)


def test_hours_come_from_the_trades_rates() -> None:
    # 8 ft/h of a trench 12 x 18 in, which is 12 ft3/h; 50 ft/h of pipe by two; 100 ft2/h of sod; 2 h to set up
    works = Works(pipe_runs=(run(30.0, 0.5, 0.5),))
    dug = 30.0 * 0.5 * 10 * INCH / CUBIC_FOOT
    laid = 30.0 / FOOT
    sod = 30.0 * (10 * INCH + 0.30) / FOOT**2
    hours = dug / 12.0 + 2.0 * laid / 50.0 + sod / 100.0
    assert amounts(works)["labour"] == pytest.approx(hours + 2.0, rel=1e-9)
    assert amounts(works, Access(hard=True))["labour"] == pytest.approx(1.5 * hours + 2.0, rel=1e-9)
    # 1.5 h a basin, 5 h a pump set, stone at 1.5 ton/h
    more = Works(pipe_runs=works.pipe_runs, catch_basins=(basin(),), sumps=(sump(),))
    stone = (0.10 * 0.5**2 + 0.10 * 0.8**2) / CUBIC_YARD * 1.4 * 1.10
    turf = (0.3 + 1.0) / FOOT**2
    added = 1.5 + 5.0 + stone / 1.5 + turf / 100.0
    assert amounts(more)["labour"] - amounts(works)["labour"] == pytest.approx(added, rel=1e-6)


def test_paving_is_patched_not_sodded() -> None:
    lawn, paved = Works(pipe_runs=(run(10.0, 0.5, 0.5),)), Works(pipe_runs=(run(10.0, 0.5, 0.5, paved=10.0),))
    assert turf_area(paved, RULES) == 0.0
    assert turf_area(lawn, RULES) == pytest.approx(10.0 * (10 * INCH + 0.30))
    assert "paving patch" not in amounts(lawn)
    assert amounts(paved)["paving patch"] == pytest.approx(10.0 * 10 * INCH / FOOT**2)
    assert "sod" not in amounts(paved)


def test_a_grated_channel_is_cut_into_paving_dug_and_set() -> None:
    channel = ChannelDrain("channel-1", "run-1", LineString([(0, 0, 99.8), (6, 0, 99.8)]), 6.0, 0.127, 0.001, "")
    found = amounts(Works(channel_drains=(channel,)))
    assert found["channel drain"] == pytest.approx(6.0 / FOOT)
    # 30 cm of paving cut out and made good, 25 cm dug (common practice, no source)
    assert found["paving patch"] == pytest.approx(6.0 * 0.30 / FOOT**2)
    dug = 6.0 * 0.30 * 0.25
    assert found["spoil in place"] == pytest.approx(dug / CUBIC_YARD)
    assert found["labour"] == pytest.approx(2.0 + dug / CUBIC_FOOT / 12.0 + 2.0 * 6.0 / FOOT / 50.0)
    assert "sod" not in found


def test_parts_are_counted_with_one_spare_fitting_of_each_kind() -> None:
    kinds = ("45 degree bend, 4 in", "45 degree bend, 4 in", "wye, 4 in", "cleanout, 4 in", "pop-up")
    fittings = tuple(Fitting(f"f-{k}", kind, "run-1", Point(0, 0)) for k, kind in enumerate(kinds))
    found = amounts(Works(pipe_runs=(run(10.0, 0.5, 0.5),), catch_basins=(basin(), basin()), fittings=fittings))
    # two bends and a spare, a wye and a spare; a cleanout and a spare; a pop-up as counted
    assert found["pipe fitting"] == 5
    assert found["cleanout"] == 2
    assert found["pop-up"] == 1
    assert found["12 in basin and grate"] == 2


def test_a_pump_brings_its_parts_and_an_electrician_and_the_street_a_permit() -> None:
    found = amounts(Works(pipe_runs=(run(10.0, 0.5, 0.5),), sumps=(sump(),)))
    for item in ("pump", "sump basin and lid", "check valve", "alarm", "electrician"):
        assert found[item] == 1.0
    assert "permit" not in found
    crossing = run(10.0, 0.5, 0.5, crossings=(reason("right_of_way_permit"),))
    assert amounts(Works(pipe_runs=(crossing, crossing)))["permit"] == 1.0


def test_nothing_takes_nothing() -> None:
    assert quantities_of(Works(), RULES, EASY) == ()
    assert price_take_off((), default_prices(), RULES) == ((), ())
    assert total_cost(()).likely == 0.0


@dataclass(frozen=True)
class Price:
    unit: str
    low: float
    likely: float
    high: float


def test_lines_add_up_with_overhead_minimum_and_contingency_as_lines() -> None:
    quantities = (
        Quantity("pipe", 100.0 * FOOT, "length", "material"),
        Quantity("labour", 10.0 * HOUR, "hours", "hired"),
        Quantity("spoil in place", 3.0 * CUBIC_YARD, "earth", "hired"),
    )
    prices = {
        "pipe": Price("ft", 2.0, 3.0, 4.0), "labour": Price("h", 40.0, 60.0, 90.0),
        "spoil in place": Price("yd3", 1.0, 1.0, 1.0), "minimum charge": Price("job", 500.0, 800.0, 1200.0),
    }
    lines, unpriced = price_take_off(quantities, prices, RULES)
    assert unpriced == ()
    money = {line.item: (line.low, line.likely, line.high) for line in lines}
    assert money["pipe"] == pytest.approx((200.0, 300.0, 400.0))
    assert money["labour"] == pytest.approx((400.0, 600.0, 900.0))
    # its money stands in the line of what is driven off
    assert money["spoil in place"] == (0.0, 0.0, 0.0)
    # 20, 35, 50 % on what is hired
    assert money["overhead and profit"] == pytest.approx((80.0, 210.0, 450.0))
    # hired 480, 810, 1,350: 20 short of the least at the low end only
    assert money["up to the minimum charge"] == pytest.approx((20.0, 0.0, 0.0))
    # 10, 15, 25 % on 700, 1,110, 1,750
    assert money["contingency"] == pytest.approx((70.0, 0.15 * 1110.0, 0.25 * 1750.0))
    total = total_cost(lines)
    assert (total.low, total.likely, total.high) == pytest.approx((770.0, 1276.5, 2187.5))
    assert {line.item: line.share for line in lines}["pipe"] == "material"
    assert {line.share for line in lines if line.item != "pipe"} == {"hired"}


def test_no_minimum_line_where_the_job_is_large_enough() -> None:
    quantities = (Quantity("labour", 100.0 * HOUR, "hours", "hired"),)
    lines, _ = price_take_off(quantities, default_prices(), RULES)
    assert [line.item for line in lines] == ["labour", "overhead and profit", "contingency"]


def test_an_item_without_a_usable_price_is_named_and_costs_nothing() -> None:
    quantities = (Quantity("pipe", 100.0, "length", "material"), Quantity("grate", 1.0, "each", "material"))
    lines, unpriced = price_take_off(quantities, {"pipe": Price("load", 1.0, 2.0, 3.0)}, RULES)
    pipe, grate = (say(each, "us") for each in unpriced)
    assert pipe.startswith('The price list has no price for pipe that can be used (it is by the "load")')
    assert grate.startswith("The price list has no price for grate;")
    assert total_cost(lines).likely == 0.0
    assert [line.quantity for line in lines[:2]] == [100.0, 1.0]


def test_a_line_costs_the_same_by_the_foot_and_by_the_metre_and_is_told_in_either() -> None:
    quantities = (Quantity("pipe", 30.48, "length", "material"), Quantity("stone", 907.18474, "weight", "material"))
    by_foot = {"pipe": Price("ft", 2.0, 3.0, 4.0), "stone": Price("ton", 35.0, 55.0, 85.0)}
    by_metre = by_foot | {"pipe": Price("m", 2.0 / FOOT, 3.0 / FOOT, 4.0 / FOOT)}
    one, other = (price_take_off(quantities, prices, RULES)[0] for prices in (by_foot, by_metre))
    assert [line.likely for line in one] == pytest.approx([line.likely for line in other])
    assert [line.likely for line in one[:2]] == pytest.approx([300.0, 55.0])
    assert [in_trade_units(line.quantity, line.kind, "us") for line in one[:2]] == [
        (pytest.approx(100.0), "ft"), (pytest.approx(1.0), "ton")
    ]
    assert [in_trade_units(line.quantity, line.kind, "si") for line in one[:2]] == [(30.48, "m"), (0.90718474, "t")]
    assert in_trade_units(2.0, "load", "si") == (2.0, "load")
    assert in_trade_units(0.35, "percent", "us") == (pytest.approx(35.0), "%")


def test_every_item_of_a_full_job_has_a_default_price() -> None:
    kinds = ("wye, 4 in", "cleanout, 4 in", "pop-up")
    fittings = tuple(Fitting(f"f-{k}", kind, "run-1", Point(0, 0)) for k, kind in enumerate(kinds))
    works = Works(
        catch_basins=(basin(),), french_drains=(drain(10.0, 0.3, 0.5),), sumps=(sump(),), fittings=fittings,
        pipe_runs=(run(10.0, 0.5, 0.6, paved=2.0, crossings=("right of way: a permit is needed",)),),
    )
    _, unpriced = price_take_off(quantities_of(works, RULES, EASY), default_prices(), RULES)
    assert unpriced == ()


@given(
    lengths=st.lists(st.floats(1.0, 60.0), min_size=1, max_size=6),
    depth=st.floats(0.3, 1.2),
    stone=st.floats(2.0, 30.0),
    labour=st.floats(1.0, 200.0),
)
def test_costs_rise_from_low_to_high_and_with_what_is_dug(lengths, depth, stone, labour) -> None:
    works = Works(
        pipe_runs=tuple(run(length, depth, depth) for length in lengths), french_drains=(drain(stone, 0.305, 0.457),)
    )
    prices = dict(default_prices()) | {"labour": Price("h", 0.5 * labour, labour, 2.0 * labour)}
    lines, _ = price_take_off(quantities_of(works, RULES, EASY), prices, RULES)
    total = total_cost(lines)
    assert 0.0 < total.low <= total.likely <= total.high
    for line in lines:
        price = prices.get(line.item)
        if price is not None and line.item not in ("spoil in place", "truckloads of spoil"):
            assert line.likely == pytest.approx(in_trade_units(line.quantity, line.kind, "us")[0] * price.likely)
    found = {line.item: in_trade_units(line.quantity, line.kind, "us")[0] for line in lines}
    assert found["4 in SDR-35 pipe"] == pytest.approx(sum(lengths) / FOOT * 1.075)
    assert found["truckloads of spoil"] == ceil(found["spoil disposal, loose"] / 5.0 - 1e-9)
    longer = Works(pipe_runs=(*works.pipe_runs, run(1.0, depth, depth)), french_drains=works.french_drains)
    more, _ = price_take_off(quantities_of(longer, RULES, EASY), prices, RULES)
    assert total_cost(more).likely >= total.likely - 1e-9


def test_rules_of_the_site_file_change_what_is_taken() -> None:
    given_rules = {"stone_density": "1.6 ton/yd3", "waste_stone": "0 %", "trench_width_solid": "8 in"}
    rules = RULES.with_overrides(read_overrides(given_rules))
    works = Works(french_drains=(drain(100 * FOOT, FOOT, 1.5 * FOOT),), pipe_runs=(run(10.0, 0.5, 0.5),))
    found = {each.item: in_trade_units(each.amount, each.kind, "us")[0] for each in quantities_of(works, rules, EASY)}
    assert found["washed stone"] == pytest.approx(1.6 * (150.0 - 9.6903) / 27.0, rel=1e-4)
    # eight inches leave no room for the pipe: it is dug as wide as the pipe and 10 cm
    assert trench_width(works.pipe_runs[0], rules) == pytest.approx(max(8 * INCH, SDR.outside + 0.1))
    # pipe by two people at 50 ft an hour, stone at 1.5 ton an hour (common practice, no source)
    assert found["labour, pipe"] == pytest.approx(2.0 * (100.0 + 10.0 / FOOT) / 50.0)
    assert found["labour, stone"] == pytest.approx(found["washed stone"] / 1.5)
