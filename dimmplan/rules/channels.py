"""Rules about modules and channels: what the board takes and keeps apart, what a channel carries in which order."""

import itertools
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Annotated, Literal

from pydantic import Field

from dimmplan.model.board import Channel, Socket
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
    value_told,
)
from dimmplan.units import NUMBER_ALONE, listed, quoted

_RANKS = {"package": "package ranks", "logical": "logical ranks", "loads": "loads"}


def loads_of(module: Module) -> int:
    """Electrical loads on the channel: an LRDIMM's buffers load like one rank (guide-06 p. 32), others by rank."""
    return 1 if module.kind.unstacked is Kind.LRDIMM else module.package_ranks


class RankLimitRow(Rule):
    """At most ``most`` ranks on a channel, counted as package ranks, logical ranks or loads."""

    question = "capacity"
    scopes = ("channel",)
    stays_broken = True
    limits = "capacity"

    check: Literal["rank-limit"]
    count: Literal["package", "logical", "loads"] = "package"
    most: Annotated[int, Field(ge=1, le=64)]

    def _counted(self, module: Module) -> int:
        counts = {"package": module.package_ranks, "logical": module.logical_ranks, "loads": loads_of(module)}
        return counts[self.count]

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """The modules have more ranks together."""
        total = sum(self._counted(module) for module in load if module)
        if total > self.most:
            loads = self.count == "loads" and any(m and m.package_ranks != loads_of(m) for m in load)
            yield Fault(f"{total} {'loads' if loads else 'ranks'}", f"at most {self.most}")

    def wording(self) -> str:
        return f"A channel carries at most {self.most} {_RANKS[self.count]}."


class FillOrderRow(Rule):
    """A channel fills in slot order, without a gap."""

    question = "order"
    scopes = ("channel",)
    limits = "placement"

    check: Literal["fill-order"]
    marks = "1 is the first slot of its channel"

    def slot_marks(self, sockets: Sequence[Socket]) -> dict[str, str]:
        """The place of each slot in its channel; of boards with several slots on a channel only."""
        channels = [channel for socket in sockets for channel in socket.channels]
        if all(len(channel.slots) == 1 for channel in channels):
            return {}
        return {slot: str(place) for channel in channels for place, slot in enumerate(channel.slots, 1)}

    def gap(self, channel: Channel, filled: Collection[str]) -> str:
        """The first slot that is empty in front of a filled one; empty text where there is none."""
        return next((a for a, b in itertools.pairwise(channel.slots) if b in filled and a not in filled), "")

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """A slot is empty in front of a filled one."""
        gap = self.gap(channel, {slot for slot, module in zip(channel.slots, load, strict=True) if module})
        if gap:
            yield Fault(f"{gap} empty", "filled before the slots after it")

    def wording(self) -> str:
        return "A channel fills in slot order, without a gap."


class ChannelOrderRow(Rule):
    """Along a channel's fill order these never rise: more ranks first, then larger capacity, usually."""

    question = "order"
    scopes = ("channel",)
    stays_broken = True
    limits = "nothing"

    check: Literal["channel-order"]
    keys: Annotated[tuple[Literal["package_ranks", "logical_ranks", "capacity_gib"], ...], Field(min_length=1)] = (
        "package_ranks",
        "capacity_gib",
    )

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """A module comes before one that has more."""
        keys = [tuple(getattr(module, key) for key in self.keys) for module in load if module]
        for first, second in itertools.pairwise(keys):
            if second > first:
                words = [
                    ", ".join(value_alone(key, value) for key, value in zip(self.keys, values, strict=True))
                    for values in (second, first)
                ]
                yield Fault(f"{words[0]} after {words[1]}", "the larger one first")
                return

    def wording(self) -> str:
        keys = [f"more {field_noun(key)}" if key != "capacity_gib" else "larger capacity" for key in self.keys]
        return f"Along a channel, {', then '.join([f'{keys[0]} first', *keys[1:]])}."


# -- modules, wherever they are ----------------------------------------------------------------------------------------

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
        value = getattr(module, self.field)
        if not any(str(value) == str(allowed) for allowed in self.values):
            allowed = ", ".join(value_alone(self.field, allowed) for allowed in self.values)
            yield Fault(value_told(module, self.field), allowed)

    def wording(self) -> str:
        values = [value_named(self.field, value) for value in self.values]
        return f"The board takes modules of {field_noun(self.field)} {listed(values, last='or')}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
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
        return getattr(module, self.field)

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
        noun = field_noun(self.field)
        if self.apart == "nowhere":
            return f"Modules that differ in {noun} may be mixed, on one channel too."
        return f"Modules that differ in {noun} are never mixed {_APART[self.apart]}."
