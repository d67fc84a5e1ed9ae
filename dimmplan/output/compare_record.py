"""A comparison as JSON, and the columns of its rows: what each says in text, HTML, CSV and JSON."""

from __future__ import annotations

from typing import Any, NamedTuple

from pydantic import Field

from dimmplan.compare import Group, Row
from dimmplan.model.module import modules_phrase
from dimmplan.output.columns import NOTHING, Column, at, csv_text
from dimmplan.output.compare import Swap, View, counts_of, limit_sentences, unreached_text
from dimmplan.output.record import (
    BoardEntry,
    Count,
    Document,
    FindingEntry,
    GbS,
    Label,
    NearestEntry,
    Record,
    Slots,
    TotalsEntry,
    counts,
)
from dimmplan.output.stock import LeftOutEntry
from dimmplan.plancode.code import encode
from dimmplan.units import decimal, format_capacity

PICK_LETTERS = {
    "capacity-first": "C",
    "bandwidth-first": "B",
    "equal-sockets": "E",
    "cost-first": "P",
    "room-first": "R",
    "upgrade": "U",
}
BELOW = "<"


class KeyEntry(Record):
    """A type of the comparison."""

    key: str = Field(description="letter of the type")
    label: str = Field(description="its label")


class CapacityEntry(Record):
    """A capacity that is compared."""

    capacity_gib: int = Field(description="compared")
    why: str = Field(description="`asked`, or why it was looked at")
    every_channel_alike: bool = Field(description="some row fills every channel alike")


class RowEntry(Record):
    """One row; what follows `status` stands there where it has a placement, `nearest` where it has none."""

    capacity_gib: int = Field(description="asked")
    processor: str | None = Field(description="the option")
    allowed: list[str] = Field(description="labels that the row may use")
    command: str = Field(description="the command that plans it")
    status: str = Field(description="`proven`, `best-found` or `impossible`")
    outside_window: bool = Field(default=False, description="more than a quarter above what is asked")
    modules: list[Count] = Field(default=[], description="what it uses")
    placement: str = Field(default="", description="the placement in a few letters")
    totals: TotalsEntry | None = Field(default=None, description="the whole machine")
    every_channel_alike: bool = Field(default=False, description="all channels carry the same")
    unbeaten: bool = Field(default=False, description="no other row of the capacity is at least as good in everything")
    plan_answer: bool = Field(default=False, description="what `plan` answers with these modules")
    picked_by: list[str] = Field(default=[], description="lists that put it first")
    findings: list[FindingEntry] = Field(default=[], description="what a person must know")
    slots: Slots = Field(default={}, description="label, or null")
    code: str = Field(default="", description="the plan code")
    nearest: NearestEntry | None = Field(default=None, description="the nearest capacities that fit")


class FromTo(Record):
    """A figure with one processor and with another."""

    before: GbS | int | None = Field(serialization_alias="from", description="with the first, null where it has no row")
    after: GbS | int | None = Field(serialization_alias="to", description="with the other")


class SwapEntry(Record):
    """What another processor does to a capacity."""

    capacity_gib: int = Field(description="where another processor is compared")
    before: str | None = Field(serialization_alias="from", description="the first option")
    after: str = Field(serialization_alias="to", description="the other one")
    balanced_sweep_gb_s: FromTo = Field(description="GB/s")
    rate_mts: FromTo = Field(description="MT/s")
    text: str = Field(description="in words")


class LimitEntry(Record):
    """A limit that a processor sets on a type."""

    processor: str = Field(description="option that limits a type")
    label: Label = Field(validation_alias="module", description="the type")
    kind: str = Field(description="what it limits")
    allowed: int = Field(description="what it allows")
    text: str = Field(description="in words")


class CompareDocument(Document):
    """A comparison."""

    commands = "compare"
    about = "Rows of options side by side."

    board: BoardEntry = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    mode: str = Field(description="`independent`, `mirrored`, `partly-mirrored`, `lockstep` or `sparing`")
    prefer: str = Field(description="the list of criteria")
    over: str | None = Field(description="allowance as asked")
    max_types: int = Field(description="most types used at once")
    processors: list[str | None] = Field(description="options compared")
    modules: list[KeyEntry] = Field(description="types and their letters")
    capacities: list[CapacityEntry] = Field(description="what is compared")
    currency: str | None = Field(description="of the shelf")
    cost_compared: bool = Field(description="whether every row has a cost")
    rows: list[RowEntry] = Field(description="one for each way to reach a capacity")
    swaps: list[SwapEntry] = Field(description="what other processors change")
    limits: list[LimitEntry] = Field(description="where a processor allows less than the board")
    findings: list[FindingEntry] = Field(description="findings that all rows share")
    left_out: list[LeftOutEntry] = Field(description="what the board cannot use of the shelf")
    files: list[str] = Field(default=[], description="files written, with `-o`")


def compare_record(view: View, files: list[str] | None = None) -> CompareDocument:
    """A comparison as JSON, format 1; totals have the keys of a plan's."""
    comparison, base = view.comparison, view.comparison.base
    return CompareDocument.of(
        base,
        board=view.board,
        over=view.over,
        processors=comparison.processors,
        modules=[KeyEntry(key=view.keys[module], label=module.label) for module in view.types],
        capacities=[CapacityEntry.of(worth, every_channel_alike=view.alike(worth)) for worth in comparison.chosen],
        currency=view.currency,
        cost_compared=comparison.priced,
        rows=[row_record(view, row) for row in comparison.rows],
        swaps=[_swap(view, swap) for swap in view.swaps()],
        limits=[LimitEntry.of(limit, text=limit_sentences([limit])[0]) for limit in comparison.limits],
        findings=view.common,
        left_out=view.left_out,
        **({} if files is None else {"files": files}),
    )


def row_record(view: View, row: Row) -> RowEntry:
    """A row as JSON."""
    planned = row.planned
    head: dict[str, Any] = {
        "capacity_gib": row.request.capacity_gib,
        "processor": row.request.processor,
        "allowed": [module.label for module in row.types],
        "command": view.command(row),
    }
    if planned is None or row.figures is None:
        return RowEntry.of(**head, status="impossible", nearest=row)
    placement = planned.placement
    return RowEntry.of(
        **head,
        status=placement.status,
        outside_window=row.outside,
        modules=counts(counts_of(row)),
        placement=view.placement(row),
        totals=TotalsEntry.of(row.figures, cost=row.cost),
        every_channel_alike=row.even,
        unbeaten=row.unbeaten,
        plan_answer=row.is_answer,
        picked_by=row.picked_by,
        findings=view.findings(row),
        slots=placement.slots,
        code=encode(view.board, placement),
    )


def _swap(view: View, swap: Swap) -> SwapEntry:
    before, after = (None if row is None else row.figures for row in (swap.before, swap.after))
    return SwapEntry.of(
        capacity_gib=swap.capacity_gib,
        before=view.comparison.processors[0],
        after=swap.processor,
        balanced_sweep_gb_s=FromTo.of(
            before=before and before.balanced_sweep_gb_s, after=after and after.balanced_sweep_gb_s
        ),
        rate_mts=FromTo.of(before=before and before.rate_mts, after=after and after.rate_mts),
        text=view.swap_text(swap),
    )


# -- columns -----------------------------------------------------------------------------------------------------------


class Line(NamedTuple):
    """One row of a comparison, with its JSON entry."""

    view: View
    row: Row
    record: RowEntry


def lines_of(view: View, group: Group) -> list[Line]:
    """The rows of a group that are worth showing."""
    return [Line(view, row, row_record(view, row)) for row in view.shown(group)]


def compare_csv(view: View) -> str:
    """A comparison as CSV, one line for each row; no cell is one that a spreadsheet would run."""
    lines = [Line(view, row, row_record(view, row)) for row in view.comparison.rows]
    return csv_text(columns(view), lines, end="\r\n")


def columns(view: View) -> tuple[Column[Line], ...]:
    """The columns, in order."""
    currency = view.currency or ""
    return (
        _column("capacity_gib"),
        _column("processor"),
        _column("allowed"),
        _column("status"),
        Column(title="marks", short="", text=_signs, page=_words, always=True),
        _column(
            "modules",
            title="modules",
            text=lambda line: view.modules(line.row),
            page=lambda line: modules_phrase(counts_of(line.row)),
            cell=lambda line: "; ".join(f"{m.count} x {m.label}" for m in line.record.modules),
            breaks=" + ",
            always=True,
        ),
        _column("placement", title="channels", breaks=" | ", always=True),
        _column("totals.modules", name="module_count"),
        _column("totals.usable_gib"),
        _column(
            "totals.rate_mts",
            title="MT/s",
            short="MT/s ",
            align="right",
            text=lambda line: f"{at(line.record, 'totals.rate_mts')}{BELOW if view.below_label(line.row) else ' '}",
            page=lambda line: (
                f"{at(line.record, 'totals.rate_mts')}{' (below label)' if view.below_label(line.row) else ''}"
            ),
        ),
        _column(
            "totals.worst_share",
            title="worst share",
            short="share",
            align="right",
            text=lambda line: f"{decimal(line.row.figures.worst_share, 3):.3f}" if line.row.figures else NOTHING,
        ),
        _column(
            "totals.balanced_sweep_gb_s", title="balanced sweep", unit="GB/s", short="GB/s", align="right", places=1
        ),
        _column("totals.system_sweep_gb_s"),
        _column("totals.worst_sweep_gb_s", title="worst socket", unit="GB/s", short="worst", align="right", places=1),
        _column(
            "totals.socket_difference_gib",
            title="apart",
            unit="GiB",
            short="apart",
            align="right",
            text=lambda line: _apart(line) or NOTHING,
            page=lambda line: _apart(line) or "0",
        ),
        _column("totals.free_slots", title="free slots", short="free", align="right"),
        _column("totals.cost", title="cost", unit=currency, short=f"cost {currency}".strip(), align="right", places=2),
        Column(key="currency", value=lambda line: view.currency if line.row.planned else None),
        _column("every_channel_alike"),
        _column("unbeaten"),
        _column("plan_answer"),
        _column(
            "picked_by",
            title="picked by",
            short="picked",
            text=lambda line: "".join(PICK_LETTERS[name] for name in line.row.picked_by),
            page=lambda line: ", ".join(line.row.picked_by),
        ),
        _column(
            "findings",
            title="findings",
            short="see",
            text=lambda line: ",".join(map(str, view.numbers(line.row))),
            page=lambda line: ", ".join(map(str, view.numbers(line.row))),
            cell=lambda line: (
                " ".join(finding.text for finding in view.own_findings(line.row))
                if line.row.planned
                else unreached_text(line.row)
            ),
        ),
        _column("code"),
        _column("command", title="plan it", screen=False),
    )


def _column(key: str, **known: Any) -> Column[Line]:
    """A column of what stands at a place of the JSON entry."""
    return Column(key=key, value=lambda line: at(line.record, key), **known)


def _signs(line: Line) -> str:
    row = line.row
    return (">" if row.is_answer else " ") + ("*" if row.unbeaten else " ") + ("=" if row.even else " ")


def _words(line: Line) -> str:
    row = line.row
    named = ((row.is_answer, "answer"), (row.unbeaten, "unbeaten"), (row.even, "all alike"))
    return ", ".join(name for is_so, name in named if is_so)


def _apart(line: Line) -> str:
    figures = line.row.figures
    apart = figures.socket_difference_gib if figures else 0
    return format_capacity(apart).removesuffix(" GiB") if apart else ""
