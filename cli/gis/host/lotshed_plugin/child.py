"""lotshed as a process: its messages as they come, and its end when somebody asks for it.

Nothing of the GIS is imported here, so that it can be tried without it.
"""

import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time

from .environment import own_environment, quiet_start

PATIENCE = 20.0
"""Between asking a process to end and ending it by force: it tidies up after itself. [s]"""
BEAT = 0.1
"""Between two looks at whether somebody cancelled. [s]"""


class ChildError(Exception):
    """lotshed ended with a message."""


class Cancelled(Exception):
    """Somebody cancelled, and the process has ended."""


def run_child(command, tell, cancelled):
    """Run a command to its end.

    `tell(done, text)` gets each message, `done` from 0 to 1, or None for a note or a line of the answer;
    `cancelled()` says whether somebody wants it to end.
    """
    process = subprocess.Popen(
        [*command, "--progress", "json"], env=own_environment(), cwd=tempfile.gettempdir(),
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **quiet_start(),
    )  # fmt: skip
    lines = queue.Queue()
    for stream in (process.stdout, process.stderr):
        threading.Thread(target=_read, args=(stream, stream is process.stderr, lines), daemon=True).start()
    waiting, asked, last = 2, None, ""
    try:
        while waiting:
            if asked is None and cancelled():
                _end(process, force=False)
                asked = time.monotonic()
            elif asked is not None and time.monotonic() - asked > PATIENCE:
                _end(process, force=True)
                break
            try:
                line, message = lines.get(timeout=BEAT)
            except queue.Empty:
                continue
            if line is None:
                waiting -= 1
                continue
            done, text = _heard(line) if message else (None, line)
            if message and done is None:
                last = text
            if asked is None:
                tell(done, text)
        code = process.wait()
    except BaseException:
        _end(process, force=True)
        process.wait()
        raise
    if asked is not None:
        raise Cancelled
    if code != 0:
        raise ChildError(last or f"lotshed ended with code {code}")


def _read(stream, message, lines):
    with stream:
        for line in stream:
            lines.put((line.decode("utf-8", "replace").rstrip("\r\n"), message))
    lines.put((None, message))


def _heard(line):
    """A message and how far the work is; what is no object is a message by itself."""
    try:
        told = json.loads(line)
        return told["done"], str(told["text"])
    except (ValueError, TypeError, KeyError):
        return None, line


def _end(process, force):
    """Ask the process and all that it started to end, or end them."""
    try:
        if sys.platform == "win32":
            process.kill() if force else process.send_signal(signal.CTRL_BREAK_EVENT)
        else:
            os.killpg(process.pid, signal.SIGKILL if force else signal.SIGTERM)
    except (OSError, ValueError):
        # it has ended by itself
        pass
