"""A comparison as JSON."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from dimmplan.compare import Row
from dimmplan.output.compare import Swap, View, counts_of, limit_sentences
from dimmplan.output.record import (
    BoardEntry,
    FindingEntry,
    NearestEntry,
    TotalsEntry,
    nearest_record,
    totals_record,
)
from dimmplan.output.stock import LeftOutEntry
from dimmplan.output.values import Count, Document, GbS, Record, Slots, counts
from dimmplan.plancode.code import encode
from dimmplan.supply import Limit, left_out_of


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
    label: str = Field(description="the type")
    kind: str = Field(description="what it limits")
    allowed: int = Field(description="what it allows")
    text: str = Field(description="in words")


class CompareDocument(Document):
    """A comparison."""

    commands = "compare"
    about = "Rows of options side by side."

    board: BoardEntry = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    mode: str = Field(description="`independent`, `mirrored` or `sparing`")
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
    comparison, board = view.comparison, view.board
    base, shelf = comparison.base, comparison.shelf
    left_out = left_out_of(board, shelf, comparison.processors[0]) if shelf else ()
    more: dict[str, Any] = {} if files is None else {"files": files}
    return CompareDocument(
        board=BoardEntry.of(board),
        fitted=list(base.fitted),
        mode=base.mode.value,
        prefer=base.prefer,
        over=view.over,
        max_types=base.max_types,
        processors=list(comparison.processors),
        modules=[KeyEntry(key=view.keys[module], label=module.label) for module in view.types],
        capacities=[
            CapacityEntry(
                capacity_gib=worth.capacity_gib,
                why=worth.why,
                every_channel_alike=any(
                    row.even for g in comparison.groups if g.capacity_gib == worth.capacity_gib for row in view.shown(g)
                ),
            )
            for worth in comparison.chosen
        ],
        currency=view.currency,
        cost_compared=comparison.priced,
        rows=[row_record(view, row) for row in comparison.rows],
        swaps=[_swap(view, swap) for swap in view.swaps()],
        limits=[_limit(limit) for limit in comparison.limits],
        findings=FindingEntry.all_of(view.common),
        left_out=LeftOutEntry.all_of(left_out),
        **more,
    )


def row_record(view: View, row: Row) -> RowEntry:
    """A row as JSON."""
    request, planned = row.request, row.planned
    head: dict[str, Any] = {
        "capacity_gib": request.capacity_gib,
        "processor": request.processor,
        "allowed": [module.label for module in row.types],
        "command": view.command(row),
    }
    if planned is None or row.figures is None:
        return RowEntry(**head, status="impossible", nearest=nearest_record(row.below_gib, row.above_gib))
    placement = planned.placement
    return RowEntry(
        **head,
        status=placement.status,
        outside_window=row.outside,
        modules=counts(counts_of(row)),
        placement=view.placement(row),
        totals=totals_record(row.figures, row.cost),
        every_channel_alike=row.even,
        unbeaten=row.unbeaten,
        plan_answer=row.is_answer,
        picked_by=list(row.picked_by),
        findings=FindingEntry.all_of(view.findings(row)),
        slots=placement.slots,
        code=encode(view.board, placement),
    )


def _swap(view: View, swap: Swap) -> SwapEntry:
    before, after = (None if row is None else row.figures for row in (swap.before, swap.after))
    return SwapEntry(
        capacity_gib=swap.capacity_gib,
        before=view.comparison.processors[0],
        after=swap.processor,
        balanced_sweep_gb_s=FromTo(
            before=before and before.balanced_sweep_gb_s, after=after and after.balanced_sweep_gb_s
        ),
        rate_mts=FromTo(before=before and before.rate_mts, after=after and after.rate_mts),
        text=view.swap_text(swap),
    )


def _limit(limit: Limit) -> LimitEntry:
    return LimitEntry(
        processor=limit.processor,
        label=limit.module.label,
        kind=limit.kind,
        allowed=limit.allowed,
        text=limit_sentences([limit])[0],
    )
