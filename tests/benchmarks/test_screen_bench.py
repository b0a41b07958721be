"""The whole of `lotshed screen` on sample lots, as a process: imports, reading, planning, report, writing."""

import subprocess
import sys
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

SAMPLES = Path(__file__).parents[2] / "sample_data"


def screen(site: str, out: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "cli", "screen", str(SAMPLES / f"{site}.toml"), "--out", str(out), "--overwrite", "-q"],
        capture_output=True, check=False,
    )
    assert done.returncode == 0, done.stderr.decode()


@pytest.mark.parametrize("site", ["lot_01", "lot_02", "lot_10", "lot_11"])
def test_screen_as_a_process(benchmark: BenchmarkFixture, tmp_path: Path, site: str) -> None:
    screen(site, tmp_path / "out")
    benchmark.pedantic(screen, args=(site, tmp_path / "out"), rounds=3, iterations=1)
