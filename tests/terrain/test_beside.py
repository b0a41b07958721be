"""Work that a child does meanwhile: its answer, its errors, its end."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from terrain.beside import beside, two_at_once
from terrain.errors import LotshedError

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2, reason="a child is had on Linux and two cores alone"
)
KILLED = """
import os, signal, time
from terrain.beside import beside, two_at_once
def work():
    print("begun", flush=True)
    time.sleep(600.0)
with two_at_once(), beside(work) as done:
    time.sleep(0.5)
    os.kill(os.getpid(), signal.SIGKILL)
"""


def raising() -> int:
    raise LotshedError("no fall: dig deeper")


def test_a_child_does_it_only_where_two_may_work_at_once() -> None:
    with beside(os.getpid) as done:
        assert done() == os.getpid()
    with two_at_once(), beside(os.getpid) as done:
        assert done() != os.getpid()


def test_what_it_raises_is_raised_as_it_is() -> None:
    with two_at_once(), beside(raising) as done, pytest.raises(LotshedError, match=r"^no fall: dig deeper$"):
        done()


def _ended() -> int:
    if os.getpid() != PARENT:
        os.kill(os.getpid(), signal.SIGKILL)
    return os.getpid()


def _cannot_be_sent() -> Callable[[], int]:
    return lambda: 7


PARENT = os.getpid()


def test_what_a_child_cannot_tell_is_worked_out_here() -> None:
    with two_at_once(), beside(_ended) as done:
        assert done() == PARENT
    with two_at_once(), beside(_cannot_be_sent) as made:
        assert made()() == 7


def test_a_child_ends_with_what_it_was_begun_for() -> None:
    told, tell = os.pipe()

    def work() -> None:
        os.write(tell, str(os.getpid()).encode())
        time.sleep(600.0)

    with two_at_once(), beside(work):
        child = int(os.read(told, 20))
    os.close(told)
    os.close(tell)
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)


def test_a_child_does_not_outlive_a_parent_that_is_killed() -> None:
    # its output ends only when the child, which holds it too, is gone
    command = [sys.executable, "-c", KILLED]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60.0)
    assert (done.returncode, done.stdout) == (-signal.SIGKILL, "begun\n"), done.stderr
