"""``dimmplan plan --machines``: a list of machines, a folder of sheets for each, one summary of all.

The output folder holds ``machines/<name>/`` with ``plan.json``, ``map.svg``, its further pages and ``machine.json``,
which is written last and names the digests of the others: a machine whose files are whole is not done again. Beside
them lie ``summary.csv`` and ``summary.json``, one row for each row of the list, in its order. Nothing in any file tells
when or in how many runs it was made, so a run that was stopped and taken up again leaves the same folder.

With ``--shard 3/16`` a run draws every sixteenth machine from the third on. It still works out the summary of all of
them, and the whole division of a shared shelf, so every shard writes the same summary, and folders of different shards
lie in one another without a conflict. Any job runner will do
(``dimmplan docs machines``).
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import typer

import dimmplan
from dimmplan.cli.files import write_stream
from dimmplan.cli.machine_files import MACHINE, Record, read_machine, spool, tidy
from dimmplan.cli.progress import Bar
from dimmplan.errors import ImpossibleError, InputError, Problem, RefusedError
from dimmplan.units import cleaned, quoted

if TYPE_CHECKING:
    from dimmplan.fleet.desk import Asked, Desk
    from dimmplan.fleet.rows import BadRow, Row
    from dimmplan.fleet.share import Share, Shared
    from dimmplan.planner import Planned, Terms

MOST_SHARDS = 10_000
SUMMARY_CSV, SUMMARY_JSON = "summary.csv", "summary.json"
_SHARD = re.compile(r"(\d{1,5})/(\d{1,5})")


@dataclass(frozen=True, kw_only=True)
class Job:
    """One run over a list of machines."""

    machines: Path
    out: Path
    terms: Terms
    stock: Path | None = None
    shard: str | None = None
    sheet: dict[str, Any] = field(default_factory=dict)
    force: bool = False


def plan_machines(job: Job, *, as_json: bool) -> None:
    """Plan and draw every machine of a list. Ends with status 1 where one of this run's rows has no plan."""
    part, parts = read_shard(job.shard)
    run = _Run(job, part, parts)
    try:
        run.prepare()
        run.work()
        run.finish(as_json=as_json)
    finally:
        run.close()
    if any(run.counts[status] for status in run.counts if status != "planned"):
        raise typer.Exit(1)


def read_shard(text: str | None) -> tuple[int, int]:
    """``3/16`` as its two numbers; the whole is ``1/1``. Raises ``InputError``."""
    if text is None:
        return 1, 1
    match = _SHARD.fullmatch(text.strip())
    part, parts = (int(match[1]), int(match[2])) if match else (0, 0)
    if not 1 <= part <= parts <= MOST_SHARDS:
        allowed = f"a part and their number, such as 3/16, up to {MOST_SHARDS}"
        raise InputError(Problem(file="--shard", place="", found=quoted(text), allowed=allowed))
    return part, parts


class _Run:
    """The work of one run: rows are read as a stream, and what is remembered depends on distinct requests only."""

    def __init__(self, job: Job, part: int, parts: int) -> None:
        from dimmplan.fleet.desk import Desk
        from dimmplan.fleet.rows import MachineList

        self.job = job
        self.part, self.parts = part, parts
        self.rows = MachineList(job.machines)
        self.desk: Desk = Desk(self.rows, job.terms, job.stock)
        self.shared: Shared | None = None
        self.counts: Counter[str] = Counter()
        """Rows of this run's part, by status."""
        self.all_counts: Counter[str] = Counter()
        self.drawn = self.kept = 0
        self._shares: dict[Any, Planned] = {}
        self._plans: dict[int, tuple[Planned, bytes]] = {}
        self._summaries: dict[str, IO[str]] = {}

    def prepare(self) -> None:
        """Check the whole list, divide the shelf, make the folders. Raises ``InputError``."""
        from dimmplan.cli.files import make_folder
        from dimmplan.fleet.rows import Row
        from dimmplan.planner import check_terms

        check_terms(self.job.terms)
        for _ in self.rows:  # a list that is none is refused before anything is written
            break
        for name in (SUMMARY_CSV, SUMMARY_JSON):
            self._check_summary(self.job.out / name)
        if self.job.stock is not None:
            from dimmplan.fleet.share import share

            self.shared = share(self.desk, (row for row in self.rows if isinstance(row, Row)))
        make_folder(self.job.out / "machines")
        if self.parts == 1:
            tidy(self.job.out, (SUMMARY_CSV, SUMMARY_JSON))

    def _check_summary(self, path: Path) -> None:
        """Raise ``InputError`` where something lies there that this tool did not make."""
        from dimmplan.output.fleet import CSV_MARK, MADE_BY

        if self.job.force or not path.exists():
            return
        with path.open("rb") as handle:
            begin = handle.read(1024)
        mark = CSV_MARK if path.suffix == ".csv" else MADE_BY
        if begin and mark.encode("ascii") not in begin:
            found = "a file that dimmplan did not make"
            hint = "Overwrite it with --force."
            raise InputError(
                Problem(file=cleaned(str(path)), place="", found=found, allowed="another --out", hint=hint)
            )

    # -- rows ------------------------------------------------------------------------------------------------------

    def work(self) -> None:
        """Do row after row, with a bar on a terminal."""
        from dimmplan.output.columns import csv_head, csv_line
        from dimmplan.output.fleet import COLUMNS

        lines, table = spool(), spool()
        self._summaries = {SUMMARY_JSON: lines, SUMMARY_CSV: table}
        table.write(f"{csv_head(COLUMNS)}\n")
        with Bar(self.rows.count() if sys.stderr.isatty() else 0) as bar:
            for row in self.rows:
                own = row.number % self.parts == self.part - 1
                record = self._record(row, own=own)
                status = str(record["status"])
                self.all_counts[status] += 1
                if own:
                    self.counts[status] += 1
                    bar.say(record)
                lines.write(json.dumps(record) + "\n")
                table.write(csv_line(COLUMNS, record))
                bar.step()

    def _record(self, row: Row | BadRow, *, own: bool) -> Record:
        """One row of the summary; the machine's files are written where the row is this run's own."""
        from dimmplan.fleet.rows import BadRow
        from dimmplan.output.fleet import impossible_row, problem_row

        if isinstance(row, BadRow):
            return problem_row(row.tag, row.line, "bad-row", row.problems)
        tag = cleaned(row.tag)
        asked = self.desk.asked(row)
        if isinstance(asked, InputError | RefusedError):
            return problem_row(tag, row.line, "bad-row", self.desk.problems(row, asked))
        share = self.shared.shares.get(row.number) if self.shared else None
        if self.shared is not None and share is None:
            return self._not_served(row, tag, asked, self.shared)
        digest = self._digest(row, asked, share)
        known = read_machine(self.job.out / "machines" / row.folder, digest, whole=own)
        if known is not None:
            self.kept += own
            return {"tag": tag, "line": row.line, **known}
        planned = self._planned(asked, share, whole=own)
        if isinstance(planned, ImpossibleError):
            return impossible_row(tag, row.line, self.desk.problems(row, planned), planned)
        return self._done(row, tag, planned, share, digest) if own else self._summary(row, tag, planned, share)

    def _not_served(self, row: Row, tag: str, asked: Asked, shared: Shared) -> Record:
        """A machine that gets nothing of the shelf: all of it would not do, or others get what it needs."""
        from dimmplan.output.fleet import impossible_row, problem_row, with_purchase

        alone = self.desk.best(asked, whole=False)
        if isinstance(alone, ImpossibleError):
            record = impossible_row(tag, row.line, self.desk.problems(row, alone), alone)
        else:
            hint = "Other machines get what it needs of the shelf."
            record = problem_row(tag, row.line, "not-served", [self.rows.problem(row.line, "", "", "", hint=hint)])
        left = {taken.place: taken.count for taken in shared.left}
        return with_purchase(record, self.desk.lacking(row, asked, left))

    def _planned(self, asked: Asked, share: Share | None, *, whole: bool) -> Planned | ImpossibleError:
        if share is None:
            return self.desk.best(asked, whole=whole)
        from dimmplan.fleet.share import planned_share

        key = (asked.key, share.option.modules, share.option.rank)
        if key not in self._shares:
            self._shares[key] = planned_share(asked.board, asked.request, share.option)
        return self._shares[key]

    def _summary(self, row: Row, tag: str, planned: Planned, share: Share | None) -> Record:
        from dimmplan.output.fleet import planned_row

        return planned_row(tag, row.line, f"machines/{row.folder}", planned, share)

    def _done(self, row: Row, tag: str, planned: Planned, share: Share | None, digest: str) -> Record:
        """Write a machine's files, the one that says that they are whole last."""
        from dimmplan.cli.draw import sheet_files
        from dimmplan.cli.files import make_folder, write_files
        from dimmplan.output.fleet import problem_row
        from dimmplan.output.values import to_json

        folder = self.job.out / "machines" / row.folder
        sheet = {**self.job.sheet, "tag": row.tag}
        files = {folder / "plan.json": self._plan_json(planned)}
        files |= sheet_files(planned.board, planned.placement, folder / "map.svg", quiet=True, **sheet)
        if share is not None:
            from dimmplan.output.pick import Pick, pick_csv

            picks = [Pick(t.count, t.label, t.serves_as, t.place, t.note) for t in share.taken]
            files[folder / "pick.csv"] = pick_csv(planned, picks).encode("utf-8")
        record = self._summary(row, tag, planned, share)
        manifest = {
            "format": 1,
            "made_by": "dimmplan",
            "request": digest,
            "files": {path.name: hashlib.sha256(content).hexdigest() for path, content in files.items()},
            "summary": {name: value for name, value in record.items() if name != "line"},
        }
        try:
            make_folder(folder)
            tidy(folder, [path.name for path in files])
            write_files(files, force=self.job.force)
            write_files({folder / MACHINE: to_json(manifest).encode("ascii")}, force=self.job.force)
        except InputError as error:
            problems = [self.rows.problem(row.line, "", p.found, p.allowed, p.hint) for p in error.problems]
            return problem_row(tag, row.line, "bad-row", problems)
        self.drawn += 1
        return record

    def _plan_json(self, planned: Planned) -> bytes:
        from dimmplan.output.record import plan_record
        from dimmplan.output.values import to_json

        known = self._plans.get(id(planned))
        if known is None or known[0] is not planned:
            known = self._plans[id(planned)] = planned, to_json(plan_record(planned)).encode("ascii")
        return known[1]

    def _digest(self, row: Row, asked: Asked, share: Share | None) -> str:
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
        """Let go of the rows on their way; on a full disk what they still hold cannot be written, and need not be."""
        for handle in self._summaries.values():
            with suppress(OSError):
                handle.close()

    def finish(self, *, as_json: bool) -> None:
        """Write the summaries and say what was done."""
        from dimmplan.output.fleet import fleet_text, json_parts

        for handle in self._summaries.values():
            handle.seek(0)
        records = (json.loads(line) for line in self._summaries[SUMMARY_JSON])
        parts = json_parts(records, self.all_counts, self.shared)
        write_stream(self.job.out / SUMMARY_JSON, (part.encode("utf-8") for part in parts))
        rows = self._summaries[SUMMARY_CSV]
        write_stream(self.job.out / SUMMARY_CSV, (row.encode("utf-8") for row in rows))
        if as_json:
            with (self.job.out / SUMMARY_JSON).open(encoding="ascii") as summary:
                for line in summary:
                    typer.echo(line, nl=False)
            return
        part = f" (part {self.part} of {self.parts})" if self.parts > 1 else ""
        typer.echo(fleet_text(self.counts, self.shared, drawn=self.drawn, kept=self.kept, part=part), nl=False)
