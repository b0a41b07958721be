"""Break one small thing at a time in a copy of the tree and run the tests that could know.

    python tests/breaks/run_breaks.py --count 50 --seed 2 --out breaks.csv
    python tests/breaks/run_breaks.py --named tests/breaks/named_breaks.toml --out named.csv

Rooms are drawn evenly, then a file, then a place in it. Tests are tried from the nearest on, by how many imports lie
between a test's file and the broken one, and the first that fails ends it. What compares with our own earlier output
(`test_regression_*`) doesn't count. A kernel gets a compile cache of its own for each break. The table has a row a
break; one that no test noticed is a survivor, to be read by a person: the tests are blind there, or nothing changed.
"""

import argparse
import ast
import csv
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

from operators import ROOMS, Break, breaks_of

ROOT = Path(__file__).resolve().parents[2]
TABLE_READERS = {"trade": "pipelines/inputs/rules.py"}
SLOW = ("tests/browser", "tests/benchmarks", "tests/truth", "tests/breaks", "tests/cli", "tests/test_notebooks.py")


def drawn(count: int, seed: int) -> list[Break]:
    """Breaks drawn by a seed: a room, a file of it, a place in that."""
    every = breaks_of(ROOT)
    chance = random.Random(seed)
    rooms = {room: [name for name in every if name.startswith(f"{room}/")] for room in ROOMS}
    found: list[Break] = []
    while len(found) < count:
        one = chance.choice(every[chance.choice(rooms[chance.choice(ROOMS)])])
        if one not in found:
            found.append(one)
    return found


def named(file: Path) -> list[Break]:
    """Breaks that somebody wrote down: file, old, new."""
    found = []
    for row in tomllib.loads(file.read_text(encoding="utf-8"))["break"]:
        text = (ROOT / row["file"]).read_text(encoding="utf-8")
        if text.count(row["old"]) != 1:
            sys.exit(f"{row['name']}: {row['old']!r} stands {text.count(row['old'])} times in {row['file']}, not once")
        start = text.index(row["old"])
        line = text[:start].count("\n") + 1
        found.append(Break(row["file"], line, row["name"], start, start + len(row["old"]), row["old"], row["new"]))
    return found


def tests_that_could_know(broken: str) -> list[list[str]]:
    """Test files by how many imports they are from the broken one, nearest first."""
    folder = Path(broken).parent.name
    source = broken if broken.endswith(".py") else TABLE_READERS.get(folder, "")
    imports = _imports()
    importers: dict[str, set[str]] = defaultdict(set)
    for name, used in imports.items():
        for one in used:
            importers[one].add(name)
    ring = {source} if source else {name for name in imports if name.startswith(f"{Path(broken).parent.as_posix()}/")}
    seen, rings = set(ring), []
    while ring:
        ring = {importer for name in ring for importer in importers[name]} - seen
        seen |= ring
        tests = sorted(name for name in ring if Path(name).name.startswith("test_") and not name.startswith(SLOW))
        rings.append([name for name in tests if "test_regression_" not in name])
    return [tests for tests in rings if tests]


def _imports() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for path in [*ROOT.glob("terrain/**/*.py"), *ROOT.glob("pipelines/**/*.py"), *ROOT.glob("tests/**/*.py")]:
        name = path.relative_to(ROOT).as_posix()
        used = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                used.update(_files(node.module, [alias.name for alias in node.names]))
            elif isinstance(node, ast.Import):
                used.update(file for alias in node.names for file in _files(alias.name, []))
        # a test also stands on the conftest files over it
        used.update(str((Path(*path.relative_to(ROOT).parts[:depth]) / "conftest.py").as_posix())
                    for depth in range(1, len(path.relative_to(ROOT).parts)) if name.startswith("tests/"))
        found[name] = used
    return found


def _files(module: str, names: Sequence[str]) -> Iterator[str]:
    base = module.replace(".", "/")
    for each in (base, *(f"{base}/{name}" for name in names)):
        for file in (f"{each}.py", f"{each}/__init__.py"):
            if (ROOT / file).exists():
                yield file


def try_break(copy: Path, one: Break, limit: float) -> tuple[str, str]:
    """What came of a break, and the test that noticed it."""
    target = copy / one.file
    whole = target.read_text(encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    caches = None
    if "njit" in whole:
        caches = tempfile.mkdtemp()
        environment["NUMBA_CACHE_DIR"] = caches
    end = time.monotonic() + limit
    try:
        target.write_text(one.applied_to(whole), encoding="utf-8")
        for tests in tests_that_could_know(one.file):
            left = end - time.monotonic()
            if left <= 0.0:
                return "out of time", ""
            try:
                run = subprocess.run(
                    [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", *tests],
                    cwd=copy, env=environment, capture_output=True, text=True, timeout=left, check=False,
                )
            except subprocess.TimeoutExpired:
                return "out of time", ""
            if run.returncode < 0:
                # something else ended it: no test has said anything
                return "killed", ""
            if run.returncode not in (0, 5):
                failed = [line for line in run.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
                return "noticed", failed[0][:160] if failed else run.stdout[-160:]
        return "survived", ""
    finally:
        target.write_text(whole, encoding="utf-8")
        if caches:
            shutil.rmtree(caches, ignore_errors=True)


def main() -> None:
    """Run the breaks that are asked for, a row at a time."""
    reading = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reading.add_argument("--count", type=int, default=50, help="breaks to draw")
    reading.add_argument("--seed", type=int, default=1, help="of the draw")
    reading.add_argument("--named", type=Path, help="a file of breaks written down, instead of a draw")
    reading.add_argument("--limit", type=float, default=900.0, help="time for one break [s]")
    reading.add_argument("--out", type=Path, required=True, help="table to write, taken up again where it stands")
    asked = reading.parse_args()
    breaks = named(asked.named) if asked.named else drawn(asked.count, asked.seed)
    done = 0
    if asked.out.exists():
        with asked.out.open(encoding="utf-8", newline="") as file:
            done = sum(1 for _ in csv.DictReader(file))
    with tempfile.TemporaryDirectory() as folder, asked.out.open("a", encoding="utf-8", newline="") as file:
        copy = Path(folder) / "tree"
        files = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        for name in files.splitlines():
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, copy / name)
        table = csv.writer(file)
        if not done:
            table.writerow(["outcome", "file", "line", "kind", "old", "new", "noticed_by", "seconds"])
        for one in breaks[done:]:
            begun = time.monotonic()
            outcome, by = try_break(copy, one, asked.limit)
            seconds = f"{time.monotonic() - begun:.0f}"
            table.writerow([outcome, one.file, one.line, one.kind, one.old, one.new, by, seconds])
            file.flush()
            print(f"{outcome:12}{one.file}:{one.line}  {one.kind}: {one.old!r} -> {one.new!r}  {by}", flush=True)


if __name__ == "__main__":
    main()
