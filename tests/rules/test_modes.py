"""What mirroring and rank sparing leave and what they ask for; breaches compared whole."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.rules import (
    Breach,
    can_be_groups,
    group_sizes,
    mirrors,
    mode_row,
    ranks_of,
    usable_gib,
)
from tests.rules.boards import M16, M16X8, M32, M64, S64, board_with, in_slots, row_of
from tests.support import mode_breaches

MIRRORING = {"id": "mirror", "check": "mirroring"}
SPARING = {"id": "spare", "check": "sparing"}
PARTNERS = "filled channels that have no identical partner"
PAIRS = "groups of 2 identical channels"


def breaches(board: Board, mode: Mode, content: dict[str, Module | None]) -> list[Breach]:
    return mode_breaches(board, mode, ("S1", "S2"), content)


def broken(
    rule: str, check: str, where: tuple[str, ...], found: str, allowed: str, source: str = "SOME-SOURCE"
) -> Breach:
    return Breach(rule, "error", check, where, found, allowed, source)


@pytest.mark.parametrize(
    ("row", "content", "expected"),
    [
        ({}, {}, []),
        ({}, in_slots(A1=M32, B1=M32, D1=M32), [(("S2 M0",), PARTNERS, PAIRS)]),
        ({}, in_slots(A1=M32, C1=M32), [(("S1 M0",), PARTNERS, PAIRS), (("S1 M1",), PARTNERS, PAIRS)]),
        ({"within": "socket"}, in_slots(A1=M32, C1=M32, D1=M16, E1=M16), []),
        ({"within": "socket"}, in_slots(A1=M32, C1=M16), [(("S1",), PARTNERS, PAIRS)]),
        ({"within": "socket"}, in_slots(A1=M32, B1=M32, C1=M32), [(("S1",), PARTNERS, PAIRS)]),
        (
            {"within": "socket", "group_channels": 3},
            in_slots(A1=M32, B1=M32),
            [(("S1",), PARTNERS, "groups of 3 identical channels")],
        ),
        ({"within": "socket", "group_channels": [2, 3]}, in_slots(A1=M32, B1=M32, C1=M32, D1=M32, E1=M32), []),
        (
            {"within": "socket", "group_channels": [2, 3]},
            in_slots(A1=M32),
            [(("S1",), PARTNERS, "groups of 2 or 3 identical channels")],
        ),
        # identical means slot by slot, and what comes after the last module does not count
        ({"within": "socket"}, in_slots(A1=M32, A2=M16, B1=M32), [(("S1",), PARTNERS, PAIRS)]),
        ({"within": "socket"}, in_slots(A1=M32, A2=M16, B1=M16, B2=M32), [(("S1",), PARTNERS, PAIRS)]),
        ({"within": "socket"}, in_slots(D1=M32, E1=M32), []),
        ({"within": "socket"}, in_slots(D2=M32, E1=M32), [(("S2",), PARTNERS, PAIRS)]),
        ({"one_type": True}, in_slots(A1=M32, B1=M32), []),
        (
            {"one_type": True, "within": "socket"},
            in_slots(A1=M32, B1=M32, D1=M16, E1=M16),
            [(("S1", "S2"), "2 module types", "one module type")],
        ),
        ({"one_type": False, "within": "socket"}, in_slots(A1=M32, B1=M32, D1=M16, E1=M16), []),
        (
            {"modules": [2, 4]},
            in_slots(A1=M32, B1=M32),
            [(("S2",), "no module", "2, 4 modules at each processor")],
        ),
        ({"modules": [2], "within": "socket"}, in_slots(A1=M32, B1=M32, D1=M16, E1=M16), []),
    ],
)
def test_what_keeps_a_placement_from_mirroring(
    row: dict[str, Any], content: dict[str, Module | None], expected: list[tuple[tuple[str, ...], str, str]]
) -> None:
    found = breaches(board_with(MIRRORING | row), Mode.MIRRORED, content)
    assert found == [Breach("mirror", "error", "mirroring", *where, "SOME-SOURCE") for where in expected]


@pytest.mark.parametrize(
    ("row", "content", "expected"),
    [
        ({}, in_slots(A1=M32, D1=M16, D2=M16), []),
        ({}, in_slots(A1=M32, B1=M16, D1=M16), [(("S1.B",), "1 rank"), (("S2.A",), "1 rank")]),
        ({"min_ranks": 3}, in_slots(A1=M32, A2=M16, B1=S64), [(("S1.B",), "2 ranks")]),
        ({"min_ranks": 3, "spare": "logical"}, in_slots(A1=M32, A2=M16, B1=S64), []),
    ],
)
def test_what_keeps_a_placement_from_sparing(
    row: dict[str, Any], content: dict[str, Module | None], expected: list[tuple[tuple[str, ...], str]]
) -> None:
    allowed = f"at least {row.get('min_ranks', 2)}"
    found = breaches(board_with(SPARING | row), Mode.SPARING, content)
    assert found == [broken("spare", "sparing", *where, allowed) for where in expected]


@pytest.mark.parametrize(
    ("mode", "rule", "noun"),
    [
        (Mode.MIRRORED, "mirroring", "mirroring"),
        (Mode.PARTLY_MIRRORED, "partial-mirroring", "partial mirroring"),
        (Mode.LOCKSTEP, "lockstep", "lockstep"),
        (Mode.SPARING, "sparing", "rank sparing"),
    ],
)
def test_a_board_without_the_row(mode: Mode, rule: str, noun: str) -> None:
    content = in_slots(A1=M16)
    found, allowed = f"a board without a {rule} row", f"boards with a row on {noun}"
    assert breaches(board_with(), mode, content) == [broken(rule, rule, ("S1", "S2"), found, allowed, "PRACTICE")]
    assert breaches(board_with(MIRRORING, SPARING), Mode.INDEPENDENT, content) == []


def test_the_rows_of_a_board() -> None:
    board = board_with({"check": "fill-order"}, MIRRORING, SPARING)
    assert (mode_row(board, Mode.MIRRORED), mode_row(board, Mode.SPARING)) == (board.rules[1], board.rules[2])
    assert mode_row(board_with(SPARING), Mode.MIRRORED) is None
    assert mode_row(board_with(MIRRORING), Mode.SPARING) is None


@pytest.mark.parametrize(
    ("mode", "row", "modules", "usable"),
    [
        (Mode.INDEPENDENT, SPARING, (M32, M16), Fraction(48)),
        (Mode.MIRRORED, MIRRORING, (M32, M16), Fraction(24)),
        (Mode.MIRRORED, MIRRORING, (), Fraction(0)),
        (Mode.SPARING, SPARING, (), Fraction(0)),
        (Mode.SPARING, SPARING, (M32,), Fraction(16)),
        (Mode.SPARING, SPARING, (M32, M16), Fraction(32)),
        (Mode.SPARING, SPARING, (M16X8, M64), Fraction(48)),
        (Mode.SPARING, SPARING, (S64,), Fraction(32)),
        (Mode.SPARING, SPARING | {"spare": "logical"}, (S64,), Fraction(48)),
        (Mode.SPARING, MIRRORING, (M32,), Fraction(32)),
    ],
)
def test_what_a_mode_leaves_of_a_channel(
    mode: Mode, row: dict[str, Any], modules: tuple[Module, ...], usable: Fraction
) -> None:
    """Half; or all but the largest rank, a package rank or one die of each stack (guide-16 p. 166)."""
    assert usable_gib(board_with(row), mode, modules) == usable


def test_ranks_that_a_sparing_row_counts() -> None:
    ranks = {spare: ranks_of(row_of(**SPARING, spare=spare), S64) for spare in ("package", "logical")}
    assert ranks == {"package": 2, "logical": 4}


def test_sizes_of_mirror_groups() -> None:
    assert group_sizes(row_of(**MIRRORING)) == (2,)
    assert group_sizes(row_of(**MIRRORING, group_channels=3)) == (3,)
    assert group_sizes(row_of(**MIRRORING, group_channels=[3, 2])) == (3, 2)


@pytest.mark.parametrize(
    ("sizes", "counts"), [((2,), (0, 2, 4, 6, 8)), ((3,), (0, 3, 6)), ((2, 3), (0, 2, 3, 4, 5, 6, 7, 8))]
)
def test_numbers_of_channels_that_split_into_groups(sizes: tuple[int, ...], counts: tuple[int, ...]) -> None:
    assert tuple(count for count in range(9) if can_be_groups(count, sizes)) == counts


def test_each_sort_of_channel_needs_partners() -> None:
    assert mirrors([(M32,), (M32,), (M16,), (M16,), (), (None,)], (2,))
    assert not mirrors([(M32,), (M32,), (M16,)], (2,))
    assert mirrors([], (2,))


@pytest.mark.parametrize(
    ("row", "content", "expected"),
    [
        ({"mirrored_gib": 16}, in_slots(A1=M32, D1=M32), []),
        ({"mirrored_gib": 16}, in_slots(A1=M16, D1=M32), [(("S1",), "16 GiB", "at least 32 GiB")]),
        ({"mirrored_percent": 50}, in_slots(A1=M16), []),
        ({"mirrored_percent": 25, "group_channels": 2}, in_slots(A1=M32), [(("S1 M0",), PARTNERS, PAIRS)]),
    ],
)
def test_what_keeps_a_placement_from_a_partial_mirror(
    row: dict[str, Any], content: dict[str, Module | None], expected: list[tuple[tuple[str, ...], str, str]]
) -> None:
    """Each socket holds the mirrored part and its copy; channels are alike only where the row says so."""
    found = breaches(board_with({"id": "part", "check": "partial-mirroring"} | row), Mode.PARTLY_MIRRORED, content)
    assert found == [broken("part", "partial-mirroring", *each) for each in expected]


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (in_slots(A1=M32, B1=M32, D1=M16, E1=M16), []),
        (in_slots(A1=M32, B1=M16), [(("S1.A", "S1.B"), "different modules", "the same modules in both channels")]),
        (in_slots(A1=M32, B1=M32, C1=M16), [(("S1.C",), "modules on a channel without a partner", "an empty channel")]),
    ],
)
def test_what_keeps_a_placement_from_lockstep(
    content: dict[str, Module | None], expected: list[tuple[tuple[str, ...], str, str]]
) -> None:
    row = {"id": "lock", "check": "lockstep", "pairs": [["A", "B"], ["E", "D"]]}
    found = breaches(board_with(row), Mode.LOCKSTEP, content)
    assert found == [broken("lock", "lockstep", *each) for each in expected]
