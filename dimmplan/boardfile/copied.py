"""A population table as people copy it out of a manual, read into rows of slots by numbers of modules."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from dimmplan.bounded import read_file
from dimmplan.errors import InputError, Problem
from dimmplan.units import cleaned, quoted

MOST_BYTES = 1 << 20
FORM = "a header of slot names with marks below, or the columns count,slots"
SLOT = "{slot}"
"""Stands in a form of names for the name in the table."""
_SEPARATORS = "\t;|,"
_FILLED = {"x", "1", "y", "yes", "v", "*", "✓", "✔", "☑", "✗", "✘", "☒", "•", "●", "■", "◆", "▪"}
_EMPTY = {"", "-", "–", "—", "0", "n", "no", ".", "○", "◦", "□", "☐"}
_MARKS = "x, yes, 1 or a filled dot for a module; nothing, no, 0 or - for none"
_SLOT_HEADS = {"slots", "slot", "fill", "filled", "populate", "populated", "locations", "install in", "install"}


class CopiedTable(NamedTuple):
    """A table read from a file: slots by number of modules."""

    rows: dict[int, tuple[str, ...]]

    def named(self, form: str) -> CopiedTable:
        """The table with slot names in another form, such as ``{socket}-{slot}``. Raises ``InputError``."""
        if SLOT not in form:
            allowed = f"a form with {SLOT}, such as P1-{SLOT}"
            raise InputError(Problem(file="--names", place="", found=quoted(form), allowed=allowed))
        return CopiedTable({n: tuple(form.replace(SLOT, slot) for slot in slots) for n, slots in self.rows.items()})

    def toml(self, row_id: str, source: str, *, socket: str | None = None, mode: str | None = None) -> str:
        """The table as a rule row of a board file."""
        lines = ["[[rules]]", f"id = {_text(row_id)}", 'check = "table"']
        lines += [f"socket = {_text(socket)}"] if socket else []
        lines += [f"mode = {_text(mode)}"] if mode else []
        lines += [f"source = {_text(source)}", "", "[rules.rows]"]
        lines += [f"{count} = [{', '.join(map(_text, slots))}]" for count, slots in sorted(self.rows.items())]
        return "\n".join(lines) + "\n"


def _text(text: str) -> str:
    """A TOML text."""
    return '"' + cleaned(text, most=200).replace("\\", "\\\\").replace('"', '\\"') + '"'


def read_copied(path: str) -> CopiedTable:
    """A table from a file. Raises ``InputError`` with every problem."""
    from pathlib import Path  # noqa: PLC0415

    content = read_file(Path(path), most=MOST_BYTES, allowed="a table as CSV")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            Problem(file=cleaned(path), place="", found="bytes that are not UTF-8 text", allowed="CSV in UTF-8")
        ) from None
    return copied_of(text, file=cleaned(path))


def copied_of(text: str, *, file: str) -> CopiedTable:
    """A table from text. Raises ``InputError`` with every problem."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = next((sign for sign in _SEPARATORS if sign in first), ",")
    read = csv.reader(io.StringIO(text, newline=None), delimiter=separator, skipinitialspace=True)
    try:
        lines = [(read.line_num, [cell.strip() for cell in cells]) for cells in read if any(map(str.strip, cells))]
    except csv.Error as error:
        raise InputError(Problem(file=file, place="", found=cleaned(str(error)), allowed=FORM)) from None
    if len(lines) < 2 or len(lines[0][1]) < 2:
        raise InputError(Problem(file=file, place="", found="no table", allowed=FORM))
    head = lines[0][1]
    problems: list[Problem] = []
    if head[1].casefold() in _SLOT_HEADS and len(head) == 2:
        found = list(_from_lists(lines[1:], file, problems))
    else:
        found = list(_from_marks(lines, file, problems))
        if problems and all(_number(cell) is not None for cell in head[1:]):  # numbers across, slots down
            turned: list[Problem] = []
            across = list(_from_marks(_turned(lines), file, turned))
            found, problems = (across, []) if not turned else (found, problems)
    counts = Counter(count for count, _ in found)
    problems += [
        Problem(file=file, place="", found=f"{counts[count]} rows for {count}", allowed="one row for each number")
        for count in counts
        if counts[count] > 1
    ]
    if problems or not found:
        raise InputError(problems or Problem(file=file, place="", found="no row", allowed=FORM))
    return CopiedTable(dict(found))


_Lines = Sequence[tuple[int, list[str]]]
_Rows = Iterator[tuple[int, tuple[str, ...]]]


def _number(cell: str) -> int | None:
    """The number of modules that a cell says: ``4``, ``4 DIMMs``; ``None`` where it says none."""
    match = re.fullmatch(r"(\d{1,4})(?:\s*(?:x\s*)?(?:dimms?|modules?|pcs))?", cell, re.IGNORECASE | re.ASCII)
    return int(match[1]) if match else None


def _turned(lines: _Lines) -> _Lines:
    """Numbers across and slots down, as slots across and numbers down."""
    cells = [line for _, line in lines]
    width = max(map(len, cells))
    full = [[*line, *[""] * (width - len(line))] for line in cells]
    return [(index + 1, list(column)) for index, column in enumerate(zip(*full, strict=True))]


def _from_marks(lines: _Lines, file: str, problems: list[Problem]) -> _Rows:
    """Rows of marks below a header of slot names; the first column is the number, or there is none."""
    head = lines[0][1]
    numbered = all(_number(cells[0]) is not None for _, cells in lines[1:]) and (
        _number(head[0]) is not None or not _are_marks(cells[0] for _, cells in lines[1:])
    )
    names = head[1:] if numbered else head
    problems += [
        Problem(file=file, place="", found=f"slot {quoted(name)} twice" if name else "a column without a name",
                allowed="one column for each slot", line=lines[0][0])
        for name, times in Counter(names).items()
        if times > 1 or not name
    ]  # fmt: skip
    for line, cells in lines[1:]:
        marks = cells[1:] if numbered else cells
        if len(marks) > len(names):
            problems.append(Problem(file=file, place="", found=f"{len(marks)} cells below {len(names)} slots",
                                    allowed="no more cells than slots", line=line))  # fmt: skip
            continue
        unclear = [mark for mark in marks if mark.casefold() not in _FILLED | _EMPTY]
        if unclear:
            problems.append(Problem(file=file, place="", found=quoted(unclear[0]), allowed=_MARKS, line=line))
            continue
        slots = tuple(name for name, mark in zip(names, marks, strict=False) if mark.casefold() in _FILLED)
        count = _number(cells[0]) if numbered else len(slots)
        yield from _checked(count or 0, slots, line, file, problems)


def _are_marks(cells: Iterable[str]) -> bool:
    return all(cell.casefold() in _FILLED | _EMPTY for cell in cells)


def _from_lists(lines: _Lines, file: str, problems: list[Problem]) -> _Rows:
    """Rows of a number and a list of slots; ``all`` means every slot of the table where the number agrees."""
    rows: list[tuple[int, int, tuple[str, ...]]] = []
    for line, cells in lines:
        count = _number(cells[0])
        if count is None:
            problems.append(
                Problem(file=file, place="", found=quoted(cells[0]), allowed="a number of modules", line=line)
            )
            continue
        slots = tuple(name for cell in cells[1:] for name in re.split(r"[,;/+\s]+|\band\b", cell) if name)
        rows.append((line, count, slots))
    every = tuple(dict.fromkeys(slot for _, _, slots in rows for slot in slots if slot.casefold() != "all"))
    for line, count, slots in rows:
        if [slot.casefold() for slot in slots] == ["all"]:
            slots = every  # noqa: PLW2901
        yield from _checked(count, slots, line, file, problems)


def _checked(count: int, slots: tuple[str, ...], line: int, file: str, problems: list[Problem]) -> _Rows:
    """The row, unless its number and its slots do not agree."""
    twice = [slot for slot, times in Counter(slots).items() if times > 1]
    if twice:
        found, allowed = f"slot {quoted(twice[0])} twice", "each slot once"
    elif len(slots) != count:
        found, allowed = f"{len(slots)} slots for {count} modules", "as many slots as modules"
    else:
        yield count, slots
        return
    problems.append(Problem(file=file, place="", found=found, allowed=allowed, line=line))
