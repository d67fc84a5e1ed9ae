"""A list of slots and module labels, as typed or scanned at the bench: CSV ``slot,label``.

Labels are JEDEC's (JESD21-C for DDR4, JESD401-5 for DDR5), read by ``model.label``. A label that is not understood is
never corrected on its own: what it may have been is offered as a question.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import clean, decode_file, was_dirty, without_escapes
from dimmplan.inventory.files import MOST_TEXT_BYTES, Piece, check_devices, check_size
from dimmplan.inventory.oddities import Oddities, alike, judge_places
from dimmplan.inventory.reader import Reader
from dimmplan.model.inventory import Inventory, InventorySlot, State
from dimmplan.model.label import format_label, module_of, parse_parts
from dimmplan.model.module import MOST_LOGICAL_RANKS
from dimmplan.units import parse_capacity

_EMPTY_WORDS = frozenset(("empty", "-", "--", "none", "free", "leer", "no module", "no dimm", "not installed"))
_SLOT_NAMES = frozenset(("slot", "locator", "dimm", "position"))
_LABEL_NAMES = frozenset(("label", "module", "type"))
_DELIMITERS = ",;\t"
_DATE = re.compile(r"#\s{0,8}date\s{0,4}[:=]?\s{0,4}(\d{4}-\d{2}-\d{2})\s{0,8}", re.IGNORECASE)
_PERSISTENT_WORDS = re.compile(r"NVDIMM|NVRDIMM|\bPMEM\b|PERSISTENT|\bPM?DIMM\b", re.IGNORECASE)
_HYBRID = re.compile(r"PC5.{0,20}[-\s][RULE]N[A-Z]{1,2}[0-9]\b", re.IGNORECASE)
_LABEL_LIKE = re.compile(
    r"\bPC[345][LU]?[-\s]?\d{4,5}|\b[1248][SDQ]?\d?R\s?X\s?(?:4|8|16)\b|^\d{1,4}\s?[GT]I?B$", re.IGNORECASE
)
_CONFUSED = (("O", "0"), ("0", "O"), ("8", "B"), ("B", "8"), ("I", "1"), ("S", "5"), ("_", "-"))
_MOST_CELLS = 40
_MOST_REPAIRS = 200
_MOST_QUESTIONS = 24
"""Labels of one list for which likely readings are looked for; finding them takes a while."""
_MOST_COMMENTS = 4096
SAME = ("generation", "kind", "package_ranks", "logical_ranks", "device_width", "ecc_bits")
"""What a slot and a label call alike."""


class LabelReader(Reader):
    """A typed or scanned list; it has no mark of its own."""

    form = "labels"
    name = "a label list"
    given = "a label list (CSV slot,label)"
    by_look = True

    def sniff(self, content: bytes, text: str | None) -> bool:
        """A head of slot and label, or most rows with a label or *empty* in the second cell."""
        del content
        if text is None or len(text) > MOST_TEXT_BYTES:
            return False
        rows = _rows(text[:65536], Oddities())
        if not rows or _is_head(rows[0]):
            return bool(rows)
        second = [row[1].strip() for row in rows if len(row) > 1]
        fitting = sum(bool(_LABEL_LIKE.search(cell[:200])) or cell.casefold() in _EMPTY_WORDS for cell in second)
        return bool(second) and fitting * 2 >= len(rows)

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """One slot per row, in its order. Raises ``InputError`` where there is no row."""
        text = decode_file(pieces[0].content) or ""
        check_size(len(text), MOST_TEXT_BYTES, file=file, what="a label list")
        plain = without_escapes(text)
        if plain != text:
            odd.note("text-cleaned", "terminal escape sequences in the list")
        check_devices(sum(bool(line.strip()) for line in plain.splitlines()) - _MOST_COMMENTS, file=file)
        rows = _rows(plain, odd)
        head = bool(rows) and _is_head(rows[0])
        slot_at, label_at = _columns(rows[0]) if head else (0, 1)
        rows = rows[1:] if head else rows
        check_devices(len(rows), file=file)
        if not rows:
            allowed = "rows of slot,label such as: A1,32GB 2Rx4 PC4-2933Y-R"
            raise InputError(Problem(file=file, place="", found="a label list without a row", allowed=allowed))
        slots: list[InventorySlot] = []
        for number, row in enumerate(rows, start=2 if head else 1):
            locator = clean("".join(row[slot_at : slot_at + 1]))
            cell = "".join(row[label_at : label_at + 1])
            if len(row) > 2 and any(cell.strip() for index, cell in enumerate(row) if index not in (slot_at, label_at)):
                odd.note("column-ignored", f"row {number}")
            if not locator:
                odd.note("row-unreadable", f"row {number}")
            slots.append(_slot(locator, cell, len(slots), odd))
        judge_places(slots, odd)
        judged = _settle_repeats(slots)
        dates = [match[1] for line in plain.splitlines()[:200] if (match := _DATE.fullmatch(line.strip()))]
        return Inventory(form=self.form, slots=judged, oddities=odd.found(), date=max(dates, default=None))


# --- rows -------------------------------------------------------------------------------------------------------------


def _rows(text: str, odd: Oddities) -> list[list[str]]:
    """The rows of a list, without blank lines and comments. The delimiter is the first of , ; and tab that is used."""
    lines = [line for line in text.replace("\0", "").splitlines() if line.strip() and not line.lstrip().startswith("#")]
    sample = "\n".join(lines[:50])
    delimiter = max(_DELIMITERS, key=lambda each: (sample.count(each), -_DELIMITERS.index(each)))
    try:
        rows = [row[:_MOST_CELLS] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter)]
    except csv.Error:
        odd.note("field-unreadable", "the list's quoting")
        rows = [line.split(delimiter)[:_MOST_CELLS] for line in lines]
    return [row for row in rows if any(cell.strip() for cell in row)]


def _is_head(row: Sequence[str]) -> bool:
    cells = {cell.strip().casefold() for cell in row[:_MOST_CELLS]}
    return bool(cells & _SLOT_NAMES) and bool(cells & _LABEL_NAMES)


def _columns(head: Sequence[str]) -> tuple[int, int]:
    """Where slot and label stand."""
    cells = [cell.strip().casefold() for cell in head]
    slot_at = next(index for index, cell in enumerate(cells) if cell in _SLOT_NAMES)
    return slot_at, next(index for index, cell in enumerate(cells) if cell in _LABEL_NAMES)


# --- one row ----------------------------------------------------------------------------------------------------------


def _slot(locator: str, cell: str, index: int, odd: Oddities) -> InventorySlot:
    """The slot of one row; a label that says not enough leaves what it does not say open."""
    text = clean(cell)
    named = InventorySlot(locator=locator, state="filled")

    def note(oddity: str, *, text: str = "") -> None:
        odd.note(oddity, locator or f"row {index + 1}", text=text, slots=(index,))

    if was_dirty(cell):
        note("text-cleaned")
    settled = _by_words(text)
    if settled is not None:
        oddity, state, why = settled
        if oddity:
            note(oddity)
        return replace(named, state=state, why=why, persistent=state == "hold")
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
    ecc = parts.ecc_bits
    return replace(
        named,
        capacity_kib=None if parts.capacity_gib is None else parts.capacity_gib << 20,
        form_factor=whole.form_factor if whole else None,
        ecc=None if ecc is None else ecc > 0,
        total_width_bits=None if ecc is None else 64 + ecc,
        data_width_bits=64,
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
    """Whole labels that ``text`` becomes when one or two look-alike characters are exchanged, in a fixed order."""
    upper = text.upper()[:120]
    once = [upper[:at] + right + upper[at + 1 :] for wrong, right in _CONFUSED for at in _places(upper, wrong)]
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
