"""The columns of a comparison: what each row says in text, HTML, CSV and JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dimmplan.compare import Group, Row
from dimmplan.output.columns import NOTHING, Column, at, csv_text
from dimmplan.output.compare import View, counts_of, unreached_text
from dimmplan.output.compare_record import RowEntry, row_record
from dimmplan.units import decimal, format_capacity
from dimmplan.wording.placement import modules_phrase

PICK_LETTERS = {
    "capacity-first": "C",
    "bandwidth-first": "B",
    "equal-sockets": "E",
    "cost-first": "P",
    "room-first": "R",
    "upgrade": "U",
}
BELOW = "<"


@dataclass(frozen=True, slots=True)
class Line:
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
