"""Screen made lots on their exact ground and through lidar, a row a run, and tell how often the answer was right.

    python tests/truth/bench.py --runs 300 --out DIR
"""

import argparse
import csv
import sys
import time
import warnings
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np
import shapely
from shapely.affinity import translate
from truth_lidar import STATED, STRENGTHS, see
from truth_lots import EAST, NORTH, ROOF, TruthLot, make_lot
from truth_spare import spare_of
from truth_tables import write_tables

from pipelines.deliverables.findings.lot import Findings
from pipelines.layout.plan import Discharge
from pipelines.layout.quantities.take_off import total_cost
from pipelines.lot import screen_lot

EXACT = "1 mm"
"""What is stated of the exact ground."""
HELD_OUT = 5000
"""First seed of the lots that are looked at once, when all is done."""
DEEP, WIDE = 0.05, 2.0
"""A pond that counts is deeper and larger than this. [m], [m2]"""


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
    true_said: str = ""
    true_cost: float = np.nan
    true_collectors: int = 0


KEYS = [field.name for field in fields(Run)]


def screened(lot: TruthLot, ground: np.ndarray, rmse: str) -> Findings | str:
    """What the tool finds, or the defect on which it stopped."""
    try:
        with lot.site(ground, rmse).on_disk() as path:
            return screen_lot(path)
    except Exception as error:
        return f"{type(error).__name__}: {error}".replace("\n", " ")[:200]


def _run(lot: TruthLot, draw: int, exact: Findings | str) -> Run:
    strength = STRENGTHS[draw % len(STRENGTHS)]
    seen = see(lot, strength, draw)
    off = (seen - lot.ground)[lot.cover != ROOF]
    named = {
        "lot": lot.seed, "draw": draw, "strength": strength.name, "rolling": lot.rolling,
        "foundation": lot.foundation, "fenced": lot.fenced, "swale_depth_m": lot.swale_depth,
        "meant_dry": lot.meant_dry, "rmse_m": float(np.sqrt(np.mean(off**2))),
    }
    begun = time.perf_counter()
    found = screened(lot, seen, STATED)
    seconds = time.perf_counter() - begun
    if isinstance(found, str) or isinstance(exact, str):
        said = found if isinstance(found, str) else f"on the exact ground: {exact}"
        return Run(**named, crash=said, seconds=seconds)
    stated = [each for each in found.plan.discharges if each.fall_to_spare is not None and each.outfall is not None]
    worst = min(stated, key=lambda each: each.fall_to_spare, default=None)
    return Run(
        **named, seconds=seconds, **_answer(found), **_spares(lot, seen, found, worst), **_ponds(lot, found, exact),
        **{f"true_{key}": value for key, value in _answer(exact).items() if f"true_{key}" in KEYS},
    )


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
        "said": said, "sure": sure, "headline": plan.parts.verdict, "cost": total_cost(plan.take_off).likely,
        "collectors": collectors,
    }


def _spares(lot: TruthLot, seen: np.ndarray, found: Findings, line: Discharge | None) -> dict[str, float]:
    """The stated spare of the line with least, and what the bench's formula says of it on both grounds."""
    if line is None or line.fall_to_spare is None or line.fall_error is None:
        return {}
    return {
        "spare_m": line.fall_to_spare,
        "error_m": line.fall_error,
        "spare_seen_m": spare_of(lot, seen, seen, found.plan, line, 0),
        "spare_true_m": spare_of(lot, lot.ground, seen, found.plan, line, 0),
        "floor_true_m": spare_of(lot, lot.ground, seen, found.plan, line, 1),
    }


def _shapes(lot: TruthLot, found: Findings, deep: float, wide: float) -> list[shapely.Geometry]:
    """Ponds on the lot that are not told as within error, those inside another left out."""
    shapes = [
        translate(each.shape, -EAST, -NORTH)
        for each in found.low_spots
        if each.spot.contained_in is None and not each.spot.within_lidar_error
        and each.spot.depth >= deep and each.spot.area >= wide
    ]
    return [shape for shape in shapes if shapely.intersects(shape, lot.parcel)]


def _ponds(lot: TruthLot, found: Findings, exact: Findings) -> dict[str, int]:
    called, real = _shapes(lot, found, DEEP, WIDE), _shapes(lot, exact, DEEP, WIDE)
    # a pond of half the depth and size is there all the same
    there = _shapes(lot, exact, DEEP / 2.0, WIDE / 2.0)
    return {
        "ponds_called": len(called),
        "ponds_called_real": sum(any(shapely.intersects(one, other) for other in there) for one in called),
        "ponds_real": len(real),
        "ponds_real_called": sum(any(shapely.intersects(one, other) for other in called) for one in real),
    }


def read_runs(path: Path) -> list[dict[str, str]]:
    """Rows that are there already."""
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def run_bench(runs: int, out: Path, *, held_out: bool = False) -> str:
    """Screen as many runs as are asked for and not yet there, and write the tables."""
    out.mkdir(parents=True, exist_ok=True)
    path = out / "runs.csv"
    done = {(int(row["lot"]), int(row["draw"])) for row in read_runs(path)}
    draws, first = (5, HELD_OUT) if held_out else (3, 0)
    wanted = [(first + run // draws, run % draws) for run in range(runs)]
    new = not path.exists()
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, KEYS, lineterminator="\n")
        if new:
            writer.writeheader()
        for seed in dict.fromkeys(seed for seed, _ in wanted):
            missing = [draw for each, draw in wanted if each == seed and (each, draw) not in done]
            if not missing:
                continue
            lot = make_lot(seed)
            exact = screened(lot, lot.ground, EXACT)
            for draw in missing:
                row = asdict(_run(lot, draw, exact))
                writer.writerow({key: f"{value:.4f}" if isinstance(value, float) else value
                                 for key, value in row.items()})
                file.flush()
                print(f"lot {seed}, draw {draw}: {row['said'] or row['crash']}", file=sys.stderr)
    return write_tables(read_runs(path), out)


def main() -> None:
    """The one command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=300, help="runs in all; those in DIR count")
    parser.add_argument("--out", type=Path, required=True, help="folder of runs.csv and tables.md")
    parser.add_argument("--held-out", action="store_true", help="the lots that are looked at once, five runs each")
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    print(run_bench(given.runs, given.out, held_out=given.held_out))


if __name__ == "__main__":
    main()
