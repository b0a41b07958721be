"""A lot by itself in a child process that can be ended: late, too large or killed, it harms no other."""

import contextlib
import json
import os
import pickle
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from pipelines.deliverables.findings.town import LotRecord
from pipelines.deliverables.town.record_text import made, plain
from pipelines.town.job import LotTask, SharedGround, TownJob, failed


@dataclass(frozen=True, slots=True)
class Limits:
    """What one lot may take: time [s] and memory [byte]."""

    time: float = 600.0
    memory: float = 1.2e9


COMPILING = Limits(1800.0, 8e9)
"""Of the lot for which a machine's loops are compiled."""


def try_alone(job: TownJob, task: LotTask, limits: Limits) -> tuple[LotRecord | None, str]:
    """Do a lot in a child process.

    Parameters
    ----------
    job : TownJob
        What is asked.
    task : LotTask
        The lot.
    limits : Limits
        Beyond which it is ended.

    Returns
    -------
    record : LotRecord or None
        None where it came to no end of its own.
    message : str
        What ended it, empty for nothing.
    """
    with tempfile.TemporaryDirectory(prefix="lotshed-alone-") as folder:
        asked, answered = Path(folder, "asked"), Path(folder, "answered")
        asked.write_bytes(pickle.dumps((job, task, limits)))
        command = [sys.executable, "-m", "pipelines.town.alone", str(asked), str(answered)]
        paths = os.pathsep.join(each for each in sys.path if each)
        try:
            ended = subprocess.run(
                command, timeout=limits.time, env={**os.environ, "PYTHONPATH": paths}, check=False,
                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            return None, f"it took longer than {limits.time:,.0f} s by itself"
        if answered.is_file():
            return made(LotRecord, json.loads(answered.read_text(encoding="utf-8"))), ""
        if b"MemoryError" in ended.stderr or b"nable to allocate" in ended.stderr:
            return None, f"it took more than {limits.memory / 1e9:.1f} GB by itself"
        if ended.returncode < 0:
            return None, f"its process was killed (signal {-ended.returncode}) though it ran by itself"
        return None, f"its process ended with code {ended.returncode} though it ran by itself"


def do_first_lot(job: TownJob, task: LotTask) -> LotRecord:
    """A machine's first lot: in a process of its own, since compiling takes more memory than a worker may."""
    record, message = try_alone(job, task, COMPILING)
    return failed(task.lot, message) if record is None else record


def _main(asked: Path, answered: Path) -> None:
    job, task, limits = pickle.loads(asked.read_bytes())  # written by the parent, in a folder of its own
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        # what libraries have taken of the address space already is no lot's
        taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        most = int(limits.memory) + taken
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    shared = SharedGround(job.key)
    shared.enter(job)
    record = shared.run(job, task)
    shared.leave()
    part = answered.with_suffix(".part")
    part.write_text(json.dumps(plain(record)), encoding="utf-8")
    part.replace(answered)


if __name__ == "__main__":
    _main(Path(sys.argv[1]), Path(sys.argv[2]))
