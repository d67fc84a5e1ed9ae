"""Hostile and damaged inputs of every form: no traceback, no hang, nothing unprintable.

Run: python -m tests.bench.hostile [--count 100000] [--seed 1] [--form FORM]... [--jobs 2]

``--count`` is divided among the forms as their shares say; the worst cases of inventories come on top (and every single
damage to plan codes is tried by ``tests.bench.codes``). The seed gives the same inputs every time. Each form
runs in a process of its own, so that its memory is its own. Times are of the processor, so that other work on the
machine does not count; what takes longer than a minute by the clock is stopped.
"""

from __future__ import annotations

import argparse
import random
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, field
from functools import partial
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from tests.bench import hostile_inputs, mutate_inventories

SLOWEST_SECONDS = 1.0
STOPPED_AFTER_SECONDS = 60
MOST_MEMORY_MB = 300
FAILURES_SHOWN = 10
INVENTORIES = sorted(mutate_inventories.READERS)

COLUMNS = ["form", "inputs", "read", "refused", "faults", "hangs", "slowest-s", "peak-MB", "CPU-s"]

Inputs = Callable[[random.Random], Iterator[Any]]
Take = Callable[[Any, random.Random], bool]


@dataclass(frozen=True)
class Form:
    """One form of input: its share of the whole, its inputs without end, and what is done with each."""

    share: int
    inputs: Inputs
    take: Take


FORMS: dict[str, Form] = {
    "board": Form(14, hostile_inputs.boards, hostile_inputs.take_board),
    "stock": Form(8, hostile_inputs.stocks, hostile_inputs.take_stock),
    "machines": Form(6, hostile_inputs.machines, hostile_inputs.take_machines),
    "mapping": Form(6, hostile_inputs.mappings, hostile_inputs.take_mapping),
    "plan": Form(10, hostile_inputs.plans, hostile_inputs.take_plan),
    "code": Form(12, hostile_inputs.codes, hostile_inputs.take_code),
    "label": Form(10, hostile_inputs.labels, hostile_inputs.take_label),
    "call": Form(9, hostile_inputs.calls, hostile_inputs.take_call),
    **{
        form: Form(5, partial(mutate_inventories.mutants, form), partial(mutate_inventories.take, form))
        for form in INVENTORIES
    },
}
SHARES = sum(form.share for form in FORMS.values())


class HangError(BaseException):
    """An input has taken too long by the clock; no ``except Exception`` of the package may catch it."""


def _stop(number: int, frame: object) -> None:
    del number, frame
    raise HangError


@dataclass(slots=True)
class Tally:
    """What came of the inputs of one form."""

    form: str
    limit: float = SLOWEST_SECONDS
    read: int = 0
    refused: int = 0
    slowest: float = 0.0
    slowest_name: str = ""
    hangs: int = 0
    failures: list[str] = field(default_factory=list)
    peak_mb: int = 0
    seconds: float = 0.0

    @property
    def cells(self) -> list[str]:
        """The tally as a row of the table."""
        counts = (self.read + self.refused, self.read, self.refused, len(self.failures) - self.hangs, self.hangs)
        return [self.form, *map(str, counts), f"{self.slowest:.3f}", str(self.peak_mb), f"{self.seconds:.1f}"]

    def take(self, name: str, do: Callable[[], bool]) -> None:
        """Do what is to be done with one input and note what came of it."""
        start = time.process_time()
        signal.alarm(STOPPED_AFTER_SECONDS)
        try:
            answered = do()
        except (KeyboardInterrupt, MemoryError):
            raise
        except BaseException:  # any exception is what this bench looks for
            answered = False
            self.failures.append(f"{name}: {traceback.format_exc(limit=-4)}")
        signal.alarm(0)
        took = time.process_time() - start
        if took > self.slowest:
            self.slowest, self.slowest_name = took, name
        if took > self.limit:
            self.hangs += 1
            self.failures.append(f"{name}: {took:.2f} s")
        self.read += answered
        self.refused += not answered


def inputs(name: str, seed: int, count: int) -> Iterator[Any]:
    """``count`` inputs of one form; the same for the same seed."""
    made = FORMS[name].inputs(random.Random(f"{name} {seed}"))
    for _ in range(count):
        yield next(made)


def run(name: str, seed: int, count: int, *, every: int = 1, limit: float = SLOWEST_SECONDS) -> Tally:
    """Take ``count`` inputs of one form, and ``every`` worst case; over ``limit`` seconds each is a hang."""
    signal.signal(signal.SIGALRM, _stop)
    tally = Tally(name, limit)
    form = FORMS[name]
    begin = time.process_time()
    with hostile_inputs.in_folder() if name == "call" else nullcontext():
        if name in INVENTORIES:
            for case, content in islice(mutate_inventories.worst(name), None, None, every):
                tally.take(case, partial(form.take, content, random.Random(case)))
        for case, (text, _) in hostile_inputs.EXCESS.items() if name == "board" else ():
            tally.take(case, partial(form.take, text.encode(), random.Random(case)))
        for index, content in enumerate(inputs(name, seed, count)):
            shown = repr(content)[:300] if isinstance(content, str | list) else ""
            tally.take(f"{index} {shown}", partial(form.take, content, random.Random(f"{seed} {index}")))
    tally.seconds = time.process_time() - begin
    tally.peak_mb = peak_mb()
    return tally


def peak_mb() -> int:
    """The most memory this process has held, in MB."""
    status = Path("/proc/self/status")
    if status.exists():  # rusage also counts what the starting process had before this one began
        peak = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(peak.split()[1]) // 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the bench and print a table by form; 1 where anything failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--form", action="append", choices=sorted(FORMS))
    parser.add_argument("--limit", type=float, default=SLOWEST_SECONDS, help="seconds of the processor for one input")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args(arguments)
    chosen = options.form or list(FORMS)
    shares = SHARES if options.form is None else sum(FORMS[name].share for name in chosen)
    counts = {name: -(-options.count * FORMS[name].share // shares) for name in chosen}
    say(f"seed {options.seed}")
    say(_row(COLUMNS))
    tallies: list[Tally] = []
    for tally in _tallied(chosen, options.seed, counts, options):
        tallies.append(tally)
        say(_row(tally.cells))
    say(_row(["all", str(sum(each.read + each.refused for each in tallies))]))
    _say_failures(tallies)
    failed = any(tally.failures or tally.peak_mb > MOST_MEMORY_MB for tally in tallies)
    return int(failed)


def _tallied(
    chosen: Sequence[str], seed: int, counts: Mapping[str, int], options: argparse.Namespace
) -> Iterator[Tally]:
    """The forms' tallies in order; several forms run in processes of their own."""
    if len(chosen) == 1:
        yield run(chosen[0], seed, counts[chosen[0]], limit=options.limit)
        return
    with ProcessPoolExecutor(options.jobs, mp_context=get_context("spawn"), max_tasks_per_child=1) as pool:
        for waiting in [pool.submit(run, name, seed, counts[name], limit=options.limit) for name in chosen]:
            yield waiting.result()


def _row(cells: Sequence[str]) -> str:
    return f"{cells[0]:14}" + "".join(f"{cell:>10}" for cell in cells[1:])


def _say_failures(tallies: Sequence[Tally]) -> None:
    """One failure of each sort, with the number of those that are alike."""
    for tally in tallies:
        alike: dict[tuple[str, ...], list[str]] = {}
        for failure in tally.failures:
            lines = failure.strip().splitlines()
            places = [line for line in lines if line.lstrip().startswith("File ")]
            alike.setdefault((*places[-1:], lines[-1][:60]), []).append(failure)
        for group in list(alike.values())[:FAILURES_SHOWN]:
            say(f"{tally.form}, {len(group)} alike: {group[0]}")


def say(text: str) -> None:
    """Print a line of what was found."""
    print(text, flush=True)  # noqa: T201 - a bench prints what it found


if __name__ == "__main__":
    sys.exit(main())
