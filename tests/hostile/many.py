"""Run many hostile sites in this process and count how each ended.

    python tests/hostile/many.py --sites 3000 --seed 1 --out DIR

Into DIR go figures.json and a row for each site that ended badly; `--only SEED` runs one of them
again and keeps its files.
"""

import argparse
import csv
import json
import os
import re
import shutil
import signal
import socket
import sys
import tempfile
import time
import traceback
import unicodedata
import warnings
from collections import Counter
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from hostile_sites import make_site, write_base

LONGEST, MOST_MEMORY, MOST_MESSAGE = 60.0, 1.5, 6000
"""[s of one processor], [GB], [characters]"""
ALARMS = (
    (signal.SIGPROF, signal.ITIMER_PROF, 2 * LONGEST),
    # what waits for ever uses no processor
    (signal.SIGALRM, signal.ITIMER_REAL, 10 * LONGEST),
)
# what people wrote is shown between single quotes
NO_NUMBER = re.compile(r"(?<![\w.#+'-])(?:nan|[+-]?inf(?:inity)?|-0(?:\.0+)?)(?![\w.:'-])", re.IGNORECASE)


@dataclass(slots=True)
class Ended:
    """How one site ended: result, refusal or defect, and what is wrong with it even so."""

    seed: int
    how: str
    code: int
    seconds: float
    memory_gb: float
    wrong: str
    command: str
    broken: str
    said: str


class TookTooLongError(BaseException):
    """Raised by the alarm, so that nothing catches it."""


def run_one(base: Path, seed: int, *, dry: bool = False, keep: Path | None = None) -> Ended:
    """Write the site of a seed, run its command on it, and look at all that it gave."""
    from click.testing import CliRunner

    from cli.main import app

    folder = Path(tempfile.mkdtemp(prefix="hostile-")) / "site" if keep is None else keep
    arguments, done = make_site(base, folder, seed)
    if dry and arguments[0] in ("screen", "swale"):
        arguments.append("--dry-run")
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    for kind, clock, most in ALARMS:
        signal.signal(kind, _too_long)
        signal.setitimer(clock, most)
    _forget_peak()
    start = time.process_time()
    code, how, wrong, out, err = -1, "defect", [], "", ""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            result = CliRunner().invoke(app, arguments, prog_name="lotshed")
        code, out, err = result.exit_code, result.stdout, result.stderr
        how = {0: "result", 3: "result", 2: "refusal"}.get(code, "defect")
        if how == "defect" and result.exc_info is not None:
            err += "".join(traceback.format_exception(*result.exc_info)[-3:])
    except TookTooLongError:
        how, wrong = "defect", ["took too long"]
    finally:
        for _, clock, _ in ALARMS:
            signal.setitimer(clock, 0.0)
    seconds = time.process_time() - start
    new = [path for path in folder.rglob("*") if path.is_file() and path not in before]
    if how == "refusal":
        wrong += refusal_faults(out, err, new)
    elif how == "result":
        wrong += result_faults(out, err, new, folder)
    ended = Ended(
        seed, how, code, seconds, _peak(), "; ".join(wrong), " ".join(arguments), "; ".join(done), err[-3000:]
    )
    if keep is None:
        shutil.rmtree(folder.parent, ignore_errors=True)
    return ended


def refusal_faults(out: str, err: str, new: list[Path]) -> list[str]:
    """What is wrong with a message that should be one, short, plain, and alone."""
    faults = []
    if err.count("Error: ") != 1 and "Usage: " not in err:
        faults.append(f"{err.count('Error: ')} messages")
    if out.strip():
        faults.append("a refusal and an answer")
    if len(err) > MOST_MESSAGE:
        faults.append(f"a message of {len(err)} characters")
    if new:
        faults.append(f"a refusal left {new[0].name}")
    return faults + text_faults("stderr", err)


def result_faults(out: str, err: str, new: list[Path], folder: Path) -> list[str]:
    """What a reader should never find in a result."""
    faults = text_faults("stdout", out) + text_faults("stderr", err)
    for path in new:
        content = path.read_bytes()
        for private in (str(folder).encode(), socket.gethostname().encode(), str(Path.home()).encode() + b"/"):
            if len(private) > 6 and private in content:
                faults.append(f"{path.name} holds {private.decode()}")
        if path.suffix in (".csv", ".json", ".geojson", ".html"):
            text = content.decode("utf-8")
            if path.suffix != ".html":
                faults += text_faults(path.name, text)
            if path.suffix in (".json", ".geojson"):
                found: list[str] = []
                json.loads(text, parse_constant=found.append)
                faults += [f"{path.name} holds {each}" for each in found]
            if path.suffix == ".csv":
                faults += [
                    f"{path.name} holds the formula {cell[:20]!r}"
                    for row in csv.reader(text.splitlines())
                    for cell in row
                    if cell[:1] in "=+-@\t\r" and cell and not _is_number(cell)
                ]
    return faults


def text_faults(where: str, text: str) -> list[str]:
    """Control characters, and numbers that are none."""
    faults = []
    odd = {each for each in set(text) - {"\n"} if unicodedata.category(each) == "Cc" or each in "\u202e\u2066"}
    if odd:
        faults.append(f"{where} holds {sorted(map(ascii, odd))}")
    found = NO_NUMBER.search(text)
    # a message may quote what it refuses
    if found and where != "stderr":
        faults.append(f"{where} holds {found[0]!r} in {text[max(0, found.start() - 40) : found.end() + 20]!r}")
    return faults


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _too_long(*_: Any) -> None:
    raise TookTooLongError


def _forget_peak() -> None:
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return


def _peak() -> float:
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1e6 for line in lines if line.startswith("VmHWM")), 0.0)


def figures(ended: list[Ended]) -> dict[str, Any]:
    """Counts of all that was tried."""
    hows = Counter(each.how for each in ended)
    return {
        "tried": len(ended),
        "results": hows["result"],
        "refusals": hows["refusal"],
        "defects": hows["defect"],
        "with_a_fault": sum(bool(each.wrong) for each in ended if each.how != "defect"),
        "over_60_s": sum(each.seconds > LONGEST for each in ended),
        "over_1_5_gb": sum(each.memory_gb > MOST_MEMORY for each in ended),
        "longest_s": round(max(each.seconds for each in ended), 1),
        "most_gb": round(max(each.memory_gb for each in ended), 2),
        "by_command": dict(Counter(each.command.split()[0] for each in ended)),
    }


def is_bad(each: Ended) -> bool:
    """Whether a site ended as none should."""
    return each.how == "defect" or bool(each.wrong) or each.seconds > LONGEST or each.memory_gb > MOST_MEMORY


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", type=int)
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    base = write_base(Path(tempfile.mkdtemp(prefix="hostile-base-")))
    if asked.only is not None:
        print(json.dumps(asdict(run_one(base, asked.only, keep=asked.out / f"site-{asked.only}")), indent=1))
        return
    ended: list[Ended] = []
    with (asked.out / "bad.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.DictWriter(file, [each.name for each in fields(Ended)])
        rows.writeheader()
        for number in range(asked.sites):
            ended.append(run_one(base, asked.seed * 1_000_000 + number))
            if is_bad(ended[-1]):
                rows.writerow(
                    {key: ascii(value) if isinstance(value, str) else value for key, value in asdict(ended[-1]).items()}
                )
                file.flush()
            if number % 50 == 49:
                (asked.out / "figures.json").write_text(json.dumps(figures(ended), indent=1))
                print(json.dumps(figures(ended)), file=sys.stderr, flush=True)
    (asked.out / "figures.json").write_text(json.dumps(figures(ended), indent=1))
    shutil.rmtree(base, ignore_errors=True)


if __name__ == "__main__":
    os.environ.setdefault("CPL_LOG", os.devnull)
    main()
