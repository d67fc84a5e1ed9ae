"""Which slot of a board a machine's own words mean: by answers, by name, by alias, by structure; the rest is asked.

Nothing is guessed: a locator that could mean two slots matches none, and becomes a question to the person at the
machine. Answers are kept in a mapping file (CSV ``locator,bank,slot``) for reuse.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from dimmplan.bounded import read_file
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.inventory.clean import clean
from dimmplan.inventory.locators import natural, read_words, stated_words
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.units import cleaned, format_kib, quoted

MOST_MAPPING_BYTES = 1 << 20
_HEADER = ["locator", "bank", "slot"]
Answers = Mapping[tuple[str, str], str]
"""What a person answered: (locator, bank) as the machine writes them, and the slot, as a mapping file holds them."""


class Question(NamedTuple):
    """A device whose slot cannot be told, and what to ask the person at the machine."""

    locator: str
    bank: str
    text: str


class Matching(NamedTuple):
    """Slots of a board and the devices of an inventory that they hold, and the questions that are left.

    ``index_of`` has the place of each slot's device in ``Inventory.slots``.
    """

    index_of: dict[str, int]
    questions: tuple[Question, ...]


def folded(text: str) -> str:
    """Words as they are compared: case, blanks, hyphens, underscores and dots do not count."""
    return re.sub(r"[\s_.\-/]+", "", text).casefold()


def match_slots(found: Inventory, board: Board, answers: Answers | None = None) -> Matching:
    """Match the memory devices of an inventory to the slots of a board."""
    devices = {index: slot for index, slot in enumerate(found.slots) if slot.counts}
    taken: dict[int, str] = {}
    known = {(folded(locator), folded(bank)): slot for (locator, bank), slot in (answers or {}).items()}
    for index, device in devices.items():
        slot = known.get((folded(device.locator), folded(device.bank)), "")
        if slot in board.slots and slot not in taken.values():
            taken[index] = slot
    taken |= _by_names(devices, {folded(slot): slot for slot in board.slots}, taken)
    taken |= _by_names(devices, {folded(name): slot for slot, names in board.aliases for name in names}, taken)
    taken = taken or _by_structure(devices, board)
    free = [slot for slot in board.slots if slot not in taken.values()]
    left = [index for index in devices if index not in taken]
    if len(left) == len(free) and all(devices[index].state == "empty" for index in left):
        taken, free = taken | dict(zip(left, free, strict=True)), []  # whichever is which, all of them are empty
    questions = [
        Question(slot.locator, slot.bank, _question(slot, free))
        for index, slot in devices.items()
        if index not in taken
    ]
    return Matching({taken[index]: index for index in sorted(taken)}, tuple(questions))


def with_rest_empty(found: Inventory, board: Board, answers: Answers | None = None) -> Inventory:
    """The inventory with every slot that it does not list as an empty one, as the person at the machine says.

    Raises ``InputError`` where a device's slot is not known: one of the others may be its.
    """
    matching = match_slots(found, board, answers)
    if matching.questions:
        first = matching.questions[0]
        unknown = f"a device whose slot is not known: {quoted(first.locator or first.bank)}"
        allowed = "an inventory whose every device has a slot"
        raise InputError(Problem(file="--rest-empty", found=unknown, allowed=allowed, hint="Answer it with --slots."))
    listed = matching.index_of
    rest = tuple(InventorySlot(locator=slot, state="empty") for slot in board.slots if slot not in listed)
    return replace(found, slots=(*found.slots, *rest))


def _question(slot: InventorySlot, free: Sequence[str]) -> str:
    name = quoted(slot.name) if slot.name else "the device without a locator"
    holds = format_kib(slot.capacity_kib) if slot.capacity_kib else "nothing" if slot.state == "empty" else "a module"
    left = ", ".join(free[:12]) or "none"
    return f"Which slot is {name}? It reports {holds}. Free: {left}{' ...' if free[12:] else ''}."


Devices = Mapping[int, InventorySlot]


def _by_names(devices: Devices, slot_of: Mapping[str, str], taken: Mapping[int, str]) -> dict[int, str]:
    """Match where the locator, or locator and bank together, is the name of one slot and of one device."""
    claims: dict[int, set[str]] = {}
    for index, device in devices.items():
        if index not in taken:
            words = device.locator, device.bank + device.locator, device.locator + device.bank
            claims[index] = {slot_of[word] for word in map(folded, words) if word in slot_of} - {*taken.values()}
    counts = Counter(slot for slots in claims.values() for slot in slots)
    return {index: slot for index, slots in claims.items() if len(slots) == 1 for slot in slots if counts[slot] == 1}


# -- by structure --------------------------------------------------------------------------------------------------


class _Place(NamedTuple):
    socket: int
    channel: str
    slot: int


def _by_structure(devices: Devices, board: Board) -> dict[int, str]:
    """Match socket to socket, channel to channel, place to place, where the whole machine has the board's structure.

    Sockets and channels are taken in the order of their numbers or letters, and only where every channel then has
    just the slots that the board's channel has.
    """
    places = {place: index for index, device in devices.items() if (place := place_of(device)) is not None}
    sockets = sorted({place.socket for place in places})
    if len(places) != len(devices) or len(sockets) != len(board.sockets):
        return {}
    found: dict[int, str] = {}
    for number, socket in zip(sockets, board.sockets, strict=True):
        channels = sorted({place.channel for place in places if place.socket == number}, key=natural)
        if len(channels) != len(socket.channels):
            return {}
        for letter, channel in zip(channels, socket.channels, strict=True):
            inside = sorted(place for place in places if (place.socket, place.channel) == (number, letter))
            if len(inside) != len(channel.slots):
                return {}
            found |= {places[place]: slot for place, slot in zip(inside, channel.slots, strict=True)}
    return found


def place_of(device: InventorySlot) -> _Place | None:
    """Socket, channel and slot that a device's words or numbers say; ``None`` where one of them is missing."""
    stated, mine, bank = stated_words(device), read_words(device.locator), read_words(device.bank, is_bank=True)
    socket = stated.processor or mine.processor or bank.processor or mine.node or bank.node or "0"
    told = (
        (stated.channel, stated.position),
        (mine.channel, mine.position or bank.position),
        (mine.letter, mine.number) if mine.letter and mine.number else (None, None),
        (bank.channel, bank.position or mine.number),
    )
    channel, slot = next((each for each in told if each[0] is not None), (None, None))
    if channel is None or slot is None or not socket.isdecimal() or not slot.isdecimal():
        return None
    controller = f"{stated.controller}." if stated.controller is not None else ""
    return _Place(int(socket), f"{controller}{channel}", int(slot))


# -- mapping files -------------------------------------------------------------------------------------------------


def read_mapping(path: Path, board: Board) -> dict[tuple[str, str], str]:
    """Answers from a mapping file. Rows without a slot are questions still open. Raises ``InputError``."""
    file = cleaned(str(path))
    allowed = "a mapping file (CSV locator,bank,slot)"
    try:
        text = read_file(path, most=MOST_MAPPING_BYTES, allowed=allowed).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(Problem(file=file, found="not utf-8 text", allowed=allowed)) from None
    answers: dict[tuple[str, str], str] = {}
    problems: list[Problem] = []
    for number, row in _rows(text, file):
        if not row or row[0].startswith("#") or [folded(cell) for cell in row] == _HEADER:
            continue
        locator, bank, slot = ([clean(cell) for cell in row] + ["", ""])[:3]
        if slot and slot not in board.slots:
            place, hint = f"line {number}", did_you_mean(slot, board.slots)
            problems.append(
                Problem(file=file, place=place, found=quoted(slot), allowed="slots of the board", hint=hint)
            )
        elif slot:
            answers[(locator, bank)] = slot
    for slot, count in Counter(answers.values()).items():
        if count > 1:
            problems.append(Problem(file=file, found=f"slot {quoted(slot)} twice", allowed="each once"))
    if problems:
        raise InputError(problems)
    return answers


def _rows(text: str, file: str) -> Iterator[tuple[int, list[str]]]:
    """Rows of a mapping with their numbers. Raises ``InputError`` where the quoting cannot be read."""
    reader = csv.reader(io.StringIO(text, newline=None))
    try:
        yield from enumerate(reader, start=1)
    except csv.Error as error:
        place = f"line {reader.line_num}"
        raise InputError(Problem(file=file, place=place, found=str(error), allowed="a row of CSV")) from None


def mapping_text(found: Inventory, matching: Matching, answers: Answers | None = None) -> str:
    """A mapping file of what has been matched, with a row for every open question to fill in.

    ``answers`` are a person's, from an earlier file; they stay, also those about locators that are not listed now.
    """
    left = dict(answers or {})
    taken = set(left.values())
    slots = {index: slot for slot, index in matching.index_of.items()}
    output = io.StringIO()
    writer = csv.writer(output, lineterminator="\n")
    output.write("# dimmplan slot mapping: fill in the slots that are missing\n")
    writer.writerow(_HEADER)
    for index, slot in enumerate(found.slots):
        if slot.counts:
            answer = left.pop((slot.locator, slot.bank), "") or left.pop((slot.locator, ""), "")
            matched = slots.get(index, "") if slot.name else ""
            writer.writerow([slot.locator, slot.bank, answer or ("" if matched in taken else matched)])
    writer.writerows([locator, bank, slot] for (locator, bank), slot in left.items())
    return output.getvalue()
