"""Rules about sockets: how many modules, how much capacity, which slots; which are fitted, and how alike they are."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal

from pydantic import Field

from dimmplan.model.board import Socket
from dimmplan.model.request import Mode
from dimmplan.model.rows import CapacityGib, Name
from dimmplan.rules.base import (
    Content,
    Fault,
    Populations,
    Problems,
    Rule,
    SocketView,
    SystemView,
    Wiring,
    known_names,
    modules_counted,
    named_in_brackets,
    of_kind,
    value_alone,
)
from dimmplan.rules.channels import FillOrderRow
from dimmplan.units import counted, format_capacity, listed

ModuleCount = Annotated[int, Field(ge=1, le=96)]
_SOCKETS = "sockets of the board"


class SocketMinimumRow(Rule):
    """Every fitted socket has at least this many modules."""

    question = "order"
    scopes = ("socket",)
    tells_types = False
    limits = "placement"

    check: Literal["socket-minimum"]
    modules: ModuleCount = 1

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Too few modules, even if every unknown slot is filled."""
        if view.counts[-1] < self.modules:
            yield Fault(modules_counted(view.modules), f"at least {self.modules}")

    def wording(self) -> str:
        return f"Every fitted socket has at least {counted(self.modules, 'module')}."


class _SocketsRow(Rule):
    """A row about some sockets; none named means all."""

    tells_types = False

    sockets: tuple[Name, ...] = ()

    @property
    def only_at(self) -> tuple[str, ...]:
        """The sockets named."""
        return self.sockets

    def means(self, view: SocketView) -> bool:
        """True where the row speaks about that socket."""
        return not self.sockets or view.socket.id in self.sockets

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The sockets are there."""
        yield from known_names(self.sockets, wiring.socket_ids, f"{place}.sockets", _SOCKETS)


class CeilingRow(_SocketsRow):
    """Capacity of one socket is at most this."""

    question = "capacity"
    scopes = ("socket",)
    stays_broken = True
    limits = "capacity"

    check: Literal["ceiling"]
    socket_gib: CapacityGib

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """The socket holds more."""
        if self.means(view) and view.capacity_gib > self.socket_gib:
            yield Fault(f"{view.capacity_gib} GiB", f"at most {self.socket_gib} GiB")

    def wording(self) -> str:
        return f"A socket holds at most {format_capacity(self.socket_gib)}{named_in_brackets(self.sockets)}."


class CountsRow(_SocketsRow):
    """Modules per fitted socket is one of these numbers."""

    question = "order"
    scopes = ("socket",)
    limits = "capacity"

    check: Literal["counts"]
    modules: Annotated[tuple[ModuleCount, ...], Field(min_length=1)]

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Another number of modules."""
        if self.means(view) and not any(count in self.modules for count in view.counts):
            *most, last = self.modules
            allowed = f"{', '.join(map(str, most))} or {last} modules" if most else modules_counted(last)
            yield Fault(modules_counted(view.modules), allowed)

    def wording(self) -> str:
        counts = listed([str(count) for count in self.modules], last="or")
        return f"A socket carries {counts} modules{named_in_brackets(self.sockets)}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The sockets are there, and no count is above their slots."""
        yield from super().problems(place, wiring)
        meant = [socket for socket in wiring.sockets if not self.sockets or socket.id in self.sockets]
        most = max((len(socket.slots) for socket in meant), default=0)
        for count in self.modules:
            if count > most:
                yield f"{place}.modules", str(count), f"at most {most}, the slots of the socket", ""


class SequenceRow(Rule):
    """The slots of one socket fill in exactly this order; slots that cannot be used are passed over."""

    question = "order"
    scopes = ("socket",)
    tells_types = False
    limits = "placement"
    passes_over = True

    check: Literal["sequence"]
    socket: Name
    slots: Annotated[tuple[Name, ...], Field(min_length=1)]
    marks = "the number says when the slot is filled"

    def slot_marks(self, sockets: Sequence[Socket]) -> dict[str, str]:
        """The place of each slot in the order."""
        return {slot: str(place) for place, slot in enumerate(self.slots, 1)}

    @property
    def only_at(self) -> tuple[str, ...]:
        """The socket named."""
        return (self.socket,)

    def populations(self, socket: str | None, fitted: Sequence[str], mode: Mode) -> Populations | None:
        """The first slots of its own socket."""
        if socket != self.socket:
            return None
        return {count: frozenset(self.slots[:count]) for count in range(len(self.slots) + 1)}

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Other slots are filled than the first ones."""
        filled = view.filled if view.socket.id == self.socket else None
        if filled is None:
            return
        order = [slot for slot in self.slots if slot in view.socket.slots]
        if not any(filled == frozenset(order[:count]) - view.unknown for count in view.counts):
            first = order[: view.modules]
            wrong = filled.symmetric_difference(first) - view.unknown
            found = [f"{slot} {'filled' if slot in filled else 'empty'}" for slot in order if slot in wrong]
            yield Fault(", ".join(found), f"{', '.join(first)} first")

    def wording(self) -> str:
        return f"The slots of {self.socket} fill in this order: {', '.join(self.slots)}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The order names every slot of its socket once and never leaves a gap in a channel."""
        allowed = "a socket of the board, one row for each"
        yield from known_names((self.socket,), wiring.socket_ids, f"{place}.socket", allowed)
        socket = next((socket for socket in wiring.sockets if socket.id == self.socket), None)
        if socket is None:
            return
        if Counter(self.slots) != Counter(socket.slots):
            missing = sorted(set(socket.slots) - set(self.slots))
            more = sorted(Counter(self.slots) - Counter(socket.slots))
            found = f"without {', '.join(missing)}" if missing else f"{', '.join(more)} twice or of another socket"
            yield f"{place}.slots", found, f"each of the {len(socket.slots)} slots of {socket.id} once", ""
            return
        if any(rule.severity == "error" for rule in of_kind(wiring.rules, FillOrderRow)):
            for channel in socket.channels:
                order = [slot for slot in self.slots if slot in channel.slots]
                if order != list(channel.slots):
                    yield f"{place}.slots", f"{' '.join(order)}", f"fill order {' '.join(channel.slots)}", ""


class FittedRow(Rule):
    """Which sets of sockets may be fitted."""

    question = "fits"
    scopes = ("system",)
    limits = "nothing"
    couples = "fitted"

    check: Literal["fitted"]
    sets: Annotated[tuple[Annotated[tuple[Name, ...], Field(min_length=1)], ...], Field(min_length=1)]

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """Another set is fitted. A socket without a known module may be fitted where a slot of it is unknown."""
        slots = [slot for socket in view.sockets for slot in socket.slots]
        if view.unknown <= set(slots) and not any(set(allowed) == set(view.fitted) for allowed in self.sets):
            yield Fault(", ".join(view.fitted), " or ".join(" + ".join(allowed) for allowed in self.sets))

    def wording(self) -> str:
        return f"Sockets that may be fitted: {'; '.join(listed(fitted) for fitted in self.sets)}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The sockets are there."""
        for fitted in self.sets:
            yield from known_names(fitted, wiring.socket_ids, f"{place}.sets", "sockets of the board")


_WHAT = {"capacity": "capacity", "count": "number of modules", "population": "population"}


class AlikeRow(Rule):
    """Fitted sockets are alike in capacity, in number of modules, or in the whole population."""

    question = "mix"
    scopes = ("system",)
    limits = "placement"
    couples = "amounts"

    check: Literal["alike"]
    what: Literal["capacity", "count", "population"]

    @property
    def alike(self) -> Literal["capacity", "count", "population"]:
        """What they have the same of."""
        return self.what

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """Two sockets differ, of those that are known whole."""
        values = [self._of(socket, view.content) for socket in view.known_sockets]
        if any(value != values[0] for value in values):
            found = listed([*dict.fromkeys(map(self._said, values))])
            yield Fault(found, f"the same {_WHAT[self.what]} on every socket")

    def _of(self, socket: Socket, content: Content) -> Any:
        held = tuple(content.get(slot) for slot in socket.slots)
        if self.what == "population":
            return socket.build, held
        modules = [module for module in held if module]
        return len(modules) if self.what == "count" else sum(module.capacity_gib for module in modules)

    def _said(self, value: Any) -> str:
        if self.what == "population":
            return "another population"
        return modules_counted(value) if self.what == "count" else value_alone("capacity_gib", value)

    def wording(self) -> str:
        return f"All fitted sockets have the same {_WHAT[self.what]}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """Only sockets of one build can be required to have the same population."""
        builds = {socket.build for socket in wiring.sockets}
        if self.what == "population" and self.severity == "error" and len(builds) > 1:
            yield f"{place}.what", "population", "capacity or count, since the sockets are built differently", ""
