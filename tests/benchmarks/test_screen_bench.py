"""`lotshed screen` as a process: sample lots, large parcels, noisy ground; on request beside an older tree.

    LOTSHED_BESIDE=COMMIT python -m pytest tests/benchmarks/test_screen_bench.py --benchmark-only -k beside -s
"""

import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

sys.path.insert(0, str(Path(__file__).parent))
from large_lots import write_large_lot, write_noisy_samples

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_data"


class Cost(NamedTuple):
    """Processor time and the most memory that a process held. [s], [GB]"""

    processor: float
    memory: float


def screen(site: Path, out: Path, *options: str, tree: Path = ROOT) -> Cost:
    process = subprocess.Popen(
        [sys.executable, "-m", "cli", "screen", str(site), "--out", str(out), "--overwrite", "-q", *options],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, cwd=tree, env={**os.environ, "PYTHONPATH": str(tree)},
    )
    assert process.stderr is not None
    with process.stderr:
        told = process.stderr.read().decode()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, told
    return Cost(usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024**2)


def measure(benchmark: BenchmarkFixture, site: Path, out: Path, *options: str, rounds: int = 3) -> None:
    screen(site, out, *options)
    cost = benchmark.pedantic(screen, args=(site, out, *options), rounds=rounds, iterations=1)
    benchmark.extra_info.update(processor_s=round(cost.processor, 1), memory_gb=round(cost.memory, 2))
    print(f"\n{site.parent.name}/{site.stem}: {cost.processor:.1f} s of processor, {cost.memory:.2f} GB")


@pytest.mark.parametrize("site", ["lot_01", "lot_02", "lot_10", "lot_11"])
def test_screen_as_a_process(benchmark: BenchmarkFixture, tmp_path: Path, site: str) -> None:
    measure(benchmark, SAMPLES / f"{site}.toml", tmp_path / "out")


def test_screen_on_one_ground(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    measure(benchmark, SAMPLES / "lot_01.toml", tmp_path / "out", "--grounds", "1")


@pytest.mark.thorough
@pytest.mark.parametrize("side", [60.0, 100.0, 150.0, 300.0])
def test_screen_of_a_large_parcel(benchmark: BenchmarkFixture, tmp_path: Path, side: float) -> None:
    measure(benchmark, write_large_lot(tmp_path / f"square_{side:g}", side), tmp_path / "out", rounds=1)


@pytest.mark.thorough
@pytest.mark.parametrize("number", [1, 2, 3, 5, 7, 8, 9, 12, 16])
def test_screen_under_noise(benchmark: BenchmarkFixture, tmp_path: Path, number: int) -> None:
    sites = {site.stem: site for site in write_noisy_samples(tmp_path / "noisy", 0.15)}
    measure(benchmark, sites[f"lot_{number:02d}"], tmp_path / "out", rounds=1)


@pytest.mark.thorough
@pytest.mark.skipif("LOTSHED_BESIDE" not in os.environ, reason="names no commit to stand beside in LOTSHED_BESIDE")
def test_screen_beside_an_older_tree(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """By turns, so that whatever else the machine does slows both."""
    older = tmp_path / "older"
    commit = os.environ["LOTSHED_BESIDE"]
    subprocess.run(["git", "worktree", "add", "--detach", str(older), commit], cwd=ROOT, check=True)
    try:
        spent: dict[str, list[float]] = {commit: [], "this tree": []}

        def by_turns() -> None:
            for name, tree in ((commit, older), ("this tree", ROOT)):
                spent[name].append(screen(SAMPLES / "lot_01.toml", tmp_path / "out", tree=tree).processor)

        by_turns()
        benchmark.pedantic(by_turns, rounds=3, iterations=1)
    finally:
        subprocess.run(["git", "worktree", "remove", "--force", str(older)], cwd=ROOT, check=True)
    for name, seconds in spent.items():
        benchmark.extra_info[name] = round(min(seconds[1:]), 1)
        print(f"\n{name}: {min(seconds[1:]):.1f} s of processor at best")
