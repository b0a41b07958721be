"""Workers and the client killed at random moments: what is resumed equals an undisturbed run.

    python tests/town/kill_runs.py --town DIR/town.toml --out DIR --kills 10 --where "lot <= 40"
"""

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas
import psutil
import pyarrow.parquet


def command(site: Path, out: Path, where: str, *, resume: bool) -> list[str]:
    """Of a run over few lots."""
    return [sys.executable, "-m", "cli", "town", str(site), "--out", str(out), "--where", where, "--workers", "2",
            "--json", *(["--resume"] if resume else [])]  # fmt: skip


def records(out: Path) -> dict[str, dict]:
    """What the partitions hold but how long it took."""
    found = {}
    for path in sorted(out.with_name(f"{out.name}.lots").glob("*/*.parquet")):
        record = json.loads(pyarrow.parquet.read_table(path, columns=["record"]).column("record")[0].as_py())
        timed = record.get("row", record)
        timed.pop("seconds")
        timed.pop("attempts")
        found[path.name] = record
    return found


def answers(out: Path) -> dict[str, object]:
    """What a run handed over but how it went."""
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    summary.pop("run")
    lots = pandas.read_csv(out / "lots.csv").drop(columns="attempts").to_csv()
    layers = {}
    for path in sorted((out / "parquet").glob("*.parquet")):
        if path.stem != "run_info":
            layers[path.name] = pyarrow.parquet.read_table(path).to_pandas().drop(columns="attempts", errors="ignore")
            layers[path.name] = layers[path.name].to_csv()
    return {"summary": summary, "lots.csv": lots, "runoff.csv": (out / "runoff.csv").read_text(), **layers}


def workers_of(process: subprocess.Popen) -> list[psutil.Process]:
    """Processes of a run that do lots."""
    try:
        children = psutil.Process(process.pid).children(recursive=True)
    except psutil.NoSuchProcess:
        return []
    return [each for each in children if "spawn_main" in " ".join(_words(each))]


def _words(process: psutil.Process) -> list[str]:
    try:
        return process.cmdline()
    except psutil.Error:
        return []


def main() -> None:
    """Run, kill, resume, compare."""
    parser = argparse.ArgumentParser(description="Kill a town's runs.")
    parser.add_argument("--town", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--where", default="lot <= 40")
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    generator = random.Random(asked.seed)
    plain, killed = asked.out / "plain", asked.out / "killed"
    if not plain.is_dir():
        subprocess.run(command(asked.town, plain, asked.where, resume=False), check=True, stdout=subprocess.DEVNULL)
    kills, lost = {"worker": 0, "client": 0}, 0
    first = True
    while sum(kills.values()) < asked.kills:
        run = subprocess.Popen(command(asked.town, killed, asked.where, resume=not first), stdout=subprocess.DEVNULL)
        first = False
        while run.poll() is None and sum(kills.values()) < asked.kills:
            time.sleep(generator.uniform(2.0, 8.0))
            there = workers_of(run)
            if run.poll() is None and len(there) < 2:
                continue
            time.sleep(generator.uniform(0.0, 8.0))
            there = workers_of(run)
            if generator.random() < 0.3 or not there:
                before = len(records(killed))
                if run.poll() is None:
                    os.kill(run.pid, signal.SIGKILL)
                    kills["client"] += 1
                run.wait()
                lost = max(lost, before - len(records(killed)))
            else:
                generator.choice(there).kill()
                kills["worker"] += 1
        if run.poll() is not None and run.returncode == 0:
            for path in killed.with_name("killed.lots").glob("*/*.parquet"):
                if generator.random() < 0.5:
                    path.unlink()
        elif run.poll() is None:
            run.wait()
    subprocess.run(command(asked.town, killed, asked.where, resume=True), check=True, stdout=subprocess.DEVNULL)
    one, other = records(plain), records(killed)
    aside = [name for name, record in other.items() if record.get("row", record)["status"] == "set_aside"]
    handed = answers(plain), answers(killed)
    differ = [name for name in handed[0] if handed[0][name] != handed[1].get(name)]
    same = sum(one[name] == other.get(name) for name in one)
    left = list(killed.with_name("killed.lots").glob("*/.*"))
    told = {"kills": kills, "partitions": len(one), "equal": same, "handed_over_differ": differ,
            "set_aside": len(aside), "lost": lost, "half_written": len(left)}  # fmt: skip
    print(json.dumps(told))
    sys.exit(same != len(one) or bool(left) or bool(differ))


if __name__ == "__main__":
    main()
