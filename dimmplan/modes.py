"""What a memory mode leaves of the modules: usable capacity of each channel, and what the mode needs.

*Mirrored*: groups of two or three identical channels hold everything twice, so half of each channel is usable
(guide-05; the board's row says which groups). *Sparing*: each filled channel gives up its largest rank (guide-16
p. 166), and has at least the board's minimum of ranks (sources differ: guide-19 two, guide-17 three).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction

from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import MirroringRow, SparingRow
from dimmplan.rules import Breach, modules_said, said

Content = Mapping[str, Module | None]
Load = tuple[Module | None, ...]


def mirroring_row(board: Board) -> MirroringRow | None:
    """The board's row on mirroring; without one the board does not mirror."""
    return next((row for row in board.rules if isinstance(row, MirroringRow)), None)


def sparing_row(board: Board) -> SparingRow | None:
    """The board's row on rank sparing; without one the board does not spare."""
    return next((row for row in board.rules if isinstance(row, SparingRow)), None)


def group_sizes(row: MirroringRow) -> tuple[int, ...]:
    """Permitted numbers of channels in a mirror group."""
    return row.group_channels if isinstance(row.group_channels, tuple) else (row.group_channels,)


def ranks_of(row: SparingRow, module: Module) -> int:
    """Ranks of a module as the sparing row counts them."""
    return module.package_ranks if row.spare == "package" else module.logical_ranks


def usable_gib(board: Board, mode: Mode, modules: Sequence[Module]) -> Fraction:
    """Usable capacity of one filled channel in GiB."""
    total = Fraction(sum(module.capacity_gib for module in modules))
    if mode is Mode.MIRRORED:
        return total / 2
    row = sparing_row(board) if mode is Mode.SPARING else None
    if row is not None and modules:
        return total - max(Fraction(module.capacity_gib, ranks_of(row, module)) for module in modules)
    return total


def can_be_groups(count: int, sizes: Sequence[int]) -> bool:
    """True where that many identical channels can be split into mirror groups of the permitted sizes."""
    reachable = {0}
    for _ in range(count):
        reachable |= {have + size for have in reachable for size in sizes if have + size <= count}
    return count in reachable


def mirrors(loads: Iterable[Load], sizes: Sequence[int]) -> bool:
    """True where these channels fall into mirror groups of identical channels; empty ones do not count."""
    counts = Counter(load for load in loads if any(load))
    return all(can_be_groups(count, sizes) for count in counts.values())


def judge_mode(board: Board, mode: Mode, fitted: Sequence[str], content: Content) -> Iterator[Breach]:
    """What a population lacks for its mode; nothing in the independent mode."""
    if mode is Mode.MIRRORED:
        yield from _judge_mirroring(board, fitted, content)
    elif mode is Mode.SPARING:
        yield from _judge_sparing(board, fitted, content)


def _breach(rule: str, where: Sequence[str], found: str, allowed: str, source: str) -> Breach:
    return Breach(
        rule=rule,
        severity="error",
        check=rule,
        where=tuple(where),
        found=found,
        allowed=allowed,
        source=source,
    )


def _load(channel_slots: Sequence[str], content: Content) -> Load:
    load = [content.get(slot) for slot in channel_slots]
    while load and load[-1] is None:
        load.pop()
    return tuple(load)


def _judge_mirroring(board: Board, fitted: Sequence[str], content: Content) -> Iterator[Breach]:
    row = mirroring_row(board)
    if row is None:
        yield _breach("mirroring", fitted, "a board without a mirroring row", "boards that mirror", "PRACTICE")
        return
    sizes = " or ".join(str(size) for size in group_sizes(row))
    types = {module for module in content.values() if module}
    if row.one_type and len(types) > 1:
        yield _breach(row.id, fitted, f"{len(types)} module types", "one module type", row.source)
    for socket_id in fitted:
        socket = board.socket(socket_id)
        count = sum(content.get(slot) is not None for slot in socket.slots)
        if row.modules and count not in row.modules:
            allowed = f"{', '.join(str(each) for each in row.modules)} modules at each processor"
            yield _breach(row.id, (socket_id,), modules_said(count), allowed, row.source)
        for where, loads in _mirror_places(socket, row, content):
            if not mirrors(loads, group_sizes(row)):
                found = "filled channels that have no identical partner"
                yield _breach(row.id, (where,), found, f"groups of {sizes} identical channels", row.source)


def _mirror_places(socket: Socket, row: MirroringRow, content: Content) -> Iterator[tuple[str, list[Load]]]:
    if row.within == "socket":
        yield socket.id, [_load(channel.slots, content) for channel in socket.channels]
        return
    for controller in socket.controllers:
        name = f"{socket.id} {controller.id}"
        yield name, [_load(channel.slots, content) for channel in controller.channels]


def _judge_sparing(board: Board, fitted: Sequence[str], content: Content) -> Iterator[Breach]:
    row = sparing_row(board)
    if row is None:
        yield _breach("sparing", fitted, "a board without a sparing row", "boards that spare ranks", "PRACTICE")
        return
    for socket_id in fitted:
        for channel in board.socket(socket_id).channels:
            modules = [module for slot in channel.slots if (module := content.get(slot))]
            ranks = sum(ranks_of(row, module) for module in modules)
            if modules and ranks < row.min_ranks:
                found = said("package_ranks", ranks)
                yield _breach(row.id, (channel.name,), found, f"at least {row.min_ranks}", row.source)
