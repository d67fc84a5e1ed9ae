"""Many machines in one summary, row by row: CSV for a spreadsheet, JSON for a program, lines for a terminal."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, Any

from dimmplan.errors import ImpossibleError, Problem
from dimmplan.fleet.share import Share, SharedShelf
from dimmplan.output.columns import Column, Text
from dimmplan.output.record import (
    FORMAT,
    BalancedSweep,
    Counts,
    Document,
    GbS,
    Label,
    NearestEntry,
    Number,
    OwnSweep,
    Places,
    Record,
    SystemSweep,
    WorstShare,
    WorstSweep,
    means,
)
from dimmplan.output.stock import BuyEntry, shortfall_keys, shortfall_lines
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.units import counted, format_capacity
from dimmplan.wording import gb_s

MADE_BY = "dimmplan"
STATUSES = {
    "planned": "planned",
    "impossible": "impossible",
    "not-served": "not served by the shelf",
    "bad-row": "bad rows",
}


class ProblemEntry(Record):
    """Why a machine has no plan."""

    place: str = means("where in the list")
    found: str = means("what was found")
    allowed: str = means("what is allowed")
    hint: str = means("what to do")


class TakenEntry(Record):
    """What to take from one line of a shelf."""

    place: str = means("line of the stock list", of="lot.place")
    label: str = means("what to take", of="lot.label")
    count: int = means("how many")
    part: str = means("part number on the shelf, may be empty", of="lot.part")
    watts: Annotated[float | None, Places(1)] = means("the most that one takes, by the shelf", of="lot.watts")
    serves_as: Label = means("label in the plan, which the board cannot tell apart")


class MachineEntry(Record):
    """One machine; from `board` to `take` where it is planned, the rest where it is not."""

    tag: str = means("as in the list")
    line: int = means("line of the list")
    status: str = means("`planned`, `impossible`, `not-served`, `bad-row`")
    board: str = means("the board", default="")
    capacity_gib: int = means("asked", default=0)
    usable_gib: Number = means("reached", default=0)
    modules: Counts = means("what it uses", default=[])
    rate_mts: int = means("MT/s", default=0)
    balanced_sweep_gb_s: BalancedSweep = 0.0
    system_sweep_gb_s: SystemSweep = 0.0
    own_sweep_gb_s: OwnSweep = 0.0
    worst_sweep_gb_s: WorstSweep = 0.0
    worst_share: WorstShare = 0.0
    plan_status: str = means("`proven` or `best-found`", default="")
    code: str = means("the plan code", default="")
    folder: str = means("where its plan and sheet are", default="")
    take: list[TakenEntry] = means("what it gets of a shelf", default=[])
    problems: list[ProblemEntry] = means("why it is not planned", default=[])
    nearest: NearestEntry | None = means("where nothing fits: the nearest capacities", default=None)
    buy: list[BuyEntry] | None = means(
        "what to buy beside what is left so that it would be served; null where no list would", default=None
    )
    buy_status: str | None = means("`proven` (the shortest list) or `best-found`", default=None)
    currency: str | None = means("of the costs", default=None)


class StatusCounts(Record):
    """Machines of each status."""

    planned: int = means("machines with a plan")
    impossible: int = means("no placement")
    not_served: int = means("not by this shelf", to="not-served")
    bad_row: int = means("rows that cannot be read", to="bad-row")


class LeftEntry(Record):
    """What is left on one line of a shelf."""

    place: str = means("line of the stock list")
    label: str = means("what is left")
    count: int = means("how many")


class DivisionEntry(Record):
    """How a shelf was divided."""

    method: str = means("`exact`, `best-found` or `one-at-a-time`")
    why: str | None = means("why not exact, null where it is")
    most: int | None = means("no division serves more machines; null where that is not known")
    served: int = means("machines served")
    machines: int = means("machines that could be", of="wanted")
    smallest_sweep_gb_s: GbS | None = means("of those served", of="smallest_sweep")
    modules: int = means("taken in all")
    left: list[LeftEntry] = means("what is left")


class FleetDocument(Document, commands="plan --machines"):
    """Many machines; `summary.json` in the output folder is the same."""

    made_by: str = means("the mark of the file")
    machines: list[MachineEntry] = means("in the order of the list")
    counts: StatusCounts = means("machines of each status")
    division: DivisionEntry | None = means("null without a shelf")
    files: dict[str, str] = means("SHA-256 of the files beside it")
    seal: str = means("digest of all the rest: shows whether the file has been edited")


Row = dict[str, Any]
"""A machine's entry as it is written, line by line."""


def planned_row(planned: Planned) -> Row:
    """The summary of a machine that has a plan; its tag, line, folder and share of a shelf are still to be said."""
    board, placement, figures = planned.board, planned.placement, planned.figures
    return MachineEntry.of(
        figures,
        tag="",
        line=0,
        status="planned",
        board=board.id,
        capacity_gib=planned.request.capacity_gib,
        modules=placement.content,
        plan_status=placement.status,
        code=encode(board, placement),
        folder="",
    ).plain()


def taken_rows(share: Share) -> list[Row]:
    """What a machine gets from the shelf, line by line."""
    return [TakenEntry.of(taken).plain() for taken in share.taken]


def problem_row(tag: str, line: int, status: str, problems: Sequence[Problem], **more: Any) -> Row:
    """The summary of a machine without a plan."""
    return MachineEntry.of(tag=tag, line=line, status=status, problems=problems, **more).plain()


def impossible_row(tag: str, line: int, problems: Sequence[Problem], error: ImpossibleError) -> Row:
    """The summary of a machine that nothing fits, with the nearest capacities that do."""
    near = [(error.below_gib, "below"), (error.above_gib, "above")]
    sides = [f"{format_capacity(gib)} {side}" for gib, side in near if gib is not None]
    *others, last = problems
    told = last._replace(hint=f"{last.hint} Nearest capacities that fit: {', '.join(sides) or 'none'}.")
    return problem_row(tag, line, "impossible", [*others, told], nearest=error)


def with_purchase(record: Row, beside: ImpossibleError | None) -> Row:
    """The summary of a machine that a shared shelf does not serve, with what there is to buy beside what is left."""
    *others, last = record["problems"]
    told = {**last, "hint": f"{last['hint']} {_purchase_text(beside)}".strip()}
    shortfall = beside.shortfall if beside is not None else None
    return MachineEntry.of(**{**record, "problems": [*others, told], **shortfall_keys(shortfall)}).plain()


def _purchase_text(beside: ImpossibleError | None) -> str:
    if beside is None:
        return "What is left is enough only above its allowance (--over)."
    if beside.shortfall is None:
        return ""
    text = " ".join(line.strip() for line in shortfall_lines(beside.shortfall, beside="what is left"))
    return f"{text[0].upper()}{text[1:]}."


def _modules(entries: Iterable[Mapping[str, Any]] | None) -> str:
    parts = ((each, f" ({each['part']})" if each.get("part") else "") for each in entries or ())
    return " + ".join(f"{each['count']} x {each['label']}{part}" for each, part in parts)


_PLANNED = "rate_mts balanced_sweep_gb_s system_sweep_gb_s worst_sweep_gb_s worst_share plan_status code folder"
COLUMNS = (
    *(Column[Row](key=key) for key in ("tag", "line", "status", "board", "capacity_gib", "usable_gib")),
    Column[Row](key="modules", cell=lambda record: _modules(record.get("modules"))),
    *(Column[Row](key=key) for key in _PLANNED.split()),
    Column[Row](
        key="take",
        cell=lambda record: "; ".join(f"{t['count']} x {t['label']} ({t['place']})" for t in record.get("take", ())),
    ),
    Column[Row](key="buy", cell=lambda record: _modules(record.get("buy"))),
    Column[Row](
        key="problems",
        name="problem",
        cell=lambda record: " ".join(Problem(file="", **each).sentence() for each in record.get("problems", ())),
    ),
)
"""The summary of machines, one row for each machine."""


def json_parts(
    records: Iterable[Row], counts: Counter[str], shared: SharedShelf | None, files: Mapping[str, str]
) -> Iterator[str]:
    """``FleetDocument``, piece by piece; ``counts`` may grow until the last row is written.

    ``files`` are the digests of the files beside it.
    """
    yield f'{{\n  "format": {FORMAT},\n  "made_by": "{MADE_BY}",\n  "machines": ['
    separator = "\n"
    for record in records:
        yield f"{separator}    {json.dumps(record)}"
        separator = ",\n"
    by_status = StatusCounts(**{status.replace("-", "_"): counts[status] for status in STATUSES})
    division = DivisionEntry.of(shared).plain() if shared else None
    tail = {"counts": by_status.plain(), "division": division, "files": dict(files)}
    yield f"\n  ],\n{json.dumps(tail, indent=2).removeprefix('{').lstrip(chr(10))}\n"


def fleet_text(counts: Counter[str], shared: SharedShelf | None, *, drawn: int, kept: int) -> str:
    """What was done, for a terminal."""
    total = counted(counts.total(), "machine")
    of_each = ", ".join(f"{counts[status]} {words}" for status, words in STATUSES.items() if counts[status])
    page = Text(f"{total}: {of_each or 'nothing to do'}")
    page.note(f"{counted(drawn, 'folder')} written, {kept} whole already")
    if shared is not None:
        page.note(_division_text(shared), hang=0)
    return str(page)


def _division_text(shared: SharedShelf) -> str:
    how = {
        "exact": "exact",
        "best-found": f"best found, at most {shared.most} can be served: {shared.why}",
        "one-at-a-time": f"one machine at a time, in the order of the file: {shared.why}",
    }[shared.method]
    smallest = f", smallest sweep {gb_s(shared.smallest_sweep)}" if shared.smallest_sweep is not None else ""
    left = sum(taken.count for taken in shared.left)
    return (
        f"The shelf serves {shared.served} of {counted(shared.wanted, 'machine')} with "
        f"{counted(shared.modules, 'module')}{smallest}; {counted(left, 'module')} left. Division: {how}."
    )
