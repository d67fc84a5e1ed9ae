"""From an error record to the slot that it means, or to the slots that it can mean.

The running system names a module by source id, controller, channel and slot, by chip-select row, by a label, by an
SMBIOS handle or by node, card and module. The forms are those that kernels have written (kernel-03, kernel-04); what
each number counts from follows the board file's order (common practice). Where that cannot be known, the candidates
are given.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, TypeVar

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import clean
from dimmplan.inventory.locators import Words, read_words
from dimmplan.inventory.match import Matching, folded
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.inventory import Inventory
from dimmplan.units import cleaned

MOST_RECORDS = 10_000
"""Places that a log may name in different words; a machine has some hundred."""
LONGEST_RECORD = 500
"""Characters of a record or a log's line that are looked at."""
RANKS_TOLD_APART = (1, 2, 4)
"""Chip selects that a module may take where it is not known."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LocatedRecord:
    """One error record: the slots that it can mean, whether that is sure, why, and what would tell candidates apart.

    ``count`` is how many errors it reports, ``uncorrected`` how many of these were not corrected.
    """

    record: str
    slots: tuple[str, ...]
    certain: bool
    why: str
    apart: str = ""
    count: int = 1
    uncorrected: int = 0


Pattern = Literal["one-slot", "one-channel", "one-socket", "several-sockets", "none"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Location:
    """All records of a call, and how the slots that are sure lie to each other.

    ``ignored`` lines of a log are left out; ``unplaced`` ones of these speak of a memory error, and name no place.
    """

    board: Board
    records: tuple[LocatedRecord, ...]
    pattern: Pattern
    ignored: int = 0
    unplaced: int = 0

    @property
    def counts(self) -> dict[str, tuple[int, int]]:
        """Errors by slot in board order, corrected and not, of the records that are sure."""
        totals: Counter[tuple[str, bool]] = Counter()
        for record in self.records:
            if record.certain:
                totals[record.slots[0], False] += record.count - record.uncorrected
                totals[record.slots[0], True] += record.uncorrected
        told = {slot for slot, _ in totals}
        return {slot: (totals[slot, False], totals[slot, True]) for slot in self.board.slots if slot in told}

    @property
    def marked(self) -> dict[str, bool]:
        """Every slot that a record can mean, in board order, and whether one is sure of it."""
        sure = {record.slots[0] for record in self.records if record.certain}
        may = {slot for record in self.records for slot in record.slots}
        return {slot: slot in sure for slot in self.board.slots if slot in may}


def locate(
    board: Board, records: Sequence[str], *, found: Inventory | None = None, matching: Matching | None = None
) -> Location:
    """Locate records given one by one. ``found`` and ``matching`` know handles, resources, and modules' ranks."""
    names = _SlotNames(board, found, matching)
    located = tuple(names.located(cleaned(record, most=LONGEST_RECORD).strip()) for record in records)
    return Location(board=board, records=located, pattern=_pattern(board, located))


def locate_log(
    board: Board, lines: Iterable[str], *, found: Inventory | None = None, matching: Matching | None = None
) -> Location:
    """Locate the memory errors of a whole log, alike ones counted together; other lines are left out and counted."""
    names = _SlotNames(board, found, matching)
    totals: dict[str, list[int]] = {}
    ignored = unplaced = 0
    for text, number, uncorrected in _errors(_retold(lines), names.names):
        if not text:
            ignored += 1
            unplaced += number
            continue
        total = totals.setdefault(text, [0, 0])
        if len(totals) > MOST_RECORDS:
            many = f"more than {MOST_RECORDS} different records"
            raise InputError(Problem(file="log", found=many, allowed="the log of one machine"))
        total[0] += number
        total[1] += number if uncorrected else 0
    located = tuple(
        replace(names.located(text), count=number, uncorrected=bad) for text, (number, bad) in totals.items()
    )
    return Location(board=board, records=located, pattern=_pattern(board, located), ignored=ignored, unplaced=unplaced)


def _pattern(board: Board, records: Sequence[LocatedRecord]) -> Pattern:
    """How the sure slots lie: one, one channel, one socket, or more than that."""
    slots = {record.slots[0] for record in records if record.certain}
    channels = {(board.channel_of[slot].socket, board.channel_of[slot].name) for slot in slots}
    sockets = {socket for socket, _ in channels}
    if not slots:
        return "none"
    if len(slots) == 1:
        return "one-slot"
    if len(channels) == 1:
        return "one-channel"
    return "one-socket" if len(sockets) == 1 else "several-sockets"


# -- the forms that kernels write ------------------------------------------------------------------------------------

_SOURCE = re.compile(
    r"(?:CPU_)?(?:SrcID|CPU)#(?P<socket>\d+)_?"
    r"(?:(?P<word>Ha|MC|HBMC)#(?P<mc>\d+)_)?Chan(?:nel)?#(?P<channel>\d+)_DIMM#(?P<slot>\d+)",
    re.IGNORECASE,
)
"""``CPU_SrcID#0_MC#1_Chan#0_DIMM#1``; older: ``Ha#`` for ``MC#``, no controller, ``CPU#0Channel#1_DIMM#0``."""

_SOCKET = re.compile(
    r"\bSOCKET (?P<socket>\d{1,3}) CHANNEL (?P<channel>\d{1,3}|any) DIMM (?P<slot>\d{1,3}|any)\b", re.IGNORECASE
)
_CLIENT = re.compile(r"(?<![A-Za-z_])MC#(?P<mc>\d+)_Chan#(?P<channel>\d+)_DIMM#(?P<slot>\d+)", re.IGNORECASE)
_LAYERS = re.compile(
    r"mc#(?P<mc>\d+)(?:branch#(?P<branch>\d+))?(?:csrow#(?P<row>\d+)channel#(?P<row_channel>\d+)"
    r"|channel#(?P<channel>\d+)slot#(?P<slot>\d+)|csrow#(?P<row_alone>\d+)|memory#(?P<memory>\d+))",
    re.IGNORECASE,
)
_OLD_ROW = re.compile(r"EDAC MC(?P<mc>\d+):.*?\brow (?P<row>\d+),? channel(?:-a=)?\s*(?P<channel>\d+)", re.IGNORECASE)
_COUNTERS = re.compile(r"\bmc/?(?P<mc>\d+)(?:/|: )csrow(?P<row>\d+)(?:/|: )ch(?P<channel>\d+)", re.IGNORECASE)
"""The kernel's counters: ``mc0/csrow2/ch1_ce_count``, or as a report, ``mc0: csrow2: ch1: 4 Corrected Errors``."""
_DETAIL = re.compile(r"EDAC MC(?P<mc>\d+):.*?\((?:.*?\b)?channel:(?P<channel>\d+) slot:(?P<slot>\d+)", re.IGNORECASE)
_DETAIL_ROW = re.compile(
    r"EDAC MC(?P<mc>\d+):.*?\((?:.*?\b)?csrow:(?P<row>\d+) channel:(?P<channel>\d+)", re.IGNORECASE
)
_HANDLE = re.compile(
    r"(?:DMI |SMBIOS )?handle:?\s*(?P<handle>0x[0-9A-F]{1,4})\b|^(?P<bare>0x[0-9A-F]{1,4})$", re.IGNORECASE
)
_APEI = re.compile(
    r"\bnode:\s*(?P<node>\d+)\b.*?\bcard:\s*(?P<card>\d+)\b.*?\bmodule:\s*(?P<module>\d+)\b", re.IGNORECASE
)
_LOCATION = re.compile(
    r"DIMM location:\s*(?!not present)(?P<label>\S.*?)\s*(?:DMI handle|\bpage:|$|\)|,)", re.IGNORECASE
)
_QUOTED = re.compile(r"\blabel:?\s*\"(?P<label>[^\"]+)\"", re.IGNORECASE)
_ON = re.compile(r"\b(?:CE|UE|error\(s\)|error)[^()]*?\b(?:on|at) (?P<label>[^()]+?)\s*(?:\(|$)", re.IGNORECASE)
_PATH = re.compile(r"/Memory/(?P<id>[^/\s?#]+)", re.IGNORECASE)
_NO_LABEL = frozenset(("", "unknown memory", "unknown label", "any memory", "unknown"))
_ROOM = re.compile(r"\s+or\s+", re.IGNORECASE)

_T = TypeVar("_T")


class _Slots(NamedTuple):
    """The slots that a record may mean, why, what would tell them apart, and whether the one is sure."""

    slots: Sequence[str]
    why: str
    apart: str = ""
    certain: bool = False


class _SlotNames:
    """A board's slots by every way in which a running system names them."""

    def __init__(self, board: Board, found: Inventory | None, matching: Matching | None) -> None:
        self.board = board
        self.found = found
        self.sockets = board.sockets
        self.controllers = [controller for socket in board.sockets for controller in socket.controllers]
        self.edac = {folded(name): slot for slot, names in board.edac for name in names}
        self.names = {folded(name): slot for slot, names in board.aliases for name in names}
        self.names |= {folded(slot): slot for slot in board.slots} | self.edac
        self.words = {slot: read_words(slot) for slot in board.slots}
        self.slot_of = {index: slot for slot, index in (matching.index_of if matching else {}).items()}
        self.ranks: dict[str, int] = {}
        self.handles: dict[str, str] = {}
        for index, device in enumerate(found.slots if found else ()):
            ranks = device.package_ranks or device.ranks_said
            if index in self.slot_of and device.state == "filled" and ranks:
                self.ranks[self.slot_of[index]] = ranks
            if index in self.slot_of and device.handle:
                self.handles[device.handle.casefold()] = self.slot_of[index]
            if index in self.slot_of and device.locator:
                self.names.setdefault(folded(device.locator), self.slot_of[index])

    def located(self, record: str) -> LocatedRecord:
        """The slots of one record: the board file's own words first, then numbers, then labels."""
        told = (
            self._named(record)
            or self._doubted(self._numbered(record))
            or self._labelled(record)
            or self._by_words(record)
            or _Slots((), "neither a known form of error record nor the name of a slot")
        )
        real = tuple(slot for slot in self.board.slots if slot in set(told.slots))
        sure = told.certain and len(real) == 1
        return LocatedRecord(record=record, slots=real, certain=sure, why=told.why, apart=told.apart)

    def _doubted(self, told: _Slots | None) -> _Slots | None:
        """What numbers tell is not sure where a draft guesses the wiring that they count through."""
        guessed = [about for about, _ in self.board.guesses if about in ("sockets", "channels", "fill-order")]
        if told is None or not told.slots or not guessed:
            return told
        slots = list(told.slots)
        if "fill-order" in guessed:  # the first slot of a channel may be its last
            of_channel = [self.board.channel_of[slot].slots for slot in slots]
            turned = [each[len(each) - 1 - each.index(slot)] for slot, each in zip(slots, of_channel, strict=True)]
            slots += [slot for slot in turned if slot not in slots]
        if told.certain and guessed == ["fill-order"] and len(slots) == 1:
            return told
        why = f"{told.why}; the draft of this board guesses {' and '.join(guessed)}"
        return _Slots(slots, why, "answer the open questions of the board file")

    def _named(self, record: str) -> _Slots | None:
        """The whole record is a name of a slot, or holds one that the board file gives for error records."""
        key = folded(record)
        if key in self.edac:
            return _Slots([self.edac[key]], "the board file gives this name", certain=True)
        if key in self.names:
            return _Slots([self.names[key]], "the slot's own name", certain=True)
        inside = {slot for name, slot in self.edac.items() if len(name) > 3 and name in key}
        return _Slots([*inside], "the board file gives a name in it", certain=True) if len(inside) == 1 else None

    def _numbered(self, record: str) -> _Slots | None:
        label = self._label(record)
        if label is not None and not any(form.search(label) for form, _ in _FORMS):
            return None  # a label of its own says more than the numbers behind it
        for form, read in _FORMS:
            if match := form.search(record):
                return read(self, match)
        return None

    def _label(self, record: str) -> str | None:
        for pattern in (_QUOTED, _LOCATION, _ON):
            match = pattern.search(record)
            if match and match["label"].strip().casefold() not in _NO_LABEL:
                return match["label"].strip()
        return None

    def _labelled(self, record: str) -> _Slots | None:
        """A label, an SMBIOS handle, a Redfish path; at last node, card and module."""
        label = self._label(record)
        if label is not None:
            parts = [self._by_label(part) for part in _ROOM.split(label)]
            slots = [slot for part in parts if part for slot in part.slots]
            if slots:
                apart = "the record names them together: exchange one of them with a module of another channel"
                sure = len(parts) == 1 and parts[0] is not None and parts[0].certain
                return _Slots(slots, f"the label {label!r}", "" if len(slots) == 1 else apart, sure)
        if match := _PATH.search(record):
            return self._by_resource(match["id"])
        if match := _HANDLE.search(record):
            told = self._by_handle(match["handle"] or match["bare"])
            if told.slots or not _APEI.search(record):
                return told
        if match := _APEI.search(record):
            return self._by_node(int(match["node"]), int(match["card"]), int(match["module"]))
        return None

    # -- one form each ---------------------------------------------------------------------------------------------

    def _by_source(self, match: re.Match[str]) -> _Slots:
        """Source id, controller, channel and slot: the board's sockets, controllers, channels and slots in order."""
        socket = self._at(self.sockets, int(match["socket"]))
        if socket is None:
            return _Slots((), f"the board has no socket {match['socket']}, counted from 0")
        if (match["word"] or "").upper() == "HBMC":
            return _Slots((), "memory in the processor's package, which has no slot")
        channel, slot = int(match["channel"]), int(match["slot"])
        if match["mc"] is None:
            return self._in_channels([self._at(socket.channels, channel)], slot, "source id, channel and slot in order")
        return self._in_controller(socket, int(match["mc"]), channel, slot)

    def _by_socket(self, match: re.Match[str]) -> _Slots:
        """Socket, channel and slot, each of which may be *any*; the channel may count in the socket or a controller."""
        socket = self._at(self.sockets, int(match["socket"]))
        if socket is None:
            return _Slots((), f"the board has no socket {match['socket']}, counted from 0")
        rows = [socket.channels, *(each.channels for each in socket.controllers)]
        number = None if match["channel"] == "any" else int(match["channel"])
        of_number = [channel for row in rows if number is not None and (channel := self._at(row, number))]
        channels = list(dict.fromkeys(socket.channels if number is None else of_number))
        why = "socket, channel and slot in the board file's order, counted from 0"
        if match["slot"] != "any":
            return self._in_channels(channels, int(match["slot"]), why)
        slots = [slot for channel in channels for slot in channel.slots]
        return _Slots(slots, why, "find a record that names the slot", certain=len(slots) == 1)

    def _in_controller(self, socket: Socket, mc: int, channel: int, slot: int) -> _Slots:
        controller = self._at(socket.controllers, mc)
        why = "source id, controller, channel and slot in the board file's order"
        if controller is not None and (len(socket.controllers) > 1 or self.board.trust != "drafted"):
            return self._in_channels([self._at(controller.channels, channel)], slot, why)
        count = len(socket.channels)
        shares = [count // parts for parts in range(mc + 1, count + 1) if count % parts == 0]
        places = {mc * share + channel for share in shares if channel < share}
        why = f"the board file does not say which channels controller {mc} of {socket.id} has"
        return self._in_channels([self._at(socket.channels, place) for place in sorted(places)], slot, why)

    def _in_channels(self, channels: Sequence[Channel | None], slot: int, why: str) -> _Slots:
        slots = [s for channel in channels if channel for s in channel.slots[slot : slot + 1]]
        if not slots:
            return _Slots((), f"{why}: the board has no such slot")
        if len(slots) == 1:
            return _Slots(slots, why, certain=True)
        return _Slots(slots, why, "once the module of such a record is known, name its slot under [electrical.edac]")

    def _by_controller(self, match: re.Match[str]) -> _Slots:
        """A controller numbered through the machine, its channel and slot."""
        mc, channel, slot = match["mc"], match["channel"], match["slot"]
        channels = list(dict.fromkeys(self._channels_of(int(mc), int(channel))))
        return self._in_channels(channels, int(slot), f"controller {mc}, channel {channel} and slot {slot} in order")

    def _channels_of(self, mc: int, channel: int) -> Iterator[Channel]:
        """Channels that a controller's number can mean: the machine's controllers in order, or one for each socket."""
        per_controller = self._at(self.controllers, mc)
        found = self._at(per_controller.channels, channel) if per_controller else None
        if found is not None:
            yield found
        socket = self._at(self.sockets, mc)
        if socket is not None and len(self.controllers) > len(self.sockets):
            whole = self._at(socket.channels, channel)
            if whole is not None:
                yield whole

    def _by_layers(self, match: re.Match[str]) -> _Slots:
        if match["row"] is not None:
            return self._by_row(match, match["row_channel"])
        if match["channel"] is not None:
            return self._by_controller(match)
        if match["row_alone"] is not None:
            return _Slots((), "a chip-select row alone names no channel", "find the record that names the channel")
        return self._by_place(int(match["memory"]))

    def _by_place(self, place: int) -> _Slots:
        """``memory#3``: the module's place in the firmware's list, which an inventory tells."""
        if self.found is None:
            why = "a place in the firmware's list; only the machine's inventory says which slot it is"
            return _Slots((), why, "give --from")
        slot = self.slot_of.get(place)
        return _Slots([slot] if slot else [], f"device {place} of the machine's own list", certain=slot is not None)

    def _by_row(self, match: re.Match[str], channel: str = "") -> _Slots:
        """A chip-select row of a channel: a row is a rank, so modules of two ranks take two of them."""
        mc, row, channel = match["mc"], match["row"], channel or match["channel"]
        slots: list[str] = []
        sure = True
        for each in dict.fromkeys(self._channels_of(int(mc), int(channel))):
            rows = self._slots_of_row(each, int(row))
            sure = sure and len(rows) == 1
            slots += rows
        why = f"chip-select row {row} of channel {channel} of controller {mc}; a module takes a row for each rank"
        if not slots:
            return _Slots((), f"{why}: the board has no such row")
        if len(slots) == 1:
            return _Slots(slots, why, certain=sure)
        return _Slots(slots, why, "give the machine's inventory with --from: the ranks of the modules decide")

    def _slots_of_row(self, channel: Channel, row: int) -> list[str]:
        """Slots of a channel that a row can belong to: two rows fixed for each slot, or rows counted through."""
        places: set[int] = set()
        known = [self.ranks.get(slot) for slot in channel.slots]
        if None not in known or (self.found is not None and any(known)):
            after = 0
            for place, ranks in enumerate(known):
                if after <= row < after + (ranks or 0):
                    places.add(place)
                after += ranks or 0
            fixed = row // 2
            if fixed < len(known) and known[fixed]:
                places.add(fixed)
        else:
            places |= {row // ranks for ranks in RANKS_TOLD_APART}
        if row >= 4 * len(channel.slots):
            return []
        return [channel.slots[place] for place in sorted(places) if place < len(channel.slots)]

    def _by_resource(self, name: str) -> _Slots:
        """A Redfish Memory resource by its Id: the inventory's, or a name of a slot; never other words of its path."""
        why = f"the resource {name!r}"
        if self.found is not None and self.found.form == "redfish" and name.casefold() in self.handles:
            return _Slots([self.handles[name.casefold()]], why, certain=True)
        named = self._by_label(name)
        if named:
            return named._replace(why=why, apart="")
        return _Slots((), f"{why} is no slot's name", "give the machine's Redfish inventory with --from")

    def _by_handle(self, handle: str) -> _Slots:
        if self.found is None or self.found.form == "redfish":
            why = f"SMBIOS handle {handle}; only the machine's own inventory says which slot it is"
            return _Slots((), why, "give the inventory with --from")
        number = int(handle, 16)
        for index, device in enumerate(self.found.slots):
            if device.handle and int(device.handle, 16) == number:
                slot = self.slot_of.get(index)
                why = f"SMBIOS handle {handle} is {device.name or 'a device without a name'}"
                return _Slots([slot], why, certain=True) if slot else _Slots((), why, "give --slots for its locator")
        return _Slots((), f"no device of the inventory has the handle {handle}")

    def _by_node(self, node: int, card: int, module: int) -> _Slots:
        """Node, card and module of a firmware record: the standard leaves open what they count (standard-13)."""
        slots: list[str] = []
        socket = self._at(self.sockets, node)
        if socket is not None:
            for channel in (self._at(socket.channels, card),):
                slots += channel.slots[module : module + 1] if channel else ()
            controller = self._at(socket.controllers, card)
            of_card = [slot for channel in controller.channels for slot in channel.slots] if controller else []
            slots += of_card[module : module + 1]
        why = f"node {node}, card {card}, module {module}: firmware may count these from any number"
        return _Slots(slots, why, "give the DMI handle of the record, and the machine's inventory with --from")

    def _by_label(self, label: str) -> _Slots | None:
        if (slot := self.names.get(folded(label))) is not None:
            return _Slots([slot], "", certain=True)
        words = label.split()
        shorter = {self.names[key] for n in range(len(words)) if (key := folded(" ".join(words[n:]))) in self.names}
        return _Slots([*shorter], "", certain=True) if len(shorter) == 1 else self._by_words(label)

    def _by_words(self, text: str) -> _Slots | None:
        """A locator in other words than the board's: the same processor, channel and position."""
        words = read_words(text)
        if len(text) > 60 or not any((words.letter, words.number, words.channel, words.position)):
            return None
        processor, *place = _place(words)
        alike = {slot: own.processor for slot, own in self.words.items() if [*_place(own)[1:]] == place}
        slots = [slot for slot, own in alike.items() if own == processor]
        if not slots and processor is None:
            slots = [*alike]
        if slots:
            apart = "" if len(slots) == 1 else "name the processor"
            return _Slots(slots, "the same place in other words", apart, certain=not apart)
        slots = [slot for slot, own in alike.items() if own is None]
        why = f"the same place in other words; names of the board do not say which slots are at processor {processor}"
        return _Slots(slots, why, "look which slots are at that processor") if slots else None

    @staticmethod
    def _at(things: Sequence[_T], place: int) -> _T | None:
        return things[place] if 0 <= place < len(things) else None


def _place(words: Words) -> tuple[str | None, ...]:
    return (words.processor, words.channel or words.letter, words.position or words.number)


_FORMS: tuple[tuple[re.Pattern[str], Callable[[_SlotNames, re.Match[str]], _Slots]], ...] = (
    (_SOURCE, _SlotNames._by_source),
    (_SOCKET, _SlotNames._by_socket),
    (_CLIENT, _SlotNames._by_controller),
    (_LAYERS, _SlotNames._by_layers),
    (_DETAIL, _SlotNames._by_controller),
    (_DETAIL_ROW, _SlotNames._by_row),
    (_OLD_ROW, _SlotNames._by_row),
    (_COUNTERS, _SlotNames._by_row),
)
"""Records of numbers alone: each form, and how it is read."""


# -- logs --------------------------------------------------------------------------------------------------------------

_COUNTED = re.compile(
    r"\b(\d{1,9}) (?:CE|UE|Corrected error|Uncorrected error)|/ch\d+_ce_count\W+(\d{1,9})\b", re.IGNORECASE
)
_BAD = re.compile(r"\bUE\b|uncorrect|fatal|recoverable", re.IGNORECASE)
_GROUP = re.compile(r"\{(\d+)\}\[Hardware Error\]")
_TOLD = re.compile(
    r"\bEDAC\b.*\b(?:CE|UE)\b|^\d+ [CU]E error on |SrcID#|\bmc#\d|DIMM location:|\bnode:\s*\d+.*\bcard:|\bmc_event\b"
    rf"|/Memory/\S|{_COUNTERS.pattern}",
    re.IGNORECASE,
)
_ERROR = re.compile(r"\becc\b|correctable|corrected|memory error", re.IGNORECASE)
_STAMP = re.compile(r"^.*?(?=EDAC MC\d|\{\d+\}\[Hardware Error\]|mc_event)", re.IGNORECASE)


_PLACE = re.compile(r"SOCKET \d{1,3} CHANNEL (?:\d{1,3}|any) DIMM (?:\d{1,3}|any)", re.IGNORECASE)
_TOTAL = re.compile(r"(\d{1,9}) total")
_PART = re.compile(r"Memory (DIMM|channel) ID of error: (\d{1,3})|\bSOCKETID (\d{1,3})\b", re.IGNORECASE)
_TABLE_HEAD = re.compile(r"Label\s+CE\s+UE", re.IGNORECASE)
_TABLE_ROW = re.compile(r"(\S.{0,200}?)\s+(\d{1,9})\s+(\d{1,9})")


def _retold(lines: Iterable[str]) -> Iterator[str]:
    """The lines of a log, with reports of several lines, and tables of counts, as a line for each place and sort."""
    place, sort, is_table = "", "CE", False
    parts: dict[str, str] = {}
    for line in lines:
        text = line[:LONGEST_RECORD].strip()
        is_table = is_table or _TABLE_HEAD.fullmatch(text) is not None
        if is_table and (match := _TABLE_ROW.fullmatch(text)):
            yield f"{match[2]} CE error on {match[1]}"
            yield f"{match[3]} UE error on {match[1]}"
        elif _PLACE.fullmatch(text):
            place = text
        elif place and text.endswith("corrected memory errors:"):
            sort = "UE" if text.startswith("un") else "CE"
        elif place and (match := _TOTAL.fullmatch(text)):
            yield f"{match[1]} {sort} error on {place}"
        elif match := _PART.search(text):
            parts[(match[1] or "socket").casefold()] = match[2] or match[3]
            if match[3] and len(parts) == 3:
                yield f"1 CE error on SOCKET {parts['socket']} CHANNEL {parts['channel']} DIMM {parts['dimm']}"
            parts = {} if match[3] else parts
        else:
            yield line


def _errors(lines: Iterable[str], names: Mapping[str, str]) -> Iterator[tuple[str, int, bool]]:
    """The errors of a log: what names the place, how many, uncorrected or not.

    An empty text is another line, with 1 where it speaks of an error all the same.
    """
    grouped: dict[str, str] = {}
    bad_groups: set[str] = set()
    for line in lines:
        text = clean(line, most=LONGEST_RECORD)
        group = _GROUP.search(text)
        if group and re.search(r"severity:.*(?:fatal|recoverable)", text, re.IGNORECASE):
            bad_groups.add(group[1])
        if not _TOLD.search(text):
            speaks = _ERROR.search(text) is not None
            yield (_named_in(text, names) if speaks else ""), int(speaks), bool(_BAD.search(text))
        elif group:
            told = _GROUP.sub("", text).split(": ", 1)[-1] if "DIMM location" in text else _STAMP.sub("", text)
            better = "DIMM location" in text or group[1] not in grouped
            if better and len(grouped) <= MOST_RECORDS:
                grouped[group[1]] = told
        else:
            match = _COUNTED.search(text)
            count = int(match[1] or match[2]) if match else 1
            yield (_key(_STAMP.sub("", text)) if count else ""), count, bool(_BAD.search(text))
    for group_id, told in grouped.items():
        yield _key(told), 1, group_id in bad_groups


_DETAILS = re.compile(
    r"\b(?:channel|slot|csrow|node|card|module):\s*\d+|DMI handle:\s*0x[0-9a-f]+|DIMM location:(?:(?!\bpage:)[^()])*",
    re.IGNORECASE,
)


def _key(text: str) -> str:
    """A record without what differs between alike ones: its count, addresses, syndromes, codes."""
    head, bracket, tail = text.partition("(")
    head = re.sub(r"\b(?:page|offset|syndrome|grain)[: ]?(?:0x)?[0-9a-f]+,?|\b\d+(?= (?:CE|UE)\b)", "", head)
    kept = " ".join(_DETAILS.findall(tail))
    return " ".join(f"{head}{bracket}{kept}{')' if bracket else ''}".split())[:LONGEST_RECORD]


def _named_in(text: str, names: Mapping[str, str]) -> str:
    """The slot whose name stands in a line as words of its own; empty where none does, or several."""
    tokens = re.findall(r"[^\s,;:|()\[\]]+", text)
    spans = [" ".join(tokens[at : at + size]) for size in (1, 2, 3, 4) for at in range(len(tokens) - size + 1)]
    slots = {names[key] for span in spans if len(key := folded(span)) > 1 and key in names}
    return next(iter(slots)) if len(slots) == 1 else ""
