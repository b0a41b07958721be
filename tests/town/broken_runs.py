"""A disk that fills up once, a scheduler that is killed once: what is resumed equals an undisturbed run's.

    python tests/town/broken_runs.py --town DIR/town.toml --out DIR --small DISK --where "lot <= 40"

DISK is a folder on a disk with room for some of the lots only, as of `mount -t tmpfs -o size=1m none DISK`.
"""

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from kill_runs import records

ADDRESS = "tcp://127.0.0.1:8799"


def run(asked: argparse.Namespace, out: Path, *more: str) -> subprocess.Popen:
    """A run over few lots, on the raster as it is."""
    command = [sys.executable, "-m", "cli", "town", str(asked.town), "--out", str(out), "--where", asked.where,
               "--json", "--grounds", "1", "--workers", "2", *more]  # fmt: skip
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


def cluster() -> list[subprocess.Popen]:
    """A scheduler and two workers."""
    dask, quiet = [sys.executable, "-m", "distributed.cli.dask_scheduler"], {"stderr": subprocess.PIPE, "text": True}
    found = [subprocess.Popen([*dask, "--port", "8799", "--no-dashboard"], **quiet)]
    time.sleep(4.0)
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", ADDRESS, "--nthreads", "1", "--no-dashboard",
              "--no-nanny", "--death-timeout", "20"]  # fmt: skip
    return [*found, *(subprocess.Popen(worker, **quiet) for _ in range(2))]


def ended(several: list[subprocess.Popen]) -> str:
    """End what was started, and give what it said."""
    for each in reversed(several):
        if each.poll() is None:
            each.send_signal(signal.SIGTERM)
    return "".join(each.communicate(timeout=60)[1] for each in several)


def full_disk(asked: argparse.Namespace) -> dict[str, object]:
    """Run onto the small disk until it is full, move what is there to a large one and go on."""
    first = run(asked, asked.small / "full")
    told = first.communicate()[1].strip().splitlines()[-1]
    kept = len(list((asked.small / "full.lots").glob("lots/*.parquet")))
    shutil.copytree(asked.small / "full.lots", asked.out / "full.lots")
    second = run(asked, asked.out / "full", "--resume")
    second.communicate()
    return {"code": first.returncode, "said": told, "lots_kept": kept, "code_resumed": second.returncode}


def killed_scheduler(asked: argparse.Namespace) -> dict[str, object]:
    """Kill the scheduler after some lots, start another one and go on."""
    out = asked.out / "killed"
    processes = cluster()
    first = run(asked, out, "--scheduler", ADDRESS)
    while first.poll() is None and len(records(out)) < asked.after:
        time.sleep(0.5)
    os.kill(processes[0].pid, signal.SIGKILL)
    told = first.communicate()[1].strip().splitlines()[-1]
    said, kept = ended(processes), len(records(out))
    processes = cluster()
    second = run(asked, out, "--scheduler", ADDRESS, "--resume")
    second.communicate()
    said += ended(processes)
    return {"code": first.returncode, "said": told, "lots_kept": kept, "code_resumed": second.returncode,
            "env_errors_at_exit": said.count("EnvError"), "tracebacks": said.count("Traceback")}  # fmt: skip


def main() -> None:
    """Break, resume, compare."""
    parser = argparse.ArgumentParser(description="Break a town's runs.")
    parser.add_argument("--town", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--small", type=Path)
    parser.add_argument("--where", default="lot <= 40")
    parser.add_argument("--after", type=int, default=10)
    asked = parser.parse_args()
    plain = asked.out / "plain"
    undisturbed = run(asked, plain)
    undisturbed.communicate()
    told: dict[str, object] = {"lots": len(records(plain)), "code": undisturbed.returncode}
    trials = {"killed": killed_scheduler} | ({"full": full_disk} if asked.small else {})
    for name, trial in trials.items():
        told[name] = trial(asked)
        told[f"{name}_equal"] = records(asked.out / name) == records(plain)
    print(json.dumps(told, indent=1))
    sys.exit(not all(told[f"{name}_equal"] for name in trials))


if __name__ == "__main__":
    main()
