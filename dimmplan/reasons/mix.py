"""May these modules be used together on a board, where, and at what price? Objects without wording."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal, get_args

from dimmplan.errors import ImpossibleError
from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module, by_type
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.model.rows import ModuleField, ProcessorOption
from dimmplan.rates import ChannelRate, rate_on
from dimmplan.reasons.case import errors_of, solved_below
from dimmplan.rules import (
    Breach,
    MixRow,
    SocketView,
    SystemView,
    all_rows,
    judge,
    judge_channel,
    judge_rate,
    judge_socket,
    judge_system,
    of_kind,
    refusals,
)
from dimmplan.solve.answer import solve
from dimmplan.units import by_key

Together = Literal["channel", "channels", "sockets", "never"]
"""The closest that two types may stand: on one channel, on different channels, at different sockets, nowhere."""
FIELDS: tuple[str, ...] = get_args(ModuleField)
_CLOSEST: tuple[Together, ...] = ("channel", "channels", "sockets", "never")


@dataclass(frozen=True, kw_only=True)
class MixLoad:
    """One way to put two types on one channel: ``load`` in fill order on ``channel``, the first with so many slots.

    ``channels`` are all channels of that many slots. ``rate`` is ``None`` where it does not run.
    """

    channel: Channel
    channels: tuple[str, ...]
    load: tuple[Module, ...]
    rate: ChannelRate | None
    breaches: tuple[Breach, ...]

    @property
    def allowed(self) -> bool:
        """True where no error row breaks."""
        return not errors_of(self.breaches)


@dataclass(frozen=True, kw_only=True)
class PairVerdict:
    """How close two types may stand.

    ``breaches`` are the rows that keep them from standing closer, and advised ones. ``differ`` are the fields that
    rows can speak about and in which the two differ; ``rows`` are the mix rows in force that speak about those.
    """

    one: Module
    other: Module
    together: Together
    differ: tuple[str, ...]
    rows: tuple[MixRow, ...]
    loads: tuple[MixLoad, ...]
    breaches: tuple[Breach, ...]


@dataclass(frozen=True, kw_only=True)
class MixSet:
    """The best placement of one capacity from some types: what it takes and how it runs."""

    modules: tuple[tuple[Module, int], ...]
    figures: PlacementFigures
    breaches: tuple[Breach, ...]
    proven: bool


@dataclass(frozen=True, kw_only=True)
class Mix:
    """Whether some types may be used together.

    ``refused`` are types that the board takes in no company. ``capacity_gib`` is the capacity compared: as many of
    each type as there are channels for, mixed, against each type alone at that capacity or the nearest that it has.
    """

    board: Board
    fitted: tuple[str, ...]
    modules: tuple[Module, ...]
    refused: tuple[tuple[Module, Breach], ...]
    pairs: tuple[PairVerdict, ...]
    capacity_gib: int | None = None
    mixed: MixSet | None = None
    alone: tuple[MixSet, ...] = ()

    @property
    def together(self) -> Together:
        """The closest that all of them may stand."""
        apart = {frozenset((pair.one, pair.other)) for pair in self.pairs if pair.together == "sockets"}
        places = itertools.product(range(min(len(self.fitted), len(self.modules))), repeat=len(self.modules))
        held_apart = (
            all(
                frozenset((one, other)) not in apart or chosen[i] != chosen[j]
                for (i, one), (j, other) in itertools.combinations(enumerate(self.modules), 2)
            )
            for chosen in places
        )
        if apart and not any(held_apart):
            return "never"
        return max((pair.together for pair in self.pairs), key=_CLOSEST.index, default="channel")

    @property
    def allowed(self) -> bool:
        """True where they may stand in one system."""
        return not self.refused and self.together != "never"


def mix_of(
    board: Board, modules: Iterable[Module], *, fitted: Sequence[str] | None = None, processor: str | None = None
) -> Mix:
    """Judge whether types may be used together, and compare them mixed with each alone.

    ``fitted`` are socket ids, all where nothing is said; ``processor`` is an option's id, the first of the board.
    """
    types = tuple(sorted(dict.fromkeys(modules), key=lambda module: module.order_key))
    sockets = tuple(socket.id for socket in board.sockets) if fitted is None else tuple(fitted)
    option = board.processor(processor)
    judged = _Judge(board, sockets, option)
    mix = Mix(
        board=board,
        fitted=sockets,
        modules=types,
        refused=tuple((module, breach) for module in types for breach in refusals(board, option, module)),
        pairs=tuple(judged.pair(one, other) for one, other in itertools.combinations(types, 2)),
    )
    return _priced(mix, processor) if mix.allowed and len(types) > 1 else mix


class _Judge:
    """The rows of a board as they speak about pairs of types."""

    def __init__(self, board: Board, fitted: tuple[str, ...], option: ProcessorOption | None) -> None:
        self.board, self.fitted, self.option = board, fitted, option
        self.rows = all_rows(board, option)
        self.mixes = of_kind(self.rows, MixRow)
        self.sockets = [socket for socket in board.sockets if socket.id in fitted]

    def pair(self, one: Module, other: Module) -> PairVerdict:
        """How close two types may stand, the widest scope judged first."""
        differ = tuple(field for field in FIELDS if getattr(one, field) != getattr(other, field))
        together, loads, breaches = self._closest(one, other)
        return PairVerdict(
            one=one,
            other=other,
            together=together,
            differ=differ,
            rows=tuple(row for row in self.mixes if row.field in differ),
            loads=loads,
            breaches=breaches,
        )

    def _closest(self, one: Module, other: Module) -> tuple[Together, tuple[MixLoad, ...], tuple[Breach, ...]]:
        view = SystemView(board=self.board, fitted=self.fitted, content={"one": one, "other": other})
        system = tuple(judge_system(self.mixes, view))
        if errors_of(system):
            return "never", (), system
        at_one = SocketView(socket=self.sockets[0], modules=2, capacity_gib=0, types=(one, other))
        socket = tuple(judge_socket(self.mixes, at_one))
        if errors_of(socket):
            return ("sockets" if len(self.sockets) > 1 else "never"), (), (*system, *socket)
        loads = tuple(self._loads(one, other))
        if any(load.allowed for load in loads):
            return "channel", loads, (*system, *socket)
        nearest = min((load.breaches for load in loads), key=len, default=())
        return "channels", loads, (*system, *socket, *nearest)

    def _loads(self, one: Module, other: Module) -> Iterator[MixLoad]:
        """Every way to put both on one channel without a gap, for each number of slots that channels have."""

        def kind(channel: Channel) -> tuple[int, str]:
            return len(channel.slots), self.option.at(channel.socket).id if self.option is not None else ""

        alike = by_key((channel for socket in self.sockets for channel in socket.channels), kind)
        for (slots, _), channels in sorted(alike.items()):
            for filled in range(2, slots + 1):
                for load in itertools.product((one, other), repeat=filled):
                    if len(set(load)) == 2:
                        yield self._load(channels, load)

    def _load(self, channels: Sequence[Channel], load: tuple[Module, ...]) -> MixLoad:
        channel = channels[0]
        slots = (*load, *[None] * (len(channel.slots) - len(load)))
        broken = *judge_channel(self.rows, channel, slots), *judge_rate(self.board, self.option, channel, slots)
        return MixLoad(
            channel=channel,
            channels=tuple(each.name for each in channels),
            load=load,
            rate=rate_on(self.board, self.option, channel, load),
            breaches=broken,
        )


# -- the price -------------------------------------------------------------------------------------------------------


def _priced(mix: Mix, processor: str | None) -> Mix:
    """The verdict with the best placement of as many modules of each type, and the best of each type alone."""
    channels = sum(len(socket.channels) for socket in mix.board.sockets if socket.id in mix.fitted)
    size = sum(module.capacity_gib for module in mix.modules)
    for each in range(max(1, channels // len(mix.modules)), 0, -1):
        supplies = tuple(Supply(module=module, lots=(Lot(count=each),)) for module in mix.modules)
        request = Request(
            capacity_gib=each * size,
            supplies=supplies,
            fitted=mix.fitted,
            processor=processor,
            max_types=len(mix.modules),
        )
        mixed = _solved(mix.board, request, nearest=False)
        if mixed is not None:
            single = replace(request, max_types=1)
            alone = (
                _solved(mix.board, replace(single, supplies=(Supply(module=module),)), nearest=True)
                for module in mix.modules
            )
            return replace(
                mix,
                capacity_gib=request.capacity_gib,
                mixed=mixed,
                alone=tuple(found for found in alone if found is not None),
            )
    return mix


def _solved(board: Board, request: Request, *, nearest: bool) -> MixSet | None:
    """The best placement for a request, or where ``nearest`` says so for the nearest capacity below it."""
    ask = partial(solve, board, alternatives=False)
    try:
        answer = solved_below(ask, request) if nearest else ask(request)
    except ImpossibleError:
        return None
    content = answer.best.content
    option = board.processor(request.processor)
    return MixSet(
        modules=by_type(content.values()),
        figures=placement_figures(board, option, request.fitted, content),
        breaches=judge(board, option, request.fitted, content),
        proven=answer.proven,
    )
