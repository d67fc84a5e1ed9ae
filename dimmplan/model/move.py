"""What to do with modules to get from what is in a machine to what should be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from dimmplan.model.module import Module

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
    slots that would have to change and may not be touched: with any of them the change cannot be made.
    """

    moves: tuple[Move, ...]
    steps: tuple[Step, ...]
    stranded: tuple[LeftOver, ...]
    blocked: tuple[str, ...]

    @property
    def handled(self) -> tuple[Move, ...]:
        """The moves in which a module is handled at all."""
        return tuple(move for move in self.moves if move.kind != "keep")
