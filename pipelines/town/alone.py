"""A lot or some swales in a child process that can be ended: late, too large or killed, they harm no other."""

import json
import os
import pickle
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.findings.town_swales import SwalesRecord
from pipelines.deliverables.town.record_text import made, plain
from pipelines.town.job import LotTask, SharedGround, TownJob, failed
from pipelines.town.swales.answer import failed_swales, swales_record
from pipelines.town.swales.task import SwalesTask


@dataclass(frozen=True, slots=True)
class Limits:
    """What one lot, or one group of swales, may take: time [s] and memory [byte]."""

    time: float = 600.0
    memory: float = 1.2e9


LOOK = 0.05
"""Between looks at what a child takes. [s]"""
COMPILING = Limits(1800.0, 8e9)
"""Of the lot for which a machine's loops are compiled."""


def try_alone(
    job: TownJob | None, task: LotTask | SwalesTask, limits: Limits
) -> tuple[LotRecord | SwalesRecord | None, str]:
    """Do a lot, or a group of swales, in a child process.

    Parameters
    ----------
    job : TownJob or None
        What is asked of a lot.
    task : LotTask or SwalesTask
        The lot or the swales.
    limits : Limits
        Beyond which it is ended.

    Returns
    -------
    record : LotRecord, SwalesRecord or None
        None where it came to no end of its own.
    message : str
        What ended it, empty for nothing.
    """
    with tempfile.TemporaryDirectory(prefix="lotshed-alone-") as folder:
        asked, answered = Path(folder, "asked"), Path(folder, "answered")
        asked.write_bytes(pickle.dumps((job, task)))
        command = [sys.executable, "-m", "pipelines.town.alone", str(asked), str(answered)]
        paths = os.pathsep.join(each for each in sys.path if each)
        began = time.monotonic()
        child = subprocess.Popen(
            command, env={**os.environ, "PYTHONPATH": paths}, start_new_session=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            while child.poll() is None:
                if time.monotonic() - began > limits.time:
                    return None, f"it took longer than {limits.time:,.0f} s by itself"
                if _memory(child.pid) > limits.memory:
                    return None, f"it took more than {limits.memory / 1e9:.1f} GB by itself"
                time.sleep(LOOK)
        finally:
            child.kill()
            child.wait()
        if answered.is_file():
            kind = LotRecord if isinstance(task, LotTask) else SwalesRecord
            return made(kind, json.loads(answered.read_text(encoding="utf-8"))), ""
        if child.returncode < 0:
            return None, f"its process was killed (signal {-child.returncode}) though it ran by itself"
        return None, f"its process ended with code {child.returncode} though it ran by itself"


def _memory(process: int) -> float:
    """What a process holds. [byte]"""
    import psutil

    try:
        return float(psutil.Process(process).memory_info().rss)
    except psutil.Error:
        return 0.0


def do_first_lot(job: TownJob, task: LotTask) -> LotRecord:
    """A machine's first lot: in a process of its own, since compiling takes more memory than a worker may."""
    record, message = try_alone(job, task, COMPILING)
    return record if isinstance(record, LotRecord) else failed(task.lot, message)


def failed_task(task: LotTask | SwalesTask, message: str, *, aside: bool = False) -> LotRecord | SwalesRecord:
    """Record of a task of which nothing is known but what went wrong."""
    if isinstance(task, LotTask):
        return failed(task.lot, message, aside=aside)
    return failed_swales(task, message, aside=aside)


def _main(asked: Path, answered: Path) -> None:
    job, task = pickle.loads(asked.read_bytes())  # written by the parent, in a folder of its own
    record: LotRecord | SwalesRecord | None
    if isinstance(task, SwalesTask):
        record = swales_record(task)
    else:
        shared = SharedGround(job.key)
        shared.enter(job)
        record = shared.run(job, replace(task, known=()))
        shared.leave()
    part = answered.with_suffix(".part")
    part.write_text(json.dumps(plain(record)), encoding="utf-8")
    part.replace(answered)


if __name__ == "__main__":
    _main(Path(sys.argv[1]), Path(sys.argv[2]))
