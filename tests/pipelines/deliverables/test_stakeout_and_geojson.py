"""What the crew stakes out, and the layers for a phone's map."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import shapely
from pyproj import Transformer

from pipelines.deliverables.files.geojson import geojson_text
from pipelines.deliverables.findings.lot import Benchmark, Findings
from pipelines.deliverables.findings.stakeout import benchmark_of
from pipelines.deliverables.lot.layers import lot_tables
from pipelines.deliverables.lot.stakeout import profile_table, stakeout_table
from pipelines.deliverables.lot.written import lot_files
from pipelines.deliverables.report.figures.profile import cover_told, profile_figure
from pipelines.hydraulics.pipe_catalogue import find_pipe


def test_grades_are_told_from_the_benchmark(findings_with: Callable[..., Findings]) -> None:
    findings = findings_with(benchmark=Benchmark("sill of the back door", 100.0, True), units="si")
    table = stakeout_table(findings, "si")
    run = findings.plan.pipe_runs[1]
    mine = table[table["run"] == run.id]
    assert mine["invert_above_benchmark_m"].iloc[0] == pytest.approx(run.invert_up - 100.0)
    assert mine["invert_above_benchmark_m"].iloc[-1] == pytest.approx(run.invert_down - 100.0)
    assert mine["station_m"].is_monotonic_increasing
    assert set(table["benchmark"]) == {"sill of the back door"}
    assert set(table["provisional"]) == {"yes"}
    # on the map, in its feet
    assert mine["easting"].iloc[0] == pytest.approx(run.line.coords[0][0] / findings.frame.x_scale)


def test_cuts_only_where_levels_were_read(findings_with: Callable[..., Findings]) -> None:
    assert not [name for name in stakeout_table(findings_with(), "us") if name.startswith("cut")]
    findings = findings_with(levels_given=True)
    table = stakeout_table(findings, "si")
    run = findings.plan.pipe_runs[1]
    wall = find_pipe(run.pipe_key).wall
    cut = table[table["run"] == run.id]["cut_m"].iloc[0]
    assert cut == pytest.approx(run.ground[0] - run.invert_up + wall, abs=1e-4)


def test_without_a_benchmark_the_lowest_outlet_is_one_to_be_set(findings: Findings) -> None:
    found = benchmark_of(findings)
    assert found is not None
    assert not found.measured
    assert found.elevation == min(run.invert_down for run in findings.plan.pipe_runs)


def test_profiles_hold_depth_and_cover(findings: Findings) -> None:
    table = profile_table(findings, "si")
    pipe = find_pipe(findings.plan.pipe_runs[1].pipe_key)
    row = table[table["run"] == "run-1"].iloc[0]
    assert row["depth_m"] == pytest.approx(100.0 - 99.5 + pipe.wall)
    assert row["cover_m"] == pytest.approx(row["depth_m"] - pipe.outside)


def test_geojson_lies_on_the_globe(findings: Findings) -> None:
    # source: RFC 7946, sections 3.1.6 (right-hand rule) and 4 (longitude before latitude, WGS 84), 2016
    layers = lot_tables(findings, "us")
    collection = json.loads(geojson_text(layers, findings.frame.crs))
    assert set(collection) == {"type", "features"}
    assert collection["type"] == "FeatureCollection"
    shaped = {name: frame for name, frame in layers.items() if hasattr(frame, "crs")}
    assert len(collection["features"]) == sum(len(frame) for frame in shaped.values())
    outfall = next(each for each in collection["features"] if each["properties"]["layer"] == "outfalls")
    point = layers["outfalls"].geometry.iloc[0]
    there = Transformer.from_crs(findings.frame.crs, 4326, always_xy=True).transform(point.x, point.y)
    assert outfall["geometry"]["coordinates"] == pytest.approx(there, abs=2e-8)
    assert outfall["properties"]["level_ft"] == layers["outfalls"]["level_ft"].iloc[0]
    for feature in collection["features"]:
        shape = shapely.from_geojson(json.dumps(feature["geometry"]))
        assert not shape.has_z
        for part in shapely.get_parts(shape):
            assert part.geom_type != "Polygon" or part.exterior.is_ccw


def test_files_of_a_lot(findings: Findings, tmp_path: Path) -> None:
    names = ["report.html", "report.pdf", "appendix.pdf", "stakeout.csv", "profiles.csv"]
    assert list(lot_files(findings, made_on=date(2025, 3, 4))) == names
    files = lot_files(findings, made_on=date(2025, 3, 4), geojson=True)
    assert list(files) == [*names, "lot.geojson"]
    for name, write in files.items():
        write(tmp_path / name)
        assert (tmp_path / name).stat().st_size > 100


def test_the_fall_to_the_next_stake_is_told_as_a_crew_reads_it(findings_with: Callable[..., Findings]) -> None:
    findings = findings_with(benchmark=Benchmark("sill", 100.0, True))
    us = stakeout_table(findings, "us").query("run == 'run-1'")
    # 1 in 100 is 1.2 in over 10 ft
    assert us["fall_in_10_ft_in"].iloc[0] == pytest.approx(1.2, abs=0.01)
    assert us["fall_in_10_ft_in"].isna().iloc[-1]
    si = stakeout_table(findings, "si").query("run == 'run-1'")
    assert si["fall_in_10_m_mm"].iloc[0] == pytest.approx(100.0, abs=1.0)
    assert stakeout_table(findings, "us").query("run == 'run-2'")["fall_in_10_ft_in"].isna().all(), "under pressure"


def test_a_pipe_above_the_ground_has_no_cover_in_its_profile(findings_with: Callable[..., Findings]) -> None:
    findings = findings_with()
    run = findings.plan.pipe_runs[1]
    first, last = run.line.coords[0], run.line.coords[-1]
    line = shapely.LineString([(*first[:2], 99.5), (*last[:2], 99.4), (last[0] + 10.0, last[1], 99.3)])
    for middle, told in ((99.45, "out of the ground by"), (99.9, "least cover")):
        changed = replace(run, line=line, ground=(100.0, middle, 100.0))
        made = replace(findings, plan=replace(findings.plan, pipe_runs=(changed,)))
        figure = profile_figure(changed, made, "us")
        assert told in figure.svg
        assert (cover_told(changed) is None) == (told != "least cover")
        assert ("least cover" in figure.alt) == (told == "least cover")
