"""The rules of a board judged: the search prunes with them, the audit judges by them.

Scopes: one module type, one channel, one socket, the whole system. Nothing here chooses. Slots that are not known
may hold anything: what is told of such a board holds whatever they hold.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module, modules_phrase
from dimmplan.model.request import Mode
from dimmplan.model.rows import DifferentOptions, ProcessorOption, Severity
from dimmplan.rates import channel_rate, processor_rate, rate_on, rate_row
from dimmplan.rules.base import Content, Fault, Load, Rule, Scope, SocketView, SystemView, of_kind
from dimmplan.rules.modes import ModeRow, mode_row
from dimmplan.rules.registry import KINDS, check_of, rules_of
from dimmplan.rules.sockets import CeilingRow, FittedRow
from dimmplan.units import counted, listed

RATE_RULE = "rates"
"""Rule id of the rate table as a whole: a module without a row does not run."""

SERVED_RULE = "served"
"""Rule id of the channels that a processor option serves."""

TRAY_RULE = "tray"
"""Rule id of slots in a tray that is not there."""

MODE_KINDS = {kind.mode: kind for kind in KINDS if issubclass(kind, ModeRow)}
"""Modes that a board has only by a row, and the kind of row."""


class Breach(NamedTuple):
    """A broken row: where, what was found there, and what the row allows."""

    rule: str
    severity: Severity
    check: str
    where: tuple[str, ...]
    found: str
    allowed: str
    source: str

    @property
    def kind(self) -> type[Rule] | None:
        """The kind of the broken row; ``None`` for the rate table."""
        return next((kind for kind in KINDS if check_of(kind) == self.check), None)


def rows_of_scope(rows: Iterable[Rule], scope: Scope) -> list[Rule]:
    """The rows that are judged at a scope."""
    return [row for row in rows if row.judged_at(scope)]


def ceiling_row(option: ProcessorOption | None) -> list[Rule]:
    """The processors' own ceilings as rule rows."""
    seats = option.seats if isinstance(option, DifferentOptions) else ()
    return [
        CeilingRow(
            id=f"processor:{each.id}",
            check="ceiling",
            socket_gib=each.ceiling_gib,
            sockets=tuple(socket for socket, its in seats if its == each),
            source=each.source,
        )
        for each in (option.each if option is not None else ())
        if each.ceiling_gib is not None
    ]


def fitted_default(board: Board) -> list[Rule]:
    """Without a row of its own, a board takes any set of sockets that holds its first one."""
    if of_kind(board.rules, FittedRow):
        return []
    first, rest = board.sockets[0].id, [socket.id for socket in board.sockets[1:]]
    sets: list[tuple[str, ...]] = [(first,)]
    for socket_id in rest:
        sets += [(*others, socket_id) for others in sets]
    return [FittedRow(id="first-socket", check="fitted", sets=tuple(sets), source="PRACTICE")]


def all_rows(board: Board, option: ProcessorOption | None) -> list[Rule]:
    """Every row in force for a board with that processor."""
    implied = [] if len(board.sockets) > 12 else fitted_default(board)
    rows = [row.on(board, option) for row in (*rules_of(board), *ceiling_row(option), *implied)]
    return [row.among(rows) for row in rows]


def _judged(
    rows: Iterable[Rule],
    scope: Scope,
    where: Sequence[str],
    faults: Callable[[Rule], Iterable[Fault]],
    unknown: Collection[str] = (),
) -> Iterator[Breach]:
    """The faults of every row of a scope as breaches; where slots are ``unknown``, of rows that are judged in part."""
    for row in rows_of_scope(rows, scope):
        for fault in faults(row) if row.judged_in_part or not unknown else ():
            place = fault.where or tuple(where)
            yield Breach(row.id, row.severity, row.check, place, fault.found, fault.allowed, row.source)


def judge_module(rows: Iterable[Rule], module: Module, where: Sequence[str] = ()) -> Iterator[Breach]:
    """Rows of module scope that a module type breaks."""
    return _judged(rows, "module", where, lambda row: row.of_module(module))


def judge_channel(rows: Iterable[Rule], channel: Channel, load: Load, unknown: Iterable[str] = ()) -> Iterator[Breach]:
    """Rows of channel scope that a channel's load breaks, whatever its unknown slots hold."""
    hidden = set(unknown).intersection(channel.slots)
    if hidden:
        known = [(slot, module) for slot, module in zip(channel.slots, load, strict=True) if slot not in hidden]
        channel = channel._replace(slots=tuple(slot for slot, _ in known))
        load = tuple(module for _, module in known)
    return _judged(rows, "channel", (channel.name,), lambda row: row.of_channel(channel, load), hidden)


def judge_rate(board: Board, option: ProcessorOption | None, channel: Channel, load: Load) -> Iterator[Breach]:
    """The rate table and the processor's rates: a load without a row does not run."""
    modules = [module for module in load if module]
    if modules and rate_on(board, option, channel, modules) is None:
        own = option.at(channel.socket) if option is not None else None
        found = f"{modules_phrase(Counter(modules).items())} on a channel of {counted(len(channel.slots), 'slot')}"
        unlisted = _unlisted(board, own, modules, len(channel.slots))
        yield _no_rate((channel.name,), found, own if unlisted else None)


def judge_alone(board: Board, option: ProcessorOption | None, module: Module) -> Iterator[Breach]:
    """The rate table and the processor's rates for a type that no channel of the board runs, however many there are."""
    cases = [(slots, dpc) for slots in sorted({len(ch.slots) for ch in board.channels}) for dpc in range(1, slots + 1)]
    options = option.each if option is not None else (None,)
    if any(channel_rate(board, each, [module] * dpc, slots) for each in options for slots, dpc in cases):
        return
    unlisted = any(_unlisted(board, each, [module] * dpc, slots) for each in options for slots, dpc in cases)
    yield _no_rate((), module.kind.value if unlisted else module.label, option if unlisted else None)


def refusals(board: Board, option: ProcessorOption | None, module: Module) -> list[Breach]:
    """Why a board with those processors takes a type in no company: error rows, or else the rate table."""
    rows = [row for row in all_rows(board, option) if row.severity == "error"]
    return [*judge_module(rows, module)] or [*judge_alone(board, option, module)]


def _unlisted(board: Board, option: ProcessorOption | None, modules: Sequence[Module], slots: int) -> bool:
    """True where the board has a row for every module of a channel and the processor lists no rate for one of them."""
    rows = [rate_row(board, module, len(modules), slots) for module in modules]
    runs = all(row is not None and row.mts != "none" for row in rows)
    return runs and any(processor_rate(option, module, len(modules)) == "none" for module in modules)


def _no_rate(where: Sequence[str], found: str, option: ProcessorOption | None) -> Breach:
    """What has no rate: by the board, or by the processor where that is given."""
    if option is None:
        return _error(RATE_RULE, where, found, "populations with a rate row")
    refused = _error(RATE_RULE, where, found, "what it lists a rate for", option.source)
    return refused._replace(rule=f"processor:{option.id}")


def _error(rule: str, where: Sequence[str], found: str, allowed: str, source: str = "PRACTICE") -> Breach:
    """What breaks a rule that is no row of the board."""
    return Breach(rule, "error", rule, tuple(where), found, allowed, source)


def judge_socket(rows: Iterable[Rule], view: SocketView) -> Iterator[Breach]:
    """Rows of socket scope that a socket's content breaks."""
    return _judged(rows, "socket", (view.socket.id,), lambda row: row.of_socket(view), view.unknown)


def judge_controller(rows: Iterable[Rule], view: SocketView) -> Iterator[Breach]:
    """Rows of controller scope that the content of one controller breaks."""
    where = [f"{view.socket.id} {controller.id}" for controller in view.socket.controllers]
    return _judged(rows, "controller", where, lambda row: row.of_controller(view), view.unknown)


def judge_system(rows: Iterable[Rule], view: SystemView) -> Iterator[Breach]:
    """Rows of system scope that a placement breaks."""
    return _judged(rows, "system", view.fitted, lambda row: row.of_system(view), view.unknown)


def _without_row(board: Board, view: SystemView) -> Iterator[Breach]:
    """A mode that the board has no row for."""
    if view.mode in MODE_KINDS and mode_row(board, view.mode) is None:
        check, noun = check_of(MODE_KINDS[view.mode]), MODE_KINDS[view.mode].noun
        yield _error(check, view.fitted, f"a board without a {check} row", f"boards with a row on {noun}")


def _not_served(
    board: Board, option: ProcessorOption | None, fitted: Sequence[str], content: Content
) -> Iterator[Breach]:
    """Modules in slots of fitted sockets whose tray is absent, or whose channel the processor does not serve."""
    slots = [slot for slot in board.slots if slot not in board.served and content.get(slot)]
    slots = [slot for slot in slots if board.channel_of[slot].socket in fitted]
    in_tray = tuple(slot for slot in slots if board.tray_of.get(slot) in board.absent)
    if in_tray:
        trays = listed(list(dict.fromkeys(board.tray_of[slot] for slot in in_tray)))
        yield _error(TRAY_RULE, in_tray, f"modules in {trays}, which is absent", "modules in trays that are there")
    for each in option.each if option is not None else ():
        own = tuple(
            slot
            for slot in slots
            if slot not in in_tray and option is not None and option.at(board.channel_of[slot].socket) == each
        )
        if own:
            found = f"modules that the processor {each.id} does not reach"
            yield _error(SERVED_RULE, own, found, f"modules on the channels {', '.join(each.channels)}", each.source)


def judge(
    board: Board,
    option: ProcessorOption | None,
    fitted: Sequence[str],
    content: Content,
    *,
    mode: Mode = Mode.INDEPENDENT,
    unknown: Iterable[str] = (),
    beside: Sequence[str] = (),
) -> tuple[Breach, ...]:
    """Every row that a placement breaks, in the order module, channel, socket, controller, system.

    ``unknown`` are slots of which nobody can tell what they hold; only what they cannot change is told.
    ``beside`` are further fitted sockets, whose content nobody has settled: what ties sockets together is not judged.
    """
    board = board.serving(option)
    rows = [row for row in all_rows(board, option) if row.in_mode(mode)]
    hidden = frozenset(unknown)
    found: list[Breach] = [*_not_served(board, option, fitted, content)]
    for kind in dict.fromkeys(module for module in content.values() if module):
        where = [slot for slot in board.slots if content.get(slot) == kind]
        found.extend(judge_module(rows, kind, where))
    of_channels = rows_of_scope(rows, "channel")
    for socket_id in fitted:
        socket = board.socket(socket_id)
        for channel in socket.channels:
            load = tuple(content.get(slot) for slot in channel.slots)
            found.extend(judge_channel(of_channels, channel, load, hidden))
            if hidden.isdisjoint(channel.slots):
                found.extend(judge_rate(board, option, channel, load))
        view = partial(SocketView.of, content=content, unknown=hidden, fitted=(*fitted, *beside), mode=mode)
        found.extend(judge_socket(rows, view(socket)))
        for controller in socket.controllers if any(row.judged_at("controller") for row in rows) else ():
            found.extend(judge_controller(rows, view(socket.part([controller.id]))))
    whole = SystemView(board=board, fitted=tuple(fitted), content=content, unknown=hidden, mode=mode)
    found.extend(judge_system([r for r in rows if not beside or r.couples not in ("fitted", "amounts")], whole))
    found.extend(_without_row(board, whole))
    return tuple(found)
