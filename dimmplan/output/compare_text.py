"""A comparison for a terminal: one table that fits 100 columns, what it means, and what is to be known of each row."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from dimmplan.compare import Group, Row
from dimmplan.output.compare import (
    NOTHING,
    TRUST,
    View,
    beaten_in,
    cost_text,
    finding_text,
    headline,
    limit_sentences,
    other_processors,
    unreached_text,
    why_text,
)
from dimmplan.output.stock import left_out_lines
from dimmplan.supply import left_out_of
from dimmplan.units import decimal, format_capacity

WIDTH = 100
PICK_LETTERS = {
    "capacity-first": "C",
    "bandwidth-first": "B",
    "equal-sockets": "E",
    "cost-first": "P",
    "room-first": "R",
    "upgrade": "U",
}
BELOW = "<"
_INDENT = 2


def compare_text(view: View) -> str:
    """The whole comparison for a terminal of 100 columns."""
    comparison = view.comparison
    lines = [
        *_wrapped(f"{view.board.title} [{view.board.id}; {TRUST[view.board.trust]}]"),
        *_wrapped(headline(view)),
        *_wrapped(why_text(view)),
        "",
        *_type_lines(view),
        "",
        *_table_lines(view),
        "",
        *_legend(view),
        *_wrapped(cost_text(comparison)),
    ]
    lines += _section(
        "Findings", [f"{number} {finding_text(finding)}" for finding, number in view.numbered.items()], hang=4
    )
    lines += _section("For every row", [finding_text(finding) for finding in view.common])
    lines += _section("Processors", _processor_lines(view))
    if comparison.shelf is not None:
        left_out = left_out_of(view.board, comparison.shelf, comparison.processors[0])
        lines += ["", "On the shelf", *left_out_lines(left_out)] if left_out else []
    return "\n".join(lines) + "\n"


def _type_lines(view: View) -> Iterator[str]:
    """The types with their letters; of a shelf, how many there are and which labels are equal here."""
    for module in view.types:
        shelf = view.shelf_text(module)
        yield from _wrapped(f"{view.keys[module]}  {module.label}{shelf}", first="  ", rest="     ")


# -- the table ---------------------------------------------------------------------------------------------------------


def _table_lines(view: View) -> list[str]:
    """The table: a line for each capacity and processor, and its rows, long cells on lines of their own."""
    groups = [(group, view.shown(group)) for group in view.comparison.groups]
    rows = {id(row): _cells(view, row) for _, shown in groups for row in shown}
    cost = f"cost {view.currency}" if view.currency else "cost"
    titles = ["", "modules", "channels", "MT/s ", "share", "GB/s", "apart", "free", cost, "picked", "see"]
    used = [
        column
        for column, title in enumerate(titles)
        if title in ("", "modules", "channels") or any(cells[column] not in ("", NOTHING) for cells in rows.values())
    ]
    table = [titles, *rows.values()]
    widths = {column: max(len(cells[column]) for cells in table) for column in used}
    _narrow(widths, table)
    lines = _laid_out(titles, used, widths)
    for group, shown in groups:
        lines.append(_group_title(view, group, shown))
        for row in shown:
            lines += _laid_out(rows[id(row)], used, widths)
        lines += _unreached(view, group, shown)
    return lines


def _cells(view: View, row: Row) -> list[str]:
    figures = row.figures
    assert figures is not None
    apart = figures.socket_difference_gib
    marks = (">" if row.is_answer else " ") + ("*" if row.unbeaten else " ") + ("=" if row.even else " ")
    return [
        marks,
        view.modules(row),
        view.placement(row),
        f"{figures.rate_mts}{BELOW if view.below_label(row) else ' '}",
        f"{decimal(figures.worst_share, 3):.3f}",
        f"{decimal(figures.system_sweep_gb_s, 1):.1f}",
        format_capacity(apart).removesuffix(" GiB") if apart else NOTHING,
        str(figures.free_slots),
        NOTHING if row.cost is None else f"{decimal(row.cost, 2):.2f}",
        "".join(PICK_LETTERS[name] for name in row.picked_by),
        ",".join(map(str, view.numbers(row))),
    ]


_LEFT = {0, 1, 2, 9, 10}
_WRAPPING = (1, 2)
"""Columns that may be broken into lines: modules at a plus sign, channels at a bar."""


def _narrow(widths: dict[int, int], table: Sequence[Sequence[str]]) -> None:
    """Take from the wrapping columns what is over the width, from the wider one first."""
    least = {
        column: max(len(part) for cells in table for part in _parts(cells[column], column)) for column in _WRAPPING
    }
    while _INDENT * (len(widths) - 1) + sum(widths.values()) > WIDTH:
        column = max(_WRAPPING, key=lambda c: widths[c] - least[c])
        if widths[column] <= least[column]:
            return
        widths[column] -= 1


def _parts(cell: str, column: int) -> list[str]:
    """Where a cell may be broken; a part keeps the mark in front of it."""
    mark = " + " if column == 1 else " | "
    first, *rest = cell.split(mark)
    return [first, *(f"{mark.lstrip()}{part}" for part in rest)]


def _laid_out(cells: Sequence[str], used: Sequence[int], widths: dict[int, int]) -> list[str]:
    broken = {column: _broken(cells[column], column, widths[column]) for column in used}
    lines = []
    for index in range(max(len(each) for each in broken.values())):
        parts = []
        for column in used:
            text = broken[column][index] if index < len(broken[column]) else ""
            parts.append(text.ljust(widths[column]) if column in _LEFT else text.rjust(widths[column]))
        lines.append("  ".join(parts).rstrip())
    return lines


def _broken(cell: str, column: int, width: int) -> list[str]:
    if column not in _WRAPPING or len(cell) <= width:
        return [cell]
    lines: list[str] = []
    for part in _parts(cell, column):
        joined = f"{lines[-1]} {part}" if lines else part
        if lines and len(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(part)
    return lines


def _group_title(view: View, group: Group, shown: Sequence[Row]) -> str:
    processor = f"  {group.processor}" if len(view.comparison.processors) > 1 else ""
    what = " and what to buy" if view.comparison.shelf else ""
    nothing = "" if shown else f"  nothing fits; plan with this capacity says why{what}"
    return f"{format_capacity(group.capacity_gib)}{processor}{nothing}"


def _unreached(view: View, group: Group, shown: Sequence[Row]) -> Iterator[str]:
    """The types that do not serve a capacity that was asked for, and why."""
    if any(worth.why != "asked" for worth in view.comparison.chosen):
        return
    left = [row for row in group.rows if not any(row is each for each in shown)]
    said = [f"{view.keys[row.types[0]]} ({unreached_text(row)})" for row in left if len(row.types) == 1]
    if said:
        yield from textwrap.wrap(
            f"not {', '.join(said)}", WIDTH, initial_indent=" " * 5, subsequent_indent=" " * 9, break_on_hyphens=False
        )


# -- what it means -----------------------------------------------------------------------------------------------------


def _legend(view: View) -> Iterator[str]:
    picks = sorted({name for row in view.comparison.rows for name in row.picked_by}, key=list(PICK_LETTERS).index)
    letters = ", ".join(f"{PICK_LETTERS[name]} {name}" for name in picks)
    yield from _wrapped(
        "> what plan answers when all these types are allowed; * no other row of its capacity beats it in "
        f"{beaten_in(view.comparison)}; = every channel carries the same."
    )
    yield from _wrapped(
        "channels: 4bb 2b | 6b says that at the first socket four channels carry two modules of type b and two carry "
        "one, and at the second six carry one; - is an empty channel; each: every socket; x3: three sockets in a row."
    )
    if any(view.below_label(row) for group in view.comparison.groups for row in view.shown(group)):
        yield from _wrapped(f"{BELOW} slower than a label says; plan with that row's modules says what limits it.")
    yield from _wrapped(
        "share: worst socket, of the peak of all its channels; GB/s: system sweep, a peak of a model (STREAM usually "
        "measures 70 to 85 % of peak); apart: GiB between the sockets; free: empty slots."
    )
    if letters:
        yield from _wrapped(f"picked: which row of its capacity comes first by {letters}.")
    yield from _wrapped("plan with one row's modules adds runners-up, and one step of capacity up and down.")


def _processor_lines(view: View) -> list[str]:
    """Where modules are more than a processor allows, and what a swap does to memory."""
    lines = [f"warning: {sentence}" for sentence in limit_sentences(view.comparison.limits)]
    lines += [
        f"{format_capacity(swap.capacity_gib)}, {view.comparison.processors[0]} to {swap.processor}: "
        f"{view.swap_text(swap)}"
        for swap in view.swaps()
    ]
    others = other_processors(view)
    if others:
        options = " ".join(f"--processor {name}" for name in [*filter(None, view.comparison.processors), *others])
        lines.append(f"To see what another processor does to memory: {options}")
    return lines


def _section(title: str, items: Sequence[str], *, hang: int = 4) -> list[str]:
    if not items:
        return []
    lines = ["", title]
    for item in items:
        lines += _wrapped(item, first="  ", rest=" " * hang)
    return lines


def _wrapped(text: str, *, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=True, break_on_hyphens=False
    )
