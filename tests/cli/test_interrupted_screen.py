"""`lotshed screen` ended while it works: the earlier result or the new one is there, whole, and no litter."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from cli import interrupt
from cli.main import app, exit_code
from cli.voice import Voice
from pipelines.deliverables.files.place import prepare_place

ROOT = Path(__file__).parents[2]
STAGES = (
    "reading the site file", "reading the ground", "following the water", "diagnosing the lot", "gathering the find",
    "writing layers",
)  # fmt: skip


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, write_small_lot: Callable[..., Path]) -> Path:
    return write_small_lot(tmp_path_factory.mktemp("lot"))


@pytest.fixture(scope="module")
def earlier(site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a result that stands before anything is ended."""
    out = tmp_path_factory.mktemp("out") / "result"
    done = CliRunner().invoke(app, ["screen", str(site), "--out", str(out), "--also", "geojson"])
    assert done.exit_code == 0, done.stderr
    return out


def command(site: Path, out: Path) -> list[str]:
    return [sys.executable, "-m", "cli", "screen", str(site), "--out", str(out), "--overwrite", "-v"]


def ended(site: Path, out: Path, number: signal.Signals, *, stage: str = "", after: float = 0.0) -> tuple[int, str]:
    """Begin a run, send a signal a while after a stage begins, and give its exit code and what it said."""
    process = subprocess.Popen(
        command(site, out), cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    said = ""
    with process:
        while stage and stage not in said:
            line = process.stderr.readline()
            assert line, f"the run ended before {stage!r}: {said}"
            said += line
        time.sleep(after)
        process.send_signal(number)
        said += process.stderr.read()
    return process.returncode, said


def assert_whole(folder: Path) -> None:
    """Everything that its run_info lists is there and nothing else, and can be read to the end."""
    connection = sqlite3.connect(folder / "lot.gpkg")
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    ((outputs,),) = connection.execute("SELECT value FROM run_info WHERE key = 'outputs'").fetchall()
    connection.close()
    assert {path.name for path in folder.iterdir()} == set(outputs.split(", "))
    assert json.loads((folder / "summary.json").read_text())["name"] == "Made lot"
    assert (folder / "report.html").read_text().rstrip().endswith("</html>")
    assert (folder / "report.pdf").read_bytes().rstrip().endswith(b"%%EOF")


def stamp(folder: Path) -> dict[str, tuple[int, int]]:
    return {path.name: (path.stat().st_ino, path.stat().st_mtime_ns) for path in folder.iterdir()}


def assert_earlier_or_new(out: Path, code: int, before: dict[str, tuple[int, int]]) -> None:
    """Right after the end and after the next start has mended what was cut short."""
    if out.is_dir():
        assert_whole(out)
    # a swap cut short between its two steps is brought back by the next start, whatever it does then
    prepare_place(out, overwrite=True)
    assert_whole(out)
    assert os.listdir(out.parent) == [out.name]
    if code == 130:
        assert stamp(out) == before


def test_an_interrupt_leaves_what_was_there_and_says_so(site: Path, earlier: Path) -> None:
    before = stamp(earlier)
    code, said = ended(site, earlier, signal.SIGINT, stage="diagnosing the lot")
    assert code == 130
    assert said.splitlines()[-1] == "Interrupted; what was there before is untouched."
    assert "Traceback" not in said
    assert stamp(earlier) == before
    assert os.listdir(earlier.parent) == [earlier.name]


def test_an_interrupt_that_a_library_swallowed_ends_the_run_at_its_next_stage(
    run: Callable[..., Result], lot_that_finds: Callable[[Any], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot_that_finds(AssertionError("the run went on"))
    monkeypatch.setattr(interrupt, "_asked", True)
    result = run("screen", "-q", "site.toml", "--out", tmp_path / "lot")
    assert (result.exit_code, result.stderr.splitlines()[-1][:11]) == (130, "Interrupted")


def test_an_error_that_a_library_made_of_an_interrupt_is_no_defect(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise TypeError("expected a message argument")

    assert exit_code(broken, Voice()) == 1
    monkeypatch.setattr(interrupt, "_asked", True)
    assert exit_code(broken, Voice()) == 130


@pytest.mark.skipif(os.name == "nt", reason="there is no such signal")
def test_a_run_killed_while_it_writes_leaves_a_whole_result(site: Path, earlier: Path) -> None:
    before = stamp(earlier)
    code, _ = ended(site, earlier, signal.SIGKILL, stage="writing layers", after=0.2)
    assert code in (-signal.SIGKILL, 0)
    assert_earlier_or_new(earlier, code, before)


@pytest.mark.thorough
@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_run_ended_at_any_moment_leaves_a_whole_result(
    number: signal.Signals, stage: str, site: Path, earlier: Path
) -> None:
    for after in (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8):
        before = stamp(earlier)
        code, said = ended(site, earlier, number, stage=stage, after=after)
        # it may have come to its end before the signal did
        assert code in ((-signal.SIGKILL, 0) if number == signal.SIGKILL else (130, 0)), said
        assert "Traceback" not in said
        assert_earlier_or_new(earlier, code, before)


@pytest.mark.thorough
@pytest.mark.parametrize("after", [0.1 + 0.15 * number for number in range(16)])
def test_a_run_ended_while_it_starts_leaves_nothing(after: float, site: Path, tmp_path: Path) -> None:
    code, said = ended(site, tmp_path / "out" / "result", signal.SIGINT, after=after)
    # before the first of our own lines Python ends by the signal itself
    assert code in (130, 0, -signal.SIGINT), said
    assert "A defect" not in said
    if code != 0:
        assert not (tmp_path / "out" / "result").exists()
