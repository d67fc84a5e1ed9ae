"""A list of slots and module labels, as typed or scanned at the bench: CSV ``slot,label``.

Labels are JEDEC's (JESD21-C for DDR4, JESD401-5 for DDR5), read by ``model.label``. A label that is not understood is
never corrected on its own: what it may have been is offered as a question.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from typing import NamedTuple

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import clean, decode_file, was_dirty, without_escapes
from dimmplan.inventory.locators import names_place
from dimmplan.inventory.oddities import Oddities, alike, is_module_size, judge_places
from dimmplan.inventory.reader import MOST_TEXT_BYTES, Piece, Reader, check_devices, check_size
from dimmplan.model.inventory import Inventory, InventorySlot, State
from dimmplan.model.label import format_label, module_of, parse_parts
from dimmplan.model.module import MOST_LOGICAL_RANKS
from dimmplan.units import parse_capacity

_EMPTY_WORDS = frozenset(("empty", "-", "--", "none", "free", "leer", "no module", "no dimm", "not installed"))
_HEADS = ("slot", "locator", "dimm", "position"), ("label", "module", "type")
"""Names of the two columns."""
_OWN_NAMES = {"locator", "dimm", "label"}
"""Those that lists of other things do not have."""
_DELIMITERS = ",;\t:"
_BEFORE = re.compile(r"(?:[A-Z][A-Z.-]{1,20}\s{1,3}){1,3}(?=\d{1,4}\s?[GT]B\b)", re.IGNORECASE)
"""Words before a label, such as a maker's name; they may say *removed* too."""
_DATE = re.compile(r"#\s{0,8}date\s{0,4}[:=]?\s{0,4}(\d{4}-\d{2}-\d{2})\s{0,8}", re.IGNORECASE)
_PERSISTENT_WORDS = re.compile(r"NVDIMM|NVRDIMM|\bPMEM\b|PERSISTENT|\bPM?DIMM\b", re.IGNORECASE)
_HYBRID = re.compile(r"PC5.{0,20}[-\s][RULE]N[A-Z]{1,2}[0-9]\b", re.IGNORECASE)
_LABEL_LIKE = re.compile(r"\bPC[345][LU]?[-\s]?\d{4,5}|\b[1248][SDQ]?\d?R\s?X\s?(?:4|8|16)\b", re.IGNORECASE)
_CONFUSED = (("O", "0"), ("0", "O"), ("8", "B"), ("B", "8"), ("I", "1"), ("S", "5"), ("_", "-"))
_MOST_CELLS = 40
_MOST_REPAIRS = 200
_MOST_QUESTIONS = 24
"""Labels of one list for which likely readings are looked for; finding them takes a while."""
_MOST_COMMENTS = 4096
SAME = ("generation", "kind", "package_ranks", "logical_ranks", "device_width", "ecc_bits")
"""What a slot and a label call alike."""


class Row(NamedTuple):
    """A slot and what its label says, as they stand in some list; ``called`` is the row's own name in oddities."""

    called: str
    slot: str
    label: str


def read_rows(rows: Iterable[Row], odd: Oddities, *, form: str, file: str) -> Inventory:
    """The inventory of any list of slots and labels, one slot for each row, in its order.

    Raises ``InputError`` where there is no row, or more than any machine has slots.
    """
    slots: list[InventorySlot] = []
    for row in rows:
        if not clean(row.slot):
            odd.note("row-unreadable", row.called)
        slots.append(_slot(row, len(slots), odd))
    check_devices(len(slots), file=file)
    if not slots:
        allowed = "rows of slot,label such as: A1,32GB 2Rx4 PC4-2933Y-R"
        raise InputError(Problem(file=file, found="a label list without a row", allowed=allowed))
    judge_places(slots, odd)
    return Inventory(form=form, slots=_settle_repeats(slots), oddities=odd.found())


class LabelReader(Reader):
    """A typed or scanned list; it has no mark of its own."""

    form = "labels"
    name = "a label list"
    given = "a label list (CSV slot,label)"
    by_look = True

    def sniff(self, content: bytes, text: str | None) -> bool:
        """A head of slot and label, or rows that can be nothing else.

        Lists of other things have heads such as *position* and *type*, and cells such as *none* and *512GB*: with no
        label anywhere, the head has to be ours, or each slot has to be one by its name.
        """
        del content
        if text is None or len(text) > MOST_TEXT_BYTES:
            return False
        rows = _cells(text[:65536], Oddities())
        head = _columns(rows[0]) if rows else None
        if head and {rows[0][at].strip().casefold() for at in head} & _OWN_NAMES:
            return True
        slot_at, label_at = head or (0, 1)
        pairs = [(row[slot_at], row[label_at].strip()[:200]) for row in rows if len(row) > max(slot_at, label_at)]
        labels = sum(bool(_LABEL_LIKE.search(label)) for _, label in pairs)
        sizes = [slot for slot, label in pairs if is_module_size((_bare_size(label) or 0) << 20)]
        empty = [slot for slot, label in pairs if label.casefold() in _EMPTY_WORDS]
        named = labels or (sizes and (head or all(map(names_place, sizes + empty))))
        return bool(named) and (labels + len(sizes) + len(empty)) * 2 >= len(rows) - bool(head)

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """One slot per row. Raises ``InputError`` where there is no row."""
        text = decode_file(pieces[0].content) or ""
        check_size(len(text), MOST_TEXT_BYTES, file=file, what="a label list")
        plain = without_escapes(text)
        if plain != text:
            odd.note("text-cleaned", "terminal escape sequences in the list")
        lines = [line.strip() for line in plain.splitlines()]
        check_devices(sum(map(bool, lines)) - _MOST_COMMENTS, file=file)
        rows = _rows(_cells(plain, odd), odd)
        dates = [match[1] for line in lines[:200] if (match := _DATE.fullmatch(line))]
        return replace(read_rows(rows, odd, form=self.form, file=file), date=max(dates, default=None))


# --- cells ------------------------------------------------------------------------------------------------------------


def _cells(text: str, odd: Oddities) -> list[list[str]]:
    """The rows of a list, without blank lines and comments. The delimiter is what is used most, a comma first."""
    lines = [line for line in text.replace("\0", "").splitlines() if line.strip() and not line.lstrip().startswith("#")]
    sample = "\n".join(lines[:50])
    delimiter = max(_DELIMITERS, key=lambda each: (sample.count(each), -_DELIMITERS.index(each)))
    try:
        rows = [row[:_MOST_CELLS] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter)]
    except csv.Error:
        odd.note("field-unreadable", "the list's quoting")
        rows = [line.split(delimiter)[:_MOST_CELLS] for line in lines]
    return [row for row in rows if any(cell.strip() for cell in row)]


def _columns(row: Sequence[str]) -> tuple[int, int] | None:
    """Where slot and label stand, of a row that is a head; ``None`` of another."""
    cells = [cell.strip().casefold() for cell in row]
    slot, label = (next((at for at, cell in enumerate(cells) if cell in names), None) for names in _HEADS)
    return None if slot is None or label is None else (slot, label)


def _rows(table: Sequence[Sequence[str]], odd: Oddities) -> Iterator[Row]:
    """The rows below the head, if there is one; what other columns say is left out, and noted."""
    head = _columns(table[0]) if table else None
    columns = head or (0, 1)
    for number, cells in enumerate(table[1:] if head else table, start=2 if head else 1):
        row = Row(f"row {number}", *("".join(cells[at : at + 1]) for at in columns))
        if any(cell.strip() for at, cell in enumerate(cells) if at not in columns):
            odd.note("column-ignored", row.called)
        yield row


# --- one row ----------------------------------------------------------------------------------------------------------


def _slot(row: Row, index: int, odd: Oddities) -> InventorySlot:
    """The slot of one row; a label that says not enough leaves what it does not say open."""
    text = clean(row.label)
    named = InventorySlot(locator=clean(row.slot), state="filled")
    note = partial(odd.note, where=named.locator or row.called, slots=(index,))
    if was_dirty(row.label):
        note("text-cleaned")
    settled = _by_words(text)
    if settled is not None:
        oddity, state, why = settled
        if oddity:
            note(oddity)
        return replace(named, state=state, why=why)
    try:
        parts = parse_parts(text, file="label")
    except InputError as error:
        capacity = _bare_size(text)
        if capacity is not None:
            note("label-incomplete")
            return replace(named, capacity_kib=capacity << 20)
        note("label-unreadable", text=_question(text, error, look=odd.count("label-unreadable") < _MOST_QUESTIONS))
        return named.untold("the label is not understood")
    whole = module_of(parts)
    if whole is None:
        note("label-incomplete")
    if parts.logical_ranks > MOST_LOGICAL_RANKS:
        note("ranks-odd")
    return replace(
        named,
        capacity_kib=None if parts.capacity_gib is None else parts.capacity_gib << 20,
        ecc=None if parts.ecc_bits is None else parts.ecc_bits > 0,
        rated_mts=parts.rate_mts,
        label=whole.label if whole else None,
        **{name: getattr(parts, name) for name in SAME},
    )


def _by_words(text: str) -> tuple[str, State, str] | None:
    """Oddity, state and reason of a cell that is no label of ordinary memory; ``None`` where it may be one."""
    if not text:
        return "label-blank", "cannot-tell", "no label is given"
    if text.casefold() in _EMPTY_WORDS:
        return "", "empty", ""
    if _PERSISTENT_WORDS.search(text):
        return "persistent-module", "hold", "the label says that the module is persistent"
    if _HYBRID.search(text):
        return "label-hybrid", "cannot-tell", "the label may be one of a persistent module"
    return None


def _bare_size(text: str) -> int | None:
    """GiB of a row that gives only a size."""
    try:
        return parse_capacity(text) if re.fullmatch(r"\d{1,5}\s?[GT]I?B", text, re.IGNORECASE) else None
    except InputError:
        return None


def _question(text: str, error: InputError, *, look: bool) -> str:
    """What the label may have been: characters that look alike exchanged, where that makes a whole label."""
    likely = list(dict.fromkeys(repairs(text)))[:3] if look else []
    if likely:
        return f"'{text}' is not understood. Is it {' or '.join(repr(each) for each in likely)}?"
    problem = error.problems[0]
    return f"{problem.found} {problem.hint}".strip()


@lru_cache(maxsize=_MOST_QUESTIONS)
def repairs(text: str) -> tuple[str, ...]:
    """Whole labels that ``text`` becomes without the words before it, or with one or two look-alikes exchanged."""
    upper = text.upper()[:120]
    bare = _BEFORE.sub("", upper)
    once = [bare] if bare != upper else []
    once += [upper[:at] + right + upper[at + 1 :] for wrong, right in _CONFUSED for at in _places(upper, wrong)]
    twice = [
        first[:at] + right + first[at + 1 :]
        for first in once[:20]
        for wrong, right in _CONFUSED
        for at in _places(first, wrong)
    ]
    good = []
    for candidate in (*once, *twice)[:_MOST_REPAIRS]:
        try:
            parts = parse_parts(candidate, file="label")
        except InputError:
            continue
        if module_of(parts) is not None:
            good.append(format_label(parts))
    return tuple(good)


def _places(text: str, character: str) -> list[int]:
    return [index for index, each in enumerate(text) if each == character]


def _settle_repeats(slots: Sequence[InventorySlot]) -> tuple[InventorySlot, ...]:
    """A slot listed twice with different labels cannot be told: which of the two is there is the person's answer."""
    settled = list(slots)
    for group in alike([slot.locator or None for slot in slots]):
        if len({(slots[index].state, slots[index].label, slots[index].capacity_kib) for index in group}) > 1:
            for index in group:
                if slots[index].state != "hold":
                    settled[index] = slots[index].untold("the list names this slot twice")
    return tuple(settled)


READER = LabelReader()
