"""A run ends without taking apart what it loaded; what others left for its end is done all the same."""

import subprocess
import sys

import pytest

LEFT = """
import atexit, sys, threading, time
from cli.program import main
def last():
    time.sleep({wait})
    print("last")
if {wait}:
    threading.Thread(target=last).start()
else:
    atexit.register(last)
sys.argv = ["lotshed", *{arguments}]
main()
"""


@pytest.mark.parametrize(
    ("arguments", "wait", "code"),
    [
        pytest.param(["--version"], 0.0, 0, id="what is registered is done"),
        pytest.param(["screen", "nowhere.toml", "--out", "x"], 0.3, 2, id="another's thread is waited for"),
    ],
)  # fmt: skip
def test_the_end_is_quick_and_leaves_nothing_out(tmp_path, arguments, wait, code):
    ended = subprocess.run(
        [sys.executable, "-c", LEFT.format(arguments=arguments, wait=wait)], cwd=tmp_path, capture_output=True,
        text=True, timeout=60, check=False,
    )  # fmt: skip
    assert ended.returncode == code
    assert ended.stdout.splitlines()[-1] == "last"
    assert ("Error: " in ended.stderr) == bool(code)
