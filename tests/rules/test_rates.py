"""Which row a channel runs by, and what binds its rate: row, processor or module."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.rows import ProcessorOption, RateRow
from dimmplan.rates import ChannelRate, channel_rate, processor_rate, rate_row
from tests.rules.boards import BOARD, L64, M16, M16X8, M32, M64, S64, V15, V135


def board_of(*rates: dict[str, Any]) -> Board:
    """A board with just these rates, named by their place."""
    rows = (RateRow.model_validate({"id": f"r{n}", "source": "INVENTED", **rate}) for n, rate in enumerate(rates))
    return replace(BOARD, rates=tuple(rows))


def option_of(*rates: dict[str, Any]) -> ProcessorOption:
    return ProcessorOption.model_validate({"id": "p1", "rates": rates, "source": "INVENTED"})


BY_EVERYTHING = board_of(
    {"dpc": 2, "mts": 2133},
    {"dpc": 1, "kinds": ["LRDIMM"], "mts": 2400},
    {"dpc": 1, "kinds": ["RDIMM"], "package_ranks": [1, 8], "slots": [1], "mts": 2933},
    {"dpc": 1, "kinds": ["RDIMM"], "package_ranks": [1], "slots": [2, 3], "mts": 2666},
    {"dpc": 1, "kinds": ["RDIMM"], "package_ranks": [2], "voltage_mv": [1350], "mts": 1600},
    {"dpc": 1, "kinds": ["RDIMM"], "package_ranks": [2], "voltage_mv": [1200, 1500], "mts": 2400},
)


@pytest.mark.parametrize(
    ("module", "dpc", "slots", "row"),
    [
        (M32, 2, 2, "r0"),
        (L64, 1, 2, "r1"),
        (M16, 1, 1, "r2"),
        (M16, 1, 2, "r3"),
        (M16, 1, 3, "r3"),
        (M16, 1, 4, None),
        (V135, 1, 2, "r4"),
        (V15, 1, 2, "r5"),
        (M32, 1, 2, "r5"),
        (S64, 1, 2, None),
        (M32, 3, 3, None),
    ],
)
def test_the_row_of_a_module(module: Module, dpc: int, slots: int, row: str | None) -> None:
    found = rate_row(BY_EVERYTHING, module, dpc, slots)
    assert (found and found.id) == row


@pytest.mark.parametrize(
    ("rates", "module", "dpc", "rate"),
    [
        ([], M32, 1, "any"),
        ([{"mts": 2666}], M32, 2, 2666),
        ([{"mts": 2666}, {"mts": 2400}], M32, 2, 2400),
        ([{"mts": 2666, "dpc": [1]}, {"mts": 2400, "dpc": [2, 3]}], M32, 1, 2666),
        ([{"mts": 2666, "kinds": ["LRDIMM"]}, {"mts": 2933, "kinds": ["RDIMM"]}], M32, 1, 2933),
        ([{"mts": 2666, "kinds": ["LRDIMM"]}], M32, 1, "none"),
        ([{"mts": 2666, "dpc": [2]}], M32, 1, "none"),
        ([{"mts": 2666, "package_ranks": [2]}, {"mts": 2400, "package_ranks": [4]}], M32, 1, 2666),
        ([{"mts": 2666, "logical_ranks": [4]}, {"mts": 2400, "logical_ranks": [2]}], S64, 1, 2666),
        ([{"mts": 2666, "capacity_gib": [16]}], M32, 1, "none"),
    ],
)
def test_the_rate_of_a_processor(rates: list[dict[str, Any]], module: Module, dpc: int, rate: int | str) -> None:
    assert processor_rate(option_of(*rates), module, dpc) == rate
    assert processor_rate(None, module, dpc) == "any"


BY_SIZE = board_of(
    {"dpc": 1, "capacity_gib": [16], "mts": 2933},
    {"dpc": 1, "capacity_gib": [32], "die_gbit": [8], "mts": 2400},
    {"dpc": 1, "capacity_gib": [32], "die_gbit": [16], "mts": 2666},
    {"dpc": 1, "capacity_gib": [64], "logical_ranks": [4], "mts": 2133},
)


@pytest.mark.parametrize(("module", "row"), [(M16, "r0"), (M32, "r1"), (S64, "r3"), (M64, None)])
def test_a_row_by_capacity_die_or_logical_ranks(module: Module, row: str | None) -> None:
    """A 32GB 2Rx4 has dies of 8 Gbit; two stacks of two dies are four logical ranks."""
    found = rate_row(BY_SIZE, module, 1, 2)
    assert (found and found.id) == row


AT_2933 = ({"dpc": 1, "mts": 2933}, {"dpc": 2, "package_ranks": [1], "mts": 2666}, {"dpc": 2, "mts": 2400})


@pytest.mark.parametrize(
    ("rates", "processor", "modules", "rate"),
    [
        (AT_2933, None, (), None),
        (AT_2933, None, (M64,), (2933, "r0")),
        (AT_2933, None, (M16, M16), (2666, "r1")),
        (AT_2933, None, (M16, M32), (2400, "r2")),
        (AT_2933, None, (M16X8,), (2666, f"module:{M16X8.label}")),
        (AT_2933, None, (M32, M32, M32), None),
        # of equal limits the row binds, then the processor, then the module
        (AT_2933, None, (M32,), (2933, "r0")),
        (AT_2933, [{"mts": 2933}], (M32,), (2933, "r0")),
        (({"dpc": 1, "mts": 3200},), [{"mts": 2933}], (M32,), (2933, "processor:p1")),
        (({"dpc": 1, "mts": 3200},), None, (M32,), (2933, f"module:{M32.label}")),
        (AT_2933, [{"mts": 2666}], (M32,), (2666, "processor:p1")),
        (AT_2933, [{"mts": 2666, "dpc": [1]}, {"mts": 2133, "dpc": [2]}], (M16, M16), (2133, "processor:p1")),
        (AT_2933, [{"mts": 2666, "kinds": ["LRDIMM"]}], (M32,), None),
        (AT_2933, [], (M32,), (2933, "r0")),
        # a row that says that it does not run, for one of the modules
        (({"dpc": 2, "package_ranks": [2], "mts": "none"}, {"dpc": 2, "mts": 2400}), None, (M16, M32), None),
        # snapped down to a rate that the board lists
        (({"dpc": 1, "mts": 2600},), None, (M32,), (2400, "r0")),
        (({"dpc": 1, "mts": 1600},), None, (M32,), (1600, "r0")),
        (({"dpc": 1, "mts": 1599},), None, (M32,), None),
    ],
)
def test_the_rate_of_a_channel(
    rates: tuple[dict[str, Any], ...],
    processor: list[dict[str, Any]] | None,
    modules: tuple[Module, ...],
    rate: tuple[int, str] | None,
) -> None:
    option = None if processor is None else option_of(*processor)
    found = channel_rate(board_of(*rates), option, modules, 2)
    assert found == (None if rate is None else ChannelRate(*rate))


def test_slots_of_the_channel_decide_which_row() -> None:
    board = board_of({"dpc": 1, "slots": [1], "mts": 2933}, {"dpc": 1, "slots": [2], "mts": 2666})
    rates = [channel_rate(board, None, (M32,), slots) for slots in (1, 2, 3)]
    assert rates == [ChannelRate(2933, "r0"), ChannelRate(2666, "r1"), None]
