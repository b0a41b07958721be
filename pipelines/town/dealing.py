"""Lots and swales dealt to workers, one in flight each, and what becomes of one that ends its worker."""

import contextlib
import queue
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from pipelines.town.alone import Limits, do_first_lot, failed_task, try_alone
from pipelines.town.cluster import TownCluster
from pipelines.town.errors import TownRunError
from pipelines.town.job import TownJob, do_lot
from pipelines.town.swales.answer import do_swales

LOOK = 1.0
"""Between looks at which workers are there. [s]"""
WAIT_FOR_WORKERS = 120.0
"""Without any worker, after which the run gives up. [s]"""

Keep = Callable[[Any, Any], None]
Note = Callable[[Any, str, str], None]


@dataclass(frozen=True, slots=True)
class Kind:
    """Tasks of one kind: what a worker does with one, and what it does with a machine's first."""

    name: str
    do: Callable[..., Any]
    first: Callable[..., Any]


LOTS = Kind("lot", do_lot, do_first_lot)
SWALES = Kind("swales", do_swales, do_swales)
"""Where swales are routed lots were done: nothing is left to compile but their own loops."""


class Deal:
    """Lots in as many runs of neighbors as there are workers; who has done its own takes half of the longest."""

    def __init__(self, tasks: Sequence[Any], workers: int) -> None:
        size = max(-(-len(tasks) // max(workers, 1)), 1)
        self._free = deque(deque(tasks[at : at + size]) for at in range(0, len(tasks), size))
        self._own: dict[str, deque[Any]] = {}

    def __len__(self) -> int:
        return sum(len(each) for each in (*self._free, *self._own.values()))

    def next(self, worker: str) -> Any:
        """A worker's next lot; None where none is left."""
        own = self._own.setdefault(worker, deque())
        if not own:
            own = self._own[worker] = self._more()
        return own.popleft() if own else None

    def drop(self, worker: str) -> None:
        """A worker is gone: what it had is free again."""
        left = self._own.pop(worker, None)
        if left:
            self._free.append(left)

    def _more(self) -> deque[Any]:
        if self._free:
            return self._free.popleft()
        longest = max(self._own.values(), key=len, default=deque())
        taken: deque[Any] = deque()
        for _ in range(len(longest) // 2):
            taken.appendleft(longest.pop())
        return taken


class Row:
    """Tasks that are made ready one by one, each for whoever is free next."""

    def __init__(self, tasks: Iterator[Any]) -> None:
        self._tasks = tasks
        self._ready = next(tasks, None)

    def __len__(self) -> int:
        return int(self._ready is not None)

    def next(self, worker: str) -> Any:
        """The next task; the one after it is made ready while workers are at theirs."""
        ready, self._ready = self._ready, None
        return ready

    def make_ready(self) -> None:
        """Have a task at hand."""
        if self._ready is None:
            self._ready = next(self._tasks, None)

    def drop(self, worker: str) -> None:
        """A worker is gone: it had nothing but what it was at."""


@dataclass(slots=True)
class Dealer:
    """The lots of one pass over a town, or its swales.

    Attributes
    ----------
    cluster : TownCluster
        Who works.
    kind : Kind
        Of the tasks.
    job : TownJob or None
        What is asked of each; swales bring it with them.
    limits : Limits
        Of one lot.
    keep : callable
        Takes each finished record, None for an earlier one that holds.
    note : callable
        Told of each attempt that did not end well: the lot, how it was tried, and what became of it.
    tell : callable
        Called now and then with how many are in work.
    """

    cluster: TownCluster
    kind: Kind
    job: TownJob | None
    limits: Limits
    keep: Keep
    note: Note
    tell: Callable[[int], None]
    _flying: dict[str, tuple[Any, Any, float]] = field(default_factory=dict)
    _ended: "queue.Queue[str]" = field(default_factory=queue.Queue)
    _alone: dict[str, tuple[Any, "Future[tuple[Any, str]]"]] = field(default_factory=dict)
    _warmed: set[str] = field(default_factory=set)
    _done: "deque[tuple[Any, Any]]" = field(default_factory=deque)
    _begun: int = 0

    def run(self, deal: Deal | Row, alone: Sequence[Any] = ()) -> None:
        """Do all tasks; `alone` are those that ended a worker in an earlier run."""
        looked, last_seen = -LOOK, time.monotonic()
        fit: dict[str, Any] = {}
        with ThreadPoolExecutor(1) as child:
            for task in alone:
                self._try_alone(child, task)
            while len(deal) or self._flying or self._alone or self._done:
                now = time.monotonic()
                if now - looked >= LOOK:
                    looked = now
                    fit = self._look(deal, child)
                    last_seen = now if fit else last_seen
                    if not fit and len(deal) and now - last_seen > WAIT_FOR_WORKERS:
                        raise TownRunError(
                            f"no worker has been there for {WAIT_FOR_WORKERS:,.0f} s; finished lots are kept: start "
                            "workers and run again with --resume"
                        )
                for address in fit:
                    if address in self._flying or not self._may_begin(address):
                        continue
                    dealt = deal.next(address)
                    if dealt is not None:
                        self._begin(address, dealt)
                        del dealt
                    if isinstance(deal, Row):
                        deal.make_ready()
                # written down while workers have their next lots
                while self._done:
                    self.keep(*self._done.popleft())
                with contextlib.suppress(queue.Empty):
                    self._end(self._ended.get(timeout=LOOK / 2 if self._flying or self._alone else 0.01), child)
                self._gather_alone()
                self.tell(len(self._flying) + len(self._alone))

    def _may_begin(self, address: str) -> bool:
        """One worker of a machine compiles, the others wait for it."""
        return not self._compiles(address) or not any(_host(each) == _host(address) for each in self._flying)

    def _compiles(self, address: str) -> bool:
        return address in self.cluster.compiles and _host(address) not in self._warmed

    def _begin(self, address: str, task: Any) -> None:
        self._begun += 1
        future = self.cluster.client.submit(
            self.kind.first if self._compiles(address) else self.kind.do,
            self.job,
            task,
            workers=[address],
            allow_other_workers=False,
            pure=False,
            retries=0,
            key=f"{self.kind.name}-{task.id}-{self._begun}",
        )
        self._flying[address] = (future, task, time.monotonic())
        future.add_done_callback(lambda _, at=address: self._ended.put(at))

    def _end(self, address: str, child: ThreadPoolExecutor) -> None:
        held = self._flying.get(address)
        if held is None or not held[0].done():
            return
        future, task, _ = self._flying.pop(address)
        if future.status == "finished":
            self._warmed.add(_host(address))
            self._done.append((task, future.result()))
        else:
            error = future.exception() if future.status == "error" else None
            ended = error is None or type(error).__name__ in ("KilledWorker", "CommClosedError", "MemoryError")
            words = "it ended its worker" if ended else f"{type(error).__name__}: {error}"
            self.note(task, "worker", words)
            self._try_alone(child, task)
        future.release()

    def _look(self, deal: Deal | Row, child: ThreadPoolExecutor) -> dict[str, Any]:
        """Which workers are there; the task of one that is gone, or that takes too long, is tried alone."""
        if self.cluster.client.status != "running":
            raise TownRunError("the scheduler is gone; finished lots are kept: start it and run again with --resume")
        fit = self.cluster.workers()
        there = self.cluster.there()
        for address, (future, task, began) in list(self._flying.items()):
            late = time.monotonic() - began > self.limits.time
            if future.done() or (address in there and not late):
                continue
            del self._flying[address]
            future.cancel(force=True)
            self.note(task, "worker", "it took too long" if late else "it ended its worker")
            if late:
                # a running task cannot be stopped, but its process can
                self.cluster.client.restart_workers([address], timeout=20, raise_for_error=False)
                self.cluster.checked.pop(address, None)
                fit.pop(address, None)
            self._try_alone(child, task)
        for address in [each for each in self.cluster.checked if each not in there]:
            del self.cluster.checked[address]
            deal.drop(address)
        return fit

    def _try_alone(self, child: ThreadPoolExecutor, task: Any) -> None:
        self._alone[task.id] = (task, child.submit(try_alone, self.job, task, self.limits))

    def _gather_alone(self) -> None:
        for id, (task, future) in list(self._alone.items()):
            if not future.done():
                continue
            del self._alone[id]
            record, message = future.result()
            if record is None:
                self.note(task, "alone", message)
                record = failed_task(task, f"set aside: it ended its worker, and {message}", aside=True)
            self.keep(task, record.tried(2))


def _host(address: str) -> str:
    return address.rpartition("://")[2].rpartition(":")[0]
