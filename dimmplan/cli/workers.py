"""The work of ``plan --machines``, and where it is done: here, on the cores of this machine, or on a Dask cluster.

All three have the interface of ``concurrent.futures``, so one code path serves them. Tasks solve requests and draw
machines: they get all that they need and return bytes and records; a worker reads and writes no file of the caller.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from fractions import Fraction
from importlib import import_module
from multiprocessing import active_children, get_context, parent_process
from pathlib import Path
from typing import Any, NamedTuple, Self

import dimmplan
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import Cause, ImpossibleError, InputError, Problem
from dimmplan.fleet.options import Option
from dimmplan.fleet.share import planned_share
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.model.request import Request
from dimmplan.output.fleet import planned_row
from dimmplan.output.plan import plan_record
from dimmplan.output.record import to_json
from dimmplan.planner import plan
from dimmplan.units import cleaned

MOST_JOBS = 1024
MOST_RESTARTS = 3
"""Times in a row that killed workers are replaced before the run gives up."""
CONNECT_SECONDS = 10


class Task(NamedTuple):
    """A call to be done by any worker."""

    do: Callable[..., Any]
    arguments: tuple[Any, ...]


def usual_jobs() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Workers:
    """Workers for tasks. ``count`` says how many tasks run at once."""

    def __init__(self, jobs: int, cluster: str | None = None) -> None:
        self.count = jobs
        self._client: Any = None
        self._pool: Executor | None = None
        if cluster is not None:
            self._connect(cluster)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if self._pool is not None and self._client is None:
            for process in active_children() if kind else ():
                process.kill()
            self._pool.shutdown(cancel_futures=True)
        if self._client is not None:
            self._client.close()

    def _connect(self, address: str) -> None:
        """Find the workers of a Dask scheduler. Raises ``InputError``."""

        def wrong(found: str, hint: str = "") -> InputError:
            return InputError(Problem(file="--cluster", found=cleaned(found), allowed=_SCHEDULER, hint=hint))

        try:
            client_of: Any = import_module("distributed").Client  # an optional extra, and heavy
        except ImportError:
            raise wrong("no Dask here", "pip install 'dimmplan[cluster]'") from None
        try:
            self._client = client_of(address, timeout=CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise wrong(f"{address}: {str(error) or type(error).__name__}") from None
        self.count = sum(self._client.ncores().values())
        if not self.count:
            raise wrong("a scheduler without workers", "dask worker ADDRESS")
        self._pool = self._client.get_executor(pure=False)
        try:
            there = set(self._client.run(_version).values())
        except Exception as error:  # whatever a worker without this package raises
            raise wrong("workers without dimmplan", f"{type(error).__name__}: {cleaned(str(error))}") from None
        if there != {dimmplan.__version__}:
            raise wrong(f"workers with dimmplan {', '.join(sorted(there))}", f"This is {dimmplan.__version__}.")

    def results(self, tasks: Sequence[Task]) -> Iterator[Any]:
        """The results of tasks, in their order, as they come. A worker that is killed loses none of them.

        Raises ``InputError`` where workers are killed again and again.
        """
        if self.count == 1 and self._client is None:
            yield from (task.do(*task.arguments) for task in tasks)
            return
        restarts, done = 0, 0
        waiting = self._submitted(tasks)
        while done < len(tasks):
            try:
                result = waiting[done].result()
            except BrokenExecutor:
                restarts += 1
                if restarts > MOST_RESTARTS:
                    hint = "Is there memory enough for each? Take fewer with --jobs."
                    problem = Problem(file="--jobs", found="workers that were killed", hint=hint)
                    raise InputError(problem) from None
                self._pool = None
                left = [n for n in range(done, len(tasks)) if not _is_whole(waiting[n])]
                waiting |= dict(zip(left, self._submitted([tasks[n] for n in left]).values(), strict=True))
                continue
            except Exception as error:
                if self._client is None or type(error).__module__.partition(".")[0] not in (
                    "distributed",
                    "concurrent",
                ):
                    raise
                found = f"{type(error).__name__}: {cleaned(str(error))}"  # a scheduler lost, a worker killed too often
                raise InputError(Problem(file="--cluster", found=found, allowed=_SCHEDULER)) from None
            restarts = 0
            del waiting[done]  # results are large
            done += 1
            yield result

    def _submitted(self, tasks: Sequence[Task]) -> dict[int, Future[Any]]:
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self.count, mp_context=get_context("spawn"), initializer=_begin)
        with _without_interrupts():
            return {number: self._pool.submit(task.do, *task.arguments) for number, task in enumerate(tasks)}


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


_SCHEDULER = "the address of a running Dask scheduler, such as tcp://host:8786"


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


# -- what a worker does ------------------------------------------------------------------------------------------------


Files = dict[str, bytes]


class MachinePlan(NamedTuple):
    """A solved request as bytes and records: ``row`` is its summary without what belongs to one machine."""

    placement: Placement
    plan_json: bytes
    row: dict[str, Any]


class MachineFailure(NamedTuple):
    """Why a request has no plan."""

    causes: tuple[Cause, ...]
    below_gib: Fraction | int | None
    above_gib: Fraction | int | None

    def error(self) -> ImpossibleError:
        """As it was raised."""
        return ImpossibleError(self.causes, below_gib=self.below_gib, above_gib=self.above_gib)


def solve(board: Board, request: Request, option: Option | None) -> MachinePlan | MachineFailure:
    """Solve a request, or plan the share of a shelf that it got."""
    try:
        planned = plan(board, request) if option is None else planned_share(board, request, option)
    except ImpossibleError as error:
        return MachineFailure(error.causes, error.below_gib, error.above_gib)
    content = to_json(plan_record(planned)).encode("ascii")
    return MachinePlan(planned.placement, content, planned_row(planned))


def draw(board: Board, placement: Placement, sheets: Sequence[Mapping[str, Any]]) -> list[Files]:
    """The sheets of machines with one placement, each with its own words for the title block."""
    drawn = (sheet_files(board, placement, Path("map.svg"), quiet=True, **sheet) for sheet in sheets)
    return [{path.name: content for path, content in files.items()} for files in drawn]
