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
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple, TypeVar

from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.label import VOLTAGES_MV, LabelParts, module_of, parse_label, parse_parts
from dimmplan.model.module import RATES_MTS, Generation, Kind, Module
from dimmplan.model.placement import Placement, Status
from dimmplan.model.request import Mode
from dimmplan.plancode.symbols import grouped, number_of, symbols_of, unchecked, with_checks

T = TypeVar("T")

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
_NO_PLAN = "a content that no plan on this board has"


class CodeHead(NamedTuple):
    """What a code says before its board is known."""

    version: int
    id_check: int
    electrical_check: int
    drawing_check: int
    names_check: int
    rest: int

    def is_of(self, board_id: str) -> bool:
        """True where the code may speak of a board of that id."""
        return self.id_check == _hash(board_id, _ID)

    def made_on(self, electrical_digest: str) -> bool:
        """True where the electrical part of that digest may be the one that the code was made on."""
        return self.electrical_check == _hash(electrical_digest, _ELECTRICAL)

    def same_drawing(self, board: Board) -> bool:
        """True where the board's drawing is the one that the code was made on."""
        return self.drawing_check == _hash(board.drawing_digest, _DRAWING)


def _hash(text: str, choices: int) -> int:
    return int.from_bytes(hashlib.sha256(text.encode("utf-8")).digest()[:8], "big") % choices


class _Fields:
    """The fields of one integer, taken out of ``number``; where there is none they are put in, and make it.

    The first put in is the first taken out.
    """

    def __init__(self, number: int | None = None) -> None:
        self.left = number
        self._put: list[tuple[int, int]] = []

    def pick(self, choices: int, value: int = 0) -> int:
        """The next field, one of ``choices`` values: the one taken out, or ``value`` put in."""
        if self.left is not None:
            self.left, value = divmod(self.left, choices)
            return value
        if not 0 <= value < choices:
            raise ValueError(f"{value} is not one of {choices}")
        self._put.append((value, choices))
        return value

    def one_of(self, choices: Sequence[T], value: object) -> T:
        """The same of things that stand in a list."""
        place = next((place for place, each in enumerate(choices) if each == value), -1)
        return choices[self.pick(len(choices), place)]

    def number(self) -> int:
        """All that was put in, as one integer."""
        number = 0
        for value, choices in reversed(self._put):
            number = number * choices + value
        return number


# -- placement to code and back ------------------------------------------------------------------------------------


def encode(board: Board, placement: Placement) -> str:
    """The plan code of a placement on its board, grouped for reading aloud.

    Raises ``InputError`` where the placement has more types than a code can carry.
    """
    if len(placement.types) > MOST_TYPES:
        raise _refused(f"a placement of {len(placement.types)} module types", f"at most {MOST_TYPES}")
    option = board.processor(placement.processor)
    placement = replace(placement, processor=option.id if option else None)
    fields, version = _Fields(), _version_of(placement)
    fields.pick(_VERSIONS, version)
    fields.pick(_ID, _hash(board.id, _ID))
    fields.pick(_ELECTRICAL, _hash(placement.electrical_digest, _ELECTRICAL))
    fields.pick(_DRAWING, _hash(board.drawing_digest, _DRAWING))
    fields.pick(_NAMES, _names(placement))
    _carried(fields, board, version, placement)
    return grouped(with_checks(symbols_of(fields.number())))


def _version_of(placement: Placement) -> int:
    """The first version that has room for all that is said."""
    differ = len(set(placement.processors.values())) > 1
    later_mode = _MODES.index(placement.mode) >= _MODES_OF[1]
    return 2 if placement.absent or differ or placement.inlet_c is not None or later_mode else 1


def _names(placement: Placement) -> int:
    """A check of every name that a code speaks of by its place in a list of the board."""
    held = [f"{slot}={module.label}" for slot, module in placement.slots if module]
    names = [*placement.fitted, "", placement.processor or "", "", *sorted(held), "", *sorted(placement.hold)]
    names += ["", *sorted(placement.absent)] if placement.absent else []
    names += [] if placement.inlet_c is None else ["", f"{placement.inlet_c} C"]
    return _hash("\n".join(names), _NAMES)


def read_head(text: str) -> CodeHead:
    """The head of a code, its check symbols checked. Raises ``InputError`` saying which group does not check."""
    fields = _Fields(number_of(unchecked(text)))
    version = fields.pick(_VERSIONS)
    if version not in VERSIONS:
        allowed = f"version {' or '.join(map(str, VERSIONS))}"
        raise _refused(f"version {version}", allowed, "A newer release made it.")
    return CodeHead(
        version=version,
        id_check=fields.pick(_ID),
        electrical_check=fields.pick(_ELECTRICAL),
        drawing_check=fields.pick(_DRAWING),
        names_check=fields.pick(_NAMES),
        rest=fields.left or 0,
    )


def decode(head: CodeHead, board: Board) -> Placement:
    """The placement of a code on its board.

    A board whose electrical part has changed since is accepted as long as every name in the code still means the
    same; the placement then has no electrical digest, so that sheets and further codes of it tell. Raises
    ``InputError`` where a name does not, where the board is another, or where the content makes no sense on it.
    """
    if not head.is_of(board.id):
        raise _refused("a code of another board", f"a code made on {board.id}")
    try:
        placement = _read(head, board)
    except InputError:
        if head.made_on(board.electrical_digest):
            raise
        hint = "Do not use this map: plan again, or give the board file that it was made on."
        found = f"{board.id} has changed since this code was made"
        raise _refused(found, "the board file it was made on", hint) from None
    return placement if head.made_on(board.electrical_digest) else replace(placement, electrical_digest="")


def _read(head: CodeHead, board: Board) -> Placement:
    """The placement behind a head. Raises ``InputError`` where there is none that a plan on this board can have."""
    fields = _Fields(head.rest)
    placement = _carried(fields, board, head.version, _NOTHING)
    absent = [slot for socket in board.sockets if socket.id not in placement.fitted for slot in socket.slots]
    if (
        fields.left
        or _names(placement) != head.names_check
        or _version_of(placement) != head.version
        or (len(set(placement.processors.values())) > 1 and not board.processors_differ)
        or not placement.types
        or any(placement.content[slot] for slot in absent)
        or placement.capacity_gib < 1
    ):
        raise _refused(_NO_PLAN, "a plan code")
    return placement


_NOTHING = Placement(
    board="",
    electrical_digest="",
    fitted=(),
    processor=None,
    mode=Mode.INDEPENDENT,
    prefer="",
    capacity_gib=0,
    status="proven",
    slots=(),
)
"""Stands for what is said where nothing is: fields are taken out."""


def _carried(fields: _Fields, board: Board, version: int, said: Placement) -> Placement:
    """The fields behind the head, those of ``said`` put in, or taken out. Raises ``InputError`` where they are none."""
    wanted = sum(1 << i for i, socket in enumerate(board.sockets) if socket.id in said.fitted)
    fitted = fields.pick((1 << len(board.sockets)) - 1, wanted - 1) + 1
    sockets = tuple(socket.id for i, socket in enumerate(board.sockets) if fitted >> i & 1)
    known = [option.id for option in board.processors]
    seated = sockets if version > 1 else sockets[:1]
    seats = [fields.one_of(known, said.processors.get(socket)) for socket in seated if known]
    alike = len(set(seats)) <= 1
    trays = [tray.name for tray in board.physical.trays if version > 1]
    absent = tuple(tray for tray in trays if fields.pick(2, tray in said.absent))
    inlet = fields.pick(_INLETS, 0 if said.inlet_c is None else 1 + said.inlet_c) if version > 1 else 0
    mode = fields.pick(_MODES_OF[version], _MODES.index(said.mode))
    if mode >= len(_MODES):
        raise _refused(_NO_PLAN, "a plan code")
    prefer, status = fields.one_of(_LISTS, said.prefer), fields.one_of(_STATUSES, said.status)
    # the capacity asked: what the slots hold, or how far it is from that, or in full where it is far
    above = said.capacity_gib - _held_gib(said.content) + _NEAR // 2
    far = fields.pick(3, 0 if above == _NEAR // 2 else 1 if 0 <= above < _NEAR else 2)
    asked = fields.pick((1, _NEAR, _CAPACITY)[far], (0, above, said.capacity_gib - 1)[far])
    content, hold = _carried_slots(fields, board, said)
    total = _held_gib(content)
    return Placement(
        board=board.id,
        electrical_digest=board.electrical_digest,
        fitted=sockets,
        processor=next(iter(seats), None) if alike else ",".join(map("=".join, zip(sockets, seats, strict=True))),
        mode=_MODES[mode],
        prefer=prefer,
        capacity_gib=(total, total + asked - _NEAR // 2, asked + 1)[far],
        status=status,
        slots=tuple((slot, content[slot]) for slot in board.slots),
        hold=tuple(slot for slot in board.slots if slot in hold),
        absent=absent,
        inlet_c=inlet - 1 if inlet else None,
    )


def _held_gib(content: Mapping[str, Module | None]) -> int:
    return sum(module.capacity_gib for module in content.values() if module)


def _carried_slots(fields: _Fields, board: Board, said: Placement) -> tuple[dict[str, Module | None], set[str]]:
    """What each slot holds, and which are on hold."""
    lying, of_types = said.content, said.types
    how = fields.pick(3, 2 if any(lying.get(slot) for slot in said.hold) else 1 if said.hold else 0)
    hold = {slot for slot in board.code_order if fields.pick(2, slot in said.hold)} if how == 2 else set()
    count = fields.pick(_FEW + 1, min(len(of_types), _FEW))
    if count == _FEW:
        count += fields.pick(MOST_TYPES + 1 - _FEW, len(of_types) - _FEW)
    types = [_carried_type(fields, board, module) for module in of_types or [None] * count]
    choices = len(types) + (2 if how == 1 else 1)
    content: dict[str, Module | None] = {}
    for slot in board.code_order:
        holds = lying.get(slot)
        on_hold = how == 1 and slot in said.hold
        place = fields.pick(choices, choices - 1 if on_hold else 1 + of_types.index(holds) if holds else 0)
        content[slot] = types[place - 1] if 0 < place <= len(types) else None
        if place > len(types):
            hold.add(slot)
    return content, hold


def _carried_type(fields: _Fields, board: Board, module: Module | None) -> Module:
    """A module type: its place among the usual ones of the board, or all that its label says."""
    labels = [usual.label for usual in board.modules]
    place = labels.index(module.label) if module and module.label in labels else len(labels)
    place = fields.pick(len(labels) + 1, place)
    if place < len(labels):
        return board.modules[place]
    said = module or board.modules[0]  # any will do where fields are taken out
    label = parse_parts(said.label)
    generation = fields.one_of(_GENERATIONS, said.generation)
    rate = fields.one_of(RATES_MTS[generation], said.rate_mts)
    capacity = fields.pick(_CAPACITY, said.capacity_gib - 1) + 1
    kind = fields.one_of(_KINDS, said.kind if said.kind in _KINDS else said.kind.unstacked)
    ranks = fields.one_of(_RANKS, said.package_ranks)
    height = fields.one_of(_RANKS, said.logical_ranks // said.package_ranks)
    parts = LabelParts(
        generation=generation,
        capacity_gib=capacity,
        kind=kind.stacked if height > 1 and kind is Kind.LRDIMM else kind,
        package_ranks=ranks,
        logical_ranks=ranks * height,
        stack=fields.one_of(_STACKS, label.stack),
        device_width=fields.one_of(_WIDTHS, said.device_width),
        ecc_bits=fields.pick(3, said.ecc_bits // 8) * 8,
        rate_mts=rate,
        voltage_mv=fields.one_of(_VOLTAGES, said.voltage_mv),
        speed_bin="".join(fields.one_of(_LETTERS, letter) for letter in label.speed_bin.ljust(2)).strip(),
    )
    if module is not None:
        return module
    found = module_of(parts) if parts.voltage_mv in VOLTAGES_MV[generation].values() else None
    if found is None or not _named_by_its_label(found):
        raise _refused(_NO_PLAN, "a plan code")
    return found


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
