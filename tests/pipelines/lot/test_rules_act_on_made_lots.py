"""Rules of the trade act, on lots made for what each speaks of: a change moves the table, warning or plan beside it.

The sample lot of `test_rules_act` holds the others, and the swale's test those of a swale; the last test here sees that
no rule is left out of all three.
"""

import runpy
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Point, box

from pipelines.deliverables.findings.stakeout import stakes_of
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.words.say import say
from pipelines.inputs.rules import load_rules, read_overrides
from pipelines.lot import screen_lot
from terrain.errors import LotshedError
from tests.quick_share import one_in

ACTS = """
small
catches_extra | "0 %" | take_off
grate_set_within | "2 ft" | plan
near_line_cost | 7.5 | plan
near_wall_cost | 0 | pipe_runs
basin_sump | "24 in" | take_off
basin_hours | "6 h" | take_off
basin_sod | "1.2 m2" | take_off
basin_pit | "2 m" | take_off
patio_cut_cost | 0 | pipe_runs
lawn_spoiled_width | "6 m" | pipe_runs
sump_wall_offset | "20 ft" | plan
parcel_line_error | "10 ft" | catch_basins
outfall_spacing | "12 m" | pipe_runs
outfall_reach | "3 m" | outfalls
least_basin_flow | "0.25 gpm" | catch_basins
own_swale_run_on | 0.125 | plan
default_two_year_rain | "160 mm" | runoff
basin_reach | "3 m" | sub_catchments
regrade_reach | "6 ft" | surface_works
regrade_fall | "12 in" | surface_works
surface_least_soil | "6 m3" | surface_works
soil_rate | "2 yd3/h" | surface
seed_rate | "100 ft2/h" | surface

low floor
soil_below_floor | "14 in" | surface_works

day of rain
default_two_year_share | 0.35 | runoff

bank above a basement
refer_hillside_rise | "4 m" | plan
refer_hillside_reach | "0.5 m" | plan

holes
largest_hole | 4 | warnings
told_unknown_ground | "10 %" | warnings
most_unknown_ground | "1 %" | refused
least_cells_on_lot | 5000 | refused
coarsest_cell | "0.25 m" | warnings

surface model
surface_model_step | "5 m" | warnings
surface_model_share | "20 %" | warnings

far fence
layer_reach | "100 m" | warnings
layer_far | "1000 m" | warnings

high sill
sill_off_ground | "10 m" | warnings

outfall off the raster
beside_reach | "6 m" | warnings

shots
level_shot_reach | "2 m" | low_spots
level_shot_misfit | "1 cm" | warnings
shot_error | "20 cm" | outfalls
shot_reach | "4 m" | catch_basins

level book
level_closure | "1 mm" | refused

nothing told
default_storm_depth | "100 mm" | runoff
default_storm_duration | "120 min" | runoff
default_soil_group | "A" | runoff
default_cover | "woods, good" | runoff

no outfall
outfall_least_area | "600 m2" | outfalls
outfall_apart | "24 m" | outfalls
outfalls_found | 5 | outfalls

an outfall on the bank
outlet_under_swale | "2 in" | outfalls
outfall_bed_reach | "0.5 m" | outfall_moves
outfall_bed_drop | "2 m" | outfall_moves

a ditch
outlet_under_ditch | "2 in" | outfalls

a curb
outlet_under_curb | { high = "12 in" } | outfalls

an inlet
outlet_under_inlet | { high = "8 ft" } | outfalls

a pond
outlet_under_pond | "6 in" | outfalls
outlet_over_pond | "3 ft" | outfalls

no right of way
assumed_way_half_width | "3 m" | fall_to_spare

lots around
parcel_gap | "0.5 m" | frontage
frontage_least | "25 m" | frontage
frontage_across | "5 m" | frontage
street_parcel_touches | 6 | frontage

slope
arriving_paving | "6.4 l/s" | catch_basins
basin_snap | "0.75 m" | catch_basins
trench_edge_offset | "1.8 m" | channel_drains

slope, wet wall
arriving_seen_share | 1 | catch_basins
basin_apart | "10 m" | catch_basins

hollow at the wall, no soil moved
grate_wall_time | "120 min" | catch_basins

small hollow in front, pipes alone
pipe_clearance | "1 m" | warnings

steep
refer_slope_reach | "12 m" | french_drains

low wall
refer_wall | "1 ft" | catch_basins

drive
channel_paved_share | 0.99 | channel_drains
channel_width | "10 in" | channel_drains
channel_depth | "0.6 m" | pipe_runs
channel_cut | "60 cm" | take_off
channel_dig | "50 cm" | take_off
channel_head | "0.2 cm" | channel_drains
channel_shortest | "10 m" | channel_drains

hollow beside
trench_depth_stone | "30 in" | french_drains
stone_under_pipe | "6 in" | french_drains
stone_over_pipe | "12 in" | french_drains
waste_fabric | "35 %" | take_off
trench_overlap | "0.3 m" | french_drains
trench_shortest | "20 m" | french_drains
slab_stone_offset | "1.2 m" | french_drains
slab_footing_depth | "0.6 m" | french_drains
arrival_share | 0.5 | french_drains
arrival_cluster | "8 m" | french_drains
arrival_cluster_share | 0.15 | french_drains
arriving_wall | "4 l/s" | french_drains
works_wall_clearance | "1.2 m" | french_drains
tolerable_lawn_time | "6 h" | low_spots
depth_hand_dig | "1.5 ft" | french_drains
wall_reach | "3 m" | low_spots
least_drain_flow | "4 l/s" | french_drains
stake_spacing | "1 m" | stakes

hollow beside a crawl space
stone_wall_offset | "2 ft" | french_drains

hollow at the wall
berm_height | "12 in" | surface_works
berm_width | "8 ft" | surface_works
berm_overlap | "0.2 m" | surface_works
grate_wall_depth | "4 in" | caught_by
tolerable_sill_depth | "1 in" | low_spots

hollow at the wall, a neighbor in the street
neighbor_gain | "0.1 %" | surface


hollow at the wall, a neighbor who counts it all
neighbor_gain_least | "5 gal" | surface

rain table
keep_dry_storm | "10 yr" | plan
keep_dry_extra | "0 %" | plan

shallow hollow
wet_film | "4 in" | catch_basins

small hollow in front
small_hollow | "1 m2" | catch_basins
fill_most | "0.25 m3" | plan
extension_hours | "4 h" | surface
fill_slope | "20 %" | plan
fill_slope_reach | "1 m" | plan
extension_offset_line | "20 ft" | plan
roof_reach | "0.01 m" | plan

two downspouts
cure_enough_share | 0.05 | catch_basins

trees and lines
default_footing_depth | "1 cm" | warnings
leaf_reach | "1 ft" | catch_basins
grate_clogging_trees | 0.95 | catch_basins
downspout_reach | "0.3 m" | warnings
crossing_hours | "0.01 h" | plan
never_cross_offset | "4 m" | pipe_runs
tree_clearance | "4 ft/in" | pipe_runs
hard_access_factor | 3 | take_off
narrow_gate | "24 in" | take_off
swell_sand | "30 %" | take_off

clay
swell_clay | "60 %" | take_off
slope_corrugated | "4 %" | pipe_runs

deep and turned aside
cleanout_from_end | "10 m" | fittings
spoil_offset | "4 ft" | warnings
depth_protection | "2 ft" | warnings
own_swale_slope | "4 %" | plan
own_swale_length | "30 m" | plan

gentle, turned aside
own_swale_depth | "0.02 m" | plan

flat
flat_slope | 0.0002 | runoff
flat_slope_added | 0.01 | runoff
stone_size | "1 in" | french_drains

pumped
assumed_pump_shut_off | "40 ft" | sumps
assumed_pump_end_flow | "70 gpm" | sumps
assumed_pump_end_head | "10 ft" | sumps
pressure_velocity | "12 ft/s" | sumps
relief_hole | "1/4 in" | sumps
float_margin | 6 | sumps
pressure_pipes | "3 in sch 40" | sumps

pumped to one of two
lift_outfalls_tried | 1 | sumps

daylight
daylight_apart | "15 m" | plan
daylight_places | 1 | plan

gravity or a dry well
slope_6in_smooth | "2 %" | pipe_runs
pipe_sizes_tried | 1 | plan

dry well
soakaway_factor | 4 | french_drains
soakaway_offset_building | "20 ft" | french_drains
soakaway_offset_line | "20 ft" | french_drains
soakaway_above_saturated | "12 ft" | plan
soakaway_dry_time | "2 h" | plan
soakaway_storm | "12 h" | french_drains
soakaway_width | "1.8 m" | french_drains
soakaway_depth | "1.2 m" | french_drains
soakaway_cover | "90 cm" | french_drains
soakaway_length | "6 m" | french_drains
soakaway_places | 1 | french_drains
soakaway_apart | "1 m" | french_drains

dry well between a well and a septic field
soakaway_offset_basement | "40 ft" | french_drains
soakaway_offset_septic | "80 ft" | french_drains
soakaway_offset_well | "120 ft" | french_drains

valley below a bank
embankment_reach | "1 ft" | warnings
embankment_length | "80 m" | warnings
embankment_width | "3 m" | warnings
embankment_height | "2 m" | warnings
embankment_evenness | "0.5 mm" | warnings
embankment_over | "0 m" | warnings

valley far above a road
embankment_look | "5 m" | warnings

wide cells
cells_trusted | "0.3 m" | warnings

cells doubted
cells_run_on | "0.01 %" | warnings
cells_across | 40 | warnings
"""

X, Y = np.meshgrid((np.arange(60) + 0.5) / 2.0, 30.0 - (np.arange(60) + 0.5) / 2.0)
CRAWL = '[house]\nfoundation = "crawl"\n'
SLAB, RAIN = '[house]\nfoundation = "slab"\n', '[rain]\ndepth = "3 in"\nduration = "60 min"\n'
TABLE = '[rain]\ntable = "rain.csv"\nreturn_period = "10 yr"\n'
LOAM, CLAY = '[soil]\ngroup = "B"\n', '[soil]\ngroup = "D"\n'
LOOSE = '[soil]\ngroup = "A"\ncompacted = false\n'
TESTED = '[soil]\ngroup = "A"\ntested_rate = "4 in/h"\nwater_table = "12 ft"\n'
SHOTS = "point,easting,northing,height_m\nlawn,500011.0,4400022.1,100.72\nswale,500015.0,4400001.6,99.50\n"
BOOK = (
    "point,easting,northing,backsight_m,foresight_m\nlawn,500011.0,4400022.1,1.280,\n"
    "swale,500015.0,4400001.6,,2.500\nlawn,500011.0,4400022.1,,1.283\n"
)


def one(shape, **values):
    return [{"geometry": shape, **values}]


def plane(fall, across=0.002):
    """A plane that falls south to a swale 0.6 m deep, rough by 2 mm."""
    swale = np.where(Y < 3.2, 0.6 * (1.0 - np.abs(Y - 1.6) / 1.6), 0.0)
    return 100.0 + fall * Y + across * X - swale + np.random.default_rng(7).normal(0.0, 0.002, X.shape)


def hollow(deep, east, north, wide=2.0):
    return deep * np.exp(-((X - east) ** 2 + (Y - north) ** 2) / wide**2)


def holed(ground):
    ground = ground.copy()
    ground[30:33, 8:11] = ground[10:18, 14:20] = -999999.0
    return ground


def valley_far_above_a_road():
    """A valley 56 m wide that falls south by 1 % past a lot to a road 10 m wide on a bank 66 m below it."""
    x, y = np.meshgrid((np.arange(112) + 0.5) / 2.0 - 28.0, 110.0 - (np.arange(220) + 0.5) / 2.0)
    z = 100.0 + 0.01 * y + 0.04 * np.abs(x)
    road = 100.22 + 1.3 - np.maximum(np.abs(y - 22.0) - 5.0, 0.0) / 2.0 + 0.005 * x
    return np.maximum(z, road) + np.random.default_rng(5).normal(0.0, 0.005, x.shape)


def valley_below_a_bank():
    """A valley 56 m wide that falls south past a lot to a level bank across it, rough by 5 mm."""
    x, y = np.meshgrid((np.arange(112) + 0.5) / 2.0 - 28.0, 74.0 - (np.arange(148) + 0.5) / 2.0)
    # behind the bank the valley lies 0.1 m over the ground at its foot
    floor = np.where(y > 22.0, 0.04 * y, 1.1 - 0.002 * (22.0 - y))
    z = 100.0 + floor + 0.02 * np.abs(x) + 0.2 * np.maximum(np.abs(x) - 20.0, 0.0)
    bank = 100.0 + 0.04 * 22.0 + 1.0 - np.maximum(np.abs(y - 22.0) - 2.0, 0.0) / 2.0
    return np.maximum(z, bank) + np.random.default_rng(7).normal(0.0, 0.005, x.shape)


def with_house_and_trees(ground):
    ground = ground.copy()
    ground[25:38, 21:39] += 3.0
    ground[4:12, 4:12] += 4.0
    ground[4:12, 44:52] += 4.0
    return ground


WIDE = {
    "parcel": one(box(0.5, 4.0, 29.5, 29.5), lot=1),
    "roofs": one(box(4.2, 11.2, 9.8, 15.8), open_below=False),
    "hardscape": one(box(4.2, 16.2, 9.8, 19.8), kind="patio", protect=True),
    "downspouts": one(Point(4.2, 11.2)),
    "complaints": one(Point(7.0, 18.0), what="stands"),
}
# the street lies uphill and nothing is found in it
DRY_WELL = {**WIDE, "outfalls": None, "right_of_way": one(box(0.0, 29.6, 30.0, 30.0))}
# neighbors, one of them a metre off, lots across a street, and an alley that is kept as a parcel
AROUND = [
    {"geometry": box(*bounds), "lot": number}
    for number, bounds in enumerate(
        (
            (5.2, 4.0, 24.8, 25.7), (-20.0, 4.0, 4.2, 25.7), (24.8, 4.0, 45.0, 25.7), (-40.0, 4.0, -20.0, 25.7),
            (45.0, 4.0, 65.0, 25.7), (-40.0, -40.0, 65.0, -10.0), (-60.0, 25.8, 90.0, 28.7),
        ),
        start=1,
    )
]
GRASS = {"hardscape": None, "complaints": None}
TREES = [
    {"geometry": Point(17.0, 24.0), "kind": "tree", "crossing": "careful", "trunk_in": 12.0},
    {"geometry": Point(12.0, 6.0), "kind": "tree", "crossing": "never", "trunk_in": 12.0},
]
LINES = [
    {"geometry": LineString([(5.0, 8.0), (17.0, 8.0)]), "kind": "gas", "crossing": "careful", "depth_m": 0.6},
    {"geometry": LineString([(22.5, 10.0), (22.5, 20.0)]), "kind": "power", "crossing": "never", "depth_m": 0.6},
    {"geometry": LineString([(7.5, 10.0), (7.5, 20.0)]), "kind": "power", "crossing": "never", "depth_m": 0.6},
]
KEPT_OFF = [
    {"geometry": Point(20.0, 29.0), "kind": "well", "crossing": "never"},
    {"geometry": box(27.0, 24.0, 29.0, 28.0), "kind": "septic field", "crossing": "never"},
]


def lot(ground=None, *more, house=SLAB, rain=RAIN, soil=LOAM, **layers):
    """Ground where it is not the small lot's, what the site file says, and layers other than the small lot's."""
    return ground, "\n" + house + rain + soil + "".join(more), layers


def with_rules(**values):
    return "[rules]\n" + "".join(f"{key} = {value}\n" for key, value in values.items())


HILL = plane(0.03)
AT_PATIO = hollow(0.2, 15.0, 22.0)
ASIDE = {"own_swale_run_on": 0.125}
NO_SOIL = {"surface_least_soil": "'20 m3'"}
BACK_FALLS_AWAY = -np.where(Y > 14.5, 0.08 * (Y - 14.5), 0.0)
LOTS = {
    "small": lot(),
    "wide cells": lot(None, with_rules(cells_across=40)),
    "cells doubted": lot(None, with_rules(cells_trusted='"0.3 m"')),
    "holes": lot(holed),
    "surface model": lot(with_house_and_trees),
    "far fence": lot(barriers=one(LineString([(400.0, 10.0), (404.0, 10.0)]), kind="fence")),
    "high sill": lot(house=SLAB + 'floor = "105 m"\n'),
    "outfall off the raster": lot(outfalls=one(Point(33.0, 1.6), kind="swale")),
    "shots": lot(None, '[levels]\nfile = "shots.csv"\n'),
    "level book": lot(None, '[levels]\nfile = "book.csv"\n'),
    "nothing told": lot(house="", rain="", soil=""),
    "no outfall": lot(outfalls=None),
    "an outfall on the bank": lot(outfalls=one(Point(15.0, 2.9), kind="swale")),
    "a ditch": lot(outfalls=one(Point(15.0, 1.62), kind="ditch")),
    "a curb": lot(outfalls=one(Point(15.0, 1.62), kind="curb")),
    "an inlet": lot(outfalls=one(Point(15.0, 1.62), kind="inlet")),
    "a pond": lot(outfalls=one(Point(15.0, 1.62), kind="pond")),
    "no right of way": lot(right_of_way=None),
    "lots around": lot(parcel=AROUND, outfalls=None, right_of_way=None),
    "slope": lot(HILL),
    "slope, wet wall": lot(HILL, house=CRAWL, complaints=one(Point(15.0, 18.5), what="wet wall")),
    "steep": lot(plane(0.2)),
    "low wall": lot(barriers=one(LineString([(6.0, 20.0), (9.0, 20.0)]), kind="wall", height_ft=3.5)),
    "drive": lot(
        HILL, complaints=one(Point(15.0, 18.5), what="wet wall"),
        hardscape=one(box(11.2, 17.9, 18.8, 25.5), kind="drive", protect=False),
    ),
    "hollow beside": lot(HILL - hollow(0.2, 7.5, 22.0), **GRASS),
    "hollow beside a crawl space": lot(HILL - hollow(0.2, 7.5, 22.0), house=CRAWL, **GRASS),
    "hollow at the wall": lot(
        plane(0.02) - hollow(0.15, 15.0, 19.0, 1.5), hardscape=None, complaints=one(Point(15.0, 19.0), what="pond")
    ),
    "hollow at the wall, no soil moved": lot(
        plane(0.02) - hollow(0.15, 15.0, 19.0, 1.5), with_rules(**NO_SOIL), hardscape=None,
        complaints=one(Point(15.0, 19.0), what="pond"),
    ),
    "low floor": lot(house=SLAB + 'floor = "100.75 m"\n'),
    "day of rain": lot(rain='[rain]\ndepth = "4 in"\nduration = "24 h"\n'),
    "bank above a basement": lot(
        plane(0.02) + np.clip(0.8 * (Y - 19.0), 0.0, 2.4), house=SLAB.replace("slab", "basement"),
        **GRASS | {"complaints": one(Point(15.0, 17.9), what="seeps in", where="basement", season="days_after")},
    ),
    "hollow at the wall, a neighbor in the street": lot(
        plane(0.02) - hollow(0.15, 15.0, 19.0, 1.5), with_rules(neighbor_gain_least='"1 gal"'), right_of_way=None,
        hardscape=None, complaints=one(Point(15.0, 19.0), what="pond"),
    ),
    "hollow at the wall, a neighbor who counts it all": lot(
        plane(0.02) - hollow(0.15, 15.0, 19.0, 1.5), with_rules(neighbor_gain='"0.01 %"'), right_of_way=None,
        hardscape=None, complaints=one(Point(15.0, 19.0), what="pond"),
    ),
    "rain table": lot(rain=TABLE),
    "shallow hollow": lot(plane(0.01) - 0.6 * AT_PATIO, complaints=None),
    "small hollow in front": lot(
        plane(0.01) - hollow(0.15, 10.5, 8.2, 1.3), soil=CLAY, downspouts=one(Point(10.2, 11.2)), **GRASS
    ),
    "small hollow in front, pipes alone": lot(
        plane(0.01) - hollow(0.15, 10.5, 8.2, 1.3), with_rules(extension_longest='"0.5 m"', **NO_SOIL), soil=CLAY,
        downspouts=one(Point(10.2, 11.2)), **GRASS,
    ),
    "two downspouts": lot(
        HILL + BACK_FALLS_AWAY - hollow(0.15, 10.0, 8.0, 1.0) - hollow(0.105, 20.0, 8.0, 1.0), soil=LOOSE,
        rain=RAIN.replace("3 in", "1.5 in"), hardscape=None, complaints=one(Point(10.0, 8.0), what="pond"),
    ),
    "trees and lines": lot(
        None, '[layout]\ngate = "30 in"\nsoil = "sand"\n', keep_out=TREES, utilities=LINES,
        downspouts=one(Point(9.2, 11.2)),
    ),
    "clay": lot(None, '[layout]\nsoil = "clay"\npipe = "4 in corrugated"\n'),
    "deep and turned aside": lot(None, with_rules(cleanout_spacing='"4 m"', depth_egress='"1 ft"', **ASIDE)),
    "gentle, turned aside": lot(plane(0.005) - AT_PATIO, with_rules(**ASIDE)),
    "flat": lot(plane(0.001) - AT_PATIO),
    "pumped": lot(None, '[layout]\nlift = "pump"\n', outfalls=one(Point(29.5, 1.62), kind="swale")),
    # the lower one lies farther off
    "pumped to one of two": lot(
        None, '[layout]\nlift = "pump"\n',
        outfalls=[{"geometry": Point(x, 1.62), "kind": "swale"} for x in (1.0, 22.0)],
    ),
    "daylight": lot(plane(0.06, -0.01) - hollow(0.3, 7.0, 18.0), **WIDE),
    "gravity or a dry well": lot(
        HILL - hollow(0.2, 7.0, 18.0), with_rules(trench_extra="'400 %'"), soil=TESTED, **WIDE
    ),
    "dry well": lot(plane(0.03, -0.018) - hollow(0.2, 7.0, 18.0), soil=TESTED, **DRY_WELL),
    "dry well between a well and a septic field": lot(
        plane(0.03, -0.018) - hollow(0.2, 7.0, 18.0), soil=TESTED, house=SLAB.replace("slab", "basement"),
        keep_out=KEPT_OFF, **DRY_WELL,
    ),
    "valley below a bank": lot(
        valley_below_a_bank(), parcel=one(box(15.0, 52.0, 40.0, 70.0), lot=1), roofs=one(box(18.0, 60.0, 24.0, 66.0)),
        **GRASS, downspouts=None, outfalls=None, right_of_way=None,
    ),
    "valley far above a road": lot(
        valley_far_above_a_road(), parcel=one(box(15.0, 88.0, 40.0, 106.0), lot=1),
        roofs=one(box(18.0, 97.0, 24.0, 103.0)), **GRASS, downspouts=None, outfalls=None, right_of_way=None,
    ),
}  # fmt: skip


def _cases():
    cases, name = [], ""
    for line in filter(None, ACTS.splitlines()):
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) == 1:
            name = line
        else:
            cases.append((name, *cells))
    return cases


def _told(site):
    """Everything that a screened lot tells, by table; what it is refused for, where it is."""
    try:
        found = screen_lot(site)
    except LotshedError as error:
        return {"refused": str(error)}
    tables, plan = lot_tables(found, "si"), found.plan
    return {
        **{name: pd.DataFrame(tables[name]).to_csv(index=False) for name in tables if name not in UNTOLD},
        "warnings": repr(found.warnings),
        "plan": repr((plan.verdict, plan.cures, plan.alternatives, plan.refer_out, plan.discharges, plan.sizes)),
        "caught_by": repr(plan.caught_by),
        "surface": repr(_surface(plan.surface)),
        "stakes": repr(stakes_of(found)),
    }


def _surface(surface):
    """What surface works alone do and cost."""
    if surface is None:
        return None
    works = [(work.id, work.height, work.length, work.fill, work.cut, work.area) for work in surface.works]
    return works, surface.left, surface.sends, surface.refused, surface.state, surface.low, surface.likely, surface.high


UNTOLD = ("run_info", "cautions")
pytestmark = pytest.mark.usefixtures("kept_in_file")


@pytest.fixture(scope="module")
def written(tmp_path_factory, made_lots):
    """Writes a made lot by name and tells its site file, and what it tells as it is: each once."""

    @cache
    def write(name):
        ground, more, changed = LOTS[name]
        small = made_lots.small_ground()
        ground = small if ground is None else ground(small) if callable(ground) else ground
        layers = {key: rows for key, rows in {**made_lots.SMALL_LAYERS, **changed}.items() if rows is not None}
        site = made_lots.write_lot(tmp_path_factory.mktemp("lot"), ground, layers, more=more)
        if len(layers["parcel"]) > 1:
            site.write_text(site.read_text().replace('layer = "parcel"\n', 'layer = "parcel"\nwhere = "lot = 1"\n'))
        (site.parent / "shots.csv").write_text(SHOTS)
        (site.parent / "book.csv").write_text(BOOK)
        (site.parent / "rain.csv").write_text((made_lots.SAMPLES / "rain.csv").read_text())
        return site, _told(site)

    return write


@pytest.mark.parametrize(("name", "key", "value", "table"), one_in(18, _cases()))
def test_a_rule_moves_what_it_says(written, name, key, value, table):
    site, before = written(name)
    text, rule = site.read_text(), f"[rules]\n{key} = {value}\n"
    changed = site.with_name(f"{key}.toml")
    changed.write_text(text.replace("[rules]\n", rule) if "[rules]" in text else f"{text}\n{rule}")
    assert "refused" not in before
    now = _told(changed)
    assert now.get(table) != before.get(table)
    assert table == "refused" or "refused" not in now


@pytest.mark.parametrize("lift", ["gravity", "pump"])
def test_without_a_right_of_way_a_given_outfall_is_reached_and_never_sure(written, lift):
    site, _ = written("no right of way")
    asked = site.with_name(f"{lift}.toml")
    asked.write_text(f'{site.read_text()}\n[layout]\nlift = "{lift}"\n')
    plan = screen_lot(asked).plan
    assert bool(plan.sumps) == (lift == "pump")
    assert plan.discharges
    for line in plan.discharges:
        assert line.outfall.startswith("outfall-1")
        assert line.verdict == "cannot_tell"
        assert "confirm that the line may cross the ground before the outfall" in say(line.why, "us")
    assert plan.parts.fall.state == "cannot_tell"


def test_what_is_tried_lies_in_the_range_of_its_rule():
    here = Path(__file__)
    sample = runpy.run_path(str(here.with_name("test_rules_act.py")))
    swale = runpy.run_path(str(here.parents[1] / "test_swale_rules_act.py"))
    tried = [(key, value) for _, key, value, _ in _cases()] + list(swale["GIVEN"].items())
    tried += [(key, value) for key, value, _ in sample["_cases"](sample["MOVES"])]
    for key, value in tried:
        assert read_overrides(tomllib.loads(f"{key} = {value}")), key


def test_every_rule_is_seen_to_act():
    here = Path(__file__)
    sample = runpy.run_path(str(here.with_name("test_rules_act.py")))
    swale = runpy.run_path(str(here.parents[1] / "test_swale_rules_act.py"))
    seen = {line.split("|")[0].strip() for block in ("MOVES", "REFUSED") for line in sample[block].strip().splitlines()}
    surface = runpy.run_path(str(here.with_name("test_surface_works.py")))
    both = runpy.run_path(str(here.with_name("test_surface_with_pipes.py")))
    raised = runpy.run_path(str(here.with_name("test_raised_edge.py")))
    made = {key for _, key, _, _ in _cases()} | set(surface["OWN_SWALE"]) | set(both["WITH_PIPES"])
    made |= set(raised["RAISED_EDGE"])
    made |= set(runpy.run_path(str(here.with_name("test_possible_grounds.py")))["POSSIBLE_GROUNDS"])
    # a pump that is too weak, and the stone that stores for it: test_made_lots
    made |= {"lift_far_over", "lift_stone_width", "lift_stone_longest"}
    # how much less must be left to be worth a trench: test_surface_with_pipes
    made |= {"siting_less_left"}
    # which drains that are there are relied on: test_existing_drains
    made |= {"drain_reach", "drain_least_size"}
    # what a low line is taken for: test_places_to_leave
    made |= {"found_section_reach", "found_gutter_depth", "found_gutter_reach", "found_ditch_depth"}
    # storms in which no neighbor may gain: test_surface_works; cover held by the gate: test_gate
    made |= {"neighbor_storms", "cover_tolerance"}
    # a street's gutter: test_curb_inlet_and_pond
    made |= {"n_gutter"}
    assert set(load_rules()) == seen | made | set(swale["GIVEN"])
