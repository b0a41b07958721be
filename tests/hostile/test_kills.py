"""Ended at any moment by any signal: the earlier result or the new one, whole; the next start clears the litter."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from itertools import product
from pathlib import Path

import pytest
from click.testing import CliRunner
from hostile_sites import write_base

from cli.main import app
from pipelines.deliverables.files.place import prepare_place
from tests.quick_share import one_in

ROOT = Path(__file__).parents[2]
SITE = '[elevation]\nfile = "ground.tif"\nunit = "m"\ngrounds = 1\n[parcel]\nfile = "parcel.gpkg"\n'
UNTOUCHED = "Interrupted; what was there before is untouched."
INTERRUPTED_AT = """
import os, signal, sys
class Meddler:
    def find_spec(self, name, path=None, target=None):
        if name == "{module}":
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Meddler())
from cli.program import main
main()
"""
"""A command that is interrupted as it imports a module."""
pytestmark = pytest.mark.skipif(os.name == "nt", reason="there are no such signals")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Site file of a good lot."""
    folder = write_base(tmp_path_factory.mktemp("lot"))
    (folder / "site.toml").write_text(SITE)
    return folder / "site.toml"


@pytest.fixture(scope="module")
def out(site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a result that stands before anything is ended."""
    folder = tmp_path_factory.mktemp("out") / "result"
    done = CliRunner().invoke(app, ["screen", str(site), "--out", str(folder)])
    assert done.exit_code == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def usual(site: Path, out: Path) -> float:
    """How long a whole run takes here. [s]"""
    start = time.perf_counter()
    with begun(site, out) as process:
        process.communicate()
    assert process.returncode == 0
    return time.perf_counter() - start


def begun(site: Path, out: Path) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", "cli", "screen", str(site), "--out", str(out), "--overwrite"],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )


def end_after(site: Path, out: Path, number: signal.Signals, seconds: float) -> tuple[int, str]:
    process = begun(site, out)
    time.sleep(seconds)
    process.send_signal(number)
    _, said = process.communicate()
    return process.returncode, said.decode()


def assert_whole(out: Path) -> None:
    """After the next start has mended what was cut short, all that run_info lists is there, and nothing else."""
    prepare_place(out, overwrite=True)
    assert os.listdir(out.parent) == [out.name]
    with sqlite3.connect(out / "lot.gpkg") as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        ((outputs,),) = connection.execute("SELECT value FROM run_info WHERE key = 'outputs'").fetchall()
    assert {path.name for path in out.iterdir()} == set(outputs.split(", "))
    assert (out / "report.html").read_text().rstrip().endswith("</html>")
    assert (out / "report.pdf").read_bytes().rstrip().endswith(b"%%EOF")


def kill_at_random(site: Path, out: Path, usual: float, count: int) -> None:
    draw = random.Random(count)
    for _ in range(count):
        # the files are written in the last third
        share = draw.uniform(0.0, 1.05) if draw.random() < 0.5 else draw.uniform(0.6, 1.05)
        code, said = end_after(site, out, signal.SIGKILL, share * usual)
        assert code in (0, -signal.SIGKILL), said
        assert_whole(out)


def test_runs_killed_at_random_moments_lose_nothing(site: Path, out: Path, usual: float) -> None:
    kill_at_random(site, out, usual, 3)


@pytest.mark.thorough
def test_runs_killed_at_two_hundred_random_moments_lose_nothing(site: Path, out: Path, usual: float) -> None:
    kill_at_random(site, out, usual, 200)


@pytest.mark.parametrize(("share", "number"), one_in(3, product((0.3, 0.9), (signal.SIGINT, signal.SIGTERM))))
def test_an_interrupted_run_says_so_and_leaves_the_earlier_result(
    site: Path, out: Path, usual: float, number: signal.Signals, share: float
) -> None:
    code, said = end_after(site, out, number, share * usual)
    assert code in (0, 130), said
    assert "Traceback" not in said
    assert "defect" not in said
    assert code == 0 or said.splitlines()[-1] == UNTOUCHED
    assert_whole(out)


def test_an_interrupt_while_the_command_loads_is_told(site: Path, out: Path) -> None:
    """From the first line of the command on, before anything heavy is imported."""
    for module in ("cli.main", "click", "cli.commands.screen", "pydantic", "numba"):
        done = subprocess.run(
            [
                sys.executable,
                "-c",
                INTERRUPTED_AT.format(module=module),
                "screen",
                str(site),
                "--out",
                str(out),
                "--overwrite",
            ],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert (done.returncode, done.stderr.strip()) == (130, UNTOUCHED), (module, done.stderr)
    assert_whole(out)


def test_an_interrupt_ends_a_run_whose_compiled_code_keeps_it_to_itself() -> None:
    """A key of so many rounds takes minutes, in one call of compiled code."""
    lines = (
        "import hashlib, os, signal, threading",
        "from cli import interrupt, program",
        "interrupt.listen(program._end)",
        "threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT)).start()",
        "hashlib.pbkdf2_hmac('sha256', b'a', b'b', 10**9)",
    )
    command = [sys.executable, "-c", "\n".join(lines)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60.0)
    assert (done.returncode, done.stderr.strip()) == (130, UNTOUCHED)
