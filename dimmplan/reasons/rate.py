"""Why a placement runs at its rate: what binds, the limits side by side, and what would lift it by how much."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from dimmplan.model.board import Channel
from dimmplan.model.module import Generation, Module
from dimmplan.model.rows import ProcessorOption
from dimmplan.rates import ChannelRate, processor_rate, rate_on, rate_row
from dimmplan.reasons.case import Case, errors_of
from dimmplan.units import Gib

_LABEL_SOURCE = {Generation.DDR3: "standard-01", Generation.DDR4: "standard-01", Generation.DDR5: "standard-02"}
LimitKind = Literal["board", "processor", "module"]
LiftKind = Literal["fewer", "processor", "type", "label"]


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a channel: a rate row, the processor, or the label of a module; ``source`` is its source id."""

    kind: LimitKind
    name: str
    rate_mts: int
    source: str

    @property
    def row(self) -> str:
        """The limit as a placement's figures name it: a rate row's id, ``processor:ID`` or ``module:LABEL``."""
        return self.name if self.kind == "board" else f"{self.kind}:{self.name}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Lift:
    """One change that raises the rate, everything else as it is.

    ``fewer``: ``slots`` left empty. ``processor``: another option, ``name``. ``type``: all modules of one type
    replaced by the board's usual ``name`` of the same size. ``label``: modules labelled for at least ``name`` MT/s.
    ``broken`` are error rows that the change breaks; ``sweep_gb_s`` is the balanced sweep after it.
    """

    kind: LiftKind
    name: str
    rate_mts: int
    usable_gib: Gib
    sweep_gb_s: Fraction
    slots: tuple[str, ...] = ()
    broken: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class RateReason:
    """Why some sockets, or some channels where each has a rate of its own, run at ``rate_mts``.

    ``row`` binds: a rate row's id, ``processor:ID`` or ``module:LABEL``. ``channels`` are those that it binds on,
    ``modules`` are the numbers of modules on such channels. ``limits`` stand side by side on the first of them;
    the rate can lie below the lowest, at the next rate that the board lists. ``also`` are other rows that hold other
    channels at the same rate.
    """

    sockets: tuple[str, ...]
    channels: tuple[str, ...]
    rate_mts: int
    row: str
    source: str
    modules: tuple[int, ...]
    also: tuple[str, ...]
    limits: tuple[Limit, ...]
    lifts: tuple[Lift, ...]


@dataclass(frozen=True, slots=True)
class _Group:
    """Channels that run at one rate: all that share it, and those of them that hold it down."""

    channels: tuple[Channel, ...]
    binding: tuple[Channel, ...]
    rate: ChannelRate
    also: tuple[str, ...]


def rate_reasons(case: Case) -> tuple[RateReason, ...]:
    """Why the plan runs at its rates, one reason for each rate and row. Raises ``RefusedError`` for an unsound plan."""
    case.require_sound()
    return tuple(_reason(case, group) for group in _groups(case))


Held = Mapping[str, Module | None]


def _own(case: Case, channel: Channel, content: Held, option: ProcessorOption | None) -> ChannelRate | None:
    """The rate of a channel alone; ``None`` where it is empty or does not run."""
    modules = [module for slot in channel.slots if (module := content.get(slot))]
    return rate_on(case.board, option, channel, modules) if modules else None


def _lowest(case: Case, channels: Iterable[Channel], content: Held, option: ProcessorOption | None) -> int | None:
    """The lowest rate of filled channels; ``None`` where none is filled or one does not run."""
    filled = [channel for channel in channels if any(content.get(slot) for slot in channel.slots)]
    rates = [_own(case, channel, content, option) for channel in filled]
    return None if None in rates else min((rate.rate_mts for rate in rates if rate), default=None)


def _groups(case: Case) -> list[_Group]:
    """Channels by what shares a rate: the system, a socket, or a channel; equal ones together."""
    scope = case.board.rate_scope
    parts: dict[object, list[tuple[Channel, ChannelRate]]] = {}
    for channel in (channel for socket in case.sockets() for channel in socket.channels):
        rate = _own(case, channel, case.content, case.option)
        if rate:
            key: object = channel.socket if scope == "socket" else rate if scope == "channel" else ""
            parts.setdefault(key, []).append((channel, rate))
    merged: dict[tuple[ChannelRate, tuple[str, ...]], list[tuple[Channel, ChannelRate]]] = {}
    for members in parts.values():
        lowest = min((rate for _, rate in members), key=lambda rate: rate.rate_mts)
        others = dict.fromkeys(r.row for _, r in members if r.rate_mts == lowest.rate_mts and r.row != lowest.row)
        merged.setdefault((lowest, tuple(others)), []).extend(members)
    return [
        _Group(tuple(channel for channel, _ in members), tuple(c for c, rate in members if rate == key[0]), *key)
        for key, members in merged.items()
    ]


def _reason(case: Case, group: _Group) -> RateReason:
    first = group.binding[0]
    limits = _limits(case, case.held(first.slots), first)
    binding = next((limit for limit in limits if limit.row == group.rate.row), limits[0])
    return RateReason(
        sockets=tuple(dict.fromkeys(channel.socket for channel in group.channels)),
        channels=tuple(channel.name for channel in group.binding),
        rate_mts=group.rate.rate_mts,
        row=group.rate.row,
        source=binding.source,
        modules=tuple(sorted({len(case.held(channel.slots)) for channel in group.binding})),
        also=group.also,
        limits=limits,
        lifts=tuple(lift for lift in _lifts(case, group) if lift is not None),
    )


def _limits(case: Case, modules: list[Module], channel: Channel) -> tuple[Limit, ...]:
    """Every limit of a channel, the lowest first."""
    found: dict[Limit, None] = {}
    option = case.option.at(channel.socket) if case.option is not None else None
    for module in modules:
        row = rate_row(case.board, module, len(modules), len(channel.slots))
        if row is not None and row.mts != "none":
            found[Limit("board", row.id, row.mts, row.source)] = None
        allowed = processor_rate(option, module, len(modules))
        if option is not None and isinstance(allowed, int):
            found[Limit("processor", option.id, allowed, option.source)] = None
        found[Limit("module", module.label, module.rate_mts, _LABEL_SOURCE[module.generation])] = None
    return tuple(sorted(found, key=lambda limit: limit.rate_mts))


def _lifts(case: Case, group: _Group) -> Iterator[Lift | None]:
    yield _fewer(case, group)
    for option in case.board.processors:
        if option != case.option:
            yield _lift(case, group, "processor", option.id, content=case.content, option=option)
    for module in case.placement.types:
        yield _other_type(case, group, module)
    # labels: all modules labelled for the highest rate that the board lists, which is what the labels alone hold back
    top = max(case.board.rates_mts)
    faster = {module: replace(module, rate_mts=max(top, module.rate_mts)) for module in case.placement.types}
    content = {slot: faster[held] if held else None for slot, held in case.content.items()}
    lift = _lift(case, group, "label", content=content, option=case.option)
    yield lift and replace(lift, name=str(lift.rate_mts))


def _fewer(case: Case, group: _Group) -> Lift | None:
    """The last modules of the binding channels taken out, until the rate rises."""
    content, out = dict(case.content), []
    for _ in range(max(len(channel.slots) for channel in group.binding) - 1):
        lowest = _lowest(case, group.channels, content, case.option)
        for channel in group.channels:
            filled = [slot for slot in channel.slots if content.get(slot)]
            own = _own(case, channel, content, case.option)
            if len(filled) > 1 and own is not None and own.rate_mts == lowest:
                content[filled[-1]] = None
                out.append(filled[-1])
        found = _lift(case, group, "fewer", content=content, option=case.option, slots=out)
        if found:
            return found
    return None


def _other_type(case: Case, group: _Group, module: Module) -> Lift | None:
    """One type replaced everywhere by another usual one of the same size, the fastest of those that break no rule."""
    found = []
    for other in case.board.modules:
        if other.capacity_gib == module.capacity_gib and other != module:
            content = {slot: other if held == module else held for slot, held in case.content.items()}
            found.append(_lift(case, group, "type", other.label, content=content, option=case.option))
    legal = [lift for lift in found if lift and not lift.broken]
    return max(legal, key=lambda lift: (lift.rate_mts, lift.sweep_gb_s), default=None)


def _lift(
    case: Case,
    group: _Group,
    kind: LiftKind,
    name: str = "",
    *,
    content: Held,
    option: ProcessorOption | None,
    slots: Iterable[str] = (),
) -> Lift | None:
    """The change as a lift, where it raises the rate of the group."""
    rate = _lowest(case, group.channels, content, option)
    figures = case.figures_of(content, option=option) if rate is not None and rate > group.rate.rate_mts else None
    if rate is None or figures is None:
        return None
    return Lift(
        kind=kind,
        name=name,
        rate_mts=rate,
        usable_gib=figures.usable_gib,
        sweep_gb_s=figures.balanced_sweep_gb_s,
        slots=tuple(slots),
        broken=tuple(dict.fromkeys(b.rule for b in errors_of(case.judge_content(content, option=option)))),
    )
