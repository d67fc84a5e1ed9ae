"""A comparison for a terminal: one table that fits 100 columns, what it means, and what is to be known of each row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dimmplan.compare import Group
from dimmplan.output.columns import Part, Table
from dimmplan.output.compare import (
    CHANNELS,
    View,
    beaten_in,
    cost_text,
    headline,
    other_processors,
    processor_lines,
    why_text,
)
from dimmplan.output.compare_record import BELOW, PICK_LETTERS, Line, columns, lines_of
from dimmplan.output.stock import left_out_lines
from dimmplan.output.text import board_line, finding_text, indented
from dimmplan.output.text import wrapped as wrapped_to
from dimmplan.units import format_capacity

WIDTH = 100


def compare_text(view: View) -> str:
    """The whole comparison in 100 columns, as a pipe gets it."""
    table = "\n".join(compare_table(view).plain(width=WIDTH))
    return f"{before_table(view)}{table}\n{after_table(view)}"


def before_table(view: View) -> str:
    """What is compared, and the letters of the types."""
    lines = [
        *_wrapped(board_line(view.board)),
        *_wrapped(headline(view)),
        *_wrapped(why_text(view)),
        "",
        *_type_lines(view),
        "",
    ]
    return "\n".join(lines) + "\n"


def after_table(view: View) -> str:
    """What the table means, and what is to be known of its rows."""
    comparison = view.comparison
    lines = ["", *_legend(view), *_wrapped(cost_text(comparison))]
    lines += _section("Findings", [f"{number} {finding_text(each)}" for each, number in view.numbered.items()])
    lines += _section("For every row", [finding_text(finding) for finding in view.common])
    lines += _section("Processors", _processor_lines(view))
    lines += ["", "On the shelf", *left_out_lines(view.left_out)] if view.left_out else []
    return "\n".join(lines) + "\n"


def _type_lines(view: View) -> Iterator[str]:
    """The types with their letters; of a shelf, how many there are and which labels are equal here."""
    for module in view.types:
        shelf = view.shelf_text(module)
        yield from _wrapped(f"{view.keys[module]}  {module.label}{shelf}", first="  ", rest="     ")


def compare_table(view: View) -> Table[Line]:
    """The table: a line for each capacity and processor, and its rows."""
    parts = []
    for group in view.comparison.groups:
        items = lines_of(view, group)
        title = _group_title(view, group, fits=bool(items))
        parts.append(Part(items=items, title=title, remarks=tuple(_unreached(view, group))))
    return Table(columns(view), parts)


def _group_title(view: View, group: Group, *, fits: bool) -> str:
    processor = f"  {group.processor}" if len(view.comparison.processors) > 1 else ""
    what = " and what to buy" if view.comparison.shelf else ""
    nothing = "" if fits else f"  nothing fits; plan with this capacity says why{what}"
    return f"{format_capacity(group.capacity_gib)}{processor}{nothing}"


def _unreached(view: View, group: Group) -> Iterator[str]:
    """The types that do not serve a capacity that was asked for, and why."""
    if any(worth.why != "asked" for worth in view.comparison.chosen):
        return
    said = view.unreached(group)
    if said:
        yield from _wrapped(f"not {said}", first=" " * 5, rest=" " * 9)


# -- what it means -----------------------------------------------------------------------------------------------------


def _legend(view: View) -> Iterator[str]:
    picks = sorted({name for row in view.comparison.rows for name in row.picked_by}, key=list(PICK_LETTERS).index)
    letters = ", ".join(f"{PICK_LETTERS[name]} {name}" for name in picks)
    yield from _wrapped(
        "> what plan answers when all these types are allowed; * no other row of its capacity beats it in "
        f"{beaten_in(view.comparison)}; = every channel carries the same."
    )
    yield from _wrapped(f"channels: {CHANNELS}; each: every socket; x3: three sockets in a row.")
    if any(view.below_label(row) for group in view.comparison.groups for row in view.shown(group)):
        yield from _wrapped(f"{BELOW} slower than a label says; plan with that row's modules says what limits it.")
    yield from _wrapped(
        "share: worst socket, of the peak of all its channels; GB/s: balanced sweep, a peak of a model (STREAM usually "
        "measures 70 to 85 % of peak); worst: sweep of the worst socket; apart: GiB between the sockets; "
        "free: empty slots."
    )
    if letters:
        yield from _wrapped(f"picked: which row of its capacity comes first by {letters}.")
    yield from _wrapped("plan with one row's modules adds runners-up, and one step of capacity up and down.")


def _processor_lines(view: View) -> list[str]:
    """What processors do to memory, and how to see more of them."""
    lines, others = processor_lines(view), other_processors(view)
    if others:
        options = " ".join(f"--processor {name}" for name in [*filter(None, view.comparison.processors), *others])
        lines.append(f"To see what another processor does to memory: {options}")
    return lines


def _section(title: str, items: Sequence[str]) -> list[str]:
    lines = ["", title] if items else []
    for item in items:
        lines += indented(item, width=WIDTH)
    return lines


def _wrapped(text: str, *, first: str = "", rest: str = "") -> list[str]:
    return wrapped_to(text, first=first, rest=rest, width=WIDTH)
