"""``dimmplan plan --machines``: a list of machines, a folder of sheets for each, one summary of all.

The output folder holds ``machines/<name>/`` with ``plan.json``, ``map.svg``, its further pages and ``machine.json``,
which is written last and names the digests of the others: a machine whose files are whole is not done again. Beside
them lie ``summary.csv`` and ``summary.json``, one row for each row of the list, in its order. Nothing in any file tells
when or in how many runs it was made, so a run that was stopped and taken up again leaves the same folder.

Rows are read a window at a time; requests that are new are solved, then machines are drawn, both by workers
(``cli/workers.py``): here, on all cores, or on a cluster. Results come back as bytes and are written here, in the order
of the list, so the folder is the same whoever worked. One run at a time works in a folder (``dimmplan docs machines``).
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import groupby, islice
from pathlib import Path
from typing import IO, Any, NamedTuple

import typer
from filelock import BaseFileLock, FileLock, Timeout

import dimmplan
from dimmplan.bounded import read_file
from dimmplan.cli.files import (
    WriteError,
    digest_of,
    digest_of_sealed,
    files_beside,
    make_folder,
    obstacles_in,
    ours_beside,
    remove_unchanged,
    write_files,
    write_stream,
)
from dimmplan.cli.workers import MOST_JOBS, Files, MachineFailure, MachinePlan, Task, Workers, draw, solve, usual_jobs
from dimmplan.errors import InputError, Problem, RefusedError
from dimmplan.fleet.requests import BoardRequest, Requests
from dimmplan.fleet.rows import BadRow, MachineList, Row
from dimmplan.fleet.share import Share, SharedShelf
from dimmplan.output.columns import csv_head, csv_line
from dimmplan.output.fleet import (
    COLUMNS,
    fleet_text,
    impossible_row,
    json_parts,
    problem_row,
    taken_rows,
    with_purchase,
)
from dimmplan.output.plan import sheet_record
from dimmplan.output.record import to_json
from dimmplan.output.stock import Pick, pick_csv
from dimmplan.planner import Terms, check_terms
from dimmplan.units import cleaned

SUMMARY_CSV, SUMMARY_JSON = "summary.csv", "summary.json"
MACHINE = "machine.json"
"""Written last into a machine's folder: it names the request and the digests of the other files."""
Record = dict[str, Any]
LOCK = ".dimmplan.lock"
"""Locked while a run works in a folder; the system lets go of it whatever becomes of the run."""
ROWS_AT_ONCE = 64
"""Rows that one worker has before it, at most; they bound the memory for sheets on their way."""
SHEETS_AT_ONCE = 4
FEW_MACHINES = 8
"""So few are done sooner than other processes have started."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """One run over a list of machines. ``jobs`` are tasks at once on this machine, ``None`` for all of its cores."""

    machines: Path
    out: Path
    terms: Terms
    stock: Path | None = None
    jobs: int | None = None
    cluster: str | None = None
    sheet: dict[str, Any] = field(default_factory=dict)
    force: bool = False


def plan_machines(job: Job, *, as_json: bool) -> None:
    """Plan and draw every machine of a list. Ends with status 1 where one of its rows has no plan."""
    if job.jobs is not None and not 1 <= job.jobs <= MOST_JOBS:
        raise InputError(Problem(file="--jobs", found=str(job.jobs), allowed=f"1 to {MOST_JOBS}"))
    run = _Run(job)
    try:
        run.prepare()
        run.work()
        run.finish(as_json=as_json)
    finally:
        run.close()
    if any(run.counts[status] for status in run.counts if status != "planned"):
        raise typer.Exit(1)


class _ToDo(NamedTuple):
    """A machine that is to be drawn: ``key`` is all that its plan follows from."""

    row: Row
    tag: str
    asked: BoardRequest
    share: Share | None
    digest: str
    key: tuple[Any, ...]

    @property
    def solving(self) -> Task:
        """Its request, to be solved."""
        return Task(solve, (self.asked.board, self.asked.request, self.share.option if self.share else None))


class _Run:
    """The work of one run: rows are read as a stream, and what is remembered depends on distinct requests only."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.rows = MachineList(job.machines)
        self.requests: Requests = Requests(self.rows, job.terms, job.stock)
        self.shared: SharedShelf | None = None
        self.counts: Counter[str] = Counter()
        """Rows by status."""
        self.drawn = self.kept = 0
        self._solved: dict[tuple[Any, ...], MachinePlan | MachineFailure] = {}
        self._summaries: dict[str, IO[str]] = {}
        self._lock: BaseFileLock | None = None

    def prepare(self) -> None:
        """Check the whole list, divide the shelf, take the folder. Raises ``InputError``."""
        check_terms(self.job.terms)
        for _ in self.rows:  # a list that is none is refused before anything is written
            break
        ours = ours_beside(self.job.out / SUMMARY_JSON).values()
        problems = obstacles_in(self.job.out, (SUMMARY_JSON, SUMMARY_CSV), force=self.job.force, ours=ours)
        if problems:
            raise InputError(problems)
        if self.job.stock is not None:
            from dimmplan.fleet.share import share

            self.shared = share(self.requests, (row for row in self.rows if isinstance(row, Row)))
        make_folder(self.job.out / "machines")
        self._take_folder()
        tidy(self.job.out)

    def _take_folder(self) -> None:
        """Lock the folder. Raises ``InputError`` where another run works in it."""

        def refused(found: str, hint: str = "") -> InputError:
            folder = cleaned(str(self.job.out))
            return InputError(Problem(file=folder, found=found, allowed="a folder for this run", hint=hint))

        lock = FileLock(self.job.out / LOCK)
        try:
            lock.acquire(blocking=False)
        except Timeout:
            raise refused("another run at work in it", "Wait for its end, or give another --out.") from None
        except (OSError, NotImplementedError) as error:
            raise refused(f"a folder that cannot be locked ({cleaned(str(error))})") from None
        self._lock = lock

    # -- rows ------------------------------------------------------------------------------------------------------

    def work(self) -> None:
        """Do row after row, with a bar on a terminal."""
        lines, table = _spool(), _spool()
        self._summaries = {SUMMARY_JSON: lines, SUMMARY_CSV: table}
        table.write(f"{csv_head(COLUMNS)}\n")
        count = self.rows.count()
        jobs = min(self.job.jobs or usual_jobs(), max(1, count // FEW_MACHINES))
        shown = typer.progressbar(length=count, show_pos=True, file=sys.stderr, hidden=not sys.stderr.isatty())
        with Workers(jobs, self.job.cluster) as workers, shown as bar:
            for record in self._records(workers):
                self.counts[str(record["status"])] += 1
                self._say_problems(record)
                lines.write(json.dumps(record) + "\n")
                table.write(csv_line(COLUMNS, record))
                bar.update(1)

    def _say_problems(self, record: Record) -> None:
        """Name what is wrong with a row, above the bar on a terminal."""
        for each in record["problems"] if record["status"] != "planned" else ():
            problem = Problem(file=str(record["tag"]), **each)
            begin = "\r\033[K" if sys.stderr.isatty() else ""
            sys.stderr.write(f"{begin}{record['status']}: {problem.sentence()}\n")

    def _records(self, workers: Workers) -> Iterator[Record]:
        """The rows of the summary in order; the files of each machine are written before its row is given."""
        rows = iter(self.rows)
        while window := list(islice(rows, ROWS_AT_ONCE * workers.count)):
            looked = [self._look(row) for row in window]
            self._solve([each for each in looked if isinstance(each, _ToDo)], workers)
            drawn = self._draw([each for each in looked if isinstance(each, _ToDo)], workers)
            for each in looked:
                yield self._done(each, next(drawn)) if isinstance(each, _ToDo) else each

    def _look(self, row: Row | BadRow) -> Record | _ToDo:
        """What a row asks for; its row of the summary where there is nothing to draw."""
        if isinstance(row, BadRow):
            return problem_row(row.tag, row.line, "bad-row", row.problems)
        tag = cleaned(row.tag)
        asked = self.requests.asked(row)
        if isinstance(asked, InputError | RefusedError):
            return problem_row(tag, row.line, "bad-row", self.requests.problems(row, asked))
        share = self.shared.shares.get(row.number) if self.shared else None
        if self.shared is not None and share is None:
            return self._not_served(row, tag, asked, self.shared)
        digest = self._digest(row, asked, share)
        known = read_machine(self.job.out / "machines" / row.folder, digest)
        if known is not None:
            self.kept += 1
            return {"tag": tag, "line": row.line, **known}
        key = (asked.key, share and (share.option.modules, share.option.rank))
        return _ToDo(row, tag, asked, share, digest, key)

    def _solve(self, todo: Iterable[_ToDo], workers: Workers) -> None:
        """Solve what is asked for the first time."""
        new = {each.key: each for each in todo if each.key not in self._solved}
        for key, solved in zip(new, workers.results([each.solving for each in new.values()]), strict=True):
            self._solved[key] = solved

    def _draw(self, todo: Sequence[_ToDo], workers: Workers) -> Iterator[Files]:
        """The sheets of each machine in order; none where there is no plan."""
        tasks, sizes = [], []
        for key, group in groupby(todo, key=lambda each: each.key):
            together, solved = list(group), self._solved[key]
            for start in range(0, len(together), SHEETS_AT_ONCE):
                some = together[start : start + SHEETS_AT_ONCE]
                sizes.append(len(some) if isinstance(solved, MachinePlan) else -len(some))
                if isinstance(solved, MachinePlan):
                    words = [{**self.job.sheet, "tag": each.row.tag} for each in some]
                    tasks.append(Task(draw, (some[0].asked.board, solved.placement, words)))
        results = workers.results(tasks)
        for size in sizes:
            yield from next(results) if size > 0 else [{}] * -size

    def _not_served(self, row: Row, tag: str, asked: BoardRequest, shared: SharedShelf) -> Record:
        """A machine that gets nothing of the shelf: all of it would not do, or others get what it needs."""
        alone = self.requests.alone(asked)
        if alone is not None:
            record = impossible_row(tag, row.line, self.requests.problems(row, alone), alone)
        else:
            hint = "Other machines get what it needs of the shelf."
            record = problem_row(tag, row.line, "not-served", [self.rows.problem(row.line, "", "", "", hint=hint)])
        left = {taken.place: taken.count for taken in shared.left}
        return with_purchase(record, self.requests.lacking(row, asked, left))

    def _done(self, todo: _ToDo, sheet: Files) -> Record:
        """Write a machine's files, the one that says that they are whole last."""
        row, tag, solved, share = todo.row, todo.tag, self._solved[todo.key], todo.share
        if isinstance(solved, MachineFailure):
            error = solved.error()
            return impossible_row(tag, row.line, self.requests.problems(row, error), error)
        folder = self.job.out / "machines" / row.folder
        files = {folder / name: its for name, its in {"plan.json": self._plan_json(solved, row), **sheet}.items()}
        if share is not None:
            picks = [Pick(t.count, t.label, t.serves_as, t.place, t.note) for t in share.taken]
            files[folder / "pick.csv"] = pick_csv(solved.placement, picks).encode("utf-8")
        own = {"tag": tag, "line": row.line, "folder": f"machines/{row.folder}"}
        record = solved.row | own | ({"take": taken_rows(share)} if share else {})
        manifest = {
            "format": 1,
            "made_by": "dimmplan",
            "request": todo.digest,
            "files": {path.name: digest_of_sealed(content) for path, content in files.items()},
            "summary": {name: value for name, value in record.items() if name != "line"},
        }
        try:
            make_folder(folder)
            names = [path.name for path in files]
            problems = obstacles_in(folder, [MACHINE], force=self.job.force)
            ours = tidy(folder, names)
            problems += obstacles_in(folder, names, force=self.job.force, ours=ours)
            if problems:
                raise InputError(problems)
            write_files(files, force=True)
            write_files({folder / MACHINE: to_json(manifest).encode("ascii")}, force=True)
        except InputError as error:
            if isinstance(error, WriteError) and error.lasting:
                raise  # the disk is full: no row is to blame
            told = [self.rows.problem(row.line, "", p.found, p.allowed, p.hint) for p in error.problems]
            return problem_row(tag, row.line, "bad-row", told)
        self.drawn += 1
        return record

    def _plan_json(self, solved: MachinePlan, row: Row) -> bytes:
        """The plan of a request with the words of one machine's sheet."""
        words = {name: its.plain() for name, its in sheet_record({**self.job.sheet, "tag": row.tag}).items()}
        return solved.plan_json[: -len("\n}\n")] + b"," + to_json(words)[1:].encode("ascii")

    def _digest(self, row: Row, asked: BoardRequest, share: Share | None) -> str:
        """Stands for all that a machine's files are made from."""
        board = asked.board
        parts: Sequence[object] = (
            dimmplan.__version__,
            row.tag,
            board.id,
            board.electrical_digest,
            board.drawing_digest,
            asked.request,
            sorted(self.job.sheet.items()),
            share and (share.option.modules, sorted(share.option.content.items()), share.taken),
        )
        return hashlib.sha256(repr(parts).encode("utf-8", errors="surrogatepass")).hexdigest()

    # -- the end ---------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """Let go of the folder, and of rows on their way; on a full disk what they still hold cannot be written."""
        for handle in self._summaries.values():
            with suppress(OSError):
                handle.close()
        if self._lock is not None:
            self._lock.release()

    def finish(self, *, as_json: bool) -> None:
        """Write the summaries and say what was done."""
        for handle in self._summaries.values():
            handle.seek(0)
        rows, digest = self._summaries[SUMMARY_CSV], hashlib.sha256()
        for line in rows:
            digest.update(line.encode("utf-8"))
        rows.seek(0)
        records = (json.loads(line) for line in self._summaries[SUMMARY_JSON])
        parts = json_parts(records, self.counts, self.shared, {SUMMARY_CSV: digest.hexdigest()})
        write_stream(self.job.out / SUMMARY_JSON, (part.encode("utf-8") for part in parts))
        write_stream(self.job.out / SUMMARY_CSV, (row.encode("utf-8") for row in rows))
        if as_json:
            with (self.job.out / SUMMARY_JSON).open(encoding="ascii") as summary:
                for line in summary:
                    typer.echo(line, nl=False)
            return
        typer.echo(fleet_text(self.counts, self.shared, drawn=self.drawn, kept=self.kept), nl=False)


# -- what lies in a machine's folder -----------------------------------------------------------------------------------

_MOST_MACHINE_BYTES = 1 << 20
_LEFT_BY_A_KILL = re.compile(r"\.dimmplan-[a-z0-9_]{8}\.tmp")


def _spool() -> IO[str]:
    """A nameless file for rows on their way, so that they need no memory."""
    return tempfile.TemporaryFile("w+", encoding="utf-8", newline="")


def read_machine(folder: Path, digest: str) -> Record | None:
    """The summary of a machine that was done for the same request, if all its files are as written."""
    try:
        known = json.loads(read_file(folder / MACHINE, most=_MOST_MACHINE_BYTES, allowed=""))
        if known["request"] != digest or ours_beside(folder / MACHINE) != known["files"]:
            return None  # of another request, or edited since
        for name, its in known["files"].items():
            if Path(name).name != name or digest_of(folder / name) != its:
                return None
        summary: Record = known["summary"]
        return summary if summary["status"] == "planned" else None
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def tidy(folder: Path, names: Collection[str] = ()) -> frozenset[str]:
    """Take away what a run that was stopped, or one for another request, has left in a folder of ours.

    Only files that such a run wrote and nobody has changed since: those of a machine that its intact record names, but
    for ``names``, which are written anew. Returns the digests of what is ours there.
    """
    with suppress(OSError):
        for path in folder.glob(".dimmplan-*.tmp"):
            if _LEFT_BY_A_KILL.fullmatch(path.name) and path.is_file():
                path.unlink(missing_ok=True)
    known = files_beside(folder / MACHINE)
    remove_unchanged(folder, known, names)
    if known:
        (folder / MACHINE).unlink(missing_ok=True)
    return frozenset(known.values())
