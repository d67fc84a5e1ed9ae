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
from dimmplan.reasons.case import Case
from dimmplan.units import Gib

_LABEL_SOURCE = {Generation.DDR3: "standard-01", Generation.DDR4: "standard-01", Generation.DDR5: "standard-02"}
LimitKind = Literal["board", "processor", "module"]
LiftKind = Literal["fewer", "processor", "type", "label"]


@dataclass(frozen=True, kw_only=True, slots=True)
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


def _own(case: Case, channel: Channel, content: Mapping[str, Module | None]) -> ChannelRate | None:
    modules = [module for slot in channel.slots if (module := content.get(slot))]
    return rate_on(case.board, case.option, channel, modules) if modules else None


def _groups(case: Case) -> list[_Group]:
    """Channels by what shares a rate: the system, a socket, or a channel; equal ones together."""
    running = [
        (channel, rate)
        for socket in case.sockets()
        for channel in socket.channels
        if (rate := _own(case, channel, case.content))
    ]
    scope = case.board.rate_scope
    parts: dict[object, list[tuple[Channel, ChannelRate]]] = {}
    for channel, rate in running:
        key: object = channel.socket if scope == "socket" else rate if scope == "channel" else ""
        parts.setdefault(key, []).append((channel, rate))
    merged: dict[tuple[ChannelRate, tuple[str, ...]], list[list[Channel]]] = {}
    for members in parts.values():
        lowest = min((rate for _, rate in members), key=lambda rate: rate.rate_mts)
        others = dict.fromkeys(r.row for _, r in members if r.rate_mts == lowest.rate_mts and r.row != lowest.row)
        pair = merged.setdefault((lowest, tuple(others)), [[], []])
        pair[0] += [channel for channel, _ in members]
        pair[1] += [channel for channel, rate in members if rate == lowest]
    return [_Group(tuple(every), tuple(binding), *key) for key, (every, binding) in merged.items()]


def _reason(case: Case, group: _Group) -> RateReason:
    first = group.binding[0]
    modules = [module for slot in first.slots if (module := case.content.get(slot))]
    limits = _limits(case, modules, first)
    binding = next((limit for limit in limits if limit.row == group.rate.row), limits[0])
    return RateReason(
        sockets=tuple(dict.fromkeys(channel.socket for channel in group.channels)),
        channels=tuple(channel.name for channel in group.binding),
        rate_mts=group.rate.rate_mts,
        row=group.rate.row,
        source=binding.source,
        modules=tuple(sorted({sum(case.content.get(s) is not None for s in ch.slots) for ch in group.binding})),
        also=group.also,
        limits=limits,
        lifts=tuple(_lifts(case, group)),
    )


def _limits(case: Case, modules: list[Module], channel: Channel) -> tuple[Limit, ...]:
    """Every limit of a channel, the lowest first."""
    found: dict[Limit, None] = {}
    option = case.option.at(channel.socket) if case.option is not None else None
    for module in modules:
        row = rate_row(case.board, module, len(modules), len(channel.slots))
        if row is not None and row.mts != "none":
            found[Limit(kind="board", name=row.id, rate_mts=row.mts, source=row.source)] = None
        allowed = processor_rate(option, module, len(modules))
        if option is not None and isinstance(allowed, int):
            found[Limit(kind="processor", name=option.id, rate_mts=allowed, source=option.source)] = None
        label = _LABEL_SOURCE[module.generation]
        found[Limit(kind="module", name=module.label, rate_mts=module.rate_mts, source=label)] = None
    return tuple(sorted(found, key=lambda limit: limit.rate_mts))


def _lifts(case: Case, group: _Group) -> Iterator[Lift]:
    yield from _fewer(case, group)
    for option in case.board.processors:
        if option != case.option:
            yield from _lift(case, group, "processor", option.id, content=case.content, option=option)
    yield from _other_types(case, group)
    yield from _labels(case, group)


def _fewer(case: Case, group: _Group) -> Iterator[Lift]:
    """The last modules of the binding channels taken out, until the rate rises."""
    content, out = dict(case.content), []
    for _ in range(max(len(channel.slots) for channel in group.binding) - 1):
        lowest = _lowest(case, group.channels, content, case.option)
        for channel in group.channels:
            filled = [slot for slot in channel.slots if content.get(slot)]
            own = _own(case, channel, content)
            if len(filled) > 1 and own is not None and own.rate_mts == lowest:
                content[filled[-1]] = None
                out.append(filled[-1])
        found = list(_lift(case, group, "fewer", content=content, option=case.option, slots=out))
        if found:
            yield from found
            return


def _other_types(case: Case, group: _Group) -> Iterator[Lift]:
    """One type replaced everywhere by another usual one of the same size; for each type the fastest."""
    for module in case.placement.types:
        found: list[Lift] = []
        for other in case.board.modules:
            if other.capacity_gib == module.capacity_gib and other != module:
                content = {slot: other if held == module else held for slot, held in case.content.items()}
                found += _lift(case, group, "type", other.label, content=content, option=case.option)
        legal = [lift for lift in found if not lift.broken]
        if legal:
            yield max(legal, key=lambda lift: (lift.rate_mts, lift.sweep_gb_s))


def _labels(case: Case, group: _Group) -> Iterator[Lift]:
    """All modules labelled for the highest rate that the board lists: what the labels alone hold back."""
    top = max(case.board.rates_mts)
    faster = {module: replace(module, rate_mts=max(top, module.rate_mts)) for module in case.placement.types}
    content = {slot: faster[held] if held else None for slot, held in case.content.items()}
    for lift in _lift(case, group, "label", content=content, option=case.option):
        yield replace(lift, name=str(lift.rate_mts))


def _lift(
    case: Case,
    group: _Group,
    kind: LiftKind,
    name: str = "",
    *,
    content: Mapping[str, Module | None],
    option: ProcessorOption | None,
    slots: Iterable[str] = (),
) -> Iterator[Lift]:
    """The change as a lift, where it raises the rate of the group."""
    rate = _lowest(case, group.channels, content, option)
    if rate is None or rate <= group.rate.rate_mts:
        return
    figures = case.figures_of(content, option=option)
    if figures is None:
        return
    broken = [b.rule for b in case.judge_content(content, option=option) if b.severity == "error"]
    yield Lift(
        kind=kind,
        name=name,
        rate_mts=rate,
        usable_gib=figures.usable_gib,
        sweep_gb_s=figures.balanced_sweep_gb_s,
        slots=tuple(slots),
        broken=tuple(dict.fromkeys(broken)),
    )


def _lowest(
    case: Case, channels: Iterable[Channel], content: Mapping[str, Module | None], option: ProcessorOption | None
) -> int | None:
    """The lowest rate of filled channels; ``None`` where none is filled or one does not run."""
    rates: list[int] = []
    for channel in channels:
        modules = [module for slot in channel.slots if (module := content.get(slot))]
        if modules:
            rate = rate_on(case.board, option, channel, modules)
            if rate is None:
                return None
            rates.append(rate.rate_mts)
    return min(rates, default=None)
