"""Work that a child of this process does meanwhile, where the machine has a second core for it."""

import contextlib
import ctypes
import gc
import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar

Answer = TypeVar("Answer")

_LENT: ContextVar[bool] = ContextVar("lent", default=False)
_ENDS_WITH_PARENT = 1
"""What Linux calls PR_SET_PDEATHSIG."""
_ASKED_TO_END = {signal.SIGINT, signal.SIGTERM}


@contextmanager
def two_at_once() -> Iterator[None]:
    """Within this, `beside` may fork: for a process that is the program's own, in the thread that runs it."""
    token = _LENT.set(sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1)
    try:
        yield
    finally:
        _LENT.reset(token)


def two_may_work() -> bool:
    """Whether `beside` forks here."""
    return _LENT.get()


@contextmanager
def beside(work: Callable[[], Answer]) -> Iterator[Callable[[], Answer]]:
    """Work that goes on beside what is done within this; what is given back waits for its answer, a copy.

    Only within `two_at_once` does a child do it; elsewhere it is done when its answer is asked for, as it is where the
    child was ended from outside. What it raises is raised where it is asked for. The child ends with this, however
    that ends, and with its parent: it must leave nothing behind that the parent would not find.
    """
    child = _Child.forked(work) if _LENT.get() else None
    if child is None:
        yield work
        return
    try:
        yield lambda: child.answer(work)
    finally:
        child.end()


class _Child:
    def __init__(self, process: int, told: int) -> None:
        self._process, self._told = process, told

    @classmethod
    def forked(cls, work: Callable[[], Any]) -> "_Child | None":
        """None where the machine has no room for one more process."""
        parent, (told, tell) = os.getpid(), os.pipe()
        # an interrupt that the child takes would wake the parent's watch
        before = signal.pthread_sigmask(signal.SIG_BLOCK, _ASKED_TO_END)
        try:
            with warnings.catch_warnings():
                # Python warns of any other thread; those of the program hold nothing that the child takes
                warnings.simplefilter("ignore", DeprecationWarning)
                process = os.fork()
            if process == 0:
                _do(work, tell, parent, before)
        except OSError:
            os.close(told)
            return None
        finally:
            os.close(tell)
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
        return cls(process, told)

    def answer(self, work: Callable[[], Answer]) -> Answer:
        """What the child's work gave or raised."""
        with os.fdopen(self._told, "rb", closefd=False) as stream:
            said = stream.read()
        try:
            done, answer = pickle.loads(said)
        except Exception:  # ended before it had told all, or raised what cannot be sent
            return work()
        if not done:
            raise answer
        return answer  # type: ignore[no-any-return]

    def end(self) -> None:
        """Be rid of it, done or not."""
        os.close(self._told)
        with contextlib.suppress(ProcessLookupError):
            os.kill(self._process, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(self._process, 0)


def _do(work: Callable[[], Any], tell: int, parent: int, mask: "set[signal.Signals | int]") -> None:
    """The child's whole life."""
    try:
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # it goes to the parent too, which then ends this
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        ctypes.CDLL(None).prctl(_ENDS_WITH_PARENT, signal.SIGKILL)
        if os.getppid() == parent:
            gc.freeze()  # what the parent made stays shared
            said = _said(work)
            with os.fdopen(tell, "wb") as stream:
                stream.write(said)
    finally:
        os._exit(0)


def _said(work: Callable[[], Any]) -> bytes:
    try:
        told = (True, work())
    except Exception as error:
        told = (False, error)
    try:
        return pickle.dumps(told, pickle.HIGHEST_PROTOCOL)
    except Exception:  # then the parent works it out, or meets the error, by itself
        return b""
