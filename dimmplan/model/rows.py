"""The rows of a board: what every rule row has, rates, processor options, channels that work together.

The kinds of rules are classes of ``dimmplan.rules``, which build on ``Row``.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, model_validator

from dimmplan.model.module import Kind, Module

Severity = Literal["error", "advised", "off"]
Name = Annotated[str, Field(min_length=1, max_length=40)]
Text = Annotated[str, Field(min_length=1, max_length=400)]
RateMts = Annotated[int, Field(ge=400, le=20000)]
CapacityGib = Annotated[int, Field(ge=1, le=1 << 20)]
ModuleField = Literal[
    "generation",
    "voltage_mv",
    "form_factor",
    "kind",
    "ecc_bits",
    "device_width",
    "package_ranks",
    "logical_ranks",
    "capacity_gib",
    "rate_mts",
    "die_family",
]


class Record(BaseModel):
    """A frozen record that refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _tell_keys(cls, given: Any, info: ValidationInfo) -> Any:
        """Note in the context, where there is one, which keys a table may have, by the identity of the table."""
        if info.context is not None:
            info.context[id(given)] = sorted(cls.model_fields)
        return given


class Row(Record):
    """What every row has. ``text`` says the row in the board's own words where the standard wording is not enough."""

    id: Name
    severity: Severity = "error"
    source: Name
    text: Text | None = None


class ModulesMeant(Record):
    """Which modules a row about rates speaks of; a part left out means *any*. ``die_gbit`` is the density of a die."""

    kinds: tuple[Kind, ...] = ()
    package_ranks: tuple[Annotated[int, Field(ge=1, le=8)], ...] = ()
    logical_ranks: tuple[Annotated[int, Field(ge=1, le=64)], ...] = ()
    capacity_gib: tuple[CapacityGib, ...] = ()
    die_gbit: tuple[Annotated[int, Field(ge=1, le=256)], ...] = ()
    voltage_mv: tuple[int, ...] = ()

    def means(self, module: Module) -> bool:
        """True where the row speaks of such a module."""
        wanted = ((getattr(self, name), field) for name, field in MEANT_BY.items())
        return all(not values or getattr(module, field) in values for values, field in wanted)

    def may_mean(self, values: Mapping[str, object]) -> bool:
        """True where the row may speak of a module of which these values alone are known."""
        return all(not (wanted := getattr(self, name)) or value in wanted for name, value in values.items())

    def meets(self, other: "ModulesMeant") -> bool:
        """True where some module is meant by both."""
        pairs = ((getattr(self, name), getattr(other, name)) for name in MEANT_BY)
        return all(not mine or not theirs or set(mine) & set(theirs) for mine, theirs in pairs)


MEANT_BY = {name: "kind" if name == "kinds" else name for name in ModulesMeant.model_fields}
"""The parts by which a row names modules, and the module's own field for each."""


class RateRow(ModulesMeant):
    """Data rate of a channel: by the modules meant, modules per channel, slots on the channel.

    ``none`` says that the board does not run so. No two rows may speak of the same module on the same channel.
    """

    id: Name
    dpc: Annotated[int, Field(ge=1, le=4)]
    slots: tuple[Annotated[int, Field(ge=1, le=4)], ...] = ()
    mts: RateMts | Literal["none"]
    source: Name


class ProcessorRate(ModulesMeant):
    """The rate a processor allows for some modules and modules per channel."""

    dpc: tuple[Annotated[int, Field(ge=1, le=4)], ...] = ()
    mts: RateMts


class ProcessorOption(Record):
    """One processor that the board takes.

    ``channels`` are those that it serves, by their ids at each socket; none named means all. Slots of the others are
    dead.
    """

    id: Name
    title: Text | None = None
    rates: tuple[ProcessorRate, ...] = ()
    ceiling_gib: CapacityGib | None = None
    channels: Annotated[tuple[Name, ...], Field(max_length=32)] = ()
    source: Name

    def at(self, socket_id: str) -> "ProcessorOption":  # noqa: ARG002 - options that differ look at it
        """The option of a socket."""
        return self

    @property
    def each(self) -> "tuple[ProcessorOption, ...]":
        """The options that some socket carries, each once."""
        return (self,)


class DifferentOptions(ProcessorOption):
    """Sockets with options of their own. ``id`` names them all; ``at`` has what each allows."""

    id: str
    seats: tuple[tuple[Name, ProcessorOption], ...]

    def at(self, socket_id: str) -> "ProcessorOption":
        """The option of a socket; the first where the socket has none."""
        return dict(self.seats).get(socket_id, self.seats[0][1])

    @property
    def each(self) -> "tuple[ProcessorOption, ...]":
        """The options, each once."""
        return tuple({option.id: option for _, option in self.seats}.values())


def seats_of(processor: str) -> dict[str, str]:
    """Socket to option of ``S1=one,S2=other``; empty for the id of one option."""
    return dict(seat.split("=", 1) for seat in processor.split(",")) if "=" in processor else {}


Excess = Literal["layers", "alone", "none"]


class ChannelGroup(Record):
    """A listed set of channels that interleave together. ``exclusive``: only if no other channel is filled."""

    channels: Annotated[tuple[Name, ...], Field(min_length=2, max_length=16)]
    exclusive: bool = False
    excess: Excess = "layers"


class InterleaveRow(Record):
    """Which channels of a socket work together.

    ``even`` and ``any`` list the permitted ``ways`` and one ``excess``; ``groups`` lists channel sets.
    """

    id: Name = "interleave"
    style: Literal["even", "any", "groups"]
    ways: tuple[Annotated[int, Field(ge=1, le=32)], ...] = ()
    excess: Excess = "layers"
    groups: tuple[ChannelGroup, ...] = ()
    source: Name


class NodeRow(Record):
    """A firmware setting that splits a socket: the controllers that form each node.

    ``socket`` where the setting is that of one socket; without it each socket that has these controllers is split so.
    """

    id: Name
    nodes: Annotated[dict[Name, Annotated[tuple[Name, ...], Field(min_length=1, max_length=16)]], Field(min_length=2)]
    socket: Name | None = None
    source: Name


RateScope = Literal["system", "socket", "channel"]
Trust = Literal["example", "drafted", "manual", "running"]
