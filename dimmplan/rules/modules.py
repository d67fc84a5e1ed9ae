"""Rules about what modules are: which the board takes, and which it keeps apart."""

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from pydantic import Field

from dimmplan.model.board import Channel
from dimmplan.model.module import Kind, Module
from dimmplan.model.rows import ModuleField
from dimmplan.rules.base import (
    Fault,
    Load,
    Problems,
    Rule,
    Scope,
    SocketView,
    SystemView,
    Wiring,
    field_noun,
    known_names,
    value_alone,
    value_named,
    value_of,
    value_told,
)
from dimmplan.units import NUMBER_ALONE, listed, quoted

_KINDS = [kind.value for kind in Kind]
_NUMBERS = {
    "voltage_mv": " in mV, such as 1200",
    "ecc_bits": "",
    "device_width": ", such as 4 for x4",
    "package_ranks": "",
    "logical_ranks": "",
    "capacity_gib": " in GiB",
    "rate_mts": " in MT/s",
}
"""Fields of a module that are numbers, with what is to be said of them."""


class AcceptRow(Rule):
    """The board takes only modules whose ``field`` is one of ``values``."""

    question = "fits"
    scopes = ("module",)
    stays_broken = True
    limits = "nothing"

    check: Literal["accept"]
    field: ModuleField
    values: Annotated[tuple[str | int, ...], Field(min_length=1)]

    @property
    def module_field(self) -> str:
        """The field that decides."""
        return self.field

    def of_module(self, module: Module) -> Iterator[Fault]:
        """The module's value is not listed."""
        value = value_of(module, self.field)
        if not any(str(value) == str(allowed) for allowed in self.values):
            allowed = ", ".join(value_alone(self.field, allowed) for allowed in self.values)
            yield Fault(value_told(module, self.field), allowed)

    def wording(self) -> str:
        """The standard sentence."""
        values = [value_named(self.field, value) for value in self.values]
        return f"The board takes modules of {field_noun(self.field)} {listed(values, last='or')}."

    def problems(self, place: str, wiring: Wiring | None = None) -> Problems:
        """Values are such as the field has: kinds by name, numbers without a unit."""
        if self.field == "kind":
            yield from known_names(map(str, self.values), _KINDS, f"{place}.values", ", ".join(_KINDS))
        if self.field in _NUMBERS:
            for index, value in enumerate(self.values):
                if not str(value).isdigit():
                    allowed = f"whole numbers{_NUMBERS[self.field]}"
                    yield f"{place}.values[{index + 1}]", quoted(str(value)), allowed, NUMBER_ALONE


_APART = {"system": "in one system", "socket": "at one socket", "channel": "on one channel"}


class MixRow(Rule):
    """Modules that differ in ``field`` are kept apart: not in one system, not in one socket, not in one channel."""

    question = "mix"
    scopes = ("channel", "socket", "system")
    stays_broken = True
    limits = "placement"
    couples = "types"

    check: Literal["mix"]
    field: ModuleField
    apart: Literal["system", "socket", "channel", "nowhere"]

    @property
    def module_field(self) -> str:
        """The field that must not differ."""
        return self.field

    def judged_at(self, scope: Scope) -> bool:
        """Only where the row keeps modules apart."""
        return scope == self.apart

    def apart_by(self, module: Module) -> object:
        """The module's value in the field."""
        return value_of(module, self.field)

    def _differing(self, modules: Iterable[Module]) -> Iterator[Fault]:
        modules = tuple(modules)
        if len({self.apart_by(module) for module in modules}) > 1:
            told = sorted({value_told(module, self.field) for module in modules}, key=lambda text: (len(text), text))
            yield Fault(" and ".join(told), "one of them")

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """Modules of the channel differ."""
        return self._differing(module for module in load if module)

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Modules of the socket differ."""
        return self._differing(view.types)

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """Modules of the system differ."""
        return self._differing(module for module in view.content.values() if module)

    def wording(self) -> str:
        """The standard sentence."""
        noun = field_noun(self.field)
        if self.apart == "nowhere":
            return f"Modules that differ in {noun} may be mixed, on one channel too."
        return f"Modules that differ in {noun} are never mixed {_APART[self.apart]}."
