"""Rows of rates and of population tables that the other rules of a board never let happen."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import DIE_GBIT, Generation, Kind, Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import RateRow
from dimmplan.rates import rate_row
from dimmplan.rules import (
    Breach,
    MixRow,
    Rule,
    TableRow,
    all_rows,
    judge,
    judge_channel,
    judge_module,
    of_kind,
)
from dimmplan.rules.tables import SOCKET

_ECC_BITS = {Kind.UDIMM: 0, Kind.SO_DIMM: 0}


def unused_rates(board: Board) -> Iterator[tuple[str, str]]:
    """The rate rows that no allowed population meets: their ids, and what keeps them out."""
    rows = [row for row in all_rows(board, None) if row.severity == "error"]
    for row in board.rates:
        why = _kept_out(board, rows, row) if row.mts != "none" else ""
        if why:
            yield row.id, f"this row of rates is never used: {why}"


def broken_tables(board: Board) -> Iterator[tuple[str, int, str, str]]:
    """The rows of population tables that break an error rule with every usual module: table, number, found, allowed."""
    for table in of_kind(board.rules, TableRow):
        for sockets in table.places(board.sockets) if table.severity == "error" else ():
            for count, named in table.rows.items():
                slots = {slot.replace(SOCKET, sockets[0].id) for slot in named}
                refusal = _refusal(board, table, sockets, slots)
                if refusal is not None:
                    where = f" at {', '.join(refusal.where)}" if refusal.where else ""
                    yield table.id, count, f"{refusal.found}{where}", f"{refusal.allowed} (rule {refusal.rule})"


def _refusal(board: Board, table: TableRow, sockets: list[Socket], slots: set[str]) -> Breach | None:
    """What every usual module breaks in just these slots, told for the first; ``None`` where one may fill them."""
    used = [socket.id for socket in sockets if slots.intersection(socket.slots)]
    whole = table.of_machine and bool(table.fitted)
    fitted = [socket.id for socket in sockets] if whole else used
    left_out = {"table"} if whole else {"table", "fitted", "alike"}
    found = []
    for module in board.modules if fitted else ():
        content = dict.fromkeys(slots, module)
        breaches = judge(board, None, fitted, content, mode=table.mode or Mode.INDEPENDENT)
        errors = [each for each in breaches if each.severity == "error" and each.check not in left_out]
        if not errors:
            return None
        found += errors[:1]
    return found[0] if found else None


def _kept_out(board: Board, rows: list[Rule], row: RateRow) -> str:
    """What keeps every population of a rate row out; empty where one is allowed."""
    channels = {len(channel.slots): channel for channel in board.channels if len(channel.slots) >= row.dpc}
    channels = {slots: channel for slots, channel in channels.items() if not row.slots or slots in row.slots}
    if not channels:
        return f"no channel meant has {row.dpc} slots" if row.dpc > 1 else "no channel has so many slots"
    cases = [
        (module, channel)
        for slots, channel in channels.items()
        for module in _meant(board, row)
        if rate_row(board, module, row.dpc, slots) == row
    ]
    refusal: Breach | None = None
    for module, channel in cases:
        for load in _loads(board, rows, module, row.dpc):
            breach = _first_breach(rows, module, channel, load)
            if breach is None:
                return ""
            refusal = refusal or breach
    if refusal is None:
        return ""
    return f"the rule {refusal.rule} does not allow it ({refusal.found}; allowed: {refusal.allowed})"


def _meant(board: Board, row: RateRow) -> Iterator[Module]:
    """Modules that a row may be about: the usual ones, and where it names others those, made of common dies."""
    usual = [module for module in board.modules if not row.kinds or module.kind in row.kinds]
    yield from usual
    ranks = row.package_ranks or {module.package_ranks for module in usual} or (1, 2, 4)
    voltages = row.voltage_mv or {module.voltage_mv for module in board.modules}
    for kind, width, package_ranks, voltage in itertools.product(row.kinds or Kind, (4, 8), ranks, voltages):
        height = 1 if kind.unstacked is kind else 2
        die = DIE_GBIT[board.generation][3]
        yield Module(
            label=f"{kind.value} of {package_ranks} ranks",
            generation=board.generation,
            capacity_gib=int(die * 8 * package_ranks * height / width),
            kind=kind,
            package_ranks=package_ranks,
            logical_ranks=package_ranks * height,
            device_width=width,
            ecc_bits=_ECC_BITS.get(kind, 16 if board.generation is Generation.DDR5 else 8),
            rate_mts=max(board.rates_mts),
            voltage_mv=voltage,
        )


def _loads(board: Board, rows: list[Rule], module: Module, dpc: int) -> Iterator[tuple[Module, ...]]:
    """So many modules on a channel, one of them this one: all alike, or the others of one usual type."""
    yield (module,) * dpc
    mixes = [row for row in of_kind(rows, MixRow) if row.apart != "nowhere"]
    others = {(each.kind, each.package_ranks, each.logical_ranks, each.device_width): each for each in board.modules}
    for other in others.values() if dpc > 1 else ():
        pair = Channel(id="", socket="", controller="", slots=("1", "2"))
        if not any(fault for row in mixes for fault in row.of_channel(pair, (module, other))):
            yield (module, *(other,) * (dpc - 1))
            yield (*(other,) * (dpc - 1), module)


def _first_breach(rows: list[Rule], module: Module, channel: Channel, load: tuple[Module, ...]) -> Breach | None:
    filled = (*load, *(None,) * (len(channel.slots) - len(load)))
    return next(itertools.chain(judge_module(rows, module), judge_channel(rows, channel, filled)), None)
