"""What is said where nothing fits, or where advice keeps a nearer capacity away: every cause compared whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from dimmplan.errors import Cause, ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Mode, Request, Supply
from dimmplan.model.rows import ProcessorOption
from dimmplan.solve.answer import solve
from dimmplan.solve.budget import Budget
from dimmplan.solve.causes import capacities, causes_of, nearest_capacities, rounded_up
from dimmplan.solve.space import Space
from tests.rules.boards import L64, M16, M16X8, M32, board_with

CEILING = {"id": "ceiling", "check": "ceiling", "socket_gib": 64}
RANKS = {"id": "ranks", "check": "rank-limit", "most": 2}
COUNTS = {"id": "counts", "check": "counts", "modules": [1, 2]}
WIDTH = {"id": "width", "check": "accept", "field": "device_width", "values": [4]}
MIX = {"id": "mix", "check": "mix", "field": "capacity_gib", "apart": "system"}
FITTED = {"id": "fitted", "check": "fitted", "sets": [["S1"], ["S1", "S2"]], "source": "FITTED-SOURCE"}


def request(capacity_gib: int, *modules: Module | Supply, **more: Any) -> Request:
    supplies = tuple(each if isinstance(each, Supply) else Supply(module=each) for each in modules)
    return Request(capacity_gib=capacity_gib, supplies=supplies, **({"fitted": ("S1", "S2")} | more))


def few(module: Module, count: int) -> Supply:
    return Supply(module=module, lots=(Lot(count=count),))


def cause(rule: str, text: str, source: str = "SOME-SOURCE") -> Cause:
    return Cause(rule, text, source)


TOO_FEW = cause("stock", "The modules at hand are too few.", "")


@pytest.mark.parametrize(
    ("rows", "asked", "causes", "nearest"),
    [
        # what rules every placement out comes first, and alone
        (
            [FITTED],
            request(64, M32, fitted=("S2",)),
            [cause("fitted", "The socket S2 may not be fitted alone; allowed: S1 or S1 + S2.", "FITTED-SOURCE")],
            (None, None),
        ),
        (
            [FITTED | {"sets": [["S1"]]}, WIDTH],
            request(64, M16X8),
            [
                cause("fitted", "The sockets S1, S2 may not be fitted together; allowed: S1.", "FITTED-SOURCE"),
                cause("width", f"{M16X8.label}: x8; allowed: x4."),
            ],
            (None, None),
        ),
        ([], request(64), [cause("modules", "There is no module to plan with.", "")], (None, None)),
        (
            [WIDTH],
            request(64, M32, mode=Mode.SPARING),
            [cause("sparing", "The board file has no row for the mode sparing.", "")],
            (None, None),
        ),
        (
            [WIDTH, {"check": "sparing"}],
            request(64, M16X8, mode=Mode.MIRRORED),
            [
                cause("width", f"{M16X8.label}: x8; allowed: x4."),
                cause("mirrored", "The board file has no row for the mode mirrored.", ""),
            ],
            (None, None),
        ),
        # a row alone
        ([CEILING], request(160, M32), [cause("ceiling", "A socket holds at most 64 GiB.")], (128, None)),
        (
            [CEILING | {"text": "Words of its own."}],
            request(160, M32),
            [cause("ceiling", "Words of its own.")],
            (128, None),
        ),
        ([RANKS], request(192, M32), [cause("ranks", "A channel carries at most 2 package ranks.")], (160, None)),
        (
            [RANKS | {"count": "loads"}, {"id": "order", "check": "fill-order"}],
            request(192, M32),
            [cause("ranks", "A channel carries at most 2 loads.")],
            (160, None),
        ),
        ([COUNTS], request(160, M32), [cause("counts", "A socket carries 1 or 2 modules.")], (128, None)),
        ([COUNTS | {"text": "In pairs."}], request(160, M32), [cause("counts", "In pairs.")], (128, None)),
        (
            [{"id": "least", "check": "socket-minimum", "modules": 2}],
            request(32, few(M32, 3)),
            [cause("least", "Every fitted socket has at least 2 modules."), TOO_FEW],
            (None, None),
        ),
        (
            [{"id": "alike", "check": "alike", "what": "capacity"}],
            request(288, M32),
            [cause("alike", "All fitted sockets have the same capacity.")],
            (192, None),
        ),
        (
            [MIX, {"check": "note", "about": "care", "text": "Mind."}],
            request(80, few(M32, 2), few(M16, 1)),
            [cause("mix", "Modules that differ in capacity are never mixed in one system."), TOO_FEW],
            (64, None),
        ),
        (
            [{"id": "first", "check": "sequence", "socket": "S1", "slots": ["A1"]}],
            request(192, M32),
            [cause("first", "The slots of S1 fill in this order: A1.")],
            (128, None),
        ),
        ([], request(160, few(M32, 4)), [TOO_FEW], (128, None)),
        # advice is not in the way
        ([CEILING, RANKS | {"severity": "advised"}], request(160, M32), [
            cause("ceiling", "A socket holds at most 64 GiB."),
        ], (128, None)),
        # no row alone
        (
            [CEILING],
            request(320, M32),
            [
                cause(
                    "slots",
                    "The 9 slots of the fitted sockets and modules of at most 32 GiB cannot reach the capacity asked.",
                    "",
                )
            ],
            (128, None),
        ),
        (
            [CEILING, CEILING | {"id": "other"}, RANKS | {"most": 4}],
            request(160, M32),
            [
                cause("ceiling", "A socket holds at most 64 GiB."),
                cause("other", "A socket holds at most 64 GiB."),
            ],
            (128, None),
        ),
        (
            [COUNTS, CEILING, RANKS | {"most": 4}],
            request(192, M32),
            [cause("rules", "Several rules together forbid it, such as counts, ceiling, ranks.", "")],
            (128, None),
        ),
        (
            [COUNTS, RANKS | {"most": 3}],
            request(288, M32),
            [cause("rules", "Several rules together forbid it, such as counts, ranks.", "")],
            (128, None),
        ),
        # without the ceiling two types would do, but one is allowed
        (
            [CEILING],
            request(144, few(M32, 4), few(M16, 1), max_types=1),
            [cause("rules", "Several rules together forbid it, such as ceiling.", "")],
            (128, None),
        ),
        (
            [MIX, {"id": "alike", "check": "alike", "what": "population"}],
            request(144, few(M32, 4), few(M16, 1), max_types=2),
            [cause("rules", "Several rules together forbid it, such as mixing rules.", "")],
            (None, None),
        ),
    ],
)  # fmt: skip
def test_causes(
    rows: Sequence[dict[str, Any]], asked: Request, causes: list[Cause], nearest: tuple[int | None, int | None]
) -> None:
    board = board_with(*rows)
    assert list(causes_of(board, asked)) == causes
    assert nearest_capacities(board, asked) == nearest
    with pytest.raises(ImpossibleError) as refused:
        solve(board, asked)
    assert list(refused.value.causes) == causes
    assert (refused.value.below_gib, refused.value.above_gib) == nearest


def test_the_ceiling_of_a_processor_is_a_cause() -> None:
    board = board_with(CEILING | {"socket_gib": 512}, processors=(_processor(64),))
    asked = request(160, M32, processor="p1")
    assert list(causes_of(board, asked)) == [cause("processor:p1", "A socket holds at most 64 GiB.")]


def _processor(ceiling_gib: int) -> ProcessorOption:
    return ProcessorOption(id="p1", ceiling_gib=ceiling_gib, source="SOME-SOURCE")


@pytest.mark.parametrize(
    ("rows", "asked", "usable_gib", "causes"),
    [
        ([COUNTS | {"severity": "advised"}], request(64, M32), 64, []),
        (
            [COUNTS | {"severity": "advised", "modules": [3]}, RANKS | {"severity": "advised", "most": 8}],
            request(64, M32),
            192,
            [cause("counts", "Without this advised rule 64 GiB would fit. A socket carries 3 modules.")],
        ),
        (
            [COUNTS | {"severity": "advised", "modules": [3], "text": "In threes."}],
            request(50, M32),
            96,
            [cause("counts", "Without this advised rule 64 GiB would fit. In threes.")],
        ),
        (
            [COUNTS | {"modules": [3]}],
            request(64, M32),
            192,
            [cause("counts", "Without this rule 64 GiB would fit. A socket carries 3 modules.")],
        ),
        # modules that do not add up, and modules that are too few
        ([], request(50, M32), 64, [cause("modules", "No number of these modules gives 50 GiB to 63 GiB.", "")]),
        ([], request(2, M32), 32, [cause("modules", "No number of these modules gives 2 GiB to 31 GiB.", "")]),
        (
            [],
            request(64, *(Supply(module=m, lots=(Lot(count=n),)) for m, n in ((M32, 1), (M16, 3))), max_types=1),
            80,
            [cause("stock", "The modules at hand are too few.", "")],
        ),
        # one row that alone changes nothing
        (
            [CEILING | {"severity": "advised"}, COUNTS | {"severity": "advised", "modules": [3]}],
            request(224, M32),
            288,
            [cause("rules", "Several rules together forbid 224 GiB to 287 GiB.", "")],
        ),
    ],
)  # fmt: skip
def test_what_keeps_a_nearer_capacity_away(
    rows: Sequence[dict[str, Any]], asked: Request, usable_gib: int, causes: list[Cause]
) -> None:
    assert list(rounded_up(Space(board_with(*rows), asked), usable_gib, Budget(0), as_advised=True)) == causes


def test_nearest_capacities_on_both_sides() -> None:
    board = board_with({"id": "counts", "check": "counts", "modules": [1, 3]})
    assert capacities(Space(board, request(1, M32))) == {64, 128, 192}
    nearest = {gib: nearest_capacities(board, request(gib, M32)) for gib in (32, 64, 100, 160, 192, 200)}
    assert nearest == {
        32: (None, 64),
        64: (None, 128),
        100: (64, 128),
        160: (128, 192),
        192: (128, None),
        200: (192, None),
    }


def test_no_capacity_where_sockets_or_mode_rule_all_out() -> None:
    board: Board = board_with(FITTED)
    assert capacities(Space(board, request(64, M32, fitted=("S2",)))) == set()
    assert capacities(Space(board, request(64, M32, mode=Mode.MIRRORED))) == set()
    assert capacities(Space(board, request(64))) == set()


def test_capacities_count_what_the_mode_leaves() -> None:
    """Two LRDIMMs of 64 GiB and four ranks each, one rank given up on each channel."""
    board = replace(board_with({"check": "sparing"}), processors=())
    found = capacities(Space(board, request(64, few(L64, 2), mode=Mode.SPARING, fitted=("S1",))))
    assert found == {48, 96, 112}


def test_a_rate_that_the_processor_does_not_list_is_the_cause() -> None:
    """Once, however many types it keeps out, and no other rule is blamed."""
    lists = {"id": "p1", "source": "P-SOURCE", "rates": [{"kinds": ["LRDIMM"], "mts": 2400}]}
    board = replace(board_with(), processors=(ProcessorOption.model_validate(lists),))
    told = cause("processor:p1", "p1 lists no rate for RDIMM.", "P-SOURCE")
    assert causes_of(board, request(64, M32, M16)) == (told,)
    assert told in causes_of(board, request(1 << 20, M32, L64))
