"""Tables that the crew stakes out and reads levels by: stakeout.csv, profiles.csv and level_shots.csv."""

import numpy as np
import pandas as pd
import shapely

from pipelines.deliverables.findings.lot import Findings
from pipelines.deliverables.findings.stakeout import benchmark_of, profile_of, stakes_of
from pipelines.deliverables.unit_systems import from_si
from pipelines.deliverables.words.say import say
from pipelines.hydraulics.pipe_catalogue import find_pipe
from terrain.unit_table import FOOT, INCH, Units


def stakeout_table(findings: Findings, units: Units) -> pd.DataFrame:
    """Table of stakeout.csv."""
    unit = "ft" if units == "us" else "m"
    stakes = stakes_of(findings)
    benchmark = benchmark_of(findings)
    placed = shapely.get_coordinates(findings.frame.to_map(np.array([stake.place for stake in stakes], dtype=object)))
    columns = {
        "point": [stake.point for stake in stakes],
        "run": [stake.run for stake in stakes],
        "what": [stake.what for stake in stakes],
        f"station_{unit}": from_si((stake.station for stake in stakes), unit),
        "easting": placed[:, 0],
        "northing": placed[:, 1],
        f"invert_above_benchmark_{unit}": from_si((stake.above_benchmark for stake in stakes), unit),
    }
    if findings.levels_given:
        columns[f"cut_{unit}"] = from_si((stake.cut for stake in stakes), unit)
    over, name = fall_told(units)
    columns[name] = [None if stake.slope is None else stake.slope * over for stake in stakes]
    columns["provisional"] = ["yes"] * len(stakes)
    columns["benchmark"] = [say(benchmark.name, units) if benchmark else ""] * len(stakes)
    return pd.DataFrame(columns)


def level_shot_table(findings: Findings, units: Units) -> pd.DataFrame:
    """Table of level_shots.csv: where to hold the rod, with blanks for what it reads."""
    unit = "ft" if units == "us" else "m"
    shots = findings.plan.level_shots
    placed = shapely.get_coordinates(findings.frame.to_map(np.array([shot.point for shot in shots], dtype=object)))
    blank = [""] * len(shots)
    return pd.DataFrame({
        "point": [shot.id for shot in shots],
        "what": [say(shot.what, units) for shot in shots],
        "easting": placed[:, 0],
        "northing": placed[:, 1],
        f"backsight_{unit}": blank,
        f"foresight_{unit}": blank,
    })


def fall_told(units: Units) -> tuple[float, str]:
    """What a slope times which is the fall to the next stake as a crew reads it, and the name of its column. [-]"""
    return (10.0 * FOOT / INCH, "fall_in_10_ft_in") if units == "us" else (1e4, "fall_in_10_m_mm")


def profile_table(findings: Findings, units: Units) -> pd.DataFrame:
    """Table of profiles.csv: ground, invert, depth and cover at every vertex of every run."""
    unit = "ft" if units == "us" else "m"
    rows: dict[str, list[float]] = {name: [] for name in ("station", "ground", "invert", "depth", "cover")}
    runs: list[str] = []
    for run in findings.plan.pipe_runs:
        pipe = find_pipe(run.pipe_key)
        for station, invert, ground in zip(*profile_of(run), run.ground, strict=True):
            runs.append(run.id)
            depth = max(ground - invert + pipe.wall, 0.0)
            for name, value in zip(rows, (station, ground, invert, depth, depth - pipe.outside), strict=True):
                rows[name].append(float(value))
    return pd.DataFrame({"run": runs} | {f"{name}_{unit}": from_si(values, unit) for name, values in rows.items()})
