"""The rules in one table, each a small function of one scope. The search prunes with them, the audit judges by them.

A function gets a row and what it speaks of and says where the row is broken; it never chooses and never words
anything. Scopes: one module type, one channel, one socket, the whole system.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal, NamedTuple

from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Kind, Module
from dimmplan.model.rows import (
    AcceptRow,
    AlikeRow,
    CeilingRow,
    ChannelOrderRow,
    CountsRow,
    FillOrderRow,
    FittedRow,
    MixRow,
    ProcessorOption,
    RankLimitRow,
    RuleRow,
    SequenceRow,
    SocketMinimumRow,
)
from dimmplan.rates import channel_rate

Scope = Literal["module", "channel", "socket", "system"]
Load = tuple[Module | None, ...]
"""What the slots of one channel hold, in fill order."""

Content = Mapping[str, Module | None]
"""What the slots of a board hold; a slot that is missing is empty."""

RATE_RULE = "rates"
"""Rule id of the rate table as a whole: a module without a row does not run."""


class Breach(NamedTuple):
    """A broken row: where, what was found there, and what the row allows."""

    rule: str
    severity: str
    check: str
    where: tuple[str, ...]
    found: str
    allowed: str
    source: str


class SocketView(NamedTuple):
    """What a socket rule sees: modules by type, capacity, and which slots are filled."""

    socket: Socket
    modules: int
    capacity_gib: int
    types: tuple[Module, ...]
    filled: frozenset[str] | None = None


class SystemView(NamedTuple):
    """What a system rule sees: the board, the fitted sockets and their content."""

    board: Board
    fitted: tuple[str, ...]
    content: Content


def value_of(module: Module, field: str) -> Any:
    """A module's value in a field that rows speak about."""
    return getattr(module, field)


def said(field: str, value: Any) -> str:
    """A value of a field, short, in the trade's words."""
    plain = {
        "capacity_gib": f"{value} GiB",
        "device_width": f"x{value}",
        "ecc_bits": f"{value} ECC bits",
        "logical_ranks": f"{value} logical rank{'' if value == 1 else 's'}",
        "package_ranks": f"{value} rank{'' if value == 1 else 's'}",
        "rate_mts": f"{value} MT/s",
        "voltage_mv": f"{int(value) / 1000:g} V" if field == "voltage_mv" else "",
        "die_family": f"{value} dies",
    }
    return plain.get(field, str(value))


def loads_of(module: Module) -> int:
    """Electrical loads on the channel: an LRDIMM's buffers load like one rank (guide-06 p. 32), others by rank."""
    return 1 if module.kind is Kind.LRDIMM else module.package_ranks


def _accept(row: AcceptRow, module: Module) -> tuple[str, str] | None:
    value = value_of(module, row.field)
    if any(str(value) == str(allowed) for allowed in row.values):
        return None
    return said(row.field, value), ", ".join(said(row.field, allowed) for allowed in row.values)


def _rank_limit(row: RankLimitRow, channel: Channel, load: Load) -> tuple[str, str] | None:
    counts: dict[str, Callable[[Module], int]] = {
        "package": lambda module: module.package_ranks,
        "logical": lambda module: module.logical_ranks,
        "loads": loads_of,
    }
    total = sum(counts[row.count](module) for module in load if module)
    words = "loads" if row.count == "loads" else "ranks"
    return (f"{total} {words}", f"at most {row.most}") if total > row.most else None


def _fill_order(row: FillOrderRow, channel: Channel, load: Load) -> tuple[str, str] | None:
    for first, second, slot in zip(load, load[1:], channel.slots, strict=False):
        if second and not first:
            return f"{slot} empty", "filled before the slots after it"
    return None


def _channel_order(row: ChannelOrderRow, channel: Channel, load: Load) -> tuple[str, str] | None:
    keys = [tuple(value_of(module, key) for key in row.keys) for module in load if module]
    for first, second in itertools.pairwise(keys):
        if second > first:
            words = [", ".join(said(key, v) for key, v in zip(row.keys, each, strict=True)) for each in (second, first)]
            return f"{words[0]} after {words[1]}", "falling along the fill order"
    return None


def _differing(row: MixRow, modules: Iterable[Module]) -> tuple[str, str] | None:
    values = sorted(
        {value_of(module, row.field) for module in modules}, key=lambda value: (len(str(value)), str(value))
    )
    return (" and ".join(said(row.field, value) for value in values), "one of them") if len(values) > 1 else None


def _mix_channel(row: MixRow, channel: Channel, load: Load) -> tuple[str, str] | None:
    return _differing(row, (module for module in load if module))


def _mix_socket(row: MixRow, view: SocketView) -> tuple[str, str] | None:
    return _differing(row, view.types)


def _mix_system(row: MixRow, view: SystemView) -> tuple[str, str] | None:
    return _differing(row, (module for module in view.content.values() if module))


def modules_said(count: int) -> str:
    """A number of modules in words."""
    return f"{count or 'no'} module{'' if count < 2 else 's'}"


def _socket_minimum(row: SocketMinimumRow, view: SocketView) -> tuple[str, str] | None:
    return (modules_said(view.modules), f"at least {row.modules}") if view.modules < row.modules else None


def _ceiling(row: CeilingRow, view: SocketView) -> tuple[str, str] | None:
    if (row.sockets and view.socket.id not in row.sockets) or view.capacity_gib <= row.socket_gib:
        return None
    return f"{view.capacity_gib} GiB", f"at most {row.socket_gib} GiB"


def _counts(row: CountsRow, view: SocketView) -> tuple[str, str] | None:
    if (row.sockets and view.socket.id not in row.sockets) or view.modules in row.modules:
        return None
    *most, last = row.modules
    allowed = f"{', '.join(map(str, most))} or {last} modules" if most else modules_said(last)
    return modules_said(view.modules), allowed


def _sequence(row: SequenceRow, view: SocketView) -> tuple[str, str] | None:
    if view.socket.id != row.socket or view.filled is None:
        return None
    first = row.slots[: len(view.filled)]
    wrong = view.filled.symmetric_difference(first)
    found = [f"{slot} {'filled' if slot in view.filled else 'empty'}" for slot in row.slots if slot in wrong]
    return (", ".join(found), f"{', '.join(first)} first") if wrong else None


def _fitted(row: FittedRow, view: SystemView) -> tuple[str, str] | None:
    if any(set(allowed) == set(view.fitted) for allowed in row.sets):
        return None
    return ", ".join(view.fitted), " or ".join(" + ".join(allowed) for allowed in row.sets)


def _alike(row: AlikeRow, view: SystemView) -> tuple[str, str] | None:
    def of(socket: Socket) -> Any:
        held = [view.content.get(slot) for slot in socket.slots]
        modules = [module for module in held if module]
        if row.what == "capacity":
            return sum(module.capacity_gib for module in modules)
        if row.what == "count":
            return len(modules)
        return socket.build, tuple(held)

    values = [of(view.board.socket(socket_id)) for socket_id in view.fitted]
    if all(value == values[0] for value in values):
        return None
    words: dict[str, Callable[[Any], str]] = {
        "capacity": lambda gib: said("capacity_gib", gib),
        "count": modules_said,
        "population": lambda _: "another population",
    }
    found = " and ".join(dict.fromkeys(map(words[row.what], values)))
    what = "number of modules" if row.what == "count" else row.what
    return found, f"the same {what} on every socket"


RULES: dict[tuple[type[Any], Scope], Callable[[Any, Any], tuple[str, str] | None]] = {
    (AcceptRow, "module"): _accept,
    (SocketMinimumRow, "socket"): _socket_minimum,
    (CeilingRow, "socket"): _ceiling,
    (CountsRow, "socket"): _counts,
    (SequenceRow, "socket"): _sequence,
    (MixRow, "socket"): _mix_socket,
    (FittedRow, "system"): _fitted,
    (AlikeRow, "system"): _alike,
    (MixRow, "system"): _mix_system,
}
"""Rule functions of module, socket and system scope, by row type and scope."""

CHANNEL_RULES: dict[type[Any], Callable[[Any, Channel, Load], tuple[str, str] | None]] = {
    RankLimitRow: _rank_limit,
    FillOrderRow: _fill_order,
    ChannelOrderRow: _channel_order,
    MixRow: _mix_channel,
}
"""Rule functions of channel scope, by row type."""


def rows_of_scope(rows: Iterable[RuleRow], scope: Scope) -> list[RuleRow]:
    """The rows that are judged at a scope; a ``mix`` row is judged at the scope it keeps modules apart in."""
    if scope == "channel":
        return [r for r in rows if type(r) in CHANNEL_RULES and (not isinstance(r, MixRow) or r.apart == scope)]
    return [r for r in rows if (type(r), scope) in RULES and (not isinstance(r, MixRow) or r.apart == scope)]


def ceiling_row(option: ProcessorOption | None) -> list[RuleRow]:
    """The processor's own ceiling as a rule row."""
    if option is None or option.ceiling_gib is None:
        return []
    return [
        CeilingRow(id=f"processor:{option.id}", check="ceiling", socket_gib=option.ceiling_gib, source=option.source)
    ]


def fitted_default(board: Board) -> list[RuleRow]:
    """Without a row of its own, a board takes any set of sockets that holds its first one."""
    if any(isinstance(row, FittedRow) for row in board.rules):
        return []
    first, rest = board.sockets[0].id, [socket.id for socket in board.sockets[1:]]
    sets: list[tuple[str, ...]] = [(first,)]
    for socket_id in rest:
        sets += [(*others, socket_id) for others in sets]
    return [FittedRow(id="first-socket", check="fitted", sets=tuple(sets), source="PRACTICE")]


def all_rows(board: Board, option: ProcessorOption | None) -> list[RuleRow]:
    """Every row in force for a board with that processor."""
    implied = [] if len(board.sockets) > 12 else fitted_default(board)
    return [*board.rules, *ceiling_row(option), *implied]


def _breach(row: RuleRow, where: Sequence[str], broken: tuple[str, str] | None) -> Iterator[Breach]:
    if broken is not None:
        yield Breach(
            rule=row.id,
            severity=row.severity,
            check=row.check,
            where=tuple(where),
            found=broken[0],
            allowed=broken[1],
            source=row.source,
        )


def judge_module(rows: Iterable[RuleRow], module: Module, where: Sequence[str] = ()) -> Iterator[Breach]:
    """Rows of module scope that a module type breaks."""
    for row in rows_of_scope(rows, "module"):
        yield from _breach(row, where, RULES[type(row), "module"](row, module))


def judge_channel(rows: Iterable[RuleRow], channel: Channel, load: Load) -> Iterator[Breach]:
    """Rows of channel scope that a channel's load breaks."""
    for row in rows_of_scope(rows, "channel"):
        yield from _breach(row, (channel.name,), CHANNEL_RULES[type(row)](row, channel, load))


def _counted(modules: Sequence[Module]) -> str:
    kinds = dict.fromkeys(modules)
    return " + ".join(f"{list(modules).count(kind)} x {kind.label}" for kind in kinds)


def judge_rate(board: Board, option: ProcessorOption | None, channel: Channel, load: Load) -> Iterator[Breach]:
    """The rate table: a load without a row does not run."""
    modules = [module for module in load if module]
    if modules and channel_rate(board, option, modules, len(channel.slots)) is None:
        yield Breach(
            rule=RATE_RULE,
            severity="error",
            check=RATE_RULE,
            where=(channel.name,),
            found=f"{_counted(modules)} on a channel of {len(channel.slots)} slots",
            allowed="populations with a rate row",
            source="PRACTICE",
        )


def judge_socket(rows: Iterable[RuleRow], view: SocketView) -> Iterator[Breach]:
    """Rows of socket scope that a socket's content breaks."""
    for row in rows_of_scope(rows, "socket"):
        yield from _breach(row, (view.socket.id,), RULES[type(row), "socket"](row, view))


def judge_system(rows: Iterable[RuleRow], view: SystemView) -> Iterator[Breach]:
    """Rows of system scope that a placement breaks."""
    for row in rows_of_scope(rows, "system"):
        yield from _breach(row, view.fitted, RULES[type(row), "system"](row, view))


def judge(board: Board, option: ProcessorOption | None, fitted: Sequence[str], content: Content) -> tuple[Breach, ...]:
    """Every row that a placement breaks, in the order module, channel, socket, system."""
    rows = all_rows(board, option)
    found: list[Breach] = []
    for kind in dict.fromkeys(module for module in content.values() if module):
        where = [slot for slot in board.slots if content.get(slot) == kind]
        found.extend(judge_module(rows, kind, where))
    for socket_id in fitted:
        socket = board.socket(socket_id)
        for channel in socket.channels:
            load = tuple(content.get(slot) for slot in channel.slots)
            found.extend(judge_channel(rows, channel, load))
            found.extend(judge_rate(board, option, channel, load))
        modules = [module for slot in socket.slots if (module := content.get(slot))]
        view = SocketView(
            socket=socket,
            modules=len(modules),
            capacity_gib=sum(module.capacity_gib for module in modules),
            types=tuple(dict.fromkeys(modules)),
            filled=frozenset(slot for slot in socket.slots if content.get(slot)),
        )
        found.extend(judge_socket(rows, view))
    found.extend(judge_system(rows, SystemView(board=board, fitted=tuple(fitted), content=content)))
    return tuple(found)
