"""Rules about the whole system: which sockets are fitted, and how alike they are."""

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field

from dimmplan.model.board import Socket
from dimmplan.model.rows import Name
from dimmplan.rules.base import (
    Content,
    Fault,
    Problems,
    Rule,
    SystemView,
    Wiring,
    known_names,
    modules_counted,
    value_alone,
)
from dimmplan.units import listed


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
        """The standard sentence."""
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
        """The standard sentence."""
        return f"All fitted sockets have the same {_WHAT[self.what]}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """Only sockets of one build can be required to have the same population."""
        builds = {socket.build for socket in wiring.sockets}
        if self.what == "population" and self.severity == "error" and len(builds) > 1:
            yield f"{place}.what", "population", "capacity or count, since the sockets are built differently", ""
