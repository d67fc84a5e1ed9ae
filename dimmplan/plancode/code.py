"""The plan code: a short text that carries a whole placement, to be read out over the phone.

One integer in mixed radix holds the fields below; it is written in Crockford's base32 alphabet, followed by four check
symbols of a cyclic code over GF(32), and grouped by four. ``docs/plan-code.md`` says where the bits go and why:

====================  =====================================  =========================================================
field                 choices                                why so many
====================  =====================================  =========================================================
version               8                                      codes stay readable by later releases
board id check        2^12                                   finds the board file that is meant
electrical check      2^20                                   tells that its electrical part is still the same
drawing check         2^8                                    tells that its drawing is still the same
names check           2^12                                   tells that every name in it still means the same
fitted                2^sockets - 1                          any set of sockets
processor             one for each option                    as the board file lists them
processors, trays,    in version 2 instead: one for each     sockets that differ, trays that are absent, inlet air;
inlet                 fitted socket, 2 for each tray, 64     other plans are of version 1
mode,                 3 (8 in version 2), one for each       as the tool lists them; version 2 for later modes
list, status          list, 2
capacity asked        3, then 2^13 or 2^20 where it differs  most plans hold just what was asked, or about that much
hold                  3, then 2 for each slot where needed   few plans have slots on hold, and those are empty
types                 one for each usual module and "other"  usual modules are an index; others are spelled out
slots                 (types + 1) for each slot, one more    in the board's ``code_order``, which only grows
                      where slots are on hold
====================  =====================================  =========================================================
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.label import VOLTAGES_MV, LabelParts, module_of, parse_label, parse_parts
from dimmplan.model.module import RATES_MTS, Generation, Kind, Module
from dimmplan.model.placement import Placement, Status
from dimmplan.model.request import Mode
from dimmplan.plancode.symbols import grouped, number_of, symbols_of, unchecked, with_checks

VERSIONS = (1, 2)
MOST_TYPES = 34
"""Module types that one code can carry."""

_VERSIONS, _ID, _ELECTRICAL, _DRAWING, _NAMES = 8, 1 << 12, 1 << 20, 1 << 8, 1 << 12
_CAPACITY, _NEAR = 1 << 20, 1 << 13
_FEW = 7
"""Types up to which their number is one field."""
_STATUSES: tuple[Status, ...] = ("proven", "best-found")
_MODES = tuple(Mode)
_MODES_OF = {1: 3, 2: 8}
"""Decisions of the mode, by version: the second has room for more of them."""
_INLETS = 64
"""Choices of the inlet air: not said, or 0 to 62 degrees Celsius."""
_LISTS = ("capacity-first", "bandwidth-first", "equal-sockets", "cost-first", "room-first", "upgrade")
"""Appended to only: a list's place here is part of old codes."""

_LETTERS = " ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_STACKS = ("", "D", "Q", "S")
_KINDS = tuple(kind for kind in Kind if kind is not Kind.LRDIMM_3DS)
"""A 3DS LRDIMM is carried as an LRDIMM of stacks, as in codes from before it was a kind of its own."""
_GENERATIONS = tuple(Generation)
_VOLTAGES = (1100, 1200, 1250, 1350, 1500)
_WIDTHS = (4, 8, 16, 32)
_RANKS = (1, 2, 4, 8)


class CodeHead(NamedTuple):
    """What a code says before its board is known."""

    version: int
    id_check: int
    electrical_check: int
    drawing_check: int
    names_check: int
    rest: int

    def is_of(self, board: Board) -> bool:
        """True where the code speaks of a board of that id."""
        return self.is_of_id(board.id)

    def is_of_id(self, board_id: str) -> bool:
        """True where the code may speak of a board of that id."""
        return self.id_check == _hash(board_id, _ID)

    def same_wiring(self, board: Board) -> bool:
        """True where the board's electrical part is the one that the code was made on."""
        return self.made_on(board.electrical_digest)

    def made_on(self, electrical_digest: str) -> bool:
        """True where the electrical part of that digest may be the one that the code was made on."""
        return self.electrical_check == _hash(electrical_digest, _ELECTRICAL)

    def same_drawing(self, board: Board) -> bool:
        """True where the board's drawing is the one that the code was made on."""
        return self.drawing_check == _hash(board.drawing_digest, _DRAWING)


def _hash(text: str, choices: int) -> int:
    return int.from_bytes(hashlib.sha256(text.encode("utf-8")).digest()[:8], "big") % choices


class _Writer:
    """Collects fields; the first written is the first read."""

    def __init__(self) -> None:
        self._fields: list[tuple[int, int]] = []

    def put(self, value: int, choices: int) -> None:
        """One of ``choices`` values."""
        if not 0 <= value < choices:
            raise ValueError(f"{value} is not one of {choices}")
        self._fields.append((value, choices))

    def number(self) -> int:
        """All fields as one integer."""
        number = 0
        for value, choices in reversed(self._fields):
            number = number * choices + value
        return number


class _Reader:
    """Takes fields out again."""

    def __init__(self, number: int) -> None:
        self.number = number

    def take(self, choices: int) -> int:
        """The next field, one of ``choices`` values."""
        self.number, value = divmod(self.number, choices)
        return value


# -- placement to code and back ------------------------------------------------------------------------------------


def encode(board: Board, placement: Placement) -> str:
    """The plan code of a placement on its board, grouped for reading aloud.

    Raises ``InputError`` where the placement has more types than a code can carry.
    """
    option = board.processor(placement.processor)
    placement = replace(placement, processor=option.id if option else None)
    writer = _Writer()
    differ = len(set(placement.processors.values())) > 1
    later_mode = _MODES.index(placement.mode) >= _MODES_OF[1]
    version = 2 if placement.absent or differ or placement.inlet_c is not None or later_mode else 1
    writer.put(version, _VERSIONS)
    writer.put(_hash(board.id, _ID), _ID)
    writer.put(_hash(placement.electrical_digest, _ELECTRICAL), _ELECTRICAL)
    writer.put(_hash(board.drawing_digest, _DRAWING), _DRAWING)
    writer.put(_names(placement), _NAMES)
    fitted = sum(1 << i for i, socket in enumerate(board.sockets) if socket.id in placement.fitted)
    writer.put(fitted - 1, (1 << len(board.sockets)) - 1)
    if version > 1:
        _put_equipment(writer, board, placement)
    elif option is not None:
        writer.put(board.processors.index(option), len(board.processors))
    writer.put(_MODES.index(placement.mode), _MODES_OF[version])
    writer.put(_LISTS.index(placement.prefer), len(_LISTS))
    writer.put(_STATUSES.index(placement.status), len(_STATUSES))
    _put_capacity(writer, placement.capacity_gib, _held_gib(placement.content))
    _put_slots(writer, board, placement)
    return grouped(with_checks(symbols_of(writer.number())))


def _put_equipment(writer: _Writer, board: Board, placement: Placement) -> None:
    """The processor of each fitted socket, and which trays are absent."""
    known = [option.id for option in board.processors]
    for socket in placement.fitted if known else ():
        writer.put(known.index(placement.processors[socket]), len(known))
    for tray in board.physical.trays:
        writer.put(int(tray.name in placement.absent), 2)
    writer.put(0 if placement.inlet_c is None else 1 + placement.inlet_c, _INLETS)


def _names(placement: Placement) -> int:
    """A check of every name that a code speaks of by its place in a list of the board."""
    held = [f"{slot}={module.label}" for slot, module in placement.slots if module]
    names = [*placement.fitted, "", placement.processor or "", "", *sorted(held), "", *sorted(placement.hold)]
    names += ["", *sorted(placement.absent)] if placement.absent else []
    names += [] if placement.inlet_c is None else ["", f"{placement.inlet_c} C"]
    return _hash("\n".join(names), _NAMES)


def _held_gib(content: Mapping[str, Module | None]) -> int:
    return sum(module.capacity_gib for module in content.values() if module)


def _put_capacity(writer: _Writer, asked_gib: int, held_gib: int) -> None:
    """The capacity asked: what the slots hold, or how far it is from that, or in full where it is far."""
    above = asked_gib - held_gib + _NEAR // 2
    near = 0 <= above < _NEAR
    writer.put(0 if asked_gib == held_gib else 1 if near else 2, 3)
    if asked_gib != held_gib:
        writer.put(*((above, _NEAR) if near else (asked_gib - 1, _CAPACITY)))


def _put_slots(writer: _Writer, board: Board, placement: Placement) -> None:
    """What is on hold, the types, and what each slot holds."""
    content, types = placement.content, placement.types
    filled = any(content.get(slot) for slot in placement.hold)
    writer.put(2 if filled else 1 if placement.hold else 0, 3)
    for slot in board.code_order if filled else ():
        writer.put(int(slot in placement.hold), 2)
    if len(types) > MOST_TYPES:
        raise _refused(f"a placement of {len(types)} module types", f"at most {MOST_TYPES}")
    writer.put(min(len(types), _FEW), _FEW + 1)
    if len(types) >= _FEW:
        writer.put(len(types) - _FEW, MOST_TYPES + 1 - _FEW)
    for module in types:
        _put_type(writer, board, module)
    on_hold = placement.hold if not filled else ()
    choices = len(types) + (2 if on_hold else 1)
    for slot in board.code_order:
        holds = content.get(slot)
        writer.put(choices - 1 if slot in on_hold else 0 if holds is None else 1 + types.index(holds), choices)


def _put_type(writer: _Writer, board: Board, module: Module) -> None:
    usual = next((i for i, each in enumerate(board.modules) if each.label == module.label), len(board.modules))
    writer.put(usual, len(board.modules) + 1)
    if usual < len(board.modules):
        return
    parts = parse_parts(module.label)
    writer.put(_GENERATIONS.index(module.generation), len(_GENERATIONS))
    rates = RATES_MTS[module.generation]
    writer.put(rates.index(module.rate_mts), len(rates))
    writer.put(module.capacity_gib - 1, _CAPACITY)
    writer.put(_KINDS.index(module.kind if module.kind in _KINDS else module.kind.unstacked), len(_KINDS))
    writer.put(_RANKS.index(module.package_ranks), len(_RANKS))
    writer.put(_RANKS.index(module.logical_ranks // module.package_ranks), len(_RANKS))
    writer.put(_STACKS.index(parts.stack), len(_STACKS))
    writer.put(_WIDTHS.index(module.device_width), len(_WIDTHS))
    writer.put(module.ecc_bits // 8, 3)
    writer.put(_VOLTAGES.index(module.voltage_mv), len(_VOLTAGES))
    for letter in parts.speed_bin.ljust(2):
        writer.put(_LETTERS.index(letter), len(_LETTERS))


def read_head(text: str) -> CodeHead:
    """The head of a code, its check symbols checked. Raises ``InputError`` saying which group does not check."""
    reader = _Reader(number_of(unchecked(text)))
    version = reader.take(_VERSIONS)
    if version not in VERSIONS:
        allowed = f"version {' or '.join(map(str, VERSIONS))}"
        raise _refused(f"version {version}", allowed, "A newer release made it.")
    return CodeHead(
        version=version,
        id_check=reader.take(_ID),
        electrical_check=reader.take(_ELECTRICAL),
        drawing_check=reader.take(_DRAWING),
        names_check=reader.take(_NAMES),
        rest=reader.number,
    )


def decode(head: CodeHead, board: Board) -> Placement:
    """The placement of a code on its board.

    A board whose electrical part has changed since is accepted as long as every name in the code still means the
    same; the placement then has no electrical digest, so that sheets and further codes of it tell. Raises
    ``InputError`` where a name does not, where the board is another, or where the content makes no sense on it.
    """
    if not head.is_of(board):
        raise _refused("a code of another board", f"a code made on {board.id}")
    try:
        placement = _placement(_Reader(head.rest), board, head.version)
        if _names(placement) != head.names_check:
            raise _refused("a content that no plan on this board has", "a plan code")
    except InputError:
        if head.same_wiring(board):
            raise _refused("a content that no plan on this board has", "a plan code") from None
        hint = "Do not use this map: plan again, or give the board file that it was made on."
        found = f"{board.id} has changed since this code was made"
        raise _refused(found, "the board file it was made on", hint) from None
    return placement if head.same_wiring(board) else replace(placement, electrical_digest="")


def _placement(reader: _Reader, board: Board, version: int) -> Placement:
    """The fields behind the head. Raises ``InputError`` where they are none of a plan on this board."""
    fitted = reader.take((1 << len(board.sockets)) - 1) + 1
    sockets = tuple(socket.id for i, socket in enumerate(board.sockets) if fitted >> i & 1)
    known = [option.id for option in board.processors]
    seats = [known[reader.take(len(known))] for _ in (sockets if version > 1 else sockets[:1]) if known]
    alike = len(set(seats)) <= 1
    processor = (seats[0] if seats else None) if alike else ",".join(map("=".join, zip(sockets, seats, strict=True)))
    absent = tuple(tray.name for tray in board.physical.trays if version > 1 and reader.take(2))
    inlet_c = reader.take(_INLETS) - 1 if version > 1 else -1
    mode_number = reader.take(_MODES_OF[version])
    needed = bool(absent) or not alike or inlet_c >= 0 or mode_number >= _MODES_OF[1]
    if version > 1 and (not needed or not alike and not board.processors_differ):
        raise _refused("a content that no plan on this board has", "a plan code")
    if mode_number >= len(_MODES):
        raise _refused("a mode that this release does not know", "a plan code", "A newer release made it.")
    mode = _MODES[mode_number]
    prefer = _LISTS[reader.take(len(_LISTS))]
    status = _STATUSES[reader.take(len(_STATUSES))]
    far = reader.take(3)
    asked = reader.take((0, _NEAR, _CAPACITY)[far]) if far else 0
    content, hold = _take_slots(reader, board)
    if reader.number or not any(content.values()):
        raise _refused("a content that no plan on this board has", "a plan code")
    if any(content[slot] for s in board.sockets if s.id not in sockets for slot in s.slots):
        raise _refused("modules at an absent processor", "a plan code")
    total = _held_gib(content)
    capacity_gib = (total, total + asked - _NEAR // 2, asked + 1)[far]
    if capacity_gib < 1:
        raise _refused("no capacity asked", "a plan code")
    return Placement(
        board=board.id,
        electrical_digest=board.electrical_digest,
        fitted=sockets,
        processor=processor,
        mode=mode,
        prefer=prefer,
        capacity_gib=capacity_gib,
        status=status,
        slots=tuple((slot, content[slot]) for slot in board.slots),
        hold=tuple(slot for slot in board.slots if slot in hold),
        absent=absent,
        inlet_c=None if inlet_c < 0 else inlet_c,
    )


def _take_slots(reader: _Reader, board: Board) -> tuple[dict[str, Module | None], set[str]]:
    """What each slot holds, and which are on hold."""
    held_how = reader.take(3)
    hold = {slot for slot in board.code_order if reader.take(2)} if held_how == 2 else set()
    count = reader.take(_FEW + 1)
    if count == _FEW:
        count += reader.take(MOST_TYPES + 1 - _FEW)
    types = [_take_type(reader, board) for _ in range(count)]
    choices = len(types) + (2 if held_how == 1 else 1)
    content: dict[str, Module | None] = {}
    for slot in board.code_order:
        index = reader.take(choices)
        content[slot] = types[index - 1] if 0 < index <= len(types) else None
        if index > len(types):
            hold.add(slot)
    return content, hold


def _take_type(reader: _Reader, board: Board) -> Module:
    usual = reader.take(len(board.modules) + 1)
    if usual < len(board.modules):
        return board.modules[usual]
    generation = _GENERATIONS[reader.take(len(_GENERATIONS))]
    rate = RATES_MTS[generation][reader.take(len(RATES_MTS[generation]))]
    capacity = reader.take(_CAPACITY) + 1
    kind: Kind = _KINDS[reader.take(len(_KINDS))]
    ranks = _RANKS[reader.take(len(_RANKS))]
    height = _RANKS[reader.take(len(_RANKS))]
    if height > 1 and kind is Kind.LRDIMM:
        kind = kind.stacked
    parts = LabelParts(
        generation=generation,
        capacity_gib=capacity,
        kind=kind,
        package_ranks=ranks,
        logical_ranks=ranks * height,
        stack=_STACKS[reader.take(len(_STACKS))],
        device_width=_WIDTHS[reader.take(len(_WIDTHS))],
        ecc_bits=reader.take(3) * 8,
        rate_mts=rate,
        voltage_mv=_VOLTAGES[reader.take(len(_VOLTAGES))],
        speed_bin="".join(_LETTERS[reader.take(len(_LETTERS))] for _ in range(2)).strip(),
    )
    module = module_of(parts) if parts.voltage_mv in VOLTAGES_MV[generation].values() else None
    if module is None or not _named_by_its_label(module):
        raise _refused("a module that no label names", "a plan code")
    return module


def _named_by_its_label(module: Module) -> bool:
    try:
        return parse_label(module.label) == module
    except InputError:
        return False


def _refused(found: str, allowed: str, hint: str = "") -> InputError:
    return InputError(Problem(file="plan code", place="", found=found, allowed=allowed, hint=hint))


def qr_matrix(code: str) -> tuple[tuple[bool, ...], ...]:
    """The QR symbol of a code (ISO/IEC 18004), rows of dark and light modules without the quiet zone.

    Error correction level M, and never a micro symbol, which few readers know.
    """
    import segno  # noqa: PLC0415 - only where a sheet is drawn

    symbol = segno.make_qr(code, error="m", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in symbol.matrix)
