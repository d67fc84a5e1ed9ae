"""Population tables as people copy them out of manuals, and rows that the other rules of a board never let happen.

Such a row is a population that breaks a rule with every usual module, or a rate that no allowed population meets.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from dimmplan.bounded import read_file
from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import DIE_GBIT, Generation, Kind, Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import RateRow
from dimmplan.rates import rate_row
from dimmplan.rules import Breach, MixRow, Rule, TableRow, all_rows, judge, judge_channel, judge_module, of_kind
from dimmplan.rules.tables import SOCKET
from dimmplan.units import cleaned, counted, listed, quoted

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
            raise InputError(Problem(file="--names", found=quoted(form), allowed=allowed))
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
    content = read_file(Path(path), most=MOST_BYTES, allowed="a table as CSV")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            Problem(file=cleaned(path), found="bytes that are not UTF-8 text", allowed="CSV in UTF-8")
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
        raise InputError(Problem(file=file, found=cleaned(str(error)), allowed=FORM)) from None
    if len(lines) < 2 or len(lines[0][1]) < 2:
        raise InputError(Problem(file=file, found="no table", allowed=FORM))
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
        Problem(file=file, found=f"{counts[count]} rows for {count}", allowed="one row for each number")
        for count in counts
        if counts[count] > 1
    ]
    if problems or not found:
        raise InputError(problems or Problem(file=file, found="no row", allowed=FORM))
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
        Problem(file=file, found=f"slot {quoted(name)} twice" if name else "a column without a name",
                allowed="one column for each slot", line=lines[0][0])
        for name, times in Counter(names).items()
        if times > 1 or not name
    ]  # fmt: skip
    for line, cells in lines[1:]:
        marks = cells[1:] if numbered else cells
        if len(marks) > len(names):
            problems.append(Problem(file=file, found=f"{len(marks)} cells below {len(names)} slots",
                                    allowed="no more cells than slots", line=line))  # fmt: skip
            continue
        unclear = [mark for mark in marks if mark.casefold() not in _FILLED | _EMPTY]
        if unclear:
            problems.append(Problem(file=file, found=quoted(unclear[0]), allowed=_MARKS, line=line))
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
            problems.append(Problem(file=file, found=quoted(cells[0]), allowed="a number of modules", line=line))
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
    problems.append(Problem(file=file, found=found, allowed=allowed, line=line))


# -- rows that never happen --------------------------------------------------------------------------------------------

_ECC_BITS = {Kind.UDIMM: 0, Kind.SO_DIMM: 0}


def unused_rates(board: Board) -> Iterator[tuple[str, str]]:
    """The rate rows that no allowed population meets: their ids, and what keeps them out."""
    rows = [row for row in all_rows(board, None) if row.severity == "error"]
    for row in board.rates:
        why = _kept_out(board, rows, row) if row.mts != "none" else ""
        if why:
            yield row.id, f"this row of rates is never used: {why}"


def broken_tables(board: Board) -> Iterator[tuple[str, int, str, str]]:
    """The rows of population tables that break an error rule with every usual module: table, number, found, allowed."""
    for table in of_kind(board.rules, TableRow):
        for sockets in table.places(board.sockets) if table.severity == "error" else ():
            for count, named in table.rows.items():
                slots = {slot.replace(SOCKET, sockets[0].id) for slot in named}
                refusal = _refusal(board, table, sockets, slots)
                if refusal is not None:
                    where = f" at {', '.join(refusal.where)}" if refusal.where else ""
                    yield table.id, count, f"{refusal.found}{where}", f"{refusal.allowed} (rule {refusal.rule})"


def _refusal(board: Board, table: TableRow, sockets: list[Socket], slots: set[str]) -> Breach | None:
    """What every usual module breaks in just these slots, told for the first; ``None`` where one may fill them."""
    used = [socket.id for socket in sockets if slots.intersection(socket.slots)]
    whole = table.of_machine and bool(table.fitted)
    fitted = [socket.id for socket in sockets] if whole else used
    left_out = {"table"} if whole else {"table", "fitted", "alike"}
    found = []
    for module in board.modules if fitted else ():
        content = dict.fromkeys(slots, module)
        breaches = judge(board, None, fitted, content, mode=table.mode or Mode.INDEPENDENT)
        errors = [each for each in breaches if each.severity == "error" and each.check not in left_out]
        if not errors:
            return None
        found += errors[:1]
    return found[0] if found else None


def _kept_out(board: Board, rows: list[Rule], row: RateRow) -> str:
    """What keeps every population of a rate row out; empty where one is allowed."""
    channels = {len(channel.slots): channel for channel in board.channels if len(channel.slots) >= row.dpc}
    channels = {slots: channel for slots, channel in channels.items() if not row.slots or slots in row.slots}
    if not channels:
        sizes = {len(channel.slots) for channel in board.channels}
        if row.slots and not sizes & set(row.slots):
            *others, last = row.slots
            return f"no channel has {listed([*map(str, others), counted(last, 'slot')], last='or')}"
        return f"no channel meant has {row.dpc} slots"
    cases = [
        (module, channel)
        for slots, channel in channels.items()
        for module in _meant(board, row)
        if rate_row(board, module, row.dpc, slots) == row
    ]
    refusal: Breach | None = None
    for module, channel in cases:
        for load in _loads(board, rows, module, row.dpc):
            breach = _first_breach(rows, module, channel, load)
            if breach is None:
                return ""
            refusal = refusal or breach
    if refusal is None:
        return ""
    return f"the rule {refusal.rule} does not allow it ({refusal.found}; allowed: {refusal.allowed})"


def _meant(board: Board, row: RateRow) -> Iterator[Module]:
    """Modules that a row may be about: the usual ones, and where it names others those, made of common dies."""
    usual = [module for module in board.modules if not row.kinds or module.kind in row.kinds]
    yield from usual
    ranks = row.package_ranks or {module.package_ranks for module in usual} or (1, 2, 4)
    voltages = row.voltage_mv or {module.voltage_mv for module in board.modules}
    for kind, width, package_ranks, voltage in itertools.product(row.kinds or Kind, (4, 8), ranks, voltages):
        height = 1 if kind.unstacked is kind else 2
        die = DIE_GBIT[board.generation][3]
        yield Module(
            label=f"{kind.value} of {package_ranks} ranks",
            generation=board.generation,
            capacity_gib=int(die * 8 * package_ranks * height / width),
            kind=kind,
            package_ranks=package_ranks,
            logical_ranks=package_ranks * height,
            device_width=width,
            ecc_bits=_ECC_BITS.get(kind, 16 if board.generation is Generation.DDR5 else 8),
            rate_mts=max(board.rates_mts),
            voltage_mv=voltage,
        )


def _loads(board: Board, rows: list[Rule], module: Module, dpc: int) -> Iterator[tuple[Module, ...]]:
    """So many modules on a channel, one of them this one: all alike, or the others of one usual type."""
    yield (module,) * dpc
    mixes = [row for row in of_kind(rows, MixRow) if row.apart != "nowhere"]
    others = {(each.kind, each.package_ranks, each.logical_ranks, each.device_width): each for each in board.modules}
    for other in others.values() if dpc > 1 else ():
        pair = Channel(id="", socket="", controller="", slots=("1", "2"))
        if not any(fault for row in mixes for fault in row.of_channel(pair, (module, other))):
            yield (module, *(other,) * (dpc - 1))
            yield (*(other,) * (dpc - 1), module)


def _first_breach(rows: list[Rule], module: Module, channel: Channel, load: tuple[Module, ...]) -> Breach | None:
    filled = (*load, *(None,) * (len(channel.slots) - len(load)))
    return next(itertools.chain(judge_module(rows, module), judge_channel(rows, channel, filled)), None)
