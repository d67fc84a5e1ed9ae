"""A list of machines, CSV, read line by line: a bad line is told with its number and never stops the rest.

Every line is a row of its own: a quote that is left open spoils its own line and no other. The list is read as a
stream, so its length costs no memory.
"""

from __future__ import annotations

import csv
import os
import re
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from io import TextIOWrapper
from itertools import islice
from pathlib import Path
from typing import BinaryIO

from dimmplan.bounded import check_length, open_regular
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.units import cleaned, quoted

COLUMNS = ("tag", "board", "fitted", "processor", "without-tray", "inlet", "capacity", "modules", "prefer")
NEEDED = ("tag", "board", "capacity")
MOST_BYTES = 64 << 20
"""A longer list is refused: some 600,000 machines; split it."""
MOST_LINE = 1 << 14
MOST_NAME_BYTES = 200
"""File systems take names of 255 bytes; the rest is room for what writers add."""
_PLAIN = re.compile(r"[A-Za-z0-9_-]")
_RESERVED = re.compile(r"(CON|PRN|AUX|NUL|COM\d|LPT\d)(\.|$)", re.IGNORECASE)
_DELIMITERS = ",;\t"
_FOREIGN = re.compile("[\0\udc80-\udcff]")
_MARKS = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be", b"\xef\xbb\xbf": "utf-8"}
MOST_CELL_LINES = 8
"""So many lines are looked at for the end of a cell that holds a line break."""
_BREAK = "a line break inside a cell"
_Line = tuple[int, str, str | None]
_ALLOWED = f"a list of machines: CSV {','.join(COLUMNS)}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One machine: its place among the rows (from 0 on), its line in the file, and the text of its cells."""

    number: int
    line: int
    tag: str
    folder: str
    board: str
    fitted: str
    processor: str
    without_tray: tuple[str, ...]
    inlet: str
    capacity: str
    modules: tuple[str, ...]
    prefer: str

    @property
    def asked(self) -> tuple[object, ...]:
        """All that the request is made from: rows that are equal in it have equal answers."""
        where = self.board, self.fitted, self.processor, self.without_tray, self.inlet
        return *where, self.capacity, self.modules, self.prefer


@dataclass(frozen=True, kw_only=True, slots=True)
class BadRow:
    """A line that is no machine, and why."""

    number: int
    line: int
    tag: str
    problems: tuple[Problem, ...]


class MachineList:
    """A file of machines. Each iteration reads it anew. Raises ``InputError`` for a file that is no such list."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.file = cleaned(str(path))

    def __iter__(self) -> Iterator[Row | BadRow]:
        seen: set[bytes] = set()
        number = 0
        names: list[str] | None = None
        delimiter = ","
        for line, text, fault in _rejoined(self._lines()):
            if fault is None and not text.strip():
                continue
            if names is None:
                delimiter = max(_DELIMITERS, key=lambda mark: (text.count(mark), -_DELIMITERS.index(mark)))
                names = self._head(line, text, delimiter, fault)
                continue
            cells = None if fault else _cells(text, delimiter)
            if cells is None:
                wrong = [("", fault or "a quote that is not closed", "a row of CSV on one line, in UTF-8")]
                yield self._bad(number, line, "", wrong)
            else:
                yield self._row(number, line, cells, names, seen)
            number += 1
        if names is None:
            raise self._refused("an empty file")
        if not number:
            raise self._refused("no machines below the names of the columns")

    def count(self) -> int:
        """How many rows there are, bad ones too."""
        return max(0, sum(1 for _, text, fault in self._lines() if fault is not None or text.strip()) - 1)

    def _refused(self, found: str, hint: str = "") -> InputError:
        return InputError(Problem(file=self.file, found=found, allowed=_ALLOWED, hint=hint))

    # -- lines -----------------------------------------------------------------------------------------------------

    def _lines(self) -> Iterator[_Line]:
        """Number and text of each line, and what is wrong with its bytes."""
        with open_regular(self.path, allowed=_ALLOWED, pipes=False) as handle:  # the list is read more than once
            size, hint = os.fstat(handle.fileno()).st_size, "Split it into several lists."
            check_length(size, MOST_BYTES, file=self.file, allowed=_ALLOWED, hint=hint)
            yield from self._read(handle)

    def _read(self, handle: BinaryIO) -> Iterator[_Line]:
        start = handle.read(3)
        mark = next((mark for mark in _MARKS if start.startswith(mark)), b"")
        handle.seek(len(mark))
        text = TextIOWrapper(handle, encoding=_MARKS.get(mark, "utf-8"), errors="surrogateescape", newline="\n")
        number = 0
        while line := text.readline(MOST_LINE + 1):
            number += 1
            fault = f"a line of more than {MOST_LINE} characters" if len(line) > MOST_LINE else _fault(line)
            while len(line) > MOST_LINE and not line.endswith("\n"):
                line = text.readline(MOST_LINE + 1) or "\n"
            yield number, line.rstrip("\r\n"), fault

    def _head(self, line: int, text: str, delimiter: str, fault: str | None) -> list[str]:
        """The names of the columns. Raises ``InputError`` for names that are not known, or missing."""
        cells = [] if fault else _cells(text, delimiter) or []
        names = [cell.casefold() for cell in cells]
        problems = [
            Problem(
                file=self.file,
                place=f"line {line}",
                found=quoted(name) if name not in COLUMNS else f"{quoted(name)} twice",
                allowed=", ".join(COLUMNS),
                hint=did_you_mean(name, COLUMNS) if name not in COLUMNS else "",
            )
            for index, name in enumerate(names)
            if name and (name not in COLUMNS or name in names[:index])
        ]
        missing = [name for name in NEEDED if name not in names]
        if missing:
            found = fault or f"no column {' and no column '.join(missing)}"
            problems.insert(0, Problem(file=self.file, place=f"line {line}", found=found, allowed=_ALLOWED))
        if problems:
            raise InputError(problems)
        return names

    # -- rows ------------------------------------------------------------------------------------------------------

    def _row(
        self, number: int, line: int, cells: Sequence[str], names: Sequence[str], seen: set[bytes]
    ) -> Row | BadRow:
        values = dict(zip(names, [*cells, *[""] * len(names)], strict=False))
        tag = values["tag"]
        wrong = [(f"{name}", "nothing", "a value") for name in NEEDED if not values[name]]
        if len(cells) > len(names) and any(cells[len(names) :]):
            wrong.append(("", f"{len(cells)} cells", f"{len(names)}: {', '.join(names)}"))
        folder = folder_name(tag) if tag else ""
        if folder is None:
            wrong.append(("tag", f"{len(tag)} characters", "a shorter tag"))
        elif not tag.isprintable():
            wrong.append(("tag", quoted(tag), "one line of characters that can be printed"))
        elif tag:
            key = blake2b(tag.encode("utf-8", errors="surrogatepass"), digest_size=16).digest()
            if key in seen:
                wrong.append(("tag", f"{quoted(tag)} once more", "each tag once"))
            elif not wrong:
                seen.add(key)
        if wrong or folder is None:
            return self._bad(number, line, tag, wrong)
        return _machine(number, line, tag, folder, values)

    def _bad(self, number: int, line: int, tag: str, wrong: Sequence[tuple[str, str, str]]) -> BadRow:
        problems = tuple(self.problem(line, place, found, allowed) for place, found, allowed in wrong)
        return BadRow(number=number, line=line, tag=cleaned(tag, most=60), problems=problems)

    def problem(self, line: int, place: str, found: str, allowed: str, hint: str = "") -> Problem:
        """A problem of one line of the file."""
        where = f"line {line}" + (f", {place}" if place else "")
        return Problem(file=self.file, place=where, found=found, allowed=allowed, hint=hint)


def _machine(number: int, line: int, tag: str, folder: str, values: Mapping[str, str]) -> Row:

    def several(column: str) -> tuple[str, ...]:
        parts = values.get(column, "").replace("|", ";").split(";")
        return tuple(text.strip() for text in parts if text.strip())

    return Row(
        number=number,
        line=line,
        tag=tag,
        folder=folder,
        board=values["board"],
        fitted=values.get("fitted", "").replace(";", ",").replace("|", ","),
        processor=values.get("processor", ""),
        without_tray=several("without-tray"),
        inlet=values.get("inlet", ""),
        capacity=values["capacity"],
        modules=several("modules"),
        prefer=values.get("prefer", ""),
    )


def _rejoined(lines: Iterable[_Line]) -> Iterator[_Line]:
    """Lines; those of a cell with line breaks in its quotes are all told to be bad, and no half of them is a machine.

    A quote that is left open spoils its own line alone, unless one of the next few lines has a quote to close it.
    """
    waiting = deque[_Line]()
    source = iter(lines)
    broken = 0
    while True:
        waiting.extend(islice(source, MOST_CELL_LINES - len(waiting)))
        if not waiting:
            return
        number, text, fault = waiting.popleft()
        if broken:
            broken -= 1
            yield number, text, fault or _BREAK
            continue
        if fault is None and text.count('"') % 2:
            broken = next((place for place, each in enumerate(waiting, 1) if each[1].count('"') % 2), 0)
        yield number, text, _BREAK if broken else fault


def _fault(line: str) -> str | None:
    """What is wrong with the characters of a line."""
    foreign = _FOREIGN.search(line)
    if foreign is None:
        return None
    if foreign[0] == "\0":
        return "a NUL character"
    return f"byte 0x{ord(foreign[0]) - 0xDC00:02X}, which is not UTF-8"


def _cells(text: str, delimiter: str) -> list[str] | None:
    """The cells of one line, stripped; ``None`` where a quote is left open."""
    try:
        rows = list(csv.reader([text], delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error:
        return None
    return [cell.strip() for cell in rows[0]] if rows else []


def folder_name(tag: str) -> str | None:
    """The name of a machine's folder, or ``None`` for a tag that is too long for one. Injective on every file system.

    Letters, digits, hyphen, underscore and inner dots stand for themselves. Everything else is written as ``=`` and the
    two hexadecimal digits of each byte of its UTF-8 form. File systems that fold case would let ``AB`` and ``ab`` meet,
    so a tag with small letters carries, after ``~``, which of its letters are small (a binary number in hexadecimal);
    tags all in capitals, the usual ones, are left as they are.
    """
    last = len(tag) - 1
    reserved = _RESERVED.match(tag) is not None
    name = "".join(
        character
        if _PLAIN.fullmatch(character)
        and not (index == 0 and (reserved or character == "-"))
        or (character == "." and 0 < index < last)
        else "".join(f"={byte:02X}" for byte in character.encode("utf-8", errors="surrogatepass"))
        for index, character in enumerate(tag)
    )
    small = [character.islower() for character in tag if character.isascii() and character.isalpha()]
    if any(small):
        name += f"~{sum(1 << place for place, is_small in enumerate(small) if is_small):x}"
    return name if 0 < len(name) <= MOST_NAME_BYTES else None
