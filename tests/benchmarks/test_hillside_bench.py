"""The whole of `lotshed screen` on a lot below a kilometer of rough hillside, as a process, with what it takes.

Prints the processor's time, the peak of memory and the size of the page beside the time.
"""

import os
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from scipy.ndimage import gaussian_filter
from shapely import Point, box

sys.path.insert(0, str(Path(__file__).parents[1] / "pipelines" / "lot"))
from conftest import SMALL_MORE, write_lot

LONG, BELOW, WIDE = 1000, 60, 800
MIDDLE = WIDE / 2.0
LAYERS: dict[str, list[dict[str, Any]]] = {
    "parcel": [{"lot": 1, "geometry": box(MIDDLE - 20, 30, MIDDLE + 20, 70)}],
    "roofs": [{"open_below": False, "geometry": box(MIDDLE - 8, 42, MIDDLE + 8, 52)}],
    "hardscape": [{"kind": "patio", "protect": True, "geometry": box(MIDDLE - 6, 53, MIDDLE + 6, 60)}],
    "right_of_way": [{"kind": "street", "geometry": box(MIDDLE - 60, 18, MIDDLE + 60, 30)}],
    "outfalls": [{"kind": "swale", "geometry": Point(MIDDLE + 5.5, 24.5)}],
}


def hillside() -> np.ndarray:
    """A hillside of cells of 1 m that falls by 2 % to a lot, rough enough for thousands of low spots."""
    row, column = np.mgrid[0 : LONG + BELOW, 0:WIDE]
    rng = np.random.default_rng(3)
    swells, grain = (gaussian_filter(rng.normal(size=row.shape), wide) for wide in (3.0, 1.0))
    y, aside = LONG + BELOW - row - 0.5, np.abs(column + 0.5 - MIDDLE) / MIDDLE
    valley = 4.0 * aside**1.3 * np.clip(y / 300.0, 0.0, 1.0)
    ground: np.ndarray = 100.0 + 0.02 * y + valley + 0.15 * swells / swells.std() + 0.03 * grain / grain.std()
    return ground


def screen(site: Path, out: Path) -> tuple[float, float]:
    """Screen it, and the processor's time [s] and the most memory [MB] that it took."""
    child = os.spawnv(
        os.P_NOWAIT, sys.executable,
        [sys.executable, "-m", "cli", "screen", str(site), "--out", str(out), "--overwrite", "-q"],
    )  # fmt: skip
    _, status, used = os.wait4(child, 0)
    assert os.waitstatus_to_exitcode(status) == 0
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0


@pytest.mark.thorough
def test_screen_below_a_hillside(benchmark: BenchmarkFixture, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    site = write_lot(tmp_path / "lot", hillside(), LAYERS, more=SMALL_MORE, cell=1.0)
    screen(site, tmp_path / "out")
    busy, memory = benchmark.pedantic(screen, args=(site, tmp_path / "out"), rounds=2, iterations=1)
    page = (tmp_path / "out" / "report.html").stat().st_size / 1e6
    benchmark.extra_info.update(processor_s=busy, memory_mb=memory, page_mb=page)
    with capsys.disabled():
        print(f"\nlot below a hillside: {busy:.0f} s of one processor, at most {memory:.0f} MB, page of {page:.2f} MB")
