"""Screen made lots on their exact ground and through lidar, a row a run, and tell how often the answer was right.

    python tests/truth/bench.py --runs 300 --out DIR
"""

import argparse
import csv
import sys
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely.affinity import translate
from truth_cure import left_on
from truth_lidar import FLIGHT, OTHERS, STATED, STRENGTHS, Strength, see
from truth_lots import EAST, NORTH, ROOF, TruthLot, make_lot
from truth_spare import height_at, spare_of
from truth_tables import write_tables

from pipelines.deliverables.findings.lot import Findings, StandingWater
from pipelines.layout.parts import Said
from pipelines.layout.quantities.take_off import total_cost
from pipelines.lot import findings_of
from pipelines.lot_inputs import open_lot
from pipelines.lot_stages import LotStages
from terrain.reason import Reason

EXACT = "1 mm"
"""What is stated of the exact ground."""
HELD_OUT = 5000
"""First seed of the lots that are looked at once, when all is done."""
DEEP, WIDE = 0.05, 2.0
"""A pond that counts is deeper and larger than this. [m], [m2]"""
LISTED, ROD = 0.2, 0.005
"""A pond that is there on so many of the grounds is told [-]; standard error of a level that is read. [m]"""


@dataclass(frozen=True, slots=True)
class Run:
    """One run, as a row of runs.csv; README.md says what each column means."""

    lot: int
    draw: int
    strength: str
    rolling: bool
    foundation: str
    fenced: bool
    swale_depth_m: float
    meant_dry: bool
    rmse_m: float
    crash: str = ""
    seconds: float = np.nan
    said: str = ""
    sure: str = ""
    headline: str = ""
    cure: str = ""
    cure_odds: float = np.nan
    left_true: float = np.nan
    cost: float = np.nan
    collectors: int = 0
    spare_m: float = np.nan
    error_m: float = np.nan
    spare_seen_m: float = np.nan
    spare_true_m: float = np.nan
    floor_true_m: float = np.nan
    ponds_called: int = 0
    ponds_called_real: int = 0
    ponds_real: int = 0
    ponds_real_called: int = 0
    ponds_real_told: int = 0
    true_said: str = ""
    true_cure: str = ""
    true_cost: float = np.nan
    true_collectors: int = 0
    odds: float = np.nan
    shots: int = 0
    after_crash: str = ""
    after_said: str = ""
    after_sure: str = ""
    after_spare_m: float = np.nan
    after_error_m: float = np.nan
    after_spare_true_m: float = np.nan
    after_floor_true_m: float = np.nan


@dataclass(frozen=True, slots=True)
class Pond:
    """A low spot on the lot over 5 cm and 2 m2, as a row of ponds.csv."""

    lot: int
    draw: int
    strength: str
    found: float
    depth_m: float
    area_m2: float
    real: bool


KEYS, POND_KEYS = ([field.name for field in fields(each)] for each in (Run, Pond))


def screened(lot: TruthLot, ground: np.ndarray, rmse: str, levels: pd.DataFrame | None = None) -> Findings | str:
    """What the tool finds, or the defect on which it stopped."""
    found = _worked_out(lot, ground, rmse, levels)
    return found if isinstance(found, str) else found[0]


def _worked_out(
    lot: TruthLot, ground: np.ndarray, rmse: str, levels: pd.DataFrame | None = None
) -> tuple[Findings, LotStages] | str:
    """The same with how it came about."""
    try:
        with lot.site(ground, rmse, levels).on_disk() as path:
            stages = LotStages(open_lot(path))
            return findings_of(stages), stages
    except Exception as error:
        return f"{type(error).__name__}: {error}".replace("\n", " ")[:200]


def _run(
    lot: TruthLot, draw: int, truth: tuple[Findings, LotStages] | str, kind: "Kind"
) -> tuple[Run, list[Pond]]:
    strength = kind.strengths[draw % len(kind.strengths)]
    seen = see(lot, strength, draw, FLIGHT if kind.shots else 0.0)
    off = (seen - lot.ground)[lot.cover != ROOF]
    named = {
        "lot": lot.seed, "draw": draw, "strength": strength.name, "rolling": lot.rolling,
        "foundation": lot.foundation, "fenced": lot.fenced, "swale_depth_m": lot.swale_depth,
        "meant_dry": lot.meant_dry, "rmse_m": float(np.sqrt(np.mean(off**2))),
    }
    begun = time.perf_counter()
    worked_out = _worked_out(lot, seen, STATED)
    seconds = time.perf_counter() - begun
    if isinstance(worked_out, str) or isinstance(truth, str):
        said = worked_out if isinstance(worked_out, str) else f"on the exact ground: {truth}"
        return Run(**named, crash=said, seconds=seconds), []
    (found, stages), (exact, exact_stages) = worked_out, truth
    left = left_on(exact_stages, stages.planned, stages.situation.grid)
    run = Run(
        **named, seconds=seconds, left_true=np.nan if left is None else float(left),
        **_answer(found), **_spares(lot, seen, found), **_ponds(lot, found, exact),
        **_odds(found), **_after_shots(lot, seen, draw, found, kind.shots),
        **{f"true_{key}": value for key, value in _answer(exact).items() if f"true_{key}" in KEYS},
    )
    there = _shapes(lot, exact, DEEP / 2.0, WIDE / 2.0)
    return run, [
        Pond(lot.seed, draw, strength.name, each.spot.found, each.spot.depth, each.spot.area, _meets(shape, there))
        for each, shape in _spots(lot, found, DEEP, WIDE) if each.spot.found is not None
    ]


def _odds(found: Findings) -> dict[str, float]:
    """Share of the possible grounds on which all lines have their fall, or would have it that are pumped."""
    falls = [each.on_grounds for each in found.plan.discharges if each.on_grounds]
    return {"odds": float(np.mean(np.min(falls, axis=0) >= 0.0))} if falls else {}


def _after_shots(lot: TruthLot, seen: np.ndarray, draw: int, found: Findings, most: int) -> dict[str, Any]:
    """The same once the first levels were read for which the tool asks."""
    asked = found.plan.level_shots[:most]
    if not asked:
        return {}
    rng = np.random.default_rng([lot.seed, draw, 3])
    at = [(each.point.x, each.point.y) for each in asked]
    levels = pd.DataFrame({
        "point": [each.id for each in asked], "easting": [x for x, _ in at], "northing": [y for _, y in at],
        "height_m": [height_at(lot.ground, x - EAST, y - NORTH) + ROD * rng.normal() for x, y in at],
    })  # fmt: skip
    after = screened(lot, seen, STATED, levels)
    if isinstance(after, str):
        return {"shots": len(asked), "after_crash": after}
    names = ("said", "sure", "spare_m", "error_m", "spare_true_m", "floor_true_m")
    told = _answer(after) | _spares(lot, seen, after)
    return {"shots": len(asked), **{f"after_{name}": told[name] for name in names if name in told}}


def _answer(found: Findings) -> dict[str, object]:
    """What is proposed, how sure its fall or its refusal is, and the headline over all parts."""
    plan = found.plan
    modes = {line.mode for line in plan.discharges}
    said = next((mode for mode in ("pump", "gravity", "daylight", "soakaway") if mode in modes), "nothing")
    sure = plan.parts.fall.state if said != "nothing" else plan.parts.verdict
    if said == "nothing" and plan.parts.fall.state == "no":
        said = "no way"
    elif said == "nothing" and plan.surface is not None and plan.surface.chosen:
        said = "surface"
    elif said == "nothing" and plan.parts.verdict == "no":
        said = "refused"
    collectors = len(plan.catch_basins) + len(plan.french_drains) + len(plan.channel_drains)
    return {
        "said": said, "sure": sure, "headline": plan.parts.verdict, "cure": plan.parts.cure.state,
        "cure_odds": _cure_odds(plan.parts.cure.why),
        "cost": total_cost(plan.take_off).likely,
        "collectors": collectors,
    }


def _cure_odds(why: Said) -> float:
    """Share of the possible grounds on which works end what is wrong, where that is told."""
    counted = isinstance(why, Reason) and why.code == "cure_on_grounds"
    return why["holds"] / why["grounds"] if counted else np.nan


def _spares(lot: TruthLot, seen: np.ndarray, found: Findings) -> dict[str, float]:
    """The stated spare of the line with least, and what the bench's formula says of it on both grounds."""
    stated = [each for each in found.plan.discharges if each.fall_to_spare is not None and each.outfall is not None]
    line = min(stated, key=lambda each: each.fall_to_spare, default=None)
    if line is None or line.fall_error is None:
        return {}
    return {
        "spare_m": line.fall_to_spare,
        "error_m": line.fall_error,
        "spare_seen_m": spare_of(lot, seen, seen, found.plan, line, 0),
        "spare_true_m": spare_of(lot, lot.ground, seen, found.plan, line, 0),
        "floor_true_m": spare_of(lot, lot.ground, seen, found.plan, line, 1),
    }


def _spots(lot: TruthLot, found: Findings, deep: float, wide: float) -> list[tuple[StandingWater, shapely.Geometry]]:
    """Ponds on the lot, those inside another left out, and their shapes on it."""
    shapes = [
        (each, translate(each.shape, -EAST, -NORTH))
        for each in found.low_spots
        if each.spot.contained_in is None and each.spot.depth >= deep and each.spot.area >= wide
    ]
    return [(each, shape) for each, shape in shapes if shapely.intersects(shape, lot.parcel)]


def _shapes(lot: TruthLot, found: Findings, deep: float, wide: float) -> list[shapely.Geometry]:
    """Those that are not told as within error."""
    return [shape for each, shape in _spots(lot, found, deep, wide) if not each.spot.within_lidar_error]


def _meets(one: shapely.Geometry, others: Sequence[shapely.Geometry]) -> bool:
    return bool(np.any(shapely.intersects(one, np.array(others, dtype=object))))


def _ponds(lot: TruthLot, found: Findings, exact: Findings) -> dict[str, int]:
    called, real = _shapes(lot, found, DEEP, WIDE), _shapes(lot, exact, DEEP, WIDE)
    # a pond of half the depth and size is there all the same
    there = _shapes(lot, exact, DEEP / 2.0, WIDE / 2.0)
    told = [shape for each, shape in _spots(lot, found, DEEP / 2.0, WIDE / 2.0)
            if not each.spot.within_lidar_error or (each.spot.found or 0.0) >= LISTED]
    return {
        "ponds_called": len(called),
        "ponds_called_real": sum(_meets(one, there) for one in called),
        "ponds_real": len(real),
        "ponds_real_called": sum(_meets(one, called) for one in real),
        "ponds_real_told": sum(_meets(one, told) for one in real),
    }


@dataclass(frozen=True, slots=True)
class Kind:
    """Which lots are screened through which lidar, and how many levels are read of those that the tool asks for."""

    first: int
    strengths: Sequence[Strength]
    draws: int
    shots: int = 0

    @classmethod
    def of(
        cls, *, held_out: bool = False, other_noise: bool = False, shots: int = 0, first: int | None = None
    ) -> "Kind":
        """The kind that a command names."""
        strengths = OTHERS if other_noise else STRENGTHS
        draws = 5 if held_out or other_noise else 3
        return cls((HELD_OUT if held_out else 0) if first is None else first, strengths, draws, shots)


def read_runs(out: Path, name: str) -> list[dict[str, str]]:
    """Rows of a folder's runs or ponds that are there already."""
    rows: list[dict[str, str]] = []
    for path in sorted(out.glob(f"{name}-*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            rows += csv.DictReader(file)
    return rows


def run_bench(runs: int, out: Path, kind: Kind | None = None, *, part: int = 0, parts: int = 1) -> str:
    """Screen as many runs as are asked for and not yet there, and write the tables.

    Of several processes that share a folder each takes its part of the lots.
    """
    out.mkdir(parents=True, exist_ok=True)
    kind = kind or Kind.of()
    done = {(int(row["lot"]), int(row["draw"])) for row in read_runs(out, "runs")}
    wanted = [(kind.first + run // kind.draws, run % kind.draws) for run in range(runs)]
    with _rows(out / f"runs-{part}.csv", KEYS) as write_run, _rows(out / f"ponds-{part}.csv", POND_KEYS) as write_pond:
        for seed in dict.fromkeys(seed for seed, _ in wanted):
            missing = [draw for each, draw in wanted if each == seed and (each, draw) not in done]
            if not missing or seed % parts != part:
                continue
            lot = make_lot(seed)
            exact = _worked_out(lot, lot.ground, EXACT)
            for draw in missing:
                run, ponds = _run(lot, draw, exact, kind)
                for pond in ponds:
                    write_pond(pond)
                write_run(run)
                print(f"lot {seed}, draw {draw}: {run.said or run.crash}", file=sys.stderr)
    return write_tables(read_runs(out, "runs"), read_runs(out, "ponds"), out)


@contextmanager
def _rows(path: Path, keys: Sequence[str]) -> Iterator[Callable[[Run | Pond], None]]:
    """Appends rows to a table, each at once."""
    new = not path.exists()
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, keys, lineterminator="\n")
        if new:
            writer.writeheader()

        def write(row: Run | Pond) -> None:
            told = asdict(row).items()
            writer.writerow({key: f"{value:.4f}" if isinstance(value, float) else value for key, value in told})
            file.flush()

        yield write


def main() -> None:
    """The one command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=300, help="runs in all; those in DIR count")
    parser.add_argument("--out", type=Path, required=True, help="folder of the runs and of tables.md")
    parser.add_argument("--held-out", action="store_true", help="the lots that are looked at once, five runs each")
    parser.add_argument("--other-noise", action="store_true", help="lidar that errs otherwise than a site can say")
    parser.add_argument("--shots", type=int, default=0, help="screen again with so many of the levels asked for")
    parser.add_argument("--first", type=int, help="seed of the first lot, where others were looked at before")
    parser.add_argument("--part", default="0/1", help="which share of the lots, of how many: 0/2, 1/2")
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    part, parts = map(int, given.part.split("/"))
    kind = Kind.of(
        held_out=given.held_out, other_noise=given.other_noise, shots=given.shots, first=given.first
    )
    print(run_bench(given.runs, given.out, kind, part=part, parts=parts))


if __name__ == "__main__":
    main()
