"""Memory modes: what they leave of the modules, and what they need.

*Mirrored*: groups of two or three identical channels hold everything twice, so half of each channel is usable
(guide-05; the board's row says which groups). *Sparing*: each filled channel gives up its largest rank (guide-16
p. 166), and has at least the board's minimum of ranks (sources differ: guide-19 two, guide-17 three).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field

from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import Severity
from dimmplan.rules.base import Content, Fault, Load, Rule, SystemView, modules_counted, of_kind, value_alone
from dimmplan.units import listed


class _ModeRow(Rule):
    """What a mode needs: judged only where the mode is asked for, and never traded."""

    @property
    def severity_broken(self) -> Severity:
        """An error: a population that the mode cannot use runs in another mode."""
        return "error"


class MirroringRow(_ModeRow):
    """What mirroring needs: groups of two or three identical channels."""

    question = "modes"
    scopes = ("system",)
    judged_in_part = True
    stays_broken = False
    limits = "nothing"
    couples = "mode"

    check: Literal["mirroring"]
    group_channels: Literal[2, 3] | tuple[Literal[2, 3], ...] = 2
    within: Literal["controller", "socket"] = "controller"
    modules: tuple[Annotated[int, Field(ge=1, le=96)], ...] = ()
    one_type: bool = False

    @property
    def _sizes_said(self) -> list[str]:
        return [str(size) for size in group_sizes(self)]

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """Types, counts or groups are not those of mirroring; only places known whole are held to groups."""
        if view.mode is not Mode.MIRRORED:
            return
        types = {module for module in view.content.values() if module}
        if self.one_type and len(types) > 1:
            yield Fault(f"{len(types)} module types", "one module type")
        for socket in view.sockets:
            unknown = len(view.unknown.intersection(socket.slots))
            count = sum(view.content.get(slot) is not None for slot in socket.slots)
            if self.modules and not any(each in self.modules for each in range(count, count + unknown + 1)):
                allowed = f"{', '.join(str(each) for each in self.modules)} modules at each processor"
                yield Fault(modules_counted(count), allowed, (socket.id,))
            for where, channels in self._places(socket):
                known = all(view.unknown.isdisjoint(channel.slots) for channel in channels)
                if known and not mirrors((_load(ch, view.content) for ch in channels), group_sizes(self)):
                    allowed = f"groups of {' or '.join(self._sizes_said)} identical channels"
                    yield Fault("filled channels that have no identical partner", allowed, (where,))

    def _places(self, socket: Socket) -> list[tuple[str, tuple[Channel, ...]]]:
        """What has to fall into groups by itself: the controllers of a socket, or the whole of it."""
        if self.within == "socket":
            return [(socket.id, socket.channels)]
        return [(f"{socket.id} {controller.id}", controller.channels) for controller in socket.controllers]

    def wording(self) -> str:
        """The standard sentence."""
        groups = listed(self._sizes_said, last="or")
        counts = f", with {listed([str(n) for n in self.modules], last='or')} modules" if self.modules else ""
        one = ", one module type only" if self.one_type else ""
        return (
            f"Mirroring takes groups of {groups} identical channels of one {self.within}{counts}{one}; half is usable."
        )


class SparingRow(_ModeRow):
    """What rank sparing needs, and which rank is given up."""

    question = "modes"
    scopes = ("system",)
    judged_in_part = True
    stays_broken = False
    limits = "nothing"
    couples = "mode"

    check: Literal["sparing"]
    min_ranks: Annotated[int, Field(ge=2, le=16)] = 2
    spare: Literal["package", "logical"] = "package"

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """A filled channel has too few ranks, of those that are known whole."""
        if view.mode is not Mode.SPARING:
            return
        for channel in (channel for socket in view.sockets for channel in socket.channels):
            modules = [module for slot in channel.slots if (module := view.content.get(slot))]
            ranks = sum(ranks_of(self, module) for module in modules)
            if modules and ranks < self.min_ranks and view.unknown.isdisjoint(channel.slots):
                yield Fault(value_alone("package_ranks", ranks), f"at least {self.min_ranks}", (channel.name,))

    def wording(self) -> str:
        """The standard sentence."""
        return f"Rank sparing gives up one {self.spare} rank of each filled channel; it needs {self.min_ranks} ranks."


def mirroring_row(board: Board) -> MirroringRow | None:
    """The board's row on mirroring; without one the board does not mirror."""
    return next(iter(of_kind(board.rules, MirroringRow)), None)


def sparing_row(board: Board) -> SparingRow | None:
    """The board's row on rank sparing; without one the board does not spare."""
    return next(iter(of_kind(board.rules, SparingRow)), None)


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


def _load(channel: Channel, content: Content) -> Load:
    """What a channel holds, up to its last module."""
    load = [content.get(slot) for slot in channel.slots]
    while load and load[-1] is None:
        load.pop()
    return tuple(load)
