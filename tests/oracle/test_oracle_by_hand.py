"""The oracle held against what was worked out by hand, and against a plainer enumeration."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.model.rows import InterleaveRow
from dimmplan.rules import (
    KINDS,
    AcceptRow,
    ChannelOrderRow,
    FillOrderRow,
    MixRow,
    RankLimitRow,
    Rule,
    RuleRow,
    check_of,
)
from tests.oracle.brute import (
    Filling,
    Oracle,
    Outcome,
    best,
    channel_breaks,
    channel_rate,
    groups_by_index,
    regions,
)
from tests.oracle.random_boards import (
    make_board,
    random_case,
    random_equipment_case,
    random_mode_case,
    random_part_mode_case,
    random_table_case,
)
from tests.support import sampled

M16, M16W, M32, M32S, M64, M128, L64, S64 = (
    parse_label(label)
    for label in (
        "16GB 1Rx4 PC4-2933Y-R",
        "16GB 2Rx8 PC4-2933Y-R",
        "32GB 2Rx4 PC4-2933Y-R",
        "32GB 1Rx4 PC4-3200AA-R",
        "64GB 2Rx4 PC4-2933Y-R",
        "128GB 4Rx4 PC4-2933Y-R",
        "64GB 4Rx4 PC4-2666V-L",
        "64GB 2S2Rx4 PC4-2933Y-R",
    )
)
CHANNEL = Fraction(2933 * 8, 1000)
SIX = [1, 2, 3, 4, 6]


def interleave(
    style: str, ways: Sequence[int] = (), excess: str = "layers", groups: Sequence[Any] = ()
) -> InterleaveRow:
    return InterleaveRow.model_validate(
        {"style": style, "ways": ways, "excess": excess, "groups": groups, "source": "INVENTED"}
    )


def ways_and_gib(found: Sequence[Any]) -> list[tuple[int, int]]:
    return [(region.ways, region.capacity_gib) for region in found]


def share(found: Sequence[tuple[int, int]], channels: int) -> Fraction:
    capacity = sum(gib for _, gib in found)
    return Fraction(capacity) / sum((Fraction(gib, ways) for ways, gib in found), Fraction(0)) / channels


# Regions: the worked table

EVEN_6 = interleave("even", SIX)
EVEN_8 = interleave("even", [1, 2, 4, 6, 8])
ANY_12 = interleave("any", [1, 2, 4, 6, 8, 10, 12])
ALONE_3 = interleave("any", [1, 2, 4], "alone")
EVEN_4 = interleave("even", [1, 2, 4])


@pytest.mark.parametrize(
    ("row", "amounts", "expected", "printed_share"),
    [
        (EVEN_6, [[32, 32, 0], [32, 32, 0]], [(4, 128)], 0.667),
        (EVEN_6, [[32, 32, 32], [32, 32, 0]], [(4, 128), (1, 32)], 0.417),
        (EVEN_6, [[32, 32, 32], [32, 32, 32]], [(6, 192)], 1),
        (EVEN_6, [[64, 32, 32], [64, 32, 32]], [(6, 192), (2, 64)], 0.667),
        (EVEN_6, [[64, 64, 0], [64, 64, 0]], [(4, 256)], 0.667),
        (EVEN_6, [[64, 64, 32], [64, 64, 32]], [(6, 192), (4, 128)], 0.833),
        (EVEN_6, [[64, 64, 64], [64, 64, 32]], [(6, 192), (4, 128), (1, 32)], 0.611),
        (EVEN_8, [[16, 16], [16, 16], [16, 0], [0, 0]], [(4, 64), (1, 16)], 0.3125),
        (ANY_12, [[64] * 9 + [0] * 3], [(8, 512), (1, 64)], 0.375),
        (ALONE_3, [[64, 32, 32]], [(2, 64), (1, 32), (1, 32)], 0.4444),
        (EVEN_4, [[32, 32], [16, 16]], [(4, 64), (2, 32)], 0.75),
    ],
)
def test_worked_table(
    row: InterleaveRow, amounts: list[list[int]], expected: list[tuple[int, int]], printed_share: float
) -> None:
    found = ways_and_gib(regions(amounts, row))
    assert found == expected
    channels = sum(len(controller) for controller in amounts)
    assert float(share(found, channels)) == pytest.approx(printed_share, abs=0.0006)


@pytest.mark.parametrize("seed", range(12))
def test_eleven_of_twelve_on_whichever_channels(seed: int) -> None:
    loads = [128] * 3 + [64] * 8 + [0]
    random.Random(seed).shuffle(loads)
    size = (1, 2, 3, 4)[seed % 4]
    amounts = [loads[start : start + size] for start in range(0, 12, size)]
    found = ways_and_gib(regions(amounts, ANY_12))
    assert found == [(10, 640), (4, 256)]
    assert float(share(found, 12)) == pytest.approx(0.583, abs=0.0006)


def guide(*, six_ways: str) -> InterleaveRow:
    """Pairs with their excess alone, larger groups with none; ``six_ways``: listed, exclusive, absent."""
    groups: list[dict[str, Any]] = [{"channels": list(pair), "excess": "alone"} for pair in ("AB", "CD", "EF", "GH")]
    groups += [{"channels": list(four), "excess": "none"} for four in ("ABCD", "EFGH", "CDGH")]
    if six_ways != "absent":
        groups.append({"channels": list("ACDEGH"), "excess": "none", "exclusive": six_ways == "exclusive"})
    groups.append({"channels": list("ABCDEFGH"), "excess": "none"})
    return interleave("groups", groups=groups)


@pytest.mark.parametrize(
    ("six_ways", "loads", "expected", "printed_share"),
    [
        ("absent", {"A": 32, "B": 16}, [(2, 32), (1, 16)], 0.1875),
        ("listed", dict.fromkeys("ACDEFGH", 16), [(6, 96), (1, 16)], 0.4375),
        ("listed", dict.fromkeys("ABCDEGH", 16), [(6, 96), (1, 16)], 0.4375),
        ("exclusive", dict.fromkeys("ACDEFGH", 16), [(4, 64), (2, 32), (1, 16)], 0.2917),
        ("exclusive", dict.fromkeys("ABCDEGH", 16), [(4, 64), (2, 32), (1, 16)], 0.2917),
        ("exclusive", dict.fromkeys("ACDEGH", 16), [(6, 96)], 0.75),
        ("absent", dict.fromkeys("AB", 16), [(2, 32)], 0.25),
        ("absent", dict.fromkeys("ABCD", 16), [(4, 64)], 0.5),
        ("absent", dict.fromkeys("CDGH", 16), [(4, 64)], 0.5),
        ("absent", dict.fromkeys("ABCDEFGH", 16), [(8, 128)], 1),
        ("absent", dict.fromkeys("AC", 16), [(1, 16), (1, 16)], 0.125),
        ("absent", dict.fromkeys("ABEF", 16), [(2, 32), (2, 32)], 0.25),
        ("absent", {"A": 32, "B": 16, "C": 16, "D": 16}, [(2, 32), (1, 16), (2, 32)], 0.2083),
    ],
)
def test_pairs_and_larger_groups(
    six_ways: str, loads: dict[str, int], expected: list[tuple[int, int]], printed_share: float
) -> None:
    row = guide(six_ways=six_ways)
    amounts = [[loads.get(channel, 0) for channel in pair] for pair in ("AB", "CD", "EF", "GH")]
    found = ways_and_gib(regions(amounts, row, groups_by_index(row, "ABCDEFGH")))
    assert found == expected
    assert float(share(found, 8)) == pytest.approx(printed_share, abs=0.0006)


def test_the_board_lists_which_group_comes_first() -> None:
    first, second = {"channels": ["A", "B"]}, {"channels": ["B", "C"]}
    for groups in ([first, second], [second, first]):
        row = interleave("groups", groups=groups)
        found = regions([[16, 16, 16]], row, groups_by_index(row, "ABC"))
        assert {"ABC"[channel] for channel in found[0].channels} == set(groups[0]["channels"])


def test_depth_comes_before_sum() -> None:
    row = interleave("groups", groups=[{"channels": ["A", "B"]}, {"channels": ["C", "D"]}])
    found = ways_and_gib(regions([[64, 16], [32, 32]], row, groups_by_index(row, "ABCD")))
    assert found == [(2, 64), (2, 32), (1, 48)]


def test_of_tied_sets_the_faster_comes_first() -> None:
    found = regions([[64, 64, 64]], interleave("any", [1, 2]), rates=[2933, 2400, 2933])
    assert [(region.ways, region.rate_mts) for region in found] == [(2, 2933), (1, 2400)]
    found = regions([[64, 64, 64]], interleave("any", [1, 2]), rates=[2400, 2400, 2933])
    assert [(region.ways, region.rate_mts) for region in found] == [(2, 2400), (1, 2933)]


def test_a_group_is_not_there_where_a_channel_is_missing() -> None:
    row = interleave("groups", groups=[{"channels": ["A", "B", "C"]}, {"channels": ["A", "B"]}])
    indices = groups_by_index(row, "AB")
    assert indices == [None, (0, 1)]
    assert ways_and_gib(regions([[16, 16]], row, indices)) == [(2, 32)]


@pytest.mark.parametrize(
    ("excess", "expected"),
    [
        ("layers", [(3, 48), (2, 32), (1, 16)]),
        ("alone", [(3, 48), (1, 16), (1, 32)]),
        ("none", [(1, 48), (1, 32), (1, 16)]),
    ],
)
def test_three_kinds_of_excess(excess: str, expected: list[tuple[int, int]]) -> None:
    found = ways_and_gib(regions([[16, 32, 48]], interleave("any", [1, 2, 3], excess)))
    assert found == expected


def test_no_excess_pairs_equals_first() -> None:
    found = ways_and_gib(regions([[16, 32, 16, 32]], interleave("any", [1, 2, 4], "none")))
    assert found == [(2, 64), (2, 32)]


def test_regions_do_not_depend_on_the_order_of_controllers() -> None:
    controllers = [[96, 96], [32, 32], [0, 64], [64, 0]]
    seen = set()
    for order in itertools.permutations(controllers):
        for flips in itertools.product((1, -1), repeat=4):
            amounts = [controller[::flip] for controller, flip in zip(order, flips, strict=True)]
            seen.add(tuple(ways_and_gib(regions(amounts, EVEN_8))))
    assert len(seen) == 1
    assert sum(gib for _, gib in seen.pop()) == 384


@pytest.mark.parametrize("seed", sampled(range(150), 30))
def test_relabelling_changes_no_figure(seed: int) -> None:
    rng = random.Random(seed)
    shape = [rng.randint(1, 3) for _ in range(rng.randint(1, 3))]
    wired = [[(rng.choice((0, 16, 32, 48, 64)), rng.choice((2400, 2933))) for _ in range(size)] for size in shape]
    ways = rng.sample(range(1, 7), rng.randint(1, 6))
    row = interleave(rng.choice(("even", "any")), ways, rng.choice(("layers", "alone", "none")))
    total = sum(gib for controller in wired for gib, _ in controller)

    def figures(controllers: list[list[tuple[int, int]]]) -> list[tuple[int, int, int | None]]:
        amounts = [[gib for gib, _ in controller] for controller in controllers]
        rates = [mts for controller in controllers for _, mts in controller]
        found = regions(amounts, row, rates=rates)
        assert sum(region.capacity_gib for region in found) == total
        plain = [(region.ways, region.capacity_gib) for region in regions(amounts, row)]
        assert plain == [(region.ways, region.capacity_gib) for region in found]
        return [(region.ways, region.capacity_gib, region.rate_mts) for region in found]

    expected = figures(wired)
    for _ in range(4):
        other = [rng.sample(controller, len(controller)) for controller in rng.sample(wired, len(wired))]
        assert sorted(figures(other)) == sorted(expected)


# Rates


def two_slot_board(**changed: Any) -> Board:
    rates = [
        {"id": "one", "dpc": 1, "mts": 2933, "source": "INVENTED"},
        {"id": "two-1r", "dpc": 2, "package_ranks": [1], "mts": 2666, "source": "INVENTED"},
        {"id": "two-2r", "dpc": 2, "package_ranks": [2], "mts": 2400, "source": "INVENTED"},
        {"id": "two-4r", "dpc": 2, "package_ranks": [4, 8], "mts": "none", "source": "INVENTED"},
    ]
    content: dict[str, Any] = {
        "modules": [M32.label],
        "interleave": {"style": "any", "ways": [1, 2]},
        "rules": [accept("RDIMM", "LRDIMM", "3DS RDIMM")],
        "rates": rates,
        "rates_mts": [2133, 2400, 2666, 2933],
    }
    return make_board({"S1": {"M0": {"A": ["A1", "A2"], "B": ["B1", "B2"]}}}, **(content | changed))


def accept(*kinds: str) -> dict[str, Any]:
    return {"check": "accept", "id": "kinds", "field": "kind", "values": list(kinds), "source": "INVENTED"}


@pytest.mark.parametrize(
    ("channel", "rate_mts"),
    [
        ((M32, None), 2933),
        ((L64, None), 2666),
        ((M16, M16), 2666),
        ((M32, M16), 2400),
        ((M128, M32), None),
    ],
)
def test_rate_of_a_channel(channel: tuple[Module | None, ...], rate_mts: int | None) -> None:
    assert channel_rate(two_slot_board(), None, channel) == rate_mts


@pytest.mark.parametrize(
    ("rates", "channel", "rate_mts"),
    [
        ([], (M32, None), 2933),
        ([{"mts": 2666}], (M32, None), 2666),
        ([{"mts": 3200}], (M32, None), 2933),
        ([{"mts": 1866}], (M32, None), None),
        ([{"mts": 2933, "dpc": [1]}, {"mts": 2133, "dpc": [2]}], (M32, M32), 2133),
        ([{"mts": 2666, "kinds": ["LRDIMM"]}], (M32, None), None),
    ],
)
def test_rate_with_a_processor(
    rates: list[dict[str, Any]], channel: tuple[Module | None, ...], rate_mts: int | None
) -> None:
    board = two_slot_board(processors=[{"id": "p", "rates": rates, "source": "INVENTED"}])
    assert channel_rate(board, board.processors[0], channel) == rate_mts


def test_rate_is_snapped_down_to_one_that_the_board_lists() -> None:
    rates = [{"id": f"all-{dpc}", "dpc": dpc, "mts": 2933, "source": "INVENTED"} for dpc in (1, 2)]
    board = two_slot_board(rates=rates, rates_mts=[2133, 2933])
    assert channel_rate(board, None, (L64, None)) == 2133


def test_no_row_is_no_rate() -> None:
    rates = [{"id": f"r-{n}", "dpc": n, "package_ranks": [2], "mts": 2933, "source": "INVENTED"} for n in (1, 2)]
    board = two_slot_board(rates=rates)
    assert channel_rate(board, None, (M32, None)) == 2933
    assert channel_rate(board, None, (M16, None)) is None


@pytest.mark.parametrize(
    ("scope", "sweep", "parallel"),
    [
        ("system", Fraction(2400 * 8, 1000), 2 * Fraction(2400 * 8, 1000)),
        ("socket", Fraction(2400 * 8, 1000), 2 * Fraction(2400 * 8, 1000)),
        ("channel", 128 / (64 / Fraction(19200, 1000) + 64 / CHANNEL), 128 / (64 / Fraction(19200, 1000))),
    ],
)
def test_scope_of_the_rate(scope: str, sweep: Fraction, parallel: Fraction) -> None:
    board = two_slot_board(rate_scope=scope, interleave={"style": "any", "ways": [1]})
    oracle = Oracle(board, ask(board, 128, M32, M64))
    figures = oracle.measure([oracle.filling(board.sockets[0], (M32, M32, M64, None))])
    assert figures["system_sweep"] == figures["worst_sweep"] == sweep
    assert figures["worst_parallel"] == parallel


def test_a_region_runs_at_its_slowest_channel() -> None:
    board = two_slot_board(rate_scope="channel")
    oracle = Oracle(board, ask(board, 128, M32, M64))
    figures = oracle.measure([oracle.filling(board.sockets[0], (M32, M32, M64, None))])
    assert figures["worst_sweep"] == 2 * Fraction(19200, 1000)


# Rows


def rank_limit(count: str, most: int) -> RuleRow:
    return RankLimitRow.model_validate(
        {"id": "r", "check": "rank-limit", "source": "INVENTED", "count": count, "most": most}
    )


def mix(field: str, apart: str) -> RuleRow:
    return MixRow.model_validate({"id": "m", "check": "mix", "source": "INVENTED", "field": field, "apart": apart})


FILL = FillOrderRow(id="f", check="fill-order", source="INVENTED")
ORDER = ChannelOrderRow(id="o", check="channel-order", source="INVENTED")
RDIMM_ONLY = AcceptRow(id="k", check="accept", source="INVENTED", field="kind", values=("RDIMM",))


@pytest.mark.parametrize(
    ("row", "channel", "broken"),
    [
        (rank_limit("package", 3), (M32, M16, None), False),
        (rank_limit("package", 3), (M32, M32, None), True),
        (rank_limit("logical", 4), (S64, None, None), False),
        (rank_limit("logical", 4), (S64, M16, None), True),
        (rank_limit("package", 4), (S64, M16, None), False),
        (rank_limit("loads", 2), (L64, L64, None), False),
        (rank_limit("loads", 2), (L64, L64, L64), True),
        (rank_limit("loads", 2), (M32, None, None), False),
        (rank_limit("loads", 2), (M32, M16, None), True),
        (FILL, (M32, M32, None), False),
        (FILL, (None, None, None), False),
        (FILL, (None, M32, None), True),
        (FILL, (M32, None, M32), True),
        (ORDER, (M32, M16, M16), False),
        (ORDER, (M16, M32, None), True),
        (ORDER, (M16, None, M32), True),
        (ORDER, (M64, M32, None), False),
        (ORDER, (M32, M64, None), True),
        (ORDER, (M16W, M32, None), True),
        (ORDER, (M128, M32, M64), True),
        (ORDER, (M16W, M32S, None), False),
        (ORDER, (M32S, M16W, None), True),
        (RDIMM_ONLY, (M32, None, None), False),
        (RDIMM_ONLY, (M32, L64, None), True),
        (mix("device_width", "channel"), (M16W, M32, None), True),
        (mix("device_width", "nowhere"), (M16W, M32, None), False),
        (mix("device_width", "channel"), (M64, M32, None), False),
    ],
)
def test_rows_in_a_channel(row: RuleRow, channel: tuple[Module | None, ...], broken: bool) -> None:
    assert channel_breaks(row, channel) is broken


def pair_of_sockets(*rules: dict[str, Any], slots: Sequence[int] = (1, 1), **changed: Any) -> Board:
    """Two sockets of one controller with two channels each."""
    wiring = {
        f"S{n}": {"M0": {c: [f"S{n}{c}{i}" for i in range(count)] for c in "AB"}} for n, count in enumerate(slots, 1)
    }
    content: dict[str, Any] = {
        "modules": [M32.label],
        "interleave": {"style": "any", "ways": [1, 2]},
        "rules": [accept("RDIMM"), *({"source": "INVENTED", **rule} for rule in rules)],
        "rates": [{"id": f"dpc-{n}", "dpc": n, "mts": 2933, "source": "INVENTED"} for n in (1, 2, 3)],
        "rates_mts": [2933],
    }
    return make_board(wiring, **(content | changed))


def ask(board: Board, capacity_gib: int, *modules: Module | Supply, **more: Any) -> Request:
    supplies = tuple(each if isinstance(each, Supply) else Supply(module=each) for each in modules)
    fitted = tuple(socket.id for socket in board.sockets)
    return Request(capacity_gib=capacity_gib, supplies=supplies, **({"fitted": fitted} | more))


def refusals(board: Board, slots: Sequence[tuple[Module | None, ...]], *modules: Module, **more: Any) -> set[str]:
    oracle = Oracle(board, ask(board, 32, *modules, **more))
    pairs = zip(oracle.fitted, slots, strict=True)
    return oracle.refusals([oracle.filling(socket, content) for socket, content in pairs])


@pytest.mark.parametrize(
    ("rule", "slots", "broken"),
    [
        ({"check": "mix", "field": "capacity_gib", "apart": "system"}, [(M32, None), (M64, None)], True),
        ({"check": "mix", "field": "capacity_gib", "apart": "socket"}, [(M32, None), (M64, None)], False),
        ({"check": "mix", "field": "capacity_gib", "apart": "socket"}, [(M32, M64), (M64, None)], True),
        ({"check": "mix", "field": "capacity_gib", "apart": "channel"}, [(M32, M64), (M64, None)], False),
        ({"check": "socket-minimum", "modules": 2}, [(M32, M64), (M64, None)], True),
        ({"check": "socket-minimum", "modules": 2}, [(M32, M64), (M64, M64)], False),
        ({"check": "ceiling", "socket_gib": 64}, [(M32, M32), (M64, None)], False),
        ({"check": "ceiling", "socket_gib": 64}, [(M32, None), (M64, M32)], True),
        ({"check": "ceiling", "socket_gib": 64, "sockets": ["S1"]}, [(M32, None), (M64, M32)], False),
        ({"check": "counts", "modules": [2]}, [(M32, M32), (M64, None)], True),
        ({"check": "counts", "modules": [2], "sockets": ["S1"]}, [(M32, M32), (M64, None)], False),
        ({"check": "sequence", "socket": "S1", "slots": ["S1B0", "S1A0"]}, [(M32, None), (None, M64)], True),
        ({"check": "sequence", "socket": "S1", "slots": ["S1B0", "S1A0"]}, [(None, M32), (M64, None)], False),
        ({"check": "fitted", "sets": [["S1"], ["S2", "S1"]]}, [(M32, None), (M32, None)], False),
        ({"check": "fitted", "sets": [["S1"], ["S2"]]}, [(M32, None), (M32, None)], True),
        ({"check": "alike", "what": "capacity"}, [(M32, M32), (M64, None)], False),
        ({"check": "alike", "what": "capacity"}, [(M32, M32), (M64, M32)], True),
        ({"check": "alike", "what": "count"}, [(M32, M32), (M64, M32)], False),
        ({"check": "alike", "what": "count"}, [(M32, M32), (M64, None)], True),
        ({"check": "alike", "what": "population"}, [(M32, None), (M32, None)], False),
        ({"check": "alike", "what": "population"}, [(M32, None), (None, M32)], True),
        ({"check": "alike", "what": "population"}, [(M32, M64), (M64, M32)], True),
    ],
)
def test_rows_over_sockets(rule: dict[str, Any], slots: list[tuple[Module | None, ...]], broken: bool) -> None:
    assert refusals(pair_of_sockets({"id": "row", **rule}), slots, M32, M64) == ({"row"} if broken else set())
    if rule["check"] == "socket-minimum":
        return
    advised = pair_of_sockets({"id": "row", **rule, "severity": "advised"})
    oracle = Oracle(advised, ask(advised, 32, M32, M64))
    fillings = [oracle.filling(socket, content) for socket, content in zip(oracle.fitted, slots, strict=True)]
    assert oracle.refusals(fillings) == set()
    assert oracle.measure(fillings)["advised_broken"] == int(broken)


def test_a_socket_without_modules_is_refused_by_default() -> None:
    assert refusals(pair_of_sockets(), [(M32, None), (None, None)], M32) == {"every-socket"}


def test_the_first_socket_is_fitted_unless_a_row_says_otherwise() -> None:
    assert refusals(pair_of_sockets(), [(M32, None)], M32, fitted=("S2",)) == {"first socket absent"}
    rule = {"id": "row", "check": "fitted", "sets": [["S2"]]}
    assert refusals(pair_of_sockets(rule), [(M32, None)], M32, fitted=("S2",)) == set()


def test_processor_ceiling_stock_and_types() -> None:
    option = {"id": "p", "ceiling_gib": 64, "source": "INVENTED"}
    board = pair_of_sockets(processors=[option])
    assert refusals(board, [(M64, M32), (M32, None)], M32, M64) == {"processor ceiling"}
    assert refusals(board, [(M32, M32), (M64, None)], M32, M64, max_types=1) == {"max types"}
    short = Supply(module=M32, kept=1, lots=(Lot(count=1),))
    oracle = Oracle(board, ask(board, 32, short))
    slots = [(M32, M32), (M32, None)]
    fillings = [oracle.filling(socket, content) for socket, content in zip(board.sockets, slots, strict=True)]
    assert oracle.refusals(fillings) == {"stock"}


def test_an_advised_row_broken_in_two_channels_counts_once() -> None:
    rules: list[dict[str, Any]] = [
        {"id": "order", "check": "fill-order", "severity": "advised"},
        {"id": "few", "check": "rank-limit", "most": 1, "severity": "advised"},
    ]
    board = pair_of_sockets(*rules, slots=(2, 2))
    oracle = Oracle(board, ask(board, 32, M32))
    slots = [(None, M32, None, M32), (None, M32, None, None)]
    fillings = [oracle.filling(socket, content) for socket, content in zip(board.sockets, slots, strict=True)]
    assert oracle.measure(fillings)["advised_broken"] == 2


# Placements


def twelve_slots(sockets: int, slots: int = 2, channels: tuple[str, str] = ("ABC", "DEF")) -> Board:
    """Sockets of (unless told otherwise) six channels on two controllers, one rate."""
    wiring = {
        f"S{n}": {
            controller: {c: [f"S{n}{c}{i}" for i in range(1, slots + 1)] for c in names}
            for controller, names in zip("PQ", channels, strict=True)
        }
        for n in range(1, sockets + 1)
    }
    return make_board(
        wiring,
        modules=[M32.label],
        interleave={"style": "even", "ways": [way for way in SIX if way <= sum(map(len, channels))]},
        rules=[accept("RDIMM")],
        rates=[{"id": f"dpc-{n}", "dpc": n, "mts": 2933, "source": "INVENTED"} for n in range(1, slots + 1)],
        rates_mts=[2933],
    )


def loads(board: Board, outcome: Outcome) -> list[list[list[int]]]:
    """GiB per channel, a falling list per controller, the lists of a socket falling."""
    assert outcome.placement is not None

    def gib(slot: str) -> int:
        module = (outcome.placement or {})[slot]
        return module.capacity_gib if module else 0

    return [
        sorted(
            (sorted((sum(map(gib, c.slots)) for c in k.channels), reverse=True) for k in s.controllers),
            reverse=True,
        )
        for s in board.sockets
    ]


def used(outcome: Outcome) -> dict[str, int]:
    modules = [module.label for module in (outcome.placement or {}).values() if module]
    return {label: modules.count(label) for label in sorted(set(modules))}


def value(outcome: Outcome, name: str) -> Any:
    assert outcome.vector is not None
    return dict(outcome.vector)[name]


def test_ten_and_six_slots_filled_whole() -> None:
    board = load_board("skerry-16")
    outcome = best(board, ask(board, 512, M32))
    assert loads(board, outcome) == [[[64, 64, 32], [64, 64, 32]], [[32, 32, 32], [32, 32, 32]]]
    assert value(outcome, "system_sweep") == 8 * Fraction(2666 * 8, 1000)
    assert value(outcome, "regions") == 3


def test_ten_and_six_slots_one_on_every_channel() -> None:
    board = load_board("skerry-16")
    outcome = best(board, ask(board, 384, M32))
    assert loads(board, outcome) == [[[32, 32, 32], [32, 32, 32]]] * 2
    assert value(outcome, "system_sweep") == 12 * CHANNEL
    assert value(outcome, "socket_difference_gib") == 0


@pytest.mark.parametrize("sockets", sampled([1, 2], 1))
def test_eight_per_processor_go_two_each_on_four_channels(sockets: int) -> None:
    board = twelve_slots(sockets)
    outcome = best(board, ask(board, 256 * sockets, M32, over_gib=0))
    assert loads(board, outcome) == [[[64, 64, 0], [64, 64, 0]]] * sockets
    assert value(outcome, "system_sweep") == 4 * sockets * CHANNEL
    assert value(outcome, "regions") == sockets


def test_four_of_64_before_eight_of_32() -> None:
    board = twelve_slots(1, channels=("AB", "DE"))
    outcome = best(board, ask(board, 256, M32, M64, over_gib=0))
    assert loads(board, outcome) == [[[64, 64], [64, 64]]]
    assert used(outcome) == {M64.label: 4}


def test_five_modules_spread_before_they_stack() -> None:
    board = twelve_slots(1)
    outcome = best(board, ask(board, 160, M32))
    assert loads(board, outcome) == [[[32, 32, 32], [32, 32, 0]]]
    assert value(outcome, "worst_sweep") == Fraction(5, 2) * CHANNEL
    assert value(outcome, "worst_parallel") == 5 * CHANNEL
    assert outcome.placement is not None
    assert outcome.placement["S1F1"] is None
    oracle = Oracle(board, ask(board, 160, M32))
    stacked = (M32, M32, M32, None, None, None, M32, None, M32, None, None, None)
    assert oracle.measure([oracle.filling(board.sockets[0], stacked)])["worst_parallel"] == Fraction(5, 2) * CHANNEL
    assert value(best(board, ask(board, 192, M32)), "worst_sweep") == 6 * CHANNEL


def test_every_criterion_of_one_placement() -> None:
    board = twelve_slots(2)
    kept = Supply(module=M32, kept=7, lots=(Lot(price=Fraction(10)),))
    request = ask(board, 200, kept, Supply(module=M16, lots=(Lot(price=Fraction(7, 2)),)), over_gib=6)
    oracle = Oracle(board, request)
    near = oracle.filling(board.sockets[0], (M32, None, M32, M16, M16, None, M32, None, None, None, None, None))
    far = oracle.filling(board.sockets[1], (M16, M16, None, None, None, None, M32, None, M16, None, None, None))
    assert oracle.refusals([near, far]) == set()
    # near has 32 48 16 on one controller and 32 on the other, far 32 and then 32 16
    near_time, far_time = Fraction(48, 3) + Fraction(64, 2) + 16, Fraction(64, 2) + 16
    assert oracle.measure([near, far]) == {
        "advised_broken": 0,
        "over_gib": 2,
        "balanced_sweep": min(208 / near_time, 2 * (80 / far_time)) * CHANNEL,
        "system_sweep": 208 / near_time * CHANNEL,
        "socket_difference_gib": 48,
        "worst_sweep": min(128 / near_time, 80 / far_time) * CHANNEL,
        "worst_parallel": Fraction(80, 32) * CHANNEL,
        "controller_difference_gib": 64,
        "regions": 3 + 2,
        "narrowest_ways": 1,
        "types": 2,
        "cost": Fraction(35, 2),
        "low_rank_channels": 2,
        "modules": 9,
        "free_slots": 15,
        "discarded": 3,
        "bought": 5,
    }


def test_lists_disagree_as_they_should() -> None:
    board = twelve_slots(1, slots=1)
    assert used(best(board, ask(board, 160, M32))) == {M32.label: 5}
    assert used(best(board, ask(board, 160, M32, prefer="bandwidth-first"))) == {M32.label: 6}
    assert used(best(board, ask(board, 160, M32, over_gib=32))) == {M32.label: 6}
    assert used(best(board, ask(board, 160, M32, over_gib=31))) == {M32.label: 5}
    assert used(best(board, ask(board, 384, M64, M128))) == {M64.label: 6}
    roomy = best(board, ask(board, 384, M64, M128, prefer="room-first"))
    assert used(roomy) == {M128.label: 3}
    assert value(roomy, "free_slots") == 3
    assert value(roomy, "worst_sweep") == 3 * CHANNEL


def test_kept_modules_stay() -> None:
    board = twelve_slots(1, slots=1)
    kept = Supply(module=M32, kept=4)
    assert used(best(board, ask(board, 192, kept, M64))) == {M32.label: 6}
    outcome = best(board, ask(board, 192, kept, M64, prefer="upgrade"))
    assert used(outcome) == {M32.label: 4, M64.label: 1}
    assert (value(outcome, "discarded"), value(outcome, "bought")) == (0, 1)
    smaller = best(board, ask(board, 64, kept, M64, prefer="upgrade"))
    assert (value(smaller, "discarded"), value(smaller, "bought")) == (2, 0)


def test_cost_counts_only_where_every_supply_is_priced() -> None:
    board = twelve_slots(1, slots=1)
    cheap = Supply(module=M64, lots=(Lot(count=2, price=Fraction(50)), Lot(price=Fraction(90))))
    dear = Supply(module=M32, kept=1, lots=(Lot(price=Fraction(40)),))
    outcome = best(board, ask(board, 192, cheap, dear, prefer="cost-first"))
    assert used(outcome) == {M32.label: 2, M64.label: 2}
    assert value(outcome, "cost") == 2 * 50 + 40
    unpriced = best(board, ask(board, 192, cheap, Supply(module=M32, kept=1), prefer="cost-first"))
    assert unpriced.vector is not None
    assert "cost" not in dict(unpriced.vector)


def test_above_the_limit_only_where_nothing_else_fits() -> None:
    board = twelve_slots(1, slots=1)
    assert used(best(board, ask(board, 65, M128))) == {M128.label: 1}
    assert used(best(board, ask(board, 65, M128, M64, prefer="bandwidth-first"))) == {M64.label: 6}
    assert used(best(board, ask(board, 129, M128, M32, prefer="bandwidth-first"))) == {M32.label: 5}


def test_impossible_names_what_is_in_reach() -> None:
    board = twelve_slots(1, slots=1)
    outcome = best(board, ask(board, 193, M32))
    assert (outcome.vector, outcome.placement) == (None, None)
    assert (outcome.below_gib, outcome.above_gib) == (192, None)
    nothing = best(board, ask(board, 32, L64))
    assert (nothing.below_gib, nothing.above_gib) == (None, None)


def test_board_order_decides_last() -> None:
    board = pair_of_sockets()
    outcome = best(board, ask(board, 96, M32))
    assert outcome.placement == {"S1A0": M32, "S1B0": M32, "S2A0": M32, "S2B0": None}
    absent = best(board, ask(board, 32, M32, fitted=("S1",)))
    assert absent.placement == {"S1A0": M32, "S1B0": None, "S2A0": None, "S2B0": None}


# Pruning, and the random cases


def by_trying_all(board: Board, request: Request) -> Outcome:
    """As ``best``, over every assignment of type or nothing to every slot, nothing left out first."""
    oracle = Oracle(board, request)
    inside: list[tuple[Filling, ...]] = []
    above: list[tuple[Filling, ...]] = []
    below = 0
    everything = [
        [oracle.filling(s, slots) for slots in itertools.product((None, *oracle.types), repeat=len(s.slots))]
        for s in oracle.fitted
    ]
    for fillings in itertools.product(*everything):
        if oracle.refusals(fillings):
            continue
        total = sum(filling.capacity for filling in fillings)
        if total < request.capacity_gib:
            below = max(below, total)
        else:
            (inside if total <= request.limit_gib else above).append(fillings)
    if inside or above:
        return oracle.outcome(min(inside or above, key=oracle.rank))
    return Outcome(None, None, below_gib=below or None)


@pytest.mark.parametrize("start", sampled(range(0, 200, 20), 1))
def test_leaving_out_illegal_channels_changes_nothing(start: int) -> None:
    compared = 0
    for seed in range(start, start + 20):
        board, request = random_case(seed)
        slots = sum(len(board.socket(socket).slots) for socket in request.fitted)
        if (len(request.supplies) + 1) ** slots <= 3_000:
            assert best(board, request) == by_trying_all(board, request), f"seed {seed}"
            compared += 1
    assert compared >= 5


def test_the_same_seed_gives_the_same_case() -> None:
    for seed in range(20):
        assert random_case(seed) == random_case(seed)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.scopes], ids=check_of)
def test_every_kind_of_rule_that_is_judged_stands_on_some_random_board(kind: type[Rule]) -> None:
    """So that the search is held against brute force with a row of it."""
    cases = (random_case, random_mode_case, random_part_mode_case, random_table_case, random_equipment_case)
    assert any(isinstance(row, kind) for seed in range(60) for case in cases for row in case(seed)[0].rules)


def test_random_cases_are_of_every_sort() -> None:
    cases = [random_case(seed) for seed in range(200)]
    boards = [board for board, _ in cases]
    requests = [request for _, request in cases]
    assert {board.interleave.style for board in boards} == {"even", "any", "groups"}
    assert {board.rate_scope for board in boards} == {"system", "socket", "channel"}
    groups = [group for board in boards for group in board.interleave.groups]
    for excesses in (groups, [b.interleave for b in boards if b.interleave.style == "any"]):
        assert {each.excess for each in excesses} == {"layers", "alone", "none"}
    assert any(group.exclusive for group in groups)
    own = {(row.check, row.severity) for board in boards for row in board.rules if row.source == "INVENTED"}
    checks = {
        "accept",
        "mix",
        "rank-limit",
        "fill-order",
        "channel-order",
        "socket-minimum",
        "ceiling",
        "counts",
    }
    checks |= {"sequence", "fitted", "alike"}
    assert own == set(itertools.product(checks, ("error", "advised"))) - {("socket-minimum", "advised")}
    assert any(not any(row.check == "fill-order" for row in board.rules) for board in boards)
    limits = {row.count for board in boards for row in board.rules if isinstance(row, RankLimitRow)}
    assert limits == {"package", "logical", "loads"}
    apart = {row.apart for board in boards for row in board.rules if isinstance(row, MixRow)}
    assert apart == {"system", "socket", "channel", "nowhere"}
    assert any(row.mts == "none" for board in boards for row in board.rates)
    assert any(option.ceiling_gib for board in boards for option in board.processors)
    assert {len(board.sockets) for board in boards} == {1, 2, 3}
    assert any(len(request.fitted) < len(board.sockets) for board, request in cases)
    assert len({request.prefer for request in requests}) == 6
    assert {request.max_types for request in requests} == {1, 2, 3}
    assert {len(request.supplies) for request in requests} == {1, 2, 3}
    supplies = [supply for request in requests for supply in request.supplies]
    assert any(supply.available is not None for supply in supplies)
    assert any(supply.kept for supply in supplies)
    assert any(all(supply.priced for supply in request.supplies) for request in requests)
    assert any(request.over_gib is None for request in requests)
    assert any(request.over_gib for request in requests)
