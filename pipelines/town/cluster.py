"""Dask's scheduler and its workers: one machine's own, or those of an address; none that would answer otherwise."""

import contextlib
import os
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing import resource_tracker
from typing import Any

from pipelines.town.errors import TownRunError

MEMORY_LIMIT = 1.2e9
"""Of a worker, beyond which a lot of it is ended and tried again alone. [byte]"""
HOW_TO_GET = "`lotshed town` runs on Dask, which is not installed here: pip install 'lotshed[town]'"


@dataclass(slots=True)
class TownCluster:
    """A client of a scheduler, and what was found of its workers.

    Attributes
    ----------
    client : distributed.Client
        Connected.
    reads : tuple of str
        Paths that every worker must see.
    checked : dict of str to str
        What is wrong with each worker, empty for nothing.
    compiles : set of str
        Workers whose machine had nothing compiled when they were looked at.
    """

    client: Any
    reads: tuple[str, ...]
    checked: dict[str, str] = field(default_factory=dict)
    compiles: set[str] = field(default_factory=set)

    @property
    def dashboard(self) -> str:
        """Address of the scheduler's page, empty where it has none."""
        services = self.client.scheduler_info().get("services", {})
        return str(self.client.dashboard_link) if "dashboard" in services else ""

    def there(self) -> set[str]:
        """Addresses of workers that are there now, fit or not."""
        return set(self.client.scheduler_info(n_workers=-1)["workers"])

    def workers(self) -> dict[str, dict[str, Any]]:
        """Workers that are there now and fit, by address."""
        known = self.client.scheduler_info(n_workers=-1)["workers"]
        new = [address for address in known if address not in self.checked]
        if new:
            self._check(new)
        return {address: told for address, told in known.items() if self.checked.get(address) == ""}

    def odd(self) -> dict[str, str]:
        """What is wrong with those that don't fit."""
        return {address: fault for address, fault in self.checked.items() if fault}

    def _check(self, new: list[str]) -> None:
        from importlib.metadata import version

        ours, answers = (
            version("lotshed"),
            self.client.run(_look_at_worker(), self.reads, workers=new, on_error="return"),
        )
        for address in new:
            answer = answers.get(address)
            if isinstance(answer, dict):
                self.checked[address] = _fault(answer, ours)
                if answer["compiles"]:
                    self.compiles.add(address)
            elif isinstance(answer, Exception) and address in self.there():
                self.checked[address] = f"it cannot be asked for its version ({type(answer).__name__}: {answer})"


def _look_at_worker() -> Callable[[tuple[str, ...]], dict[str, Any]]:
    """What a worker says of itself; goes there as it is, since a worker may have no lotshed to take it from."""

    def look(reads: tuple[str, ...]) -> dict[str, Any]:
        import os
        import sys
        from importlib.metadata import PackageNotFoundError, version

        try:
            found = version("lotshed")
        except PackageNotFoundError:
            found = ""
        first = False
        if found:
            try:
                from terrain.first_run import compiles_first

                first = compiles_first()
            except ImportError:
                found = ""
        return {
            "version": found, "python": list(sys.version_info[:2]), "compiles": first,
            "missing": [each for each in reads if not os.path.exists(each)],
        }  # fmt: skip

    return look


def _fault(answer: dict[str, Any], ours: str) -> str:
    import sys

    if not answer["version"]:
        return f"it has no lotshed; install lotshed {ours} where it runs"
    if answer["version"] != ours:
        return f"it has lotshed {answer['version']} and this is {ours}; install the same on both"
    if answer["python"] != list(sys.version_info[:2]):
        theirs = ".".join(str(each) for each in answer["python"])
        return f"it runs Python {theirs} and this is {sys.version_info[0]}.{sys.version_info[1]}; run the same on both"
    if answer["missing"]:
        return f"it cannot read {answer['missing'][0]}; inputs must lie at the same path for every worker"
    return ""


@contextlib.contextmanager
def _interrupts_kept_from_children() -> Iterator[None]:
    """A terminal interrupts all processes of a run; the workers started here end with the run and say nothing of it.

    A process takes what is held back from the thread that starts it, and that thread from the one that began it, so
    that this holds for workers that come in place of others too.
    """
    if os.name == "nt":
        yield
        return
    # it lets interrupts through again where it begins, so that it begins before
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def connected(
    *, scheduler: str | None, workers: int | None, reads: tuple[str, ...], memory_limit: float = MEMORY_LIMIT
) -> Iterator[TownCluster]:
    """A cluster of this machine, or the one at an address.

    Parameters
    ----------
    scheduler : str or None
        Address of one that runs; None starts one here that ends with this run.
    workers : int or None
        How many processes are started here; None for one a core. [-]
    reads : tuple of str
        Paths that every worker must see.
    memory_limit : float
        Of a worker that is started here. [byte]

    Yields
    ------
    TownCluster
        With at least one worker that fits.

    Raises
    ------
    TownRunError
        If Dask is missing, nobody answers at the address, or a worker is unfit.
    """
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError:
        raise TownRunError(HOW_TO_GET) from None
    with contextlib.ExitStack() as stack:
        stack.enter_context(dask.config.set({
            # a worker that is held up by one long kernel is not lost, and one that is lost is told at once
            "distributed.scheduler.allowed-failures": 0, "distributed.worker.daemon": True,
            "distributed.admin.tick.limit": "1h", "distributed.worker.memory.target": False,
            "distributed.worker.memory.spill": False, "distributed.worker.memory.pause": False,
            "distributed.worker.memory.terminate": 0.95, "distributed.scheduler.work-stealing": False,
            # a look at what each worker does, a hundred times a second, is nobody's here
            "distributed.worker.profile.enabled": False,
            # a group of swales brings its ground with it
            "distributed.admin.large-graph-warning-threshold": "1GB",
        }))  # fmt: skip
        if scheduler is None:
            with _interrupts_kept_from_children():
                cluster = stack.enter_context(LocalCluster(
                    n_workers=workers or os.cpu_count() or 1, threads_per_worker=1, processes=True,
                    # another run may be on this machine, and has its page on a port of its own
                    memory_limit=int(memory_limit), dashboard_address=":0", silence_logs=50,
                ))  # fmt: skip
            client = stack.enter_context(Client(cluster, set_as_default=False))
        else:
            try:
                client = stack.enter_context(Client(scheduler, timeout="20s", set_as_default=False))
            except (OSError, ValueError, TimeoutError) as error:
                raise TownRunError(
                    f"no Dask scheduler answers at {scheduler} ({error}); start one with `dask scheduler`, and workers "
                    "with `dask worker ADDRESS --nthreads 1`"
                ) from None
            try:
                client.wait_for_workers(workers or 1, timeout=60)
            except TimeoutError:
                raise TownRunError(
                    f"the scheduler at {scheduler} has {len(client.scheduler_info(n_workers=-1)['workers'])} workers "
                    f"after a minute, and {workers or 1} are asked for; start `dask worker {scheduler} --nthreads 1`"
                ) from None
        found = TownCluster(client, reads)
        fit = found.workers()
        if found.odd():
            address, fault = next(iter(found.odd().items()))
            raise TownRunError(f"worker {address} is refused: {fault}")
        if not fit:
            raise TownRunError("no worker answers; start one with `dask worker ADDRESS --nthreads 1`")
        yield found
