"""Many machines in one summary, row by row: CSV for a spreadsheet, JSON for a program, lines for a terminal."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, Any

from pydantic import AliasPath, Field

from dimmplan.errors import ImpossibleError, Problem
from dimmplan.fleet.share import Share, SharedShelf
from dimmplan.output.columns import Column
from dimmplan.output.plan import BuyEntry, shortfall_keys
from dimmplan.output.record import (
    FORMAT,
    BalancedSweep,
    Count,
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
    counts,
)
from dimmplan.output.stock import shortfall_lines
from dimmplan.output.text import wrapped
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.units import counted, format_capacity
from dimmplan.wording.placement import gb_s

MADE_BY = "dimmplan"
STATUSES = ("planned", "impossible", "not-served", "bad-row")
_WORDS = {
    "planned": "planned",
    "impossible": "impossible",
    "not-served": "not served by the shelf",
    "bad-row": "bad rows",
}


class ProblemEntry(Record):
    """Why a machine has no plan."""

    place: str = Field(description="where in the list")
    found: str = Field(description="what was found")
    allowed: str = Field(description="what is allowed")
    hint: str = Field(description="what to do")


class TakenEntry(Record):
    """What to take from one line of a shelf."""

    place: str = Field(validation_alias=AliasPath("lot", "place"), description="line of the stock list")
    label: str = Field(validation_alias=AliasPath("lot", "label"), description="what to take")
    count: int = Field(description="how many")
    part: str = Field(validation_alias=AliasPath("lot", "part"), description="part number on the shelf, may be empty")
    watts: Annotated[float | None, Places(1)] = Field(
        validation_alias=AliasPath("lot", "watts"), description="the most that one takes, by the shelf"
    )
    serves_as: Label = Field(description="label in the plan, which the board cannot tell apart")


class MachineEntry(Record):
    """One machine; from `board` to `take` where it is planned, the rest where it is not."""

    tag: str = Field(description="as in the list")
    line: int = Field(description="line of the list")
    status: str = Field(description="`planned`, `impossible`, `not-served`, `bad-row`")
    board: str = Field(default="", description="the board")
    capacity_gib: int = Field(default=0, description="asked")
    usable_gib: Number = Field(default=0, description="reached")
    modules: list[Count] = Field(default=[], description="what it uses")
    rate_mts: int = Field(default=0, description="MT/s")
    balanced_sweep_gb_s: BalancedSweep = 0.0
    system_sweep_gb_s: SystemSweep = 0.0
    own_sweep_gb_s: OwnSweep = 0.0
    worst_sweep_gb_s: WorstSweep = 0.0
    worst_share: WorstShare = 0.0
    plan_status: str = Field(default="", description="`proven` or `best-found`")
    code: str = Field(default="", description="the plan code")
    folder: str = Field(default="", description="where its plan and sheet are")
    take: list[TakenEntry] = Field(default=[], description="what it gets of a shelf")
    problems: list[ProblemEntry] = Field(default=[], description="why it is not planned")
    nearest: NearestEntry | None = Field(default=None, description="where nothing fits: the nearest capacities")
    buy: list[BuyEntry] | None = Field(
        default=None,
        description="what to buy beside what is left so that it would be served; null where no list would",
    )
    buy_status: str | None = Field(default=None, description="`proven` (the shortest list) or `best-found`")
    currency: str | None = Field(default=None, description="of the costs")


class StatusCounts(Record):
    """Machines of each status."""

    planned: int = Field(description="machines with a plan")
    impossible: int = Field(description="no placement")
    not_served: int = Field(serialization_alias="not-served", description="not by this shelf")
    bad_row: int = Field(serialization_alias="bad-row", description="rows that cannot be read")


class LeftEntry(Record):
    """What is left on one line of a shelf."""

    place: str = Field(description="line of the stock list")
    label: str = Field(description="what is left")
    count: int = Field(description="how many")


class DivisionEntry(Record):
    """How a shelf was divided."""

    method: str = Field(description="`exact`, `best-found` or `one-at-a-time`")
    why: str | None = Field(description="why not exact, null where it is")
    most: int | None = Field(description="no division serves more machines; null where that is not known")
    served: int = Field(description="machines served")
    machines: int = Field(validation_alias="wanted", description="machines that could be")
    smallest_sweep_gb_s: GbS | None = Field(validation_alias="smallest_sweep", description="of those served")
    modules: int = Field(description="taken in all")
    left: list[LeftEntry] = Field(description="what is left")


class FleetDocument(Document):
    """Many machines."""

    commands = "plan --machines"
    about = "Many machines; `summary.json` in the output folder is the same."

    made_by: str = Field(description="the mark of the file")
    machines: list[MachineEntry] = Field(description="in the order of the list")
    counts: StatusCounts = Field(description="machines of each status")
    division: DivisionEntry | None = Field(description="null without a shelf")
    files: dict[str, str] = Field(description="SHA-256 of the files beside it")
    seal: str = Field(description="digest of all the rest: shows whether the file has been edited")


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
        modules=counts((module, placement.count(module)) for module in placement.types),
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
    said = [f"{format_capacity(gib)} {side}" for gib, side in near if gib is not None]
    *others, last = problems
    told = last._replace(hint=f"{last.hint} Nearest capacities that fit: {', '.join(said) or 'none'}.")
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


COLUMNS = (
    *(Column[Row](key=key) for key in ("tag", "line", "status", "board", "capacity_gib", "usable_gib")),
    Column[Row](key="modules", cell=lambda record: _modules(record.get("modules"))),
    *(
        Column[Row](key=key)
        for key in (
            "rate_mts",
            "balanced_sweep_gb_s",
            "system_sweep_gb_s",
            "worst_sweep_gb_s",
            "worst_share",
            "plan_status",
            "code",
            "folder",
        )
    ),
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
    division = division_record(shared)
    tail = {
        "counts": by_status.plain(),
        "division": division.plain() if division else None,
        "files": dict(files),
    }
    yield f"\n  ],\n{json.dumps(tail, indent=2).removeprefix('{').lstrip(chr(10))}\n"


def division_record(shared: SharedShelf | None) -> DivisionEntry | None:
    """How a shelf was divided, as JSON."""
    if shared is None:
        return None
    return DivisionEntry.of(shared, method=shared.method)


def fleet_text(counts: Counter[str], shared: SharedShelf | None, *, drawn: int, kept: int) -> str:
    """What was done, for a terminal."""
    total = counted(counts.total(), "machine")
    said = ", ".join(f"{counts[status]} {_WORDS[status]}" for status in STATUSES if counts[status])
    lines = wrapped(f"{total}: {said or 'nothing to do'}")
    lines += wrapped(f"{counted(drawn, 'folder')} written, {kept} whole already", first="  ")
    if shared is not None:
        lines += _division_lines(shared)
    return "\n".join(lines) + "\n"


def _division_lines(shared: SharedShelf) -> list[str]:
    how = {
        "exact": "exact",
        "best-found": f"best found, at most {shared.most} can be served: {shared.why}",
        "one-at-a-time": f"one machine at a time, in the order of the file: {shared.why}",
    }[shared.method]
    smallest = f", smallest sweep {gb_s(shared.smallest_sweep)}" if shared.smallest_sweep is not None else ""
    left = sum(taken.count for taken in shared.left)
    return wrapped(
        f"The shelf serves {shared.served} of {counted(shared.wanted, 'machine')} with "
        f"{counted(shared.modules, 'module')}{smallest}; {counted(left, 'module')} left. Division: {how}.",
        first="  ",
        rest="  ",
    )
