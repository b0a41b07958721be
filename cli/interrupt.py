"""An interrupt that is not lost, whatever code it arrives in."""

import signal
import sys
from typing import Any

WORDS = "Interrupted; what was there before is untouched."
_asked = False


def listen() -> None:
    """Take an interrupt, and being ended from outside, as a KeyboardInterrupt that is remembered."""
    signal.signal(signal.SIGINT, _interrupt)
    signal.signal(signal.SIGTERM, _interrupt)
    sys.unraisablehook = _unraisable


def stop_listening() -> None:
    """The run has ended: what is asked from here on changes nothing, and must not look like an end by force."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)


def tell() -> None:
    """Say that the run was interrupted."""
    from cli.streams import say

    say(WORDS)


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
