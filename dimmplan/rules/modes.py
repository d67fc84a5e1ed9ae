"""Memory modes: what they leave of the modules, and what they need.

*Mirrored*: groups of two or three identical channels hold everything twice, so half of each channel is usable
(guide-05; the board's row says which groups). *Partly mirrored*: a share or an amount of each socket's memory is held
twice. *Lockstep*: two channels work as one and hold the same modules. *Sparing*: each filled channel gives up its
largest rank (guide-16 p. 166), and has at least the board's minimum of ranks (sources differ: guide-19 two, guide-17
three).
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import Name, ProcessorOption
from dimmplan.rules.base import (
    Content,
    Couples,
    Fault,
    Load,
    Problems,
    Reads,
    Rule,
    Scope,
    SocketView,
    SystemView,
    Wiring,
    known_names,
    modules_counted,
    of_kind,
    value_alone,
)
from dimmplan.units import format_capacity, listed


class ModeRow(Rule):
    """What a mode needs, and what it leaves: judged only where the mode is asked for, and never traded.

    The search asks a row on its mode for what it leaves of a channel (``usable_gib``), of a socket (``shown_gib``), and
    which channels work as one (``pairs_of``).
    """

    question = "modes"
    scopes: ClassVar[tuple[Scope, ...]] = ("system",)
    tells_types = False
    limits = "nothing"
    couples: ClassVar[Couples] = "mode"
    mode: ClassVar[Mode]
    noun: ClassVar[str]
    """The mode in a sentence, such as *rank sparing*."""

    share: ClassVar[Fraction] = Fraction(1)
    """What the mode leaves of every module."""
    spares: ClassVar[bool] = False
    """True where a channel gives up more than that, by what it holds."""
    folds: ClassVar[bool] = False
    """True where channels work in pairs, and channels in no pair not at all."""

    def in_mode(self, mode: Mode) -> bool:
        """True in its own mode."""
        return mode is self.mode

    def on(self, board: Board, option: ProcessorOption | None) -> Rule:
        """An error row: a population that the mode cannot use runs in another mode."""
        return self if self.severity == "error" else self.model_copy(update={"severity": "error"})

    def parts_of(self, module: Module) -> int:
        """In how many parts a module's capacity is counted, so that what the mode leaves is whole."""
        return self.share.denominator

    def usable_gib(self, modules: Sequence[Module]) -> Fraction:
        """What one filled channel has for its regions, in GiB."""
        return sum(module.capacity_gib for module in modules) * self.share

    def works_with(self, modules: Sequence[Module]) -> bool:
        """True where a channel with these modules can work in the mode."""
        return True

    def copies_gib(self, installed_gib: Fraction | int) -> Fraction:
        """GiB of a socket that are copies of others, and not shown."""
        return Fraction(0)

    def shown_gib(self, swept_gib: Fraction) -> Fraction:
        """What the system shows of a socket whose channels have so much; never less than nothing."""
        return max(Fraction(0), swept_gib - self.copies_gib(swept_gib))

    def pairs_of(self, socket: Socket) -> list[tuple[Channel, Channel]]:
        """The channels of a socket that work as one, those that come first in board order first."""
        return []

    @property
    def peak(self) -> Fraction:
        """What a channel gives of its peak."""
        return Fraction(1)

    def figures_note(self) -> str:
        """What to know of bandwidths in the mode; empty for nothing."""
        return ""


class _MirrorGroups(ModeRow):
    """Channels in groups that hold the same; no ``group_channels`` means that none have to."""

    scopes = ("controller", "socket", "system")
    couples = "types"

    group_channels: Literal[2, 3] | tuple[Literal[2, 3], ...] = ()
    within: Literal["controller", "socket"] = "controller"
    modules: tuple[Annotated[int, Field(ge=1, le=96)], ...] = ()
    one_type: bool = False

    @property
    def _sizes_said(self) -> list[str]:
        return [str(size) for size in group_sizes(self)]

    def reads(self, scope: Scope) -> Reads:
        """Groups compare what channels hold; of a socket that need not fall into groups only counts matter."""
        return "channels" if scope == self.within and group_sizes(self) else "counts"

    def judged_at(self, scope: Scope) -> bool:
        """For groups where they are formed, and elsewhere for what else it asks."""
        if scope == "controller":
            return self.within == "controller" and bool(group_sizes(self))
        return scope == "socket" or (scope == "system" and self.one_type)

    def apart_by(self, module: Module) -> Module:
        """The type itself: there is one."""
        return module

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """More than one type."""
        types = {module for module in view.content.values() if module}
        if len(types) > 1:
            yield Fault(f"{len(types)} module types", "one module type")

    def of_controller(self, view: SocketView) -> Iterator[Fault]:
        """A controller whose channels do not fall into groups; only one that is known whole is held to that."""
        if not view.unknown and not mirrors(
            (_load(channel, view.content or {}) for channel in view.socket.channels), group_sizes(self)
        ):
            allowed = f"groups of {' or '.join(self._sizes_said)} identical channels"
            yield Fault("filled channels that have no identical partner", allowed)

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Another number of modules, or groups that have to be formed in the socket."""
        if self.modules and not any(count in self.modules for count in view.counts):
            allowed = f"{', '.join(str(each) for each in self.modules)} modules at each processor"
            yield Fault(modules_counted(view.modules), allowed)
        if self.reads("socket") == "channels":
            yield from self.of_controller(view)

    def _needs(self) -> str:
        """Groups, numbers and types in words."""
        groups = listed(self._sizes_said, last="or")
        takes = [f"groups of {groups} identical channels of one {self.within}"] if groups else []
        numbers = f"{listed([str(n) for n in self.modules], last='or')} modules"
        takes += [f"with {numbers}" if takes else numbers] if self.modules else []
        takes += ["one module type only"] if self.one_type else []
        return ", ".join(takes)


class MirroringRow(_MirrorGroups):
    """What mirroring needs: groups of two or three identical channels."""

    mode = Mode.MIRRORED
    noun = "mirroring"
    share = Fraction(1, 2)

    check: Literal["mirroring"]
    group_channels: Literal[2, 3] | tuple[Literal[2, 3], ...] = 2

    def figures_note(self) -> str:
        """Writing is half as fast."""
        return "Sweep figures are for reading; writing is half as fast."

    def wording(self) -> str:
        return f"Mirroring takes {self._needs()}; half is usable."


class PartialMirroringRow(_MirrorGroups):
    """A part of each socket's memory is held twice: a share of what is installed, or an amount.

    The system shows what is installed less the copies. How firmware lays them out is not known here, so regions and
    sweep are those of all that is installed.
    """

    mode = Mode.PARTLY_MIRRORED
    noun = "partial mirroring"

    check: Literal["partial-mirroring"]
    mirrored_percent: Annotated[int, Field(ge=1, le=50)] | None = None
    mirrored_gib: Annotated[int, Field(ge=1, le=1 << 20)] | None = None

    def copies_gib(self, installed_gib: Fraction | int) -> Fraction:
        """GiB of a socket that are copies of others."""
        return Fraction(self.mirrored_gib or Fraction(installed_gib) * (self.mirrored_percent or 0) / 100)

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """As for mirroring, and a socket that does not hold the mirrored part and its copy."""
        yield from super().of_socket(view)
        least = 2 * self.copies_gib(view.capacity_gib)
        if not view.unknown and view.capacity_gib < least:
            yield Fault(format_capacity(view.capacity_gib), f"at least {format_capacity(int(least))}")

    def figures_note(self) -> str:
        """What is not known of the copies."""
        return (
            "Regions, sweep and parallel count all that is installed, the copies too: how firmware lays them out is "
            "not known. Writing to the mirrored part takes twice as long."
        )

    def wording(self) -> str:
        part = f"{self.mirrored_percent} %" if self.mirrored_gib is None else f"{self.mirrored_gib} GiB"
        needs = f" It takes {self._needs()}." if self._needs() else ""
        return (
            f"Partial mirroring keeps a copy of some memory at each socket: the copies take {part} of what is "
            f"installed there, the rest is usable.{needs}"
        )

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The row says how much."""
        if (self.mirrored_percent is None) == (self.mirrored_gib is None):
            found = "neither mirrored_percent nor mirrored_gib" if self.mirrored_gib is None else "both"
            yield place, found, "one of mirrored_percent and mirrored_gib", ""


class LockstepRow(ModeRow):
    """Pairs of channels that work as one, with the same modules in both; channels in no pair stay empty.

    ``pair_peak`` is what a pair gives, as the manual says: the peak of ``one`` channel or of ``both``.
    """

    mode = Mode.LOCKSTEP
    noun = "lockstep"
    folds = True

    check: Literal["lockstep"]
    pairs: Annotated[tuple[tuple[Name, Name], ...], Field(min_length=1, max_length=32)]
    pair_peak: Literal["one", "both"] | None = None

    def pairs_of(self, socket: Socket) -> list[tuple[Channel, Channel]]:
        """The pairs of a socket, those that come first in board order first."""
        channels = {channel.id: channel for channel in socket.channels}
        order = list(channels)
        found = [
            tuple(channels[each] for each in sorted(pair, key=order.index))
            for pair in self.pairs
            if set(pair) <= set(order)
        ]
        return sorted(((one, other) for one, other in found), key=lambda pair: order.index(pair[0].id))

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """A pair with different modules, or modules on a channel without a partner."""
        for socket in view.sockets:
            paired = self.pairs_of(socket)
            if not paired:
                yield Fault("no pair of channels", "a pair at each processor", (socket.id,))
            for one, other in paired:
                known = view.unknown.isdisjoint((*one.slots, *other.slots))
                if known and _load(one, view.content) != _load(other, view.content):
                    yield Fault("different modules", "the same modules in both channels", (one.name, other.name))
            in_pairs = {channel.id for pair in paired for channel in pair}
            for channel in socket.channels:
                if channel.id not in in_pairs and any(view.content.get(slot) for slot in channel.slots):
                    yield Fault("modules on a channel without a partner", "an empty channel", (channel.name,))

    @property
    def peak(self) -> Fraction:
        """Half where a pair gives the peak of one channel."""
        return Fraction(1, 2) if self.pair_peak == "one" else Fraction(1)

    def figures_note(self) -> str:
        """What the bandwidth of a pair is."""
        if self.pair_peak is None:
            return (
                "Bandwidths count both channels of a pair, which is the most that there can be. The board's row does "
                "not say how much of it a pair gives; it is at least half."
            )
        of = "one channel" if self.pair_peak == "one" else "both channels"
        return f"Bandwidths count a pair with the peak of {of}, as the board's row says."

    def wording(self) -> str:
        pairs = listed([" with ".join(pair) for pair in self.pairs])
        return (
            f"In lockstep two channels work as one and hold the same modules: {pairs}. Other channels stay empty; all "
            "of the capacity is usable."
        )

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """Pairs are channels of one controller, each in one pair."""
        every = list(dict.fromkeys(channel.id for socket in wiring.sockets for channel in socket.channels))
        named = [channel for pair in self.pairs for channel in pair]
        unknown = [*known_names(named, every, f"{place}.pairs", "channels of the board")]
        yield from unknown
        for channel, times in Counter(named).items():
            if times > 1:
                yield f"{place}.pairs", f"channel {channel} {times} times", "each channel in one pair", ""
        for one, other in self.pairs if not unknown else ():
            for socket in wiring.sockets:
                both = [channel for channel in socket.channels if channel.id in (one, other)]
                if len({channel.controller for channel in both}) > 1:
                    found = f"{one} and {other} on two controllers of {socket.id}"
                    yield f"{place}.pairs", found, "channels of one controller", ""


class SparingRow(ModeRow):
    """What rank sparing needs, and which rank is given up."""

    mode = Mode.SPARING
    noun = "rank sparing"
    spares = True

    check: Literal["sparing"]
    min_ranks: Annotated[int, Field(ge=2, le=16)] = 2
    spare: Literal["package", "logical"] = "package"

    def parts_of(self, module: Module) -> int:
        """Its ranks: one of them may be given up."""
        return ranks_of(self, module)

    def usable_gib(self, modules: Sequence[Module]) -> Fraction:
        """All but the largest rank."""
        spared = (Fraction(module.capacity_gib, ranks_of(self, module)) for module in modules)
        return super().usable_gib(modules) - max(spared, default=Fraction(0))

    def works_with(self, modules: Sequence[Module]) -> bool:
        """True where a channel is empty, or has enough ranks."""
        return not modules or sum(ranks_of(self, module) for module in modules) >= self.min_ranks

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """A filled channel has too few ranks, of those that are known whole."""
        for channel in (channel for socket in view.sockets for channel in socket.channels):
            modules = [module for slot in channel.slots if (module := view.content.get(slot))]
            if not self.works_with(modules) and view.unknown.isdisjoint(channel.slots):
                ranks = sum(ranks_of(self, module) for module in modules)
                yield Fault(value_alone("package_ranks", ranks), f"at least {self.min_ranks}", (channel.name,))

    def wording(self) -> str:
        return f"Rank sparing gives up one {self.spare} rank of each filled channel; it needs {self.min_ranks} ranks."


def mode_row(board: Board, mode: Mode) -> ModeRow | None:
    """The board's row on a mode; without one the board does not run in it."""
    return next((row for row in of_kind(board.rules, ModeRow) if row.mode is mode), None)


def group_sizes(row: _MirrorGroups) -> tuple[int, ...]:
    """Permitted numbers of channels in a mirror group; none where channels need not be alike."""
    return row.group_channels if isinstance(row.group_channels, tuple) else (row.group_channels,)


def ranks_of(row: SparingRow, module: Module) -> int:
    """Ranks of a module as the sparing row counts them."""
    return module.package_ranks if row.spare == "package" else module.logical_ranks


def usable_gib(board: Board, mode: Mode, modules: Sequence[Module]) -> Fraction:
    """What one filled channel has for its regions, in GiB; what the system shows of a socket is ``shown_gib``."""
    row = mode_row(board, mode)
    if row is not None:
        return row.usable_gib(modules)
    share = MirroringRow.share if mode is Mode.MIRRORED else ModeRow.share
    return sum(module.capacity_gib for module in modules) * share


def shown_gib(board: Board, mode: Mode, swept_gib: Fraction) -> Fraction:
    """What the system shows of a socket whose channels have so much, in GiB."""
    row = mode_row(board, mode)
    return swept_gib if row is None else row.shown_gib(swept_gib)


@lru_cache(None)
def can_be_groups(count: int, sizes: tuple[int, ...]) -> bool:
    """True where that many identical channels can be split into mirror groups of the permitted sizes."""
    reachable = {0}
    for _ in range(count):
        reachable |= {have + size for have in reachable for size in sizes if have + size <= count}
    return count in reachable


def mirrors(loads: Iterable[Load], sizes: tuple[int, ...]) -> bool:
    """True where these channels fall into mirror groups of identical channels; empty ones do not count."""
    counts = Counter(load for load in loads if any(load))
    return all(can_be_groups(count, sizes) for count in counts.values())


def _load(channel: Channel, content: Content) -> Load:
    """What a channel holds, up to its last module."""
    load = [content.get(slot) for slot in channel.slots]
    while load and load[-1] is None:
        load.pop()
    return tuple(load)
