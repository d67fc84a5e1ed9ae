"""Every rule broken, the breach compared whole: where, what was found there, what the row allows, and its source."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dimmplan.model.board import Board
from dimmplan.model.module import Kind, Module
from dimmplan.model.rows import ProcessorOption
from dimmplan.rules import (
    Breach,
    CeilingRow,
    FittedRow,
    SocketView,
    all_rows,
    ceiling_row,
    fitted_default,
    judge,
    judge_module,
    judge_socket,
    loads_of,
    rows_of_scope,
)
from dimmplan.rules.base import value_alone
from tests.rules.boards import BOARD, L64, M16, M16X8, M24, M32, M64, S64, V15, V135, board_with, in_slots, row_of

Where = tuple[tuple[str, ...], str, str]
"""Where a row is broken, what was found, what is allowed."""

ONE, TWO, THREE = in_slots(A1=M32), in_slots(A1=M32, D1=M16), in_slots(A1=M32, B1=M32, D1=M16)


def breaches(board: Board, content: dict[str, Module | None], fitted: tuple[str, ...] = ("S1", "S2")) -> list[Breach]:
    return list(judge(board, None, fitted, content))


def expected(row: dict[str, Any], where: Where, severity: str = "error") -> Breach:
    places, found, allowed = where
    return Breach(row.get("id", "row"), severity, row["check"], places, found, allowed, "SOME-SOURCE")


RANKS = {"check": "rank-limit"}
FILL = {"check": "fill-order"}
ORDER = {"check": "channel-order"}
MIX = {"check": "mix"}
FITTED = {"check": "fitted", "sets": [["S1"], ["S2", "S1"]]}
ALIKE = {"check": "alike"}
MINIMUM = {"check": "socket-minimum"}
COUNTS = {"check": "counts"}
CEILING = {"check": "ceiling"}
SEQUENCE = {"check": "sequence", "socket": "S1", "slots": ["B1", "A1", "C1"]}


@pytest.mark.parametrize(
    ("row", "content", "broken"),
    [
        # one channel: its name, and slots by name
        (RANKS | {"most": 4}, in_slots(A1=M32, A2=M32), []),
        (RANKS | {"most": 3}, in_slots(A1=M32, A2=M32, D1=M32), [(("S1.A",), "4 ranks", "at most 3")]),
        (RANKS | {"most": 2}, in_slots(D1=S64, A1=M16), []),
        (RANKS | {"most": 3, "count": "logical"}, in_slots(D1=S64, A1=M16), [(("S2.A",), "4 ranks", "at most 3")]),
        (RANKS | {"most": 4, "count": "logical"}, in_slots(D1=S64), []),
        (RANKS | {"most": 2, "count": "loads"}, in_slots(A1=L64, A2=L64), []),
        (RANKS | {"most": 2, "count": "loads"}, in_slots(A1=L64, A2=M32), [(("S1.A",), "3 loads", "at most 2")]),
        (FILL, in_slots(A1=M32, A2=M32, D1=M32), []),
        (FILL, in_slots(A2=M32), [(("S1.A",), "A1 empty", "filled before the slots after it")]),
        (ORDER, in_slots(A1=M32, A2=M16), []),
        (ORDER, in_slots(A1=M32, A2=M32), []),
        (
            ORDER,
            in_slots(A1=M16, A2=M32),
            [(("S1.A",), "2 ranks, 32 GiB after 1 rank, 16 GiB", "the larger one first")],
        ),
        (
            ORDER | {"keys": ["capacity_gib"]},
            in_slots(A1=M16X8, A2=M24, B1=M24, B2=M16X8),
            [(("S1.A",), "24 GiB after 16 GiB", "the larger one first")],
        ),
        (
            MIX | {"field": "capacity_gib", "apart": "channel"},
            in_slots(A1=M64, A2=M16, B1=M32, C1=M16, C2=M16),
            [(("S1.A",), "16 GiB and 64 GiB", "one of them")],
        ),
        # one socket
        (
            MIX | {"field": "capacity_gib", "apart": "socket"},
            in_slots(A1=M64, B1=M32, C1=M16, D1=M64, E1=M64),
            [(("S1",), "16 GiB and 32 GiB and 64 GiB", "one of them")],
        ),
        (MIX | {"field": "capacity_gib", "apart": "nowhere"}, in_slots(A1=M64, A2=M16, D1=M32), []),
        (MINIMUM, ONE, [(("S2",), "no module", "at least 1")]),
        (
            MINIMUM | {"modules": 2},
            TWO,
            [(("S1",), "1 module", "at least 2"), (("S2",), "1 module", "at least 2")],
        ),
        (MINIMUM | {"modules": 3}, THREE | in_slots(D2=M16, E1=M16), [(("S1",), "2 modules", "at least 3")]),
        (COUNTS | {"modules": [1]}, THREE, [(("S1",), "2 modules", "1 module")]),
        (CEILING | {"socket_gib": 64}, THREE, []),
        (CEILING | {"socket_gib": 63}, THREE, [(("S1",), "64 GiB", "at most 63 GiB")]),
        (CEILING | {"socket_gib": 15, "sockets": ["S2"]}, THREE, [(("S2",), "16 GiB", "at most 15 GiB")]),
        (COUNTS | {"modules": [1, 2]}, THREE, []),
        (COUNTS | {"modules": [2, 3, 4]}, THREE, [(("S2",), "1 module", "2, 3 or 4 modules")]),
        (COUNTS | {"modules": [3]}, THREE | in_slots(D1=None), [
            (("S1",), "2 modules", "3 modules"),
            (("S2",), "no module", "3 modules"),
        ]),
        (COUNTS | {"modules": [4], "sockets": ["S2"]}, THREE, [(("S2",), "1 module", "4 modules")]),
        (SEQUENCE, in_slots(B1=M32, A1=M32, E1=M32), []),
        (SEQUENCE, in_slots(A1=M32), [(("S1",), "B1 empty, A1 filled", "B1 first")]),
        (SEQUENCE, in_slots(B1=M32, C1=M32), [(("S1",), "A1 empty, C1 filled", "B1, A1 first")]),
        # the system: the fitted sockets
        (
            MIX | {"field": "kind", "apart": "system"},
            in_slots(A1=L64, D1=M32),
            [(("S1", "S2"), "RDIMM and LRDIMM", "one of them")],
        ),
        (FITTED, TWO, []),
        (
            FITTED | {"sets": [["S1"], ["S2", "S3"]]},
            TWO,
            [(("S1", "S2"), "S1, S2", "S1 or S2 + S3")],
        ),
        (ALIKE | {"what": "capacity"}, in_slots(A1=M32, D1=M16, D2=M16), []),
        (
            ALIKE | {"what": "capacity"},
            TWO,
            [(("S1", "S2"), "32 GiB and 16 GiB", "the same capacity on every socket")],
        ),
        (ALIKE | {"what": "count"}, TWO, []),
        (
            ALIKE | {"what": "count"},
            THREE,
            [(("S1", "S2"), "2 modules and 1 module", "the same number of modules on every socket")],
        ),
        (
            ALIKE | {"what": "population"},
            TWO,
            [(("S1", "S2"), "another population", "the same population on every socket")],
        ),
        # rows that a person reads, and no rule function judges
        ({"check": "note", "about": "care", "text": "Mind the gap."}, TWO, []),
        ({"check": "thermal", "from_gib": 1, "needs": "a fan"}, TWO, []),
    ],
)  # fmt: skip
@pytest.mark.parametrize("severity", ["error", "advised"])
def test_a_row_alone(
    row: dict[str, Any], content: dict[str, Module | None], broken: list[Where], severity: str
) -> None:
    board = board_with(row | {"severity": severity})
    assert breaches(board, content) == [expected(row, where, severity) for where in broken]


@pytest.mark.parametrize(
    ("field", "values", "module", "found", "allowed"),
    [
        ("generation", ["DDR5"], M32, "DDR4", "DDR5"),
        ("kind", ["LRDIMM", "UDIMM"], M32, "RDIMM", "LRDIMM, UDIMM"),
        ("form_factor", ["SO-DIMM"], M32, "DIMM", "SO-DIMM"),
        ("capacity_gib", [16, 64], M32, "32 GiB", "16 GiB, 64 GiB"),
        ("device_width", [8], M32, "x4", "x8"),
        ("ecc_bits", [0], M32, "8 ECC bits", "0 ECC bits"),
        ("package_ranks", [1, 4], M32, "2 ranks", "1 rank, 4 ranks"),
        ("package_ranks", [2], M16, "1 rank", "2 ranks"),
        ("logical_ranks", [1, 2], S64, "4 logical ranks", "1 logical rank, 2 logical ranks"),
        ("rate_mts", [2400], M32, "2933 MT/s", "2400 MT/s"),
        ("voltage_mv", [1350, 1200], V15, "1.5 V", "1.35 V, 1.2 V"),
        ("die_family", ["24 Gbit"], M32, "8 Gbit dies", "24 Gbit dies"),
    ],
)
def test_a_module_that_is_not_accepted(field: str, values: list[Any], module: Module, found: str, allowed: str) -> None:
    """Every slot that holds it is named, in board order; a value in the list is silent, as number or as word."""
    row = {"id": "takes", "check": "accept", "field": field, "values": values}
    content = in_slots(D1=module, C1=module)
    assert breaches(board_with(row), content) == [expected(row, (("C1", "D1"), found, allowed))]
    for value in (getattr(module, field), str(getattr(module, field))):
        assert breaches(board_with(row | {"values": [*values, value]}), content) == []


def test_each_type_is_judged_once_with_its_own_slots() -> None:
    row = {"check": "accept", "field": "device_width", "values": [8]}
    content = in_slots(A1=M32, A2=M16, B1=M32, C1=M16X8)
    assert breaches(board_with(row), content) == [
        expected(row, (("A1", "B1"), "x4", "x8")),
        expected(row, (("A2",), "x4", "x8")),
    ]


def test_a_type_alone_is_nowhere() -> None:
    row = row_of(check="accept", field="kind", values=["LRDIMM"])
    assert list(judge_module([row], M32)) == [Breach("row", "error", "accept", (), "RDIMM", "LRDIMM", "SOME-SOURCE")]


@pytest.mark.parametrize(
    ("slots", "content", "found"),
    [
        (2, in_slots(A1=M16, A2=M32), "1 x 16GB 1Rx4 PC4-2933Y-R + 1 x 32GB 2Rx4 PC4-2933Y-R"),
        (2, in_slots(A1=M32, A2=M32), "2 x 32GB 2Rx4 PC4-2933Y-R"),
    ],
)
def test_a_load_without_a_rate(slots: int, content: dict[str, Module | None], found: str) -> None:
    board = board_with(rates=BOARD.rates[:1])
    assert breaches(board, content) == [
        Breach(
            rule="rates",
            severity="error",
            check="rates",
            where=("S1.A",),
            found=f"{found} on a channel of {slots} slots",
            allowed="populations with a rate row",
            source="PRACTICE",
        )
    ]
    assert breaches(board, content | in_slots(A1=None)) == []


def test_a_load_that_the_processor_or_the_slots_of_the_channel_rule_out() -> None:
    lists = ({"kinds": ["LRDIMM"], "mts": 2933}, {"mts": 2933})
    options = [ProcessorOption.model_validate({"id": "p1", "rates": [each], "source": "INVENTED"}) for each in lists]
    found = [judge(board_with(), option, ("S1", "S2"), TWO) for option in options]
    assert [[(breach.rule, breach.where) for breach in each] for each in found] == [
        [("processor:p1", ("S1.A",)), ("processor:p1", ("S2.A",))],
        [],
    ]
    assert {(breach.check, breach.severity, breach.source) for breach in found[0]} == {("rates", "error", "INVENTED")}
    short = BOARD.rates[0].model_copy(update={"slots": (1,)})
    (breach,) = breaches(board_with(rates=(short,)), in_slots(D1=M32, E1=M32))
    assert (breach.where, breach.found) == (("S2.A",), f"1 x {M32.label} on a channel of 2 slots")


def test_one_socket_is_like_itself() -> None:
    for what in ("capacity", "count", "population"):
        assert breaches(board_with(ALIKE | {"what": what}), in_slots(A1=M32), ("S1",)) == []


def test_breaches_come_by_scope() -> None:
    """Module, then socket by socket its channels (rules before the rate) and itself, then the system."""
    rows = [
        {"id": "system", "check": "mix", "field": "capacity_gib", "apart": "system"},
        {"id": "socket", "check": "counts", "modules": [3]},
        {"id": "channel", "check": "rank-limit", "most": 1},
        {"id": "module", "check": "accept", "field": "device_width", "values": [8]},
    ]
    found = breaches(board_with(*rows, rates=()), in_slots(A1=M32, D1=M16))
    assert [(breach.rule, breach.where) for breach in found] == [
        ("module", ("A1",)),
        ("module", ("D1",)),
        ("channel", ("S1.A",)),
        ("rates", ("S1.A",)),
        ("socket", ("S1",)),
        ("rates", ("S2.A",)),
        ("socket", ("S2",)),
        ("system", ("S1", "S2")),
    ]


def test_only_fitted_sockets_are_judged() -> None:
    assert breaches(board_with(MINIMUM, rates=()), in_slots(D1=M32), ("S1",)) == [
        expected(MINIMUM, (("S1",), "no module", "at least 1"))
    ]


def test_three_sockets_that_differ_are_said_once_each() -> None:
    board = replace(board_with(ALIKE | {"what": "count"}), sockets=(*BOARD.sockets, BOARD.sockets[1]._replace(id="S3")))
    found = breaches(board, in_slots(A1=M32, B1=M32, D1=M16), ("S1", "S2", "S3"))
    assert [breach.found for breach in found] == ["2 modules and 1 module"]


def test_sockets_built_otherwise_are_not_populated_alike() -> None:
    board = board_with(ALIKE | {"what": "population"})
    assert len(breaches(board, {})) == 1
    twins = replace(board, sockets=(BOARD.sockets[1], BOARD.sockets[1]._replace(id="S3")))
    assert breaches(twins, in_slots(D1=M32), ("S2", "S3")) == []


def test_an_order_is_not_judged_where_slots_are_not_known() -> None:
    view = SocketView(BOARD.socket("S1"), 1, 32, (M32,))
    assert list(judge_socket([row_of(**SEQUENCE)], view)) == []
    assert len(list(judge_socket([row_of(**SEQUENCE)], view._replace(content={"C1": M32})))) == 1


def test_values_in_words_where_a_field_has_none_of_its_own() -> None:
    assert value_alone("kind", Kind.RDIMM_3DS) == "3DS RDIMM"
    assert [value_alone("voltage_mv", module.voltage_mv) for module in (V15, V135)] == ["1.5 V", "1.35 V"]


def test_an_lrdimm_loads_like_one_rank() -> None:
    """guide-06 p. 32; other kinds load by package rank."""
    assert [loads_of(module) for module in (L64, M32, S64, M16)] == [1, 2, 2, 1]


# rows that nobody wrote


@pytest.mark.parametrize(
    ("sockets", "sets"),
    [
        (1, [("S1",)]),
        (2, [("S1",), ("S1", "S2")]),
        (3, [("S1",), ("S1", "S2"), ("S1", "S3"), ("S1", "S2", "S3")]),
    ],
)
def test_the_first_socket_is_always_fitted(sockets: int, sets: list[tuple[str, ...]]) -> None:
    board = _of_sockets(sockets)
    expected_row = FittedRow(id="first-socket", check="fitted", sets=tuple(sets), source="PRACTICE")
    assert fitted_default(board) == [expected_row]
    assert all_rows(board, None) == [expected_row]


def test_a_board_with_a_row_on_fitted_sockets_has_no_other() -> None:
    board = board_with(FITTED)
    assert fitted_default(board) == []
    assert all_rows(board, None) == list(board.rules)


def test_above_twelve_sockets_any_set_may_be_fitted() -> None:
    """The sets of more sockets would fill the memory before they are of use to anybody."""
    assert len(all_rows(_of_sockets(12), None)) == 1
    assert all_rows(_of_sockets(13), None) == []


def _of_sockets(count: int) -> Board:
    sockets = tuple(BOARD.sockets[0]._replace(id=f"S{number}") for number in range(1, count + 1))
    return replace(BOARD, rules=(), sockets=sockets)


def test_the_ceiling_of_a_processor_is_a_row() -> None:
    option = ProcessorOption(id="p9", ceiling_gib=48, source="SOME-SOURCE")
    row = CeilingRow(id="processor:p9", check="ceiling", socket_gib=48, source="SOME-SOURCE")
    assert ceiling_row(option) == [row]
    assert ceiling_row(None) == ceiling_row(option.model_copy(update={"ceiling_gib": None})) == []
    board = board_with(FITTED)
    assert all_rows(board, option) == [*board.rules, row]
    found = judge(board, option, ("S1", "S2"), THREE)
    assert found == (Breach("processor:p9", "error", "ceiling", ("S1",), "64 GiB", "at most 48 GiB", "SOME-SOURCE"),)


def test_each_row_is_judged_at_one_scope() -> None:
    """Mixing rows at the scope they keep apart, the others at that of their check; the order of rows stays."""
    mixes = [row_of(id=apart, check="mix", field="kind", apart=apart) for apart in ("system", "channel", "socket")]
    kept = [
        row_of(check="counts", modules=[1]),
        row_of(check="rank-limit", most=1),
        row_of(check="accept", field="kind", values=["RDIMM"]),
        row_of(**FITTED),
    ]
    rows = [*mixes, row_of(check="mix", field="kind", apart="nowhere"), *kept, row_of(check="blanks")]
    assert rows_of_scope(rows, "module") == [kept[2]]
    assert rows_of_scope(rows, "channel") == [mixes[1], kept[1]]
    assert rows_of_scope(rows, "socket") == [mixes[2], kept[0]]
    assert rows_of_scope(rows, "system") == [mixes[0], kept[3]]
