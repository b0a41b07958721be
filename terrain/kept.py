"""Answers kept by the bytes of what they were worked out from, where one process works out much the same again."""

import pickle
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from hashlib import blake2b
from typing import ParamSpec, TypeVar, cast

MOST = 256 * 2**20
"""Bytes that are kept in all; what was asked for longest ago goes first. [-]"""

Given = ParamSpec("Given")
Answer = TypeVar("Answer")


class KeptAnswers:
    """Pickled answers by key, up to so many bytes."""

    def __init__(self, most: int) -> None:
        self.most, self.held = most, 0
        self._answers: OrderedDict[bytes, bytes] = OrderedDict()

    def get(self, key: bytes) -> bytes | None:
        """The answer to a key, which then goes last."""
        if key in self._answers:
            self._answers.move_to_end(key)
        return self._answers.get(key)

    def put(self, key: bytes, answer: bytes) -> None:
        """Keep an answer, and let others go as long as there are too many bytes."""
        self._answers[key] = answer
        self.held += len(answer)
        while self.held > self.most:
            self.held -= len(self._answers.popitem(last=False)[1])


_KEPT: ContextVar[KeptAnswers | None] = ContextVar("kept", default=None)


@contextmanager
def keeping(most: int = MOST) -> Iterator[None]:
    """Within this, what `kept` functions answer is kept from run to run, in the thread that asks."""
    token = _KEPT.set(KeptAnswers(most))
    try:
        yield
    finally:
        _KEPT.reset(token)


def keeps() -> bool:
    """Whether answers are kept here."""
    return _KEPT.get() is not None


def kept(work_out: Callable[Given, Answer]) -> Callable[Given, Answer]:
    """A function that answers as before what it was asked before, within `keeping`.

    It must hang on its arguments alone, which are its key by all their bytes: a cell or a digit that changes is
    another question, so that no answer is stale. Each answer is a copy of its own.
    """

    @wraps(work_out)
    def answer(*given: Given.args, **named: Given.kwargs) -> Answer:
        answers = _KEPT.get()
        if answers is None:
            return work_out(*given, **named)
        asked = pickle.dumps((work_out.__module__, work_out.__qualname__, given, named), pickle.HIGHEST_PROTOCOL)
        key = blake2b(asked).digest()
        held = answers.get(key)
        if held is not None:
            return cast(Answer, pickle.loads(held))
        found = work_out(*given, **named)
        answers.put(key, pickle.dumps(found, pickle.HIGHEST_PROTOCOL))
        return found

    return answer
