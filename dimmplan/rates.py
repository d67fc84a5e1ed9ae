"""How fast a channel runs: the lowest of processor, board row and module, snapped to a rate that the board lists."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module
from dimmplan.model.rows import ProcessorOption, RateRow


class ChannelRate(NamedTuple):
    """Rate in MT/s and what binds it: ``row`` is a rate row's id, ``processor:ID`` or ``module:LABEL``."""

    rate_mts: int
    row: str


def rate_row(board: Board, module: Module, dpc: int, slots: int) -> RateRow | None:
    """The board's row for such a module where ``dpc`` of ``slots`` on the channel are filled; ``None`` without one."""
    for row in board.rates:
        if row.dpc == dpc and (not row.slots or slots in row.slots) and row.means(module):
            return row
    return None


def processor_rate(option: ProcessorOption | None, module: Module, dpc: int) -> int | Literal["none", "any"]:
    """The rate that the processor allows, the lowest where several of its rows fit.

    ``any`` for a processor that lists no rates, ``none`` where it lists rates but none for such a module.
    """
    if option is None or not option.rates:
        return "any"
    fitting = [rate.mts for rate in option.rates if (not rate.dpc or dpc in rate.dpc) and rate.means(module)]
    return min(fitting, default="none")


def rate_on(
    board: Board, option: ProcessorOption | None, channel: Channel, modules: Sequence[Module]
) -> ChannelRate | None:
    """Rate of one channel of the board with these modules, by the processor of its socket; ``None`` without one."""
    own = None if option is None else option.at(channel.socket)
    return channel_rate(board, own, modules, len(channel.slots))


def channel_rate(
    board: Board, option: ProcessorOption | None, modules: Sequence[Module], slots: int
) -> ChannelRate | None:
    """Rate of a channel with these modules on ``slots`` slots, by its lowest row.

    ``None`` where the board or the processor has no row for it or says that it does not run so, or where the board
    lists no rate that low.
    """
    limits: list[tuple[int, int, str]] = []
    for module in modules:
        row = rate_row(board, module, len(modules), slots)
        if row is None or row.mts == "none":
            return None
        limits.append((row.mts, 0, row.id))
        allowed = processor_rate(option, module, len(modules))
        if allowed == "none":
            return None
        if allowed != "any" and option is not None:
            limits.append((allowed, 1, f"processor:{option.id}"))
        limits.append((module.rate_mts, 2, f"module:{module.label}"))
    if not limits:
        return None
    rate, _, binding = min(limits)
    listed = [known for known in board.rates_mts if known <= rate]
    return ChannelRate(max(listed), binding) if listed else None
