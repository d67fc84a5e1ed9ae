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
from typing import Any

from dimmplan.bounded import read_file, toml_excess
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.units import cleaned, quoted

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
_ALLOWED_LABEL = "a module label such as '32GB 2Rx4 PC4-2933Y-R'"
_ALLOWED_COUNT = "a whole number from 0 to 999999"
_ALLOWED_PRICE = "a price of one module, such as 61.50"
_ALLOWED_WATTS = "the most watts of one module, such as 5.5"
_ALLOWED_CURRENCY = "three letters, such as EUR"


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
    file = cleaned(str(path))
    content = read_file(path, most=MOST_BYTES, allowed="a stock list: CSV or TOML")
    problems: list[Problem] = []
    text = _decoded(content, file, problems)
    toml = path.suffix.lower() == ".toml" or re.match(r"\s*(\[\[|(format|currency)\s*=)", text) is not None
    rows = list(_toml_rows(text, file, problems) if toml else _csv_rows(text, file, problems))
    if not rows and not problems:
        found = "no rows" if text.strip() else "an empty file"
        problems.append(Problem(file=file, place="", found=found, allowed=f"rows of {', '.join(COLUMNS)}"))
    currency = _one_currency(rows, file, problems)
    lots = [lot for row in rows if (lot := _lot(row, board, file, problems)) is not None]
    if problems:
        raise InputError(problems)
    return Shelf(file=file, currency=currency, lots=tuple(lots))


def _decoded(content: bytes, file: str, problems: list[Problem]) -> str:
    """The text of a file in UTF-8, or in UTF-16 with its mark. Lines of another encoding are problems, one each."""
    encoding = next((name for mark, name in _MARKS.items() if content.startswith(mark)), "utf-8")
    try:
        text = content.decode(encoding, errors="surrogateescape" if encoding != "utf-16" else "strict")
    except UnicodeDecodeError:
        raise InputError(Problem(file=file, place="", found="broken UTF-16 text", allowed="UTF-8 text")) from None
    if "\0" in text:
        hint = "Save it as UTF-8."
        raise InputError(Problem(file=file, place="", found="NUL characters", allowed="UTF-8 text", hint=hint))
    for number, line in enumerate(io.StringIO(text, newline=""), start=1):
        if len(problems) > MOST_ROWS:
            raise InputError(problems)
        foreign = _NOT_UTF8.search(line)
        if foreign:
            byte = ord(foreign[0]) - 0xDC00
            found = f"byte 0x{byte:02X} at character {foreign.start() + 1}, which is not UTF-8"
            problems.append(
                Problem(file=file, place=f"line {number}", found=found, allowed="UTF-8 text", hint="Save it as UTF-8.")
            )
    return text


def _csv_rows(text: str, file: str, problems: list[Problem]) -> Iterator[_Raw]:
    """The rows of a CSV text. A first row that names columns gives their order; otherwise it is the usual one."""
    names: Sequence[str] | None = None
    count = 0
    for number, cells in _csv_cells(text, file, problems):
        if names is None:
            folded = [cell.casefold() for cell in cells]
            names = folded if "label" in folded or not _like_label(cells[0]) else COLUMNS
            if names is not COLUMNS:
                if not _good_header(names, file, number, problems):
                    return
                continue
        if (count := count + 1) > MOST_ROWS:
            problems.append(
                Problem(file=file, place=f"line {number}", found=f"more than {MOST_ROWS} rows", allowed="fewer")
            )
            return
        if len(cells) > len(names) and any(cells[len(names) :]):
            hint = "A comma inside a price or a note splits a cell: write a point, or put the cell in quotes."
            problems.append(
                Problem(
                    file=file,
                    place=f"line {number}",
                    found=f"{len(cells)} cells",
                    allowed=f"{len(names)}: {', '.join(names)}",
                    hint=hint,
                )
            )
            continue
        yield _Raw(f"line {number}", dict(zip_longest(names, cells[: len(names)], fillvalue="")), ", ")


def _csv_cells(text: str, file: str, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
    """Rows with the number of their first line, cells stripped; blank rows, comments and ``sep=;`` left out."""
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
            problems.append(Problem(file=file, place=f"line {number}", found=str(error), allowed="a row of CSV"))
            continue
        if any(cells) and not cells[0].startswith("#") and not re.fullmatch(r"sep=.?", cells[0]):
            yield number, cells


def _like_label(cell: str) -> bool:
    return re.search(r"R\s*x\s*\d|PC\d", cell, re.IGNORECASE) is not None


def _good_header(names: Sequence[str], file: str, number: int, problems: list[Problem]) -> bool:
    """True where every column is known and named once, and label and count are there."""
    allowed = ", ".join(COLUMNS)
    before = len(problems)
    if len([name for name in names if name]) > MOST_COLUMNS:
        found = f"more than {MOST_COLUMNS} columns"
        problems.append(Problem(file=file, place=f"line {number}", found=found, allowed=allowed))
        return False
    for index, name in enumerate(names):
        if name and (name not in COLUMNS or name in names[:index]):
            found = quoted(name) if name not in COLUMNS else f"{quoted(name)} twice"
            hint = did_you_mean(name, COLUMNS) if name not in COLUMNS else ""
            problems.append(Problem(file=file, place=f"line {number}", found=found, allowed=allowed, hint=hint))
    for name in COLUMNS[:2]:
        if name not in names:
            problems.append(
                Problem(file=file, place=f"line {number}", found=f"no column {quoted(name)}", allowed=allowed)
            )
    return len(problems) == before


def _toml_rows(text: str, file: str, problems: list[Problem]) -> Iterator[_Raw]:
    """The rows of a TOML text: tables ``[[lots]]``, and ``currency`` for all of them."""
    if excess := toml_excess(text, most_keys=MOST_ROWS * (len(COLUMNS) + 2)):
        problems.append(Problem(file=file, place="", found=excess, allowed="TOML"))
        return
    try:
        raw = tomllib.loads(text.lstrip("\ufeff"), parse_float=str)
    except (ValueError, RecursionError) as error:
        problems.append(Problem(file=file, place="", found=cleaned(str(error)), allowed="TOML"))
        return
    known = ("format", "currency", "lots")
    for key in raw:
        if key not in known:
            allowed, hint = ", ".join(known), did_you_mean(key, known)
            problems.append(Problem(file=file, place=cleaned(key, most=60), found="", allowed=allowed, hint=hint))
    if raw.get("format", 1) != 1:
        problems.append(Problem(file=file, place="format", found=quoted(str(raw["format"])), allowed="1"))
    lots = raw.get("lots", [])
    if not isinstance(lots, list) or len(lots) > MOST_ROWS or not all(isinstance(lot, dict) for lot in lots):
        problems.append(Problem(file=file, place="lots", found="", allowed=f"at most {MOST_ROWS} tables [[lots]]"))
        return
    heads = [
        n for n, line in enumerate(io.StringIO(text, newline=""), 1) if re.match(r"\s*\[\[\s*\"?lots\"?\s*\]\]", line)
    ]
    lines = heads if len(heads) == len(lots) else []
    for index, lot in enumerate(lots):
        place = f"lots.{index + 1}" + (f" (line {lines[index]})" if lines else "")
        for key in lot:
            if key not in COLUMNS:
                allowed, hint = ", ".join(COLUMNS), did_you_mean(key, COLUMNS)
                problems.append(Problem(file=file, place=place, found=quoted(key), allowed=allowed, hint=hint))
        cells = {column: _as_text(lot[column]) for column in COLUMNS if column in lot}
        default = {"currency": _as_text(raw["currency"])} if "currency" in raw and "price" in cells else {}
        yield _Raw(place, default | cells, ".")


def _as_text(value: Any) -> str:
    """A TOML value as the text that a CSV cell would have."""
    return str(value).strip()


def _one_currency(rows: Sequence[_Raw], file: str, problems: list[Problem]) -> str | None:
    """The currency of all prices. Every row with another one, or with none beside rows that name one, is a problem."""
    priced = [row for row in rows if row.cells.get("price")]
    for row in rows:
        said = row.cells.get("currency", "")
        if said and not _CURRENCY.fullmatch(said):
            problems.append(Problem(file=file, place=row.at("currency"), found=quoted(said), allowed=_ALLOWED_CURRENCY))
    named = [row for row in priced if _CURRENCY.fullmatch(row.cells.get("currency", ""))]
    if not named:
        return None
    currency = named[0].cells["currency"].upper()
    for row in priced:
        said = row.cells.get("currency", "")
        if not said or (_CURRENCY.fullmatch(said) and said.upper() != currency):
            found = quoted(said) if said else "a price without a currency"
            allowed = f"{currency}, as in {named[0].place}: one list has one currency"
            problems.append(Problem(file=file, place=row.at("currency"), found=found, allowed=allowed))
    return currency


def _lot(row: _Raw, board: Board, file: str, problems: list[Problem]) -> ShelfLot | None:
    """One lot of a row, or ``None`` and what is wrong with it."""
    before = len(problems)
    label, count, price = (row.cells.get(column, "") for column in ("label", "count", "price"))
    module: Module | None = None
    try:
        module = parse_label(label, file=file, place=row.at("label"), usual=board.modules)
    except InputError as error:
        problems += [_label_problem(problem, label, board) for problem in error.problems]
    if not _WHOLE.fullmatch(count):
        found = quoted(count) if count else "nothing"
        problems.append(Problem(file=file, place=row.at("count"), found=found, allowed=_ALLOWED_COUNT))
    if price and not _PRICE.fullmatch(price):
        hint = "Write a point, not a comma." if "," in price else ""
        problems.append(
            Problem(file=file, place=row.at("price"), found=quoted(price), allowed=_ALLOWED_PRICE, hint=hint)
        )
    watts = row.cells.get("watts", "").removesuffix("W").strip()
    if watts and not _WATTS.fullmatch(watts):
        problems.append(Problem(file=file, place=row.at("watts"), found=quoted(watts), allowed=_ALLOWED_WATTS))
    if module is None or len(problems) > before:
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


def _label_problem(problem: Problem, label: str, board: Board) -> Problem:
    """A bare size says which module is meant in a call, but not what lies on a shelf."""
    size = re.fullmatch(r"(\d{1,5})\s*Gi?B?", label, re.IGNORECASE)
    usual = board.module_of_size(int(size[1])) if size else None
    hint = f"The whole label, such as {quoted(usual.label)}." if usual else problem.hint
    return problem._replace(allowed=_ALLOWED_LABEL, hint=hint)
