"""Where the work of ``plan --machines`` is done: here, on the cores of this machine, or on a Dask cluster.

All three have the interface of ``concurrent.futures``, so one code path serves them. A worker gets all that it needs
and returns bytes and records; it reads and writes no file of the caller.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from multiprocessing import active_children, get_context, parent_process
from typing import Any, Self, TypeVar

import dimmplan
from dimmplan.errors import InputError, Problem
from dimmplan.units import cleaned

MOST_JOBS = 1024
MOST_RESTARTS = 3
"""Times in a row that killed workers are replaced before the run gives up."""
CONNECT_SECONDS = 10
T = TypeVar("T")


def usual_jobs() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Workers:
    """Workers for calls of a function. ``count`` says how many run at once."""

    def __init__(self, jobs: int, cluster: str | None = None) -> None:
        self.count = jobs
        self._client: Any = None
        self._pool: Executor | None = None
        if cluster is not None:
            self._connect(cluster)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if self._client is not None:
            self._client.close()
        elif self._pool is not None:
            for process in active_children() if kind else ():
                process.kill()
            self._pool.shutdown(cancel_futures=True)

    def _connect(self, address: str) -> None:
        """Find the workers of a Dask scheduler. Raises ``InputError``."""
        try:
            client_of: Any = import_module("distributed").Client  # an optional extra, and heavy
        except ImportError:
            raise _no_cluster("no Dask here", "pip install 'dimmplan[cluster]'") from None
        try:
            self._client = client_of(address, timeout=CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise _no_cluster(f"{address}: {str(error) or type(error).__name__}") from None
        self.count = sum(self._client.ncores().values())
        if not self.count:
            raise _no_cluster("a scheduler without workers", "dask worker ADDRESS")
        self._pool = self._client.get_executor(pure=False)
        try:
            there = set(self._client.run(_version).values())
        except Exception as error:  # whatever a worker without this package raises
            raise _no_cluster("workers without dimmplan", f"{type(error).__name__}: {cleaned(str(error))}") from None
        if there != {dimmplan.__version__}:
            hint = f"This is {dimmplan.__version__}."
            raise _no_cluster(f"workers with dimmplan {', '.join(sorted(there))}", hint)

    def results(self, function: Callable[..., T], calls: Sequence[tuple[Any, ...]]) -> Iterator[T]:
        """The results of a function for the arguments of each call, in order, as they come.

        A worker that is killed loses none of them. Raises ``InputError`` where workers are killed again and again.
        """
        if self.count == 1 and self._client is None:
            yield from (function(*call) for call in calls)
            return
        waiting: list[Future[T] | None] = list(self._submitted(function, calls))
        restarts = 0
        for number in range(len(calls)):
            while (future := waiting[number]) is not None:
                try:
                    result = future.result()
                except BrokenExecutor:
                    restarts += 1
                    if restarts > MOST_RESTARTS:
                        hint = "Is there memory enough for each? Take fewer with --jobs."
                        problem = Problem(file="--jobs", found="workers that were killed", hint=hint)
                        raise InputError(problem) from None
                    self._pool = None
                    lost = [place for place, each in enumerate(waiting) if each is not None and not _is_whole(each)]
                    again = self._submitted(function, [calls[place] for place in lost])
                    for place, each in zip(lost, again, strict=True):
                        waiting[place] = each
                except Exception as error:  # a scheduler lost, a worker killed too often
                    its_own = type(error).__module__.partition(".")[0] in ("distributed", "concurrent")
                    if self._client is None or not its_own:
                        raise
                    raise _no_cluster(f"{type(error).__name__}: {cleaned(str(error))}") from None
                else:
                    restarts, waiting[number] = 0, None  # results are large
                    yield result

    def _submitted(self, function: Callable[..., T], calls: Sequence[tuple[Any, ...]]) -> list[Future[T]]:
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self.count, mp_context=get_context("spawn"), initializer=_begin)
        with _without_interrupts():
            return [self._pool.submit(function, *call) for call in calls]


def _no_cluster(found: str, hint: str = "") -> InputError:
    allowed = "the address of a running Dask scheduler, such as tcp://host:8786"
    return InputError(Problem(file="--cluster", found=cleaned(found), allowed=allowed, hint=hint))


@contextmanager
def _without_interrupts() -> Iterator[None]:
    """Processes that begin here never see Ctrl-C; it reaches this one when they have begun."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _version() -> str:
    return dimmplan.__version__


def _is_whole(future: Future[Any]) -> bool:
    return future.done() and not future.cancelled() and future.exception() is None


def _begin() -> None:
    """A worker leaves Ctrl-C to its parent, and ends with it whatever becomes of that."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=follow, daemon=True).start()
