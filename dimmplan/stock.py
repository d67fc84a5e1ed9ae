"""The shelf: a list of modules at hand, read leniently and checked strictly.

A stock list is CSV (comma, semicolon or tab) or TOML: label, count, and where known price, currency and note. The same
label twice is two lots. What a board can use of it is said in ``supply``.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import zip_longest
from pathlib import Path

from dimmplan.bounded import read_file, toml_excess
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.units import cleaned, quoted, unknown_word

COLUMNS = ("label", "count", "price", "currency", "note", "part", "watts")
MOST_BYTES = 4 << 20
"""A stock list above 4 MiB is refused unread: no shelf fills it."""
MOST_ROWS = 10_000
MOST_COLUMNS = 50
_WHOLE = re.compile(r"[0-9]{1,6}")
_PRICE = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,4})?")
_WATTS = re.compile(r"[0-9]{1,3}(?:\.[0-9]{1,2})?")
_CURRENCY = re.compile(r"[A-Za-z]{3}")
_NOT_UTF8 = re.compile("[\udc80-\udcff]")
_MARKS = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16", b"\xef\xbb\xbf": "utf-8-sig"}


@dataclass(frozen=True, kw_only=True, slots=True)
class ShelfLot:
    """One row of a stock list. ``place`` names it in its file; a count of 0 says what a module would cost."""

    place: str
    module: Module
    count: int
    price: Fraction | None
    note: str = ""
    part: str = ""
    watts: Fraction | None = None

    @property
    def label(self) -> str:
        """The label in its one spelling."""
        return self.module.label


@dataclass(frozen=True, kw_only=True, slots=True)
class Shelf:
    """A stock list, whole. ``currency`` is that of every price; ``None`` where no row names one."""

    file: str
    currency: str | None
    lots: tuple[ShelfLot, ...]


@dataclass(frozen=True, slots=True)
class _Raw:
    """A row as it stands in the file: the text of each column, and the place of each for a message."""

    place: str
    cells: Mapping[str, str]
    joint: str

    def at(self, column: str) -> str:
        """The place of one column."""
        return f"{self.place}{self.joint}{column}"


def read_shelf(path: Path, board: Board) -> Shelf:
    """Read a stock list for a board. Raises ``InputError`` with every problem of every row, each with its line.

    The board completes labels whose tail is missing; labels that it refuses are read all the same.
    """
    content = read_file(path, most=MOST_BYTES, allowed="a stock list: CSV or TOML")
    return _Reading(cleaned(str(path)), board).shelf(content, toml=path.suffix.lower() == ".toml")


class _Reading:
    """A stock list as it is read, and what is wrong with it."""

    def __init__(self, file: str, board: Board) -> None:
        self.file = file
        self.board = board
        self.problems: list[Problem] = []

    def wrong(self, place: str, found: str, allowed: str, hint: str = "") -> None:
        """Note a problem."""
        self.problems.append(Problem(self.file, place, found, allowed, hint))

    def shelf(self, content: bytes, *, toml: bool) -> Shelf:
        """The whole list. Raises ``InputError``."""
        text = self._decoded(content)
        toml = toml or re.match(r"\s*(\[\[|(format|currency)\s*=)", text) is not None
        rows = list(self._toml_rows(text) if toml else self._csv_rows(text))
        if not rows and not self.problems:
            self.wrong("", "no rows" if text.strip() else "an empty file", f"rows of {', '.join(COLUMNS)}")
        currency = self._one_currency(rows)
        lots = [lot for row in rows if (lot := self._lot(row)) is not None]
        if self.problems:
            raise InputError(self.problems)
        return Shelf(file=self.file, currency=currency, lots=tuple(lots))

    def _decoded(self, content: bytes) -> str:
        """The text of a file in UTF-8, or in UTF-16 with its mark. Lines of another encoding are problems, one each."""
        encoding = next((name for mark, name in _MARKS.items() if content.startswith(mark)), "utf-8")
        allowed, hint = "UTF-8 text", "Save it as UTF-8."
        try:
            text = content.decode(encoding, errors="surrogateescape" if encoding != "utf-16" else "strict")
        except UnicodeDecodeError:
            raise InputError(Problem(self.file, "", "broken UTF-16 text", allowed)) from None
        if "\0" in text:
            raise InputError(Problem(self.file, "", "NUL characters", allowed, hint))
        for number, line in enumerate(io.StringIO(text, newline=""), start=1):
            if len(self.problems) > MOST_ROWS:
                raise InputError(self.problems)
            if foreign := _NOT_UTF8.search(line):
                byte = f"byte 0x{ord(foreign[0]) - 0xDC00:02X} at character {foreign.start() + 1}"
                self.wrong(f"line {number}", f"{byte}, which is not UTF-8", allowed, hint)
        return text

    # -- CSV -------------------------------------------------------------------------------------------------------

    def _csv_rows(self, text: str) -> Iterator[_Raw]:
        """The rows of a CSV text. A first row that names columns gives their order; otherwise it is the usual one."""
        names: Sequence[str] | None = None
        count = 0
        for number, cells in self._csv_cells(text):
            place = f"line {number}"
            if names is None:
                folded = [cell.casefold() for cell in cells]
                if "label" in folded or not re.search(r"R\s*x\s*\d|PC\d", cells[0], re.IGNORECASE):
                    names = folded
                    if not self._good_header(names, place):
                        return
                    continue
                names = COLUMNS
            if (count := count + 1) > MOST_ROWS:
                self.wrong(place, f"more than {MOST_ROWS} rows", "fewer")
                return
            if len(cells) > len(names) and any(cells[len(names) :]):
                hint = "A comma inside a price or a note splits a cell: write a point, or put the cell in quotes."
                self.wrong(place, f"{len(cells)} cells", f"{len(names)}: {', '.join(names)}", hint)
                continue
            yield _Raw(place, dict(zip_longest(names, cells[: len(names)], fillvalue="")), ", ")

    def _csv_cells(self, text: str) -> Iterator[tuple[int, list[str]]]:
        """Rows with the number of their first line, cells stripped; no blank rows, comments and ``sep=;``."""
        lines = list(io.StringIO(text, newline=""))
        first = next((line for line in lines if line.strip() and line.lstrip()[0] != "#"), "")
        delimiter = max(",;\t", key=lambda mark: (first.count(mark), -",;\t".index(mark)))
        reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
        while True:
            number = reader.line_num + 1
            try:
                cells = [cell.strip() for cell in next(reader)]
            except StopIteration:
                return
            except csv.Error as error:
                self.wrong(f"line {number}", str(error), "a row of CSV")
                continue
            if any(cells) and not cells[0].startswith("#") and not re.fullmatch(r"sep=.?", cells[0]):
                yield number, cells

    def _good_header(self, names: Sequence[str], place: str) -> bool:
        """True where every column is known and named once, and label and count are there."""
        allowed, before = ", ".join(COLUMNS), len(self.problems)
        if len([name for name in names if name]) > MOST_COLUMNS:
            self.wrong(place, f"more than {MOST_COLUMNS} columns", allowed)
            return False
        for index, name in enumerate(names):
            if name and name not in COLUMNS:
                self.problems.append(unknown_word(name, COLUMNS, file=self.file, place=place))
            elif name and name in names[:index]:
                self.wrong(place, f"{quoted(name)} twice", allowed)
        for name in COLUMNS[:2]:
            if name not in names:
                self.wrong(place, f"no column {quoted(name)}", allowed)
        return len(self.problems) == before

    # -- TOML ------------------------------------------------------------------------------------------------------

    def _toml_rows(self, text: str) -> Iterator[_Raw]:
        """The rows of a TOML text: tables ``[[lots]]``, and ``currency`` for all of them."""
        if excess := toml_excess(text, most_keys=MOST_ROWS * (len(COLUMNS) + 2)):
            self.wrong("", excess, "TOML")
            return
        try:
            raw = tomllib.loads(text.lstrip("\ufeff"), parse_float=str)
        except (ValueError, RecursionError) as error:
            self.wrong("", cleaned(str(error)), "TOML")
            return
        known = ("format", "currency", "lots")
        for key in raw:
            if key not in known:
                self.wrong(cleaned(key, most=60), "", ", ".join(known), did_you_mean(key, known))
        if raw.get("format", 1) != 1:
            self.wrong("format", quoted(str(raw["format"])), "1")
        lots = raw.get("lots", [])
        if not isinstance(lots, list) or len(lots) > MOST_ROWS or not all(isinstance(lot, dict) for lot in lots):
            self.wrong("lots", "", f"at most {MOST_ROWS} tables [[lots]]")
            return
        head = re.compile(r"\s*\[\[\s*\"?lots\"?\s*\]\]")
        heads = [number for number, line in enumerate(io.StringIO(text, newline=""), 1) if head.match(line)]
        lines = heads if len(heads) == len(lots) else []
        for index, lot in enumerate(lots):
            place = f"lots.{index + 1}" + (f" (line {lines[index]})" if lines else "")
            strange = [key for key in lot if key not in COLUMNS]
            self.problems += [unknown_word(key, COLUMNS, file=self.file, place=place) for key in strange]
            cells = {column: str(lot[column]).strip() for column in COLUMNS if column in lot}
            default = {"currency": str(raw["currency"]).strip()} if "currency" in raw and "price" in cells else {}
            yield _Raw(place, default | cells, ".")

    # -- rows ------------------------------------------------------------------------------------------------------

    def _one_currency(self, rows: Sequence[_Raw]) -> str | None:
        """The currency of all prices. A row with another one, or with none beside rows that name one, is a problem."""
        priced = [row for row in rows if row.cells.get("price")]
        for row in rows:
            said = row.cells.get("currency", "")
            if said and not _CURRENCY.fullmatch(said):
                self.wrong(row.at("currency"), quoted(said), "three letters, such as EUR")
        named = [row for row in priced if _CURRENCY.fullmatch(row.cells.get("currency", ""))]
        if not named:
            return None
        currency = named[0].cells["currency"].upper()
        for row in priced:
            said = row.cells.get("currency", "")
            if not said or (_CURRENCY.fullmatch(said) and said.upper() != currency):
                found = quoted(said) if said else "a price without a currency"
                self.wrong(row.at("currency"), found, f"{currency}, as in {named[0].place}: one list has one currency")
        return currency

    def _lot(self, row: _Raw) -> ShelfLot | None:
        """One lot of a row, or ``None`` where something is wrong with it."""
        before = len(self.problems)
        label, count, price = (row.cells.get(column, "") for column in ("label", "count", "price"))
        module: Module | None = None
        try:
            module = parse_label(label, file=self.file, place=row.at("label"), usual=self.board.modules)
        except InputError as error:
            self.problems += [self._label_problem(problem, label) for problem in error.problems]
        if not _WHOLE.fullmatch(count):
            self.wrong(row.at("count"), quoted(count) if count else "nothing", "a whole number from 0 to 999999")
        if price and not _PRICE.fullmatch(price):
            hint = "Write a point, not a comma." if "," in price else ""
            self.wrong(row.at("price"), quoted(price), "a price of one module, such as 61.50", hint)
        watts = row.cells.get("watts", "").removesuffix("W").strip()
        if watts and not _WATTS.fullmatch(watts):
            self.wrong(row.at("watts"), quoted(watts), "the most watts of one module, such as 5.5")
        if module is None or len(self.problems) > before:
            return None
        return ShelfLot(
            place=row.place,
            module=module,
            count=int(count),
            price=Fraction(price) if price else None,
            note=cleaned(row.cells.get("note", "")),
            part=cleaned(row.cells.get("part", ""), most=40),
            watts=Fraction(watts) if watts else None,
        )

    def _label_problem(self, problem: Problem, label: str) -> Problem:
        """A bare size says which module is meant in a call, but not what lies on a shelf."""
        size = re.fullmatch(r"(\d{1,5})\s*Gi?B?", label, re.IGNORECASE)
        usual = self.board.module_of_size(int(size[1])) if size else None
        hint = f"The whole label, such as {quoted(usual.label)}." if usual else problem.hint
        return problem._replace(allowed="a module label such as '32GB 2Rx4 PC4-2933Y-R'", hint=hint)
