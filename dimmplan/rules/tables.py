"""Population tables as manuals print them: for so many modules, just these slots, whatever the model would prefer."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from dimmplan.model.board import Board, Socket
from dimmplan.model.placement import Placement, board_of
from dimmplan.model.request import Mode
from dimmplan.model.rows import Name
from dimmplan.rules.base import (
    Fault,
    Populations,
    Problems,
    Rule,
    Scope,
    SocketView,
    SystemView,
    Wiring,
    known_names,
    modules_counted,
    of_kind,
)
from dimmplan.units import counted, listed

SOCKET = "{socket}"
"""Stands in slot names for the id of each socket, as everywhere in a board file."""


class TableRow(Rule):
    """For so many modules just these slots are filled; a number that is not listed is refused.

    ``rows`` goes from the number of modules to the slots. It counts the modules of ``socket``, of each socket where
    slot names have ``{socket}``, and else of the whole machine. ``fitted`` and ``mode`` say when the table holds: of
    two tables for one case the one that says more of them goes before.
    """

    question = "order"
    scopes = ("socket", "system")
    tells_types = False
    limits = "placement"
    couples = "amounts"

    check: Literal["table"]
    rows: Annotated[
        dict[Annotated[int, Field(ge=0, le=1536)], Annotated[tuple[Name, ...], Field(max_length=1536)]],
        Field(min_length=1, max_length=1536),
    ]
    socket: Name | None = None
    fitted: tuple[Name, ...] = ()
    mode: Mode | None = None
    _others: "tuple[TableRow, ...]" = PrivateAttr(default=())
    marks = "numbers of modules with which the slot is filled; + is that number and all listed larger ones"

    def slot_marks(self, sockets: Sequence[Socket]) -> dict[str, str]:
        """The numbers of modules with which each slot is filled; none are said of a slot that stays empty."""
        counts = sorted(self.rows)
        found: dict[str, str] = {}
        for socket in self._meant(sockets):
            for slot in socket.slots:
                used = [n for n in counts if slot in (each.replace(SOCKET, socket.id) for each in self.rows[n])]
                since = next((n for n in counts if {c for c in counts if c >= n}.issubset(used)), None)
                lone = [str(n) for n in used if since is None or n < since]
                found[slot] = ",".join(
                    [*lone, *([f"{since}{'+' if since < counts[-1] else ''}"] if since is not None else [])]
                )
        return {slot: said or "none" for slot, said in found.items()}

    # -- where it holds --------------------------------------------------------------------------------------------

    @property
    def of_machine(self) -> bool:
        """True where the table counts the modules of the whole machine."""
        return self.socket is None and not any(SOCKET in slot for slots in self.rows.values() for slot in slots)

    def among(self, rows: Iterable[Rule]) -> "TableRow":
        """The table as it stands among others, which may go before it."""
        found = self.model_copy()
        found._others = tuple(row for row in of_kind(rows, TableRow) if row.id != self.id)
        return found

    def judged_at(self, scope: Scope) -> bool:
        """At a socket, or for the whole machine."""
        return scope == ("system" if self.of_machine else "socket")

    def _says(self) -> int:
        return (self.socket is not None) + bool(self.fitted) + (self.mode is not None)

    def _applies(self, socket: str | None, fitted: Sequence[str], mode: Mode) -> bool:
        return (
            self.socket in (None, socket)
            and (not self.fitted or set(self.fitted) == set(fitted))
            and self.mode in (None, mode)
        )

    def _meets(self, other: "TableRow") -> bool:
        """True where both tables speak of one case, and neither says more of when it holds."""
        return (
            self.of_machine == other.of_machine
            and self._says() == other._says()
            and (self.socket == other.socket or None in (self.socket, other.socket))
            and (set(self.fitted) == set(other.fitted) or not self.fitted or not other.fitted)
            and (self.mode == other.mode or None in (self.mode, other.mode))
        )

    @property
    def only_at(self) -> tuple[str, ...]:
        """The socket named."""
        return () if self.socket is None else (self.socket,)

    def populations(self, socket: str | None, fitted: Sequence[str], mode: Mode) -> Populations | None:
        """The listed numbers with their slots."""
        if self.of_machine != (socket is None) or not self._applies(socket, fitted, mode):
            return None
        if any(other._says() > self._says() and other._applies(socket, fitted, mode) for other in self._others):
            return None
        return {
            count: frozenset(slot.replace(SOCKET, socket or "") for slot in slots) for count, slots in self.rows.items()
        }

    # -- judgement -------------------------------------------------------------------------------------------------

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Another number of modules at the socket, or other slots."""
        yield from self._faults(self.populations(view.socket.id, view.fitted, view.mode), view)

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """Another number of modules in the machine, or other slots."""
        controllers = tuple(controller for socket in view.sockets for controller in socket.controllers)
        machine = Socket("", controllers)
        whole = SocketView.of(machine, view.content, unknown=view.unknown, fitted=view.fitted, mode=view.mode)
        yield from self._faults(self.populations(None, view.fitted, view.mode), whole)

    def _faults(self, populations: Populations | None, view: SocketView) -> Iterator[Fault]:
        """What keeps the filled slots from being a row of the table, if it speaks of them."""
        if populations is None:
            return
        filled = view.filled
        listed_counts = [count for count in view.counts if count in populations]
        if not listed_counts:
            numbers = listed([str(count) for count in sorted(populations)], last="or")
            yield Fault(modules_counted(view.modules), f"{numbers} modules")
        elif filled is not None and not any(filled == populations[count] - view.unknown for count in listed_counts):
            count = listed_counts[0]
            wrong = sorted(filled.symmetric_difference(populations[count]) - view.unknown)
            found = [f"{slot} {'filled' if slot in filled else 'empty'}" for slot in wrong]
            yield Fault(", ".join(found), f"{self._row_said(count, sorted(populations[count]))}")

    def _row_said(self, count: int, slots: Sequence[str]) -> str:
        return f"{modules_counted(count)} in {', '.join(slots)}" if slots else modules_counted(count)

    # -- words -----------------------------------------------------------------------------------------------------

    def _name(self) -> str:
        where = "" if self.of_machine else f" of {self.socket or 'each socket'}"
        fitted = f" with {listed(self.fitted)} fitted" if self.fitted else ""
        mode = f" in the mode {self.mode.value}" if self.mode else ""
        return f"The population table{where}{fitted}{mode}"

    def brief(self) -> str:
        """The row without its list."""
        return self.text or f"{self._name()} says which slots are filled."

    def wording(self) -> str:
        rows = [self._row_said(count, self.rows[count]) for count in sorted(self.rows)]
        return f"{self._name()}: {'; '.join(rows)}. Other numbers are refused."

    # -- the file --------------------------------------------------------------------------------------------------

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """Names are there, and lists are as long as their number says."""
        named = [*known_names(self.only_at, wiring.socket_ids, f"{place}.socket", "a socket of the board")]
        named += known_names(self.fitted, wiring.socket_ids, f"{place}.fitted", "sockets of the board")
        yield from named
        if named:
            return
        for other in of_kind(wiring.rules, TableRow):
            if other.id < self.id and self._meets(other):
                allowed = "one table for each case: say socket, fitted or mode"
                yield place, f"the case of {other.id} once more", allowed, ""
        for count, slots in self.rows.items():
            yield from self._row_problems(count, slots, f"{place}.rows.{count}", wiring)

    def _meant(self, sockets: Iterable[Socket]) -> list[Socket]:
        """The sockets whose slots the table names."""
        if self.socket is not None:
            return [socket for socket in sockets if socket.id == self.socket]
        return [socket for socket in sockets if not self.fitted or socket.id in self.fitted]

    def places(self, sockets: Iterable[Socket]) -> list[list[Socket]]:
        """The sockets that are counted together: each one, or those of the whole machine."""
        meant = self._meant(sockets)
        return [meant] if self.of_machine else [[socket] for socket in meant]

    def _row_problems(self, count: int, slots: Sequence[str], place: str, wiring: Wiring) -> Problems:
        sockets = self._meant(wiring.sockets)
        if self.of_machine or self.socket is not None:
            there = [slot for socket in sockets for slot in socket.slots]
            names = [slot.replace(SOCKET, self.socket or "") for slot in slots]
            yield from known_names(names, there, place, f"slots of {listed([socket.id for socket in sockets])}")
        else:
            for socket in sockets:
                names = [slot.replace(SOCKET, socket.id) for slot in slots]
                yield from known_names(names, socket.slots, place, f"slots of {socket.id}")
        twice = [slot for slot, times in Counter(slots).items() if times > 1]
        if twice:
            yield place, f"slot {', '.join(twice)} twice", "each slot once", ""
        elif len(slots) != count:
            yield place, counted(len(slots), "slot"), f"{counted(count, 'slot')}, as its number says", ""


def install_order(board: Board, placement: Placement) -> tuple[str, ...]:
    """Filled slots in the order of installing.

    By a prescribed order or table where the board has one: of a table, what its smaller rows fill comes first. Else
    socket by socket, all first slots before any second slot.
    """
    board = board_of(board, placement)
    filled = frozenset(slot for slot, module in placement.slots if module)
    depth = {slot: place for channel in board.channels for place, slot in enumerate(channel.slots)}
    tables = [row.among(of_kind(board.rules, Rule)) for row in of_kind(board.rules, Rule)]

    def in_order(socket: str | None, slots: Sequence[str]) -> list[str] | None:
        for row in tables:
            populations = row.populations(socket, placement.fitted, placement.mode)
            if populations is not None:
                if row.passes_over:
                    populations = {count: there & board.served for count, there in populations.items()}
                return sorted(slots, key=lambda slot: (_first_row(slot, populations, filled), depth[slot]))
        return None

    whole = [slot for socket in board.sockets for slot in _by_depth(socket) if slot in filled]
    order = in_order(None, whole)
    if order is None:
        order = []
        for socket in board.sockets:
            slots = [slot for slot in _by_depth(socket) if slot in filled]
            order += in_order(socket.id, slots) or slots
    return tuple(order)


def _by_depth(socket: Socket) -> list[str]:
    """The slots of a socket, all first slots before any second slot."""
    deepest = max((len(channel.slots) for channel in socket.channels), default=0)
    return [c.slots[depth] for depth in range(deepest) for c in socket.channels if depth < len(c.slots)]


def _first_row(slot: str, populations: Mapping[int, frozenset[str]], filled: frozenset[str]) -> int:
    """The smallest listed number that fills a slot and nothing that stays empty."""
    fitting = [count for count, slots in populations.items() if slot in slots and slots <= filled]
    return min(fitting, default=len(filled))
