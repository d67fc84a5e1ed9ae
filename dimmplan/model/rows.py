"""The rows of a board's rules: each has an id, a severity and a source, and says one thing.

The same records are written by hand in a board file, pruned with by the search and judged by in an audit. What a
row does is defined in ``dimmplan.rules``; here stands only what it says.
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


class AcceptRow(Row):
    """The board takes only modules whose ``field`` is one of ``values``."""

    check: Literal["accept"]
    field: ModuleField
    values: Annotated[tuple[str | int, ...], Field(min_length=1)]


class MixRow(Row):
    """Modules that differ in ``field`` are kept apart: not in one system, not in one socket, not in one channel."""

    check: Literal["mix"]
    field: ModuleField
    apart: Literal["system", "socket", "channel", "nowhere"]


class RankLimitRow(Row):
    """At most ``most`` ranks on a channel, counted as package ranks, logical ranks or loads."""

    check: Literal["rank-limit"]
    count: Literal["package", "logical", "loads"] = "package"
    most: Annotated[int, Field(ge=1, le=64)]


class FillOrderRow(Row):
    """A channel fills in slot order, without a gap."""

    check: Literal["fill-order"]


class ChannelOrderRow(Row):
    """Along a channel's fill order these never rise: more ranks first, then larger capacity, usually."""

    check: Literal["channel-order"]
    keys: Annotated[tuple[Literal["package_ranks", "logical_ranks", "capacity_gib"], ...], Field(min_length=1)] = (
        "package_ranks",
        "capacity_gib",
    )


class SocketMinimumRow(Row):
    """Every fitted socket has at least this many modules."""

    check: Literal["socket-minimum"]
    modules: Annotated[int, Field(ge=1, le=96)] = 1


class CeilingRow(Row):
    """Capacity of one socket is at most this."""

    check: Literal["ceiling"]
    socket_gib: CapacityGib
    sockets: tuple[Name, ...] = ()


class CountsRow(Row):
    """Modules per fitted socket is one of these numbers. ``sockets`` names those meant; none means all."""

    check: Literal["counts"]
    modules: Annotated[tuple[Annotated[int, Field(ge=1, le=96)], ...], Field(min_length=1)]
    sockets: tuple[Name, ...] = ()


class SequenceRow(Row):
    """The slots of one socket fill in exactly this order."""

    check: Literal["sequence"]
    socket: Name
    slots: Annotated[tuple[Name, ...], Field(min_length=1)]


class FittedRow(Row):
    """Which sets of sockets may be fitted."""

    check: Literal["fitted"]
    sets: Annotated[tuple[Annotated[tuple[Name, ...], Field(min_length=1)], ...], Field(min_length=1)]


class AlikeRow(Row):
    """Fitted sockets are alike in capacity, in number of modules, or in the whole population."""

    check: Literal["alike"]
    what: Literal["capacity", "count", "population"]


class ThermalRow(Row):
    """Modules of ``from_gib`` or more (of ``kinds``, where given) need something for their cooling."""

    check: Literal["thermal"]
    from_gib: CapacityGib
    kinds: tuple[Kind, ...] = ()
    needs: Text


class NoteRow(Row):
    """Something a person must know: firmware settings that change regions, parts that differ between sockets."""

    check: Literal["note"]
    about: Literal["firmware", "parts", "care"]
    text: Text


class MirroringRow(Row):
    """What mirroring needs: groups of two or three identical channels."""

    check: Literal["mirroring"]
    group_channels: Literal[2, 3] | tuple[Literal[2, 3], ...] = 2
    within: Literal["controller", "socket"] = "controller"
    modules: tuple[Annotated[int, Field(ge=1, le=96)], ...] = ()
    one_type: bool = False


class SparingRow(Row):
    """What rank sparing needs, and which rank is given up."""

    check: Literal["sparing"]
    min_ranks: Annotated[int, Field(ge=2, le=16)] = 2
    spare: Literal["package", "logical"] = "package"


class BlanksRow(Row):
    """Empty slots that must carry a blank for the air flow; no slots named means all."""

    check: Literal["blanks"]
    slots: tuple[Name, ...] = ()


RuleRow = Annotated[
    AcceptRow
    | MixRow
    | RankLimitRow
    | FillOrderRow
    | ChannelOrderRow
    | SocketMinimumRow
    | CeilingRow
    | CountsRow
    | SequenceRow
    | FittedRow
    | AlikeRow
    | ThermalRow
    | NoteRow
    | MirroringRow
    | SparingRow
    | BlanksRow,
    Field(discriminator="check"),
]


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
