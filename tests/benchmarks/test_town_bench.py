"""A worker's lots of a made town: processor time a lot at either depth, and what its process holds.

    python -m pytest tests/benchmarks/test_town_bench.py --benchmark-only -m thorough -s
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

ROOT = Path(__file__).parents[2]
WORKER = """
import json, resource, sys, time
from pathlib import Path
from pipelines.deliverables.town.partitions import write_mosaic
from pipelines.inputs.town_file import read_town_file
from pipelines.town.job import LotTask, TownJob, do_lot
from pipelines.town.town_lots import find_lots
from terrain.reading.linked_files import links_anywhere

site, depth, grounds, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
mosaic = site.with_name("mosaic.vrt")
town = read_town_file(site, mosaic=mosaic)
write_mosaic(mosaic, town.mosaic)
with links_anywhere():
    lots = find_lots(town.site)
    job = TownJob(town.site, depth, True, "bench", lots.frame)
    tasks = [LotTask(lot, grounds) for lot in lots.lots[: count + 1]]
    do_lot(job, tasks[0])
    began = time.process_time()
    done = [do_lot(job, task).row.status for task in tasks[1:]]
    print(json.dumps({"seconds": (time.process_time() - began) / count, "done": done.count("done"),
                      "memory": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2}))
"""


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("town")
    make = [sys.executable, str(ROOT / "tests" / "town" / "make_town.py"), "--lots", "500", "--out", str(place)]
    subprocess.run(make, check=True, capture_output=True)
    return place / "town.toml"


@pytest.mark.thorough
@pytest.mark.parametrize(("depth", "grounds", "count"), [("ground", 1, 100), ("ground", 20, 20), ("plan", 20, 6)])
def test_lots_of_a_worker(benchmark: BenchmarkFixture, town: Path, depth: str, grounds: int, count: int) -> None:
    told: dict[str, float] = {}

    def work() -> None:
        command = [sys.executable, "-c", WORKER, str(town), depth, str(grounds), str(count)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        ran = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
        told.update(json.loads(ran.stdout))

    benchmark.pedantic(work, rounds=1, iterations=1)
    assert told["done"] == count
    benchmark.extra_info.update(told)
    print(f"\n{depth}, {grounds} grounds: {told['seconds']:.3f} s of processor a lot, {told['memory']:.2f} GB")
