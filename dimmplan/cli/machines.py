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
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import IO, Any, NamedTuple

import typer
from filelock import FileLock, Timeout

import dimmplan
from dimmplan.bounded import read_file
from dimmplan.cli import NO
from dimmplan.cli.files import (
    PlanFolder,
    WriteError,
    digest_of,
    make_folder,
    obstacles,
    ours_beside,
    sweep,
    write_folders,
    write_stream,
)
from dimmplan.cli.sheets import sheet_files
from dimmplan.cli.workers import MOST_JOBS, Workers, usual_jobs
from dimmplan.errors import ImpossibleError, InputError, Problem, RefusedError
from dimmplan.fleet.options import Option
from dimmplan.fleet.requests import BoardRequest, Requests
from dimmplan.fleet.rows import BadRow, MachineList, Row
from dimmplan.fleet.share import Share, SharedShelf, planned_share
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.model.request import Request
from dimmplan.output.columns import csv_head, csv_line
from dimmplan.output.fleet import (
    COLUMNS,
    fleet_text,
    impossible_row,
    json_parts,
    planned_row,
    problem_row,
    taken_rows,
    with_purchase,
)
from dimmplan.output.plan import PlanDocument, sheet_record
from dimmplan.output.record import to_json
from dimmplan.output.stock import pick_csv
from dimmplan.planner import Terms, check_inlet, check_terms, plan
from dimmplan.units import cleaned

SUMMARY_CSV, SUMMARY_JSON = "summary.csv", "summary.json"
MACHINE = "machine.json"
Record = dict[str, Any]
LOCK = ".dimmplan.lock"
"""Locked while a run works in a folder; the system lets go of it whatever becomes of the run."""
ROWS_AT_ONCE = 64
"""Rows that one worker has before it, at most; they bound the memory for sheets on their way."""
FEW_MACHINES = 8
"""So few are done sooner than other processes have started."""
_MOST_MACHINE_BYTES = 1 << 20


# -- what a worker does ------------------------------------------------------------------------------------------------


class MachinePlan(NamedTuple):
    """A solved request as bytes and records: ``row`` is its summary without what belongs to one machine."""

    placement: Placement
    plan_json: dict[str, Any]
    row: Record


def solve(board: Board, request: Request, option: Option | None) -> MachinePlan | ImpossibleError:
    """Solve a request, or plan the share of a shelf that it got."""
    try:
        planned = plan(board, request) if option is None else planned_share(board, request, option)
    except ImpossibleError as error:
        return error.with_traceback(None)
    return MachinePlan(planned.placement, PlanDocument.of(planned).plain(), planned_row(planned))


def draw(board: Board, placement: Placement, words: Mapping[str, Any]) -> dict[str, bytes]:
    """The sheet of a machine, with its own words for the title block."""
    files = sheet_files(board, placement, Path("map.svg"), quiet=True, **words)
    return {path.name: content for path, content in files.items()}


# -- a run -------------------------------------------------------------------------------------------------------------


class _ToDo(NamedTuple):
    """A machine that is to be drawn: ``key`` is all that its plan follows from, ``digest`` all that its files do."""

    row: Row
    asked: BoardRequest
    share: Share | None
    digest: str

    @property
    def key(self) -> tuple[Any, ...]:
        return self.asked.key, self.share and (self.share.option.modules, self.share.option.rank)


@dataclass(kw_only=True)
class MachineRun:
    """One run over a list of machines: rows are read as a stream, and only distinct requests are remembered.

    ``jobs`` are tasks at once on this machine, ``None`` for all of its cores; ``counts`` are rows by their status.
    """

    machines: Path
    out: Path
    terms: Terms
    stock: Path | None = None
    trays: Sequence[str] = ()
    inlet: int | None = None
    jobs: int | None = None
    cluster: str | None = None
    sheet: dict[str, Any] = field(default_factory=dict)
    force: bool = False

    shared: SharedShelf | None = field(default=None, init=False)
    counts: Counter[str] = field(default_factory=Counter, init=False)
    drawn: int = field(default=0, init=False)
    kept: int = field(default=0, init=False)
    _solved: dict[tuple[Any, ...], MachinePlan | ImpossibleError] = field(default_factory=dict, init=False)

    @cached_property
    def rows(self) -> MachineList:
        """The list."""
        return MachineList(self.machines)

    @cached_property
    def requests(self) -> Requests:
        """What its rows ask for."""
        return Requests(self.rows, self.terms, self.stock, trays=self.trays, inlet=self.inlet)

    def run(self, *, as_json: bool) -> None:
        """Plan and draw every machine. Ends with status 1 where one of the rows has no plan."""
        self._prepare()
        with _locked(self.out), _spool() as lines, _spool() as table:
            sweep(self.out)
            self._work(lines, table)
            self._finish(lines, table)
        if as_json:
            with (self.out / SUMMARY_JSON).open(encoding="ascii") as summary:
                for line in summary:
                    typer.echo(line, nl=False)
        else:
            typer.echo(fleet_text(self.counts, self.shared, drawn=self.drawn, kept=self.kept), nl=False)
        if any(self.counts[status] for status in self.counts if status != "planned"):
            raise typer.Exit(NO)

    def _prepare(self) -> None:
        """Check the call and the whole list, divide the shelf, make the folder. Raises ``InputError``."""
        if self.jobs is not None and not 1 <= self.jobs <= MOST_JOBS:
            raise InputError(Problem(file="--jobs", found=str(self.jobs), allowed=f"1 to {MOST_JOBS}"))
        check_terms(self.terms)
        check_inlet(self.inlet)
        for _ in self.rows:  # a list that is none is refused before anything is written
            break
        if self.out.is_dir():
            files = dict.fromkeys((self.out / SUMMARY_JSON, self.out / SUMMARY_CSV))
            ours = ours_beside(self.out / SUMMARY_JSON).values()
            if problems := obstacles(files, force=self.force, ours=ours, regular=True):
                raise InputError(problems)
        if self.stock is not None:
            from dimmplan.fleet.share import share

            self.shared = share(self.requests, (row for row in self.rows if isinstance(row, Row)))
        make_folder(self.out / "machines")

    def _work(self, lines: IO[str], table: IO[str]) -> None:
        """Do row after row, with a bar on a terminal."""
        table.write(f"{csv_head(COLUMNS)}\n")
        count = self.rows.count()
        jobs = min(self.jobs or usual_jobs(), max(1, count // FEW_MACHINES))
        shown = typer.progressbar(length=count, show_pos=True, file=sys.stderr, hidden=not sys.stderr.isatty())
        with Workers(jobs, self.cluster) as workers, shown as bar:
            for record in self._records(workers):
                self.counts[str(record["status"])] += 1
                _say_problems(record)
                lines.write(json.dumps(record) + "\n")
                table.write(csv_line(COLUMNS, record))
                bar.update(1)

    def _finish(self, lines: IO[str], table: IO[str]) -> None:
        """Write the summaries."""
        lines.seek(0)
        table.seek(0)
        digest = hashlib.sha256()
        for line in table:
            digest.update(line.encode("utf-8"))
        table.seek(0)
        parts = json_parts(map(json.loads, lines), self.counts, self.shared, {SUMMARY_CSV: digest.hexdigest()})
        write_stream(self.out / SUMMARY_JSON, (part.encode("utf-8") for part in parts))
        write_stream(self.out / SUMMARY_CSV, (row.encode("utf-8") for row in table))

    # -- rows ------------------------------------------------------------------------------------------------------

    def _records(self, workers: Workers) -> Iterator[Record]:
        """The rows of the summary in order; the files of each machine are written before its row is given."""
        rows = iter(self.rows)
        while window := list(islice(rows, ROWS_AT_ONCE * workers.count)):
            looked = [self._look(row) for row in window]
            todo = [each for each in looked if isinstance(each, _ToDo)]
            new = {each.key: each for each in todo if each.key not in self._solved}
            calls = [(one.asked.board, one.asked.request, one.share and one.share.option) for one in new.values()]
            self._solved |= zip(new, workers.results(solve, calls), strict=True)
            sheets = workers.results(
                draw,
                [
                    (each.asked.board, solved.placement, {**self.sheet, "tag": each.row.tag})
                    for each in todo
                    if isinstance(solved := self._solved[each.key], MachinePlan)
                ],
            )
            for each in looked:
                if not isinstance(each, _ToDo):
                    yield each
                elif isinstance(solved := self._solved[each.key], MachinePlan):
                    yield self._written(each, solved, next(sheets))
                else:
                    problems = self.requests.problems(each.row, solved)
                    yield impossible_row(cleaned(each.row.tag), each.row.line, problems, solved)

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
        todo = _ToDo(row, asked, share, self._digest(row, asked, share))
        known = read_machine(self.out / "machines" / row.folder, todo.digest)
        if known is None:
            return todo
        self.kept += 1
        return {"tag": tag, "line": row.line, **known}

    def _not_served(self, row: Row, tag: str, asked: BoardRequest, shared: SharedShelf) -> Record:
        """A machine that gets nothing of the shelf: all of it would not do, or others get what it needs."""
        alone = self.requests.alone(asked)
        if alone is not None:
            record = impossible_row(tag, row.line, self.requests.problems(row, alone), alone)
        else:
            hint = "Other machines get what it needs of the shelf."
            record = problem_row(tag, row.line, "not-served", [self.rows.problem(row.line, "", "", "", hint=hint)])
        return with_purchase(record, self.requests.lacking(row, asked, shared.left))

    def _written(self, todo: _ToDo, solved: MachinePlan, sheet: dict[str, bytes]) -> Record:
        """Write a machine's files, the one that says that they are whole last."""
        row, share = todo.row, todo.share
        tag = cleaned(row.tag)
        record: Record = solved.row | {"tag": tag, "line": row.line, "folder": f"machines/{row.folder}"}
        words = {name: its.plain() for name, its in sheet_record({**self.sheet, "tag": row.tag}).items()}
        files = {"plan.json": to_json(solved.plan_json | words).encode("ascii"), **sheet}
        if share is not None:
            record["take"] = taken_rows(share)
            files["pick.csv"] = pick_csv(solved.placement, share.taken).encode("utf-8")
        manifest = {
            "format": 1,
            "made_by": "dimmplan",
            "request": todo.digest,
            "files": {},
            "summary": {name: value for name, value in record.items() if name != "line"},
        }
        try:
            folder = PlanFolder(self.out / "machines" / row.folder, MACHINE, manifest, files)
            write_folders([folder], force=self.force)
        except InputError as error:
            if isinstance(error, WriteError) and error.lasting:
                raise  # the disk is full: no row is to blame
            told = [self.rows.problem(row.line, "", p.found, p.allowed, p.hint) for p in error.problems]
            return problem_row(tag, row.line, "bad-row", told)
        self.drawn += 1
        return record

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
            *([board.absent, board.inlet_c] if board.absent or board.inlet_c is not None else []),
            sorted(self.sheet.items()),
            share and (share.option.modules, sorted(share.option.content.items()), share.taken),
        )
        return hashlib.sha256(repr(parts).encode("utf-8", errors="surrogatepass")).hexdigest()


def _say_problems(record: Record) -> None:
    """Name what is wrong with a row, above the bar on a terminal."""
    for each in record["problems"] if record["status"] != "planned" else ():
        problem = Problem(file=str(record["tag"]), **each)
        begin = "\r\033[K" if sys.stderr.isatty() else ""
        sys.stderr.write(f"{begin}{record['status']}: {problem.sentence()}\n")


@contextmanager
def _spool() -> Iterator[IO[str]]:
    """A nameless file for rows on their way, so that they need no memory; on a full disk its end cannot be written."""
    spool = tempfile.TemporaryFile("w+", encoding="utf-8", newline="")  # noqa: SIM115 - closing may fail
    try:
        yield spool
    finally:
        with suppress(OSError):
            spool.close()


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """A folder that no other run works in meanwhile. Raises ``InputError`` where one does."""

    def refused(found: str, hint: str = "") -> InputError:
        return InputError(Problem(file=cleaned(str(folder)), found=found, allowed="a folder for this run", hint=hint))

    lock = FileLock(folder / LOCK)
    try:
        lock.acquire(blocking=False)
    except Timeout:
        raise refused("another run at work in it", "Wait for its end, or give another --out.") from None
    except (OSError, NotImplementedError) as error:
        raise refused(f"a folder that cannot be locked ({cleaned(str(error))})") from None
    try:
        yield
    finally:
        lock.release()


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
