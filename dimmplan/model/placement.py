"""A placement: which slots hold what, on which board, and how it was asked for: all that a sheet or a code carries.

And a finding, which is what a rule or a figure says about one, and the change that makes one of what a machine holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import seats_of

Status = Literal["proven", "best-found"]
FindingSeverity = Literal["error", "warning", "note"]


class Finding(NamedTuple):
    """What is to be known: ``where`` names slots, channels or sockets; ``source`` is an id of the source list."""

    rule: str
    severity: FindingSeverity
    where: tuple[str, ...]
    text: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Placement:
    """``slots`` names every slot of the board in board order with its module, or ``None`` where it is empty.

    ``capacity_gib`` is what was asked for; ``hold`` are slots that nobody may touch. ``electrical_digest`` is that of
    the board as the placement was made on it, empty where it is only known to have been another.
    """

    board: str
    electrical_digest: str
    fitted: tuple[str, ...]
    processor: str | None
    mode: Mode
    prefer: str
    capacity_gib: int
    status: Status
    slots: tuple[tuple[str, Module | None], ...]
    hold: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()
    """Trays that are not there."""
    inlet_c: int | None = None
    """The warmest air at the inlet, in degrees Celsius; ``None`` where nobody has said."""

    @property
    def content(self) -> dict[str, Module | None]:
        """Slot name to module."""
        return dict(self.slots)

    @property
    def types(self) -> tuple[Module, ...]:
        """The types used, larger capacity first: the order in which they are keyed a, b, c."""
        used = dict.fromkeys(module for _, module in self.slots if module)
        return tuple(sorted(used, key=lambda module: module.order_key))

    @property
    def keys(self) -> dict[Module, str]:
        """Type to its key letter: ``a`` is the first of ``types``."""
        return {module: "abcdefghijklmnopqrstuvwxyz"[index] for index, module in enumerate(self.types)}

    @property
    def processors(self) -> dict[str, str]:
        """Processor option of each fitted socket; empty where the board lists none."""
        if self.processor is None:
            return {}
        return seats_of(self.processor) or dict.fromkeys(self.fitted, self.processor)

    @property
    def one_processor(self) -> str | None:
        """The processor option of every socket; ``None`` where they differ, or the board lists none."""
        options = set(self.processors.values())
        return options.pop() if len(options) == 1 else None

    def count(self, module: Module) -> int:
        """How many modules of a type there are."""
        return sum(held == module for _, held in self.slots)


def board_of(board: Board, placement: Placement) -> Board:
    """The board with the processors, trays and inlet air of a placement."""
    there = board.without(placement.absent).serving(board.processor(placement.processor))
    return there if there.inlet_c == placement.inlet_c else replace(there, inlet_c=placement.inlet_c)


def why_dead(board: Board, placement: Placement, slot: str) -> Literal["processor", "tray", "channel", ""]:
    """What keeps a slot from being used: an absent tray, no processor, a channel not served; empty for nothing."""
    if board.tray_of.get(slot) in placement.absent:
        return "tray"
    if board.channel_of[slot].socket not in placement.fitted:
        return "processor"
    return "" if slot in board_of(board, placement).served else "channel"


def dead_slots(board: Board, placement: Placement) -> tuple[str, ...]:
    """Slots whose processor or tray is absent, or whose channel is not served, in board order."""
    served = board_of(board, placement).served
    fitted = placement.fitted
    return tuple(s for s in board.slots if s not in served or board.channel_of[s].socket not in fitted)


def for_the_map(board: Board, content: Mapping[str, Module | None]) -> Placement:
    """A placement that no search made: what a map needs to show a board with all sockets fitted."""
    return Placement(
        board=board.id,
        electrical_digest=board.electrical_digest,
        fitted=tuple(socket.id for socket in board.sockets),
        processor=board.processors[0].id if board.processors else None,
        mode=Mode.INDEPENDENT,
        prefer="capacity-first",
        capacity_gib=sum(module.capacity_gib for module in content.values() if module),
        status="best-found",
        slots=tuple((slot, content.get(slot)) for slot in board.slots),
        absent=board.absent,
        inlet_c=board.inlet_c,
    )


# -- from what is in a machine to a placement --------------------------------------------------------------------------

MoveKind = Literal["keep", "pull", "move", "insert"]


class Move(NamedTuple):
    """One module: kept where it is, pulled for good, moved from one slot to another, or inserted from the shelf.

    ``source`` is the slot it leaves, ``target`` the slot it goes to; both are the same for ``keep``, and one is
    ``None`` for ``pull`` and ``insert``.
    """

    kind: MoveKind
    module: Module
    source: str | None
    target: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftOver:
    """Modules of one type that a change leaves over, and the slots of the same board that would still take one."""

    module: Module
    count: int
    fits: tuple[str, ...]


class Step(NamedTuple):
    """One act with a module: it comes out of a slot, or goes into one. A module that moves does both."""

    number: int
    act: Literal["out", "in"]
    slot: str
    move: Move


class Change(NamedTuple):
    """A whole change: moves (keeps, then pulls, then moves and inserts), the steps of doing them, what is left over.

    All that comes out does so first, in board order; then modules go in, in the order of installing. ``blocked`` are
    slots that would have to change and may not be touched: with any of them the change cannot be made. ``hold`` are all
    that may not be touched. What lies in slots that are ``released``, since its data is saved, comes out first of all.
    """

    moves: tuple[Move, ...]
    steps: tuple[Step, ...]
    stranded: tuple[LeftOver, ...]
    blocked: tuple[str, ...]
    hold: tuple[str, ...]
    released: tuple[str, ...] = ()

    @property
    def handled(self) -> tuple[Move, ...]:
        """The moves in which a module is handled at all."""
        return tuple(move for move in self.moves if move.kind != "keep")
