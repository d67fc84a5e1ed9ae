"""Many machines in one summary, row by row: CSV for a spreadsheet, JSON for a program, lines for a terminal."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from dimmplan.errors import ImpossibleError, Problem
from dimmplan.explain import gb_s
from dimmplan.fleet.share import Share, Shared
from dimmplan.output.columns import Column, csv_head
from dimmplan.output.record import nearest_record, shortfall_record
from dimmplan.output.stock import shortfall_lines
from dimmplan.output.text import wrapped
from dimmplan.output.values import FORMAT, gib_number
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.units import counted, decimal, format_capacity

MADE_BY = "dimmplan"
STATUSES = ("planned", "impossible", "not-served", "bad-row")
_WORDS = {
    "planned": "planned",
    "impossible": "impossible",
    "not-served": "not served by the shelf",
    "bad-row": "bad rows",
}

Record = dict[str, Any]


def planned_row(tag: str, line: int, folder: str, planned: Planned, share: Share | None) -> Record:
    """The summary of a machine that has a plan."""
    board, placement, figures = planned.board, planned.placement, planned.figures
    record: Record = {
        "tag": tag,
        "line": line,
        "status": "planned",
        "board": board.id,
        "capacity_gib": planned.request.capacity_gib,
        "usable_gib": gib_number(figures.usable_gib),
        "modules": [{"label": m.label, "count": placement.count(m)} for m in placement.types],
        "rate_mts": figures.rate_mts,
        "system_sweep_gb_s": decimal(figures.system_sweep_gb_s, 1),
        "worst_share": decimal(figures.worst_share, 4),
        "plan_status": placement.status,
        "code": encode(board, placement),
        "folder": folder,
    }
    if share is not None:
        record["take"] = [
            {"place": t.place, "label": t.label, "count": t.count, "serves_as": t.serves_as} for t in share.taken
        ]
    return record


def problem_row(tag: str, line: int, status: str, problems: Sequence[Problem]) -> Record:
    """The summary of a machine without a plan."""
    return {
        "tag": tag,
        "line": line,
        "status": status,
        "problems": [
            {"place": each.place, "found": each.found, "allowed": each.allowed, "hint": each.hint} for each in problems
        ],
    }


def impossible_row(tag: str, line: int, problems: Sequence[Problem], error: ImpossibleError) -> Record:
    """The summary of a machine that nothing fits, with the nearest capacities that do."""
    near = [(error.below_gib, "below"), (error.above_gib, "above")]
    said = [f"{format_capacity(gib)} {side}" for gib, side in near if gib is not None]
    *others, last = problems
    told = last._replace(hint=f"{last.hint} Nearest capacities that fit: {', '.join(said) or 'none'}.")
    return problem_row(tag, line, "impossible", [*others, told]) | {
        "nearest": nearest_record(error.below_gib, error.above_gib)
    }


def with_purchase(record: Record, beside: ImpossibleError | None) -> Record:
    """The summary of a machine that a shared shelf does not serve, with what there is to buy beside what is left."""
    *others, last = record["problems"]
    told = {**last, "hint": f"{last['hint']} {_purchase_text(beside)}".strip()}
    bought = shortfall_record(beside.shortfall) if beside is not None and beside.shortfall is not None else {}
    return record | bought | {"problems": [*others, told]}


def _purchase_text(beside: ImpossibleError | None) -> str:
    if beside is None:
        return "What is left serves it only above its allowance (--over)."
    if beside.shortfall is None:
        return ""
    text = " ".join(line.strip() for line in shortfall_lines(beside.shortfall, beside="what is left"))
    return f"{text[0].upper()}{text[1:]}."


def _modules(entries: Iterable[Mapping[str, Any]] | None) -> str:
    return " + ".join(f"{each['count']} x {each['label']}" for each in entries or ())


COLUMNS = (
    Column[Record](key="tag"),
    Column[Record](key="line"),
    Column[Record](key="status"),
    Column[Record](key="board"),
    Column[Record](key="capacity_gib"),
    Column[Record](key="usable_gib"),
    Column[Record](key="modules", cell=lambda record: _modules(record.get("modules"))),
    Column[Record](key="rate_mts"),
    Column[Record](key="system_sweep_gb_s"),
    Column[Record](key="worst_share"),
    Column[Record](key="plan_status"),
    Column[Record](key="code"),
    Column[Record](key="folder"),
    Column[Record](
        key="take",
        cell=lambda record: "; ".join(f"{t['count']} x {t['label']} ({t['place']})" for t in record.get("take", ())),
    ),
    Column[Record](key="buy", cell=lambda record: _modules(record.get("buy"))),
    Column[Record](
        key="problems",
        name="problem",
        cell=lambda record: " ".join(Problem(file="", **each).sentence() for each in record.get("problems", ())),
    ),
)
"""The summary of machines, one row for each machine."""
CSV_MARK = csv_head(COLUMNS[:4])
"""What a summary that this tool made begins with."""


def json_parts(records: Iterable[Record], counts: Counter[str], shared: Shared | None) -> Iterator[str]:
    """The summary as one JSON document, piece by piece; ``counts`` may grow until the last row is written."""
    yield f'{{\n  "format": {FORMAT},\n  "made_by": "{MADE_BY}",\n  "machines": ['
    separator = "\n"
    for record in records:
        yield f"{separator}    {json.dumps(record)}"
        separator = ",\n"
    tail = {"counts": {status: counts[status] for status in STATUSES}, "division": division_record(shared)}
    rest = json.dumps(tail, indent=2)
    yield f"\n  ],\n{rest.removeprefix('{').lstrip(chr(10))}\n"


def division_record(shared: Shared | None) -> Record | None:
    """How a shelf was divided, as JSON."""
    if shared is None:
        return None
    smallest = shared.smallest_sweep
    return {
        "method": "exact" if shared.exact else "one-at-a-time",
        "why": shared.why,
        "served": shared.served,
        "machines": shared.wanted,
        "smallest_sweep_gb_s": None if smallest is None else decimal(smallest, 1),
        "modules": shared.modules,
        "left": [{"place": t.place, "label": t.label, "count": t.count} for t in shared.left],
    }


def fleet_text(counts: Counter[str], shared: Shared | None, *, drawn: int, kept: int, part: str) -> str:
    """What was done, for a terminal."""
    total = counted(counts.total(), "machine")
    said = ", ".join(f"{counts[status]} {_WORDS[status]}" for status in STATUSES if counts[status])
    lines = wrapped(f"{total}{part}: {said or 'nothing to do'}")
    lines += wrapped(f"{counted(drawn, 'folder')} written, {kept} whole already", first="  ")
    if shared is not None:
        lines += _division_lines(shared)
    return "\n".join(lines) + "\n"


def _division_lines(shared: Shared) -> list[str]:
    how = "exact" if shared.exact else f"one machine at a time, in the order of the file: {shared.why}"
    smallest = f", smallest sweep {gb_s(shared.smallest_sweep)}" if shared.smallest_sweep is not None else ""
    left = sum(taken.count for taken in shared.left)
    return wrapped(
        f"The shelf serves {shared.served} of {counted(shared.wanted, 'machine')} with "
        f"{counted(shared.modules, 'module')}{smallest}; {counted(left, 'module')} left. Division: {how}.",
        first="  ",
        rest="  ",
    )
