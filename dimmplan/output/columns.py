"""Columns and text: a column is one object that feeds text, HTML, CSV and JSON; ``Text`` lays out an answer."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import reduce
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar

from dimmplan.model.board import Board
from dimmplan.model.placement import Finding
from dimmplan.units import Gib, format_capacity
from dimmplan.wording import TRUST

if TYPE_CHECKING:
    from dimmplan.wording import Statement

Item = TypeVar("Item")
NOTHING = "-"
WIDTH = 80
FORMULA_MARKS = "=+-@\t\r\n＝＋－＠"
"""A spreadsheet may run a cell that begins with one of these."""


@dataclass(frozen=True, kw_only=True)
class Column(Generic[Item]):
    """One column of a table.

    ``key`` is its dotted place in the JSON entry of a row; one without it is for people only. ``name`` is its head
    in CSV (without one: the last word of the key). ``value`` gives what JSON holds (without one: what stands at
    ``key``). ``title`` and ``unit`` are the head that people read, ``short`` that of a terminal where it has less room;
    a key without a title is for programs only, what is not on ``screen`` for pages. ``text`` and ``page`` are what a
    terminal and a page show, ``cell`` what a spreadsheet gets; without them the value is written out, a number with
    ``places`` decimals. A long text may be broken before ``breaks``. A column that is empty in every row is left out
    unless it is ``always`` there.
    """

    key: str = ""
    name: str = ""
    value: Callable[[Item], Any] | None = None
    title: str = ""
    unit: str = ""
    short: str | None = None
    align: Literal["left", "right"] = "left"
    places: int | None = None
    text: Callable[[Item], str] | None = None
    page: Callable[[Item], str] | None = None
    cell: Callable[[Item], object] | None = None
    breaks: str = ""
    screen: bool = True
    always: bool = False

    @property
    def head(self) -> str:
        """The head on a page, with the unit."""
        return f"{self.title}, {self.unit}" if self.unit else self.title

    @property
    def screen_head(self) -> str:
        """The head on a terminal."""
        return self.head if self.short is None else self.short

    @property
    def csv_name(self) -> str:
        """The head in CSV."""
        return self.name or self.key.rpartition(".")[2]

    def of(self, item: Item) -> Any:
        """What JSON holds of an item."""
        return self.value(item) if self.value is not None else at(item, self.key)

    def shown(self, item: Item) -> str:
        """What a terminal shows of an item."""
        if self.text is not None:
            return self.text(item)
        value = self.of(item)
        if value is None:
            return NOTHING
        return str(value) if self.places is None else f"{value:.{self.places}f}"

    def paged(self, item: Item) -> str:
        """What an HTML page shows of an item."""
        return self.page(item) if self.page is not None else self.shown(item)

    def spread(self, item: Item) -> str:
        """What a spreadsheet gets of an item; no cell is one that it would run."""
        if self.cell is not None:
            return inert(self.cell(item))
        value = self.of(item)
        if isinstance(value, bool):
            return "yes" if value else "no"
        return inert("" if value is None else "; ".join(map(str, value)) if isinstance(value, list) else value)


def at(item: Any, key: str) -> Any:
    """What stands at a dotted place of a mapping or an object; ``None`` where it is not there."""
    return reduce(
        lambda inner, part: inner.get(part) if isinstance(inner, Mapping) else getattr(inner, part, None),
        key.split("."),
        item,
    )


def text_columns(heads: Sequence[str], *, right: Container[str] = ()) -> list[Column[Sequence[str]]]:
    """Columns over rows of ready texts that stand in the order of their heads."""
    return [
        Column(title=head, text=itemgetter(place), align="right" if head in right else "left", always=True)
        for place, head in enumerate(heads)
    ]


# -- CSV ---------------------------------------------------------------------------------------------------------------


def csv_head(columns: Sequence[Column[Any]]) -> str:
    """The heads of a CSV table, without a line end."""
    return ",".join(column.csv_name for column in columns if column.key)


def csv_line(columns: Sequence[Column[Item]], item: Item, *, end: str = "\n") -> str:
    """One row as CSV."""
    output = io.StringIO()
    csv.writer(output, lineterminator=end).writerow([column.spread(item) for column in columns if column.key])
    return output.getvalue()


def csv_text(columns: Sequence[Column[Item]], items: Iterable[Item], *, end: str = "\n") -> str:
    """A whole table as CSV."""
    return csv_head(columns) + end + "".join(csv_line(columns, item, end=end) for item in items)


def inert(value: object) -> str:
    """A value as the text of a cell that a spreadsheet shows and never runs; numbers stay numbers."""
    text = str(value)
    number = isinstance(value, int | float | Fraction) and not isinstance(value, bool)
    return f"'{text}" if text.lstrip(" ")[:1] in FORMULA_MARKS and text.strip() and not number else text


# -- tables for people -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Part(Generic[Item]):
    """Rows of a table under a title of their own, with remarks below them."""

    items: Sequence[Item]
    title: str = ""
    remarks: Sequence[str] = ()


class Table(Generic[Item]):
    """Rows under heads: plain columns for a pipe, and what a terminal draws its own from."""

    def __init__(self, columns: Sequence[Column[Item]], parts: Sequence[Part[Item]]) -> None:
        self.parts = parts
        seen = [each for each in columns if each.screen and (each.title or each.short is not None or not each.key)]
        self.cells = {id(item): [column.shown(item) for column in seen] for part in parts for item in part.items}
        used = [
            index
            for index, column in enumerate(seen)
            if column.always or any(cells[index] not in ("", NOTHING) for cells in self.cells.values())
        ]
        self.columns = [seen[index] for index in used]
        self.cells = {item: [cells[index] for index in used] for item, cells in self.cells.items()}

    def rows(self, part: Part[Item]) -> list[list[str]]:
        """The texts of a part's rows."""
        return [self.cells[id(item)] for item in part.items]

    def plain(self, *, width: int | None = None) -> list[str]:
        """Columns two blanks apart, long cells broken where the table would be wider than ``width``."""
        heads = [column.screen_head for column in self.columns]
        every = [heads, *self.cells.values()]
        widths = [max(len(cells[index]) for cells in every) for index in range(len(heads))]
        if width is not None:
            self._narrow(widths, every, width)
        lines = [*self._laid_out(heads, widths)] if any(heads) else []
        for part in self.parts:
            lines += [part.title] if part.title else []
            for cells in self.rows(part):
                lines += self._laid_out(cells, widths)
            lines += part.remarks
        return lines

    def _narrow(self, widths: list[int], every: Sequence[Sequence[str]], width: int) -> None:
        """Take from the columns that may be broken what is over the width, from the wider one first."""
        least = {
            index: max(len(part) for cells in every for part in _held(cells[index], column.breaks).split(" "))
            for index, column in enumerate(self.columns)
            if column.breaks
        }
        while least and len(_GAP) * (len(widths) - 1) + sum(widths) > width:
            index = max(least, key=lambda each: widths[each] - least[each])
            if widths[index] <= least[index]:
                return
            widths[index] -= 1

    def _laid_out(self, cells: Sequence[str], widths: Sequence[int]) -> Iterator[str]:
        columns = list(zip(self.columns, cells, widths, strict=True))
        broken = [_broken(cell, column.breaks, width) for column, cell, width in columns]
        for index in range(max(map(len, broken), default=0)):
            texts = [lines[index] if index < len(lines) else "" for lines in broken]
            yield _GAP.join(
                text.rjust(width) if column.align == "right" else text.ljust(width)
                for text, (column, _, width) in zip(texts, columns, strict=True)
            ).rstrip()


_GAP = "  "
_NO_BREAK = "\0"


def _held(cell: str, mark: str) -> str:
    """A cell with blanks only where it may be broken: in front of a mark."""
    return cell.replace(" ", _NO_BREAK).replace(mark.replace(" ", _NO_BREAK), f" {mark.strip()}{_NO_BREAK}")


def _broken(cell: str, mark: str, width: int) -> list[str]:
    if not mark or len(cell) <= width:
        return [cell]
    lines = textwrap.wrap(_held(cell, mark), width, break_long_words=False, break_on_hyphens=False)
    return [line.replace(_NO_BREAK, " ") for line in lines]


def lines_of(columns: Sequence[Column[Item]], items: Sequence[Item]) -> list[str]:
    """A table of one part in plain columns."""
    return Table(columns, [Part(items=items)]).plain()


# -- text --------------------------------------------------------------------------------------------------------------


class Text:
    """The lines of an answer: paragraphs of at most ``width`` columns where they can be, headings and tables."""

    def __init__(self, *paragraphs: str, hang: int = 0, width: int = WIDTH) -> None:
        self.lines: list[str] = []
        self.width = width
        for text in paragraphs:
            self.note(text, 0, hang=hang)

    def heading(self, *texts: str) -> None:
        """An empty line, and paragraphs at the edge."""
        self.lines.append("")
        for text in texts:
            self.note(text, 0, hang=0)

    def note(self, text: str, indent: int = 2, *, hang: int = 2) -> None:
        """A paragraph so many columns from the edge, its further lines ``hang`` columns more."""
        self.lines += textwrap.wrap(
            text,
            self.width,
            initial_indent=" " * indent,
            subsequent_indent=" " * (indent + hang),
            break_long_words=False,
            break_on_hyphens=False,
        )

    def notes(self, title: str, texts: Iterable[str]) -> None:
        """Paragraphs under a heading; nothing where there are none."""
        for number, text in enumerate(texts):
            if not number:
                self.heading(title)
            self.note(text)

    def sentences(self, statements: Iterable[Statement], indent: int = 2) -> None:
        """Sentences, each with its rule and source id."""
        for each in statements:
            self.note(f"{each.text} [{each.rule}, {each.source}]", indent)

    def findings(self, findings: Iterable[Finding]) -> None:
        """Findings, gravest first as they come."""
        self.notes("Findings", map(finding_text, findings))

    def table(self, columns: Sequence[Column[Item]], items: Sequence[Item], indent: int = 2) -> None:
        """A table in plain columns."""
        self.lines += [" " * indent + line for line in lines_of(columns, items)]

    def rows(
        self, rows: Sequence[Sequence[str]], heads: Sequence[str] = (), *, indent: int = 2, right: Container[str] = ()
    ) -> None:
        """Rows of ready texts, under heads where there are any; those of ``right`` at their right edge."""
        heads = heads or [""] * max(map(len, rows), default=0)
        self.table(text_columns(heads, right=right), rows, indent)

    def __str__(self) -> str:
        return "\n".join(self.lines) + "\n"


def board_line(board: Board) -> str:
    """The board, and how far its file is to be trusted."""
    return f"{board.title} [{board.id}; {TRUST[board.trust]}]"


def as_asked(asked: Gib, got: Gib) -> str:
    """A capacity beside the one that was asked for."""
    reached, wanted = format_capacity(got), format_capacity(asked)
    return f"{reached} as asked" if reached == wanted else f"{reached} (asked: {wanted})"


def finding_text(finding: Finding) -> str:
    """A finding in one line, with its rule and its source."""
    return f"{finding.severity}: {finding.text} [{finding.rule}, {finding.source}]"
