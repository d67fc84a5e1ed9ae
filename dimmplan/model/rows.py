"""The rows of a board: what every rule row has, rates, processor options, channels that work together.

The kinds of rules are classes of ``dimmplan.rules``, which build on ``Row``.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from dimmplan.model.module import Kind

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


class Row(Record):
    """What every row has. ``text`` says the row in the board's own words where the standard wording is not enough."""

    id: Name
    severity: Severity = "error"
    source: Name
    text: Text | None = None


class RateRow(Record):
    """Data rate of a channel: by kind, package ranks, modules per channel, slots on the channel, voltage.

    A part left out means *any*; ``none`` says that the board does not run so. No two rows may speak of the same
    module on the same channel.
    """

    id: Name
    kinds: tuple[Kind, ...] = ()
    package_ranks: tuple[Annotated[int, Field(ge=1, le=8)], ...] = ()
    dpc: Annotated[int, Field(ge=1, le=4)]
    slots: tuple[Annotated[int, Field(ge=1, le=4)], ...] = ()
    voltage_mv: tuple[int, ...] = ()
    mts: RateMts | Literal["none"]
    source: Name


class ProcessorRate(Record):
    """The rate a processor allows for some kinds and modules per channel; a part left out means any."""

    kinds: tuple[Kind, ...] = ()
    dpc: tuple[Annotated[int, Field(ge=1, le=4)], ...] = ()
    mts: RateMts


class ProcessorOption(Record):
    """One processor that the board takes; all fitted sockets carry the same option."""

    id: Name
    title: Text | None = None
    rates: tuple[ProcessorRate, ...] = ()
    ceiling_gib: CapacityGib | None = None
    source: Name


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


RateScope = Literal["system", "socket", "channel"]
Trust = Literal["example", "drafted", "manual", "running"]
