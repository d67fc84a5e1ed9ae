"""The rows of a comparison: as JSON, as columns for every form, and as a table with its words for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from operator import attrgetter
from typing import Any, NamedTuple

from dimmplan.compare import Group, Row
from dimmplan.model.module import modules_phrase
from dimmplan.output.columns import NOTHING, Column, Part, Table, Text, at, board_line, csv_text, finding_text
from dimmplan.output.compare import CHANNELS, Report, counts_of, limit_sentences, swap_text, unreached_text
from dimmplan.output.record import (
    BoardEntry,
    Counts,
    Document,
    FindingEntry,
    GbS,
    Label,
    NearestEntry,
    Record,
    Slots,
    TotalsEntry,
    means,
)
from dimmplan.output.stock import LeftOutEntry, left_out_lines
from dimmplan.plancode.code import encode
from dimmplan.units import decimal, format_capacity

WIDTH = 100
BELOW = "<"
PICK_LETTERS = {
    "capacity-first": "C",
    "bandwidth-first": "B",
    "equal-sockets": "E",
    "cost-first": "P",
    "room-first": "R",
    "upgrade": "U",
}

# -- JSON --------------------------------------------------------------------------------------------------------------


class KeyEntry(Record):
    """A type of the comparison."""

    key: str = means("letter of the type", within=lambda report, module: report.keys[module])
    label: str = means("its label")


class CapacityEntry(Record):
    """A capacity that is compared."""

    capacity_gib: int = means("compared")
    why: str = means("`asked`, or why it was looked at")
    every_channel_alike: bool = means("some row fills every channel alike", within=Report.every_channel_alike)


def _placed(make: Callable[[Report, Any], Any]) -> Callable[[Report, Row], Any]:
    """A key that only a row with a placement has."""
    return lambda report, row: ... if row.planned is None else make(report, row)


class RowEntry(Record):
    """One row; what follows `status` stands there where it has a placement, `nearest` where it has none."""

    capacity_gib: int = means("asked", of="request.capacity_gib")
    processor: str | None = means("the option", of="request.processor")
    allowed: list[Label] = means("labels that the row may use", of="types")
    command: str = means("the command that plans it", within=Report.command)
    status: str = means(
        "`proven`, `best-found` or `impossible`",
        by=lambda row: row.planned.placement.status if row.planned else "impossible",
    )
    outside_window: bool = means(
        "more than a quarter above what is asked", of="planned.answer.outside_window", default=False
    )
    modules: Counts = means("what it uses", of="planned.placement.content", default=[])
    placement: str = means("the placement in a few letters", within=_placed(Report.placement), default="")
    totals: TotalsEntry | None = means(
        "the whole machine", within=_placed(lambda _, row: TotalsEntry.of(row.figures, cost=row.cost)), default=None
    )
    every_channel_alike: bool = means(
        "all channels carry the same", within=_placed(lambda _, row: row.even), default=False
    )
    unbeaten: bool = means(
        "no other row of the capacity is at least as good in everything",
        within=_placed(lambda _, row: row.unbeaten),
        default=False,
    )
    plan_answer: bool = means(
        "what `plan` answers with these modules", within=_placed(lambda _, row: row.is_answer), default=False
    )
    picked_by: list[str] = means("lists that put it first", within=_placed(lambda _, row: row.picked_by), default=[])
    findings: list[FindingEntry] = means("what a person must know", within=_placed(Report.findings), default=[])
    slots: Slots = means("label, or null", of="planned.placement.slots", default={})
    code: str = means(
        "the plan code", within=_placed(lambda report, row: encode(report.board, row.planned.placement)), default=""
    )
    nearest: NearestEntry | None = means(
        "the nearest capacities that fit", by=lambda row: row if row.planned is None else ..., default=None
    )


class FromTo(Record):
    """A figure with one processor and with another."""

    before: GbS | int | None = means("with the first, null where it has no row", to="from")
    after: GbS | int | None = means("with the other", to="to")


class SwapEntry(Record):
    """What another processor does to a capacity."""

    capacity_gib: int = means("where another processor is compared", by=lambda swap: swap[1].capacity_gib)
    before: str | None = means("the first option", to="from", within=lambda report, _: report.comparison.processors[0])
    after: str = means("the other one", to="to", by=lambda swap: swap[1].processor)
    balanced_sweep_gb_s: FromTo = means("GB/s", by=lambda swap: _from_to(swap, "balanced_sweep_gb_s"))
    rate_mts: FromTo = means("MT/s", by=lambda swap: _from_to(swap, "rate_mts"))
    text: str = means("in words", within=lambda report, swap: swap_text(report, swap[0], swap[1].answer))


def _from_to(swap: tuple[Row | None, Group], figure: str) -> dict[str, Any]:
    """A figure of both answers; ``None`` where there is none."""
    before, after = (row and row.figures and getattr(row.figures, figure) for row in (swap[0], swap[1].answer))
    return {"before": before, "after": after}


class LimitEntry(Record):
    """A limit that a processor sets on a type."""

    processor: str = means("option that limits a type")
    label: Label = means("the type", of="module")
    kind: str = means("what it limits")
    allowed: int = means("what it allows")
    text: str = means("in words", by=lambda limit: limit_sentences([limit])[0])


class CompareDocument(Document, commands="compare"):
    """Rows of options side by side."""

    board: BoardEntry = means("the board")
    fitted: list[str] = means("sockets with a processor", of="comparison.base.fitted")
    mode: str = means(
        "`independent`, `mirrored`, `partly-mirrored`, `lockstep` or `sparing`", of="comparison.base.mode"
    )
    prefer: str = means("the list of criteria", of="comparison.base.prefer")
    over: str | None = means("allowance as asked")
    max_types: int = means("most types used at once", of="comparison.base.max_types")
    processors: list[str | None] = means("options compared", of="comparison.processors")
    modules: list[KeyEntry] = means("types and their letters", by=lambda report: list(report.keys))
    capacities: list[CapacityEntry] = means("what is compared", of="comparison.chosen")
    currency: str | None = means("of the shelf")
    cost_compared: bool = means("whether every row has a cost", of="comparison.priced")
    rows: list[RowEntry] = means("one for each way to reach a capacity", of="comparison.rows")
    swaps: list[SwapEntry] = means("what other processors change")
    limits: list[LimitEntry] = means("where a processor allows less than the board", of="comparison.limits")
    findings: list[FindingEntry] = means("findings that all rows share", of="common")
    left_out: list[LeftOutEntry] = means("what the board cannot use of the shelf")
    files: list[str] = means("files written, with `-o`", default=[])


# -- columns -----------------------------------------------------------------------------------------------------------


class Line(NamedTuple):
    """One row of a comparison, with its JSON entry."""

    row: Row
    record: RowEntry


def lines_of(report: Report, group: Group) -> list[Line]:
    """The rows of a group that are worth showing."""
    return [Line(row, RowEntry.of(row, report)) for row in report.shown(group)]


def compare_csv(report: Report) -> str:
    """A comparison as CSV, one line for each row; no cell is one that a spreadsheet would run."""
    lines = [Line(row, RowEntry.of(row, report)) for row in report.comparison.rows]
    return csv_text(columns(report), lines, end="\r\n")


def columns(report: Report) -> tuple[Column[Line], ...]:
    """The columns, in order."""
    currency = report.currency or ""
    return (
        *map(_column, ("capacity_gib", "processor", "allowed", "status")),
        Column(
            title="marks",
            short="",
            text=lambda line: "".join(mark if is_so(line.row) else " " for mark, _, is_so in _MARKS),
            page=lambda line: ", ".join(word for _, word, is_so in _MARKS if is_so(line.row)),
            always=True,
        ),
        _column(
            "modules",
            title="modules",
            text=lambda line: report.modules(line.row),
            page=lambda line: modules_phrase(counts_of(line.row)),
            cell=lambda line: "; ".join(f"{each.count} x {each.label}" for each in line.record.modules),
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
            text=lambda line: f"{_rate(line)}{BELOW if report.below_label(line.row) else ' '}",
            page=lambda line: f"{_rate(line)}{' (below label)' if report.below_label(line.row) else ''}",
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
            text=lambda line: _apart(line.row) or NOTHING,
            page=lambda line: _apart(line.row) or "0",
        ),
        _column("totals.free_slots", title="free slots", short="free", align="right"),
        _column("totals.cost", title="cost", unit=currency, short=f"cost {currency}".strip(), align="right", places=2),
        Column(key="currency", value=lambda line: report.currency if line.row.planned else None),
        *map(_column, ("every_channel_alike", "unbeaten", "plan_answer")),
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
            text=lambda line: ",".join(report.numbers(line.row)),
            page=lambda line: ", ".join(report.numbers(line.row)),
            cell=lambda line: (
                " ".join(finding.text for finding in report.own_findings(line.row))
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


_MARKS = (
    (">", "answer", attrgetter("is_answer")),
    ("*", "unbeaten", attrgetter("unbeaten")),
    ("=", "all alike", attrgetter("even")),
)
"""Marks of a row on a terminal, on a page, and which rows have them."""


def _rate(line: Line) -> Any:
    return at(line.record, "totals.rate_mts")


def _apart(row: Row) -> str:
    apart = row.figures.socket_difference_gib if row.figures else 0
    return format_capacity(apart).removesuffix(" GiB") if apart else ""


# -- text --------------------------------------------------------------------------------------------------------------


def before_table(report: Report) -> str:
    """What is compared, and the letters of the types."""
    page = Text(board_line(report.board), report.headline, report.why, width=WIDTH)
    page.heading()
    for module, letter in report.keys.items():
        page.note(f"{letter}  {module.label}{report.shelf_text(module)}", hang=3)
    page.heading()
    return str(page)


def compare_table(report: Report) -> Table[Line]:
    """The table: a line for each capacity and processor, and its rows."""
    parts = []
    buy = " and what to buy" if report.comparison.shelf else ""
    for group in report.comparison.groups:
        lines, remarks = lines_of(report, group), Text(width=WIDTH)
        unreached = report.unreached(group) if report.asked else ""
        if unreached:
            remarks.note(f"not {unreached}", 5, hang=4)
        processor = f"  {group.processor}" if len(report.comparison.processors) > 1 else ""
        nothing = "" if lines else f"  nothing fits; plan with this capacity says why{buy}"
        title = f"{format_capacity(group.capacity_gib)}{processor}{nothing}"
        parts.append(Part(items=lines, title=title, remarks=remarks.lines))
    return Table(columns(report), parts)


def after_table(report: Report) -> str:
    """What the table means, and what is to be known of its rows."""
    page = Text(width=WIDTH)
    page.heading(*_legend(report), report.cost)
    page.notes("Findings", [f"{number} {finding_text(each)}" for each, number in report.numbered.items()])
    page.notes("For every row", map(finding_text, report.common))
    others = [f"--processor {name}" for name in [*filter(None, report.comparison.processors), *report.other_processors]]
    more = [f"To see what another processor does to memory: {' '.join(others)}"] if report.other_processors else []
    page.notes("Processors", report.processors + more)
    if report.left_out:
        page.heading("On the shelf")
        left_out_lines(page, report.left_out)
    return str(page)


def _legend(report: Report) -> Iterator[str]:
    yield (
        "> what plan answers when all these types are allowed; * no other row of its capacity beats it in "
        f"{report.beaten_in}; = every channel carries the same."
    )
    yield f"channels: {CHANNELS}; each: every socket; x3: three sockets in a row."
    if any(map(report.below_label, report.rows)):
        yield f"{BELOW} slower than a label says; plan with that row's modules says what limits it."
    yield (
        "share: worst socket, of the peak of all its channels; GB/s: balanced sweep, a peak of a model (STREAM usually "
        "measures 70 to 85 % of peak); worst: sweep of the worst socket; apart: GiB between the sockets; "
        "free: empty slots."
    )
    picks = {name for row in report.comparison.rows for name in row.picked_by}
    letters = ", ".join(f"{letter} {name}" for name, letter in PICK_LETTERS.items() if name in picks)
    if letters:
        yield f"picked: which row of its capacity comes first by {letters}."
    yield "plan with one row's modules adds runners-up, and one step of capacity up and down."
