"""An interrupt that is not lost, whatever code it arrives in."""

import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

from cli.exit_codes import INTERRUPTED

PATIENCE = 0.6
"""For which compiled code may keep an interrupt to itself. [s]"""
WORDS = "Interrupted; what was there before is untouched."
_asked = False
_kept = ""
_patience = PATIENCE


def listen(end: Callable[[int], None]) -> None:
    """Take an interrupt, and being ended from outside, as a KeyboardInterrupt that is remembered.

    Python lets it through only between its own steps: where a compiled call takes longer than `PATIENCE`, the run is
    told and ended from beside it, as it would be by a kill, which the next start clears away after.
    """
    signal.signal(signal.SIGINT, _interrupt)
    signal.signal(signal.SIGTERM, _interrupt)
    sys.unraisablehook = _unraisable
    if os.name != "nt":  # a pipe cannot wake there
        woken, wake = os.pipe()
        os.set_blocking(wake, False)
        signal.set_wakeup_fd(wake, warn_on_full_buffer=False)
        threading.Thread(target=_watch, args=(woken, end), daemon=True).start()


def _watch(woken: int, end: Callable[[int], None]) -> None:
    while number := os.read(woken, 1):
        time.sleep(_patience)
        if number[0] in (signal.SIGINT, signal.SIGTERM) and not _asked:
            tell()
            end(INTERRUPTED)


def stop_listening() -> None:
    """The run has ended: what is asked from here on changes nothing, and must not look like an end by force."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)


def tell() -> None:
    """Say that the run was interrupted."""
    from cli.streams import say

    say(words())


def words() -> str:
    """What an interrupted run says."""
    return f"{WORDS} {_kept}".rstrip()


def keeps(what: str) -> None:
    """Say after an interrupt what this run keeps of its own work, and how to go on from there."""
    global _kept
    _kept = what


def give_time(seconds: float) -> None:
    """Leave a run so long to end by itself: a server first ends what it is asked. [s]"""
    global _patience
    _patience = seconds


def was_asked() -> bool:
    """Whether someone interrupted this run, also where a library turned that into an error of its own."""
    return _asked


def check() -> None:
    """Interrupt once more, where a library's callback swallowed it; a compiler's does."""
    if _asked:
        raise KeyboardInterrupt


def _interrupt(*_: Any) -> None:
    global _asked
    _asked = True
    raise KeyboardInterrupt


def _unraisable(lost: "sys.UnraisableHookArgs") -> None:
    # an interrupt lost in a callback is raised again by `check`
    if not issubclass(lost.exc_type, KeyboardInterrupt):
        sys.__unraisablehook__(lost)
