"""Every criterion of one placement by hand, and how placements turn into texts and back."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from dimmplan.model.request import Lot, Mode, Request, Supply
from dimmplan.solve.criteria import CRITERIA, board_order_of, content_of, usable_of, vector_of
from dimmplan.solve.space import Space
from tests.rules.boards import M16, M16X8, M32, M64, board_with, in_slots

# at S1 48, 32 and 16 GiB on the channels; at S2 16 and nothing; four free slots
CONTENT = in_slots(A1=M32, A2=M16, B1=M32, C1=M16, D1=M16)
PEAK = Fraction(2933 * 8, 1000)
WIDTH = {"id": "width", "check": "accept", "field": "device_width", "values": [4]}


def lots(*pairs: tuple[int | None, int]) -> tuple[Lot, ...]:
    return tuple(Lot(count=count, price=Fraction(price)) for count, price in pairs)


SUPPLIES = (
    Supply(module=M32, kept=1, lots=lots((None, 90))),
    Supply(module=M16, kept=5, lots=()),
    Supply(module=M64, lots=lots((2, 200))),
    Supply(module=M16X8, kept=4, lots=()),
)


def space_of(*rows: dict[str, Any], **asked: Any) -> Space:
    request = Request(**({"capacity_gib": 100, "supplies": SUPPLIES, "fitted": ("S1", "S2")} | asked))
    return Space(board_with(WIDTH, *rows), request)


def values(space: Space, content: Any = CONTENT) -> dict[str, Any]:
    vector = vector_of(space, CRITERIA.values(), content)
    assert vector is not None
    return dict(zip(CRITERIA, vector, strict=True))


def test_every_criterion_of_a_placement() -> None:
    assert values(space_of()) == {
        "advised_broken": 0,
        "over_gib": 12,
        "balanced_sweep": 2 * PEAK,
        "socket_difference_gib": 80,
        "system_sweep": Fraction(112) / (Fraction(48, 3) + Fraction(32, 2) + 16) * PEAK,
        "worst_sweep": PEAK,
        "worst_parallel": PEAK,
        "controller_difference_gib": 64,
        "regions": 4,
        "narrowest_ways": 1,
        "types": 2,
        "cost": 90,
        "low_rank_channels": 2,
        "modules": 5,
        "free_slots": 4,
        # two of 16 GiB, and the four that the board refuses
        "discarded": 2 + 4,
        "bought": 1,
        "displaced": 0,
    }


def test_what_lies_in_the_machine_is_displaced_where_its_slot_holds_another_or_nothing() -> None:
    space = space_of()
    filled = [slot for slot, module in CONTENT.items() if module]
    empty = next(slot for slot in space.board.slots if not CONTENT.get(slot))
    other = next(module for module in (M16, M64) if module != CONTENT[filled[0]])
    lying = {**CONTENT, filled[0]: other, empty: M16}
    assert values(Space(space.board, space.request, lying=lying))["displaced"] == 2


def test_an_allowance_counts_as_nothing_above() -> None:
    over = [values(space_of(over_gib=gib))["over_gib"] for gib in (0, 11, 12, 13)]
    assert over == [12, 1, 0, 0]
    assert values(space_of(capacity_gib=120))["over_gib"] == 0


def test_advised_rows_count_once_each() -> None:
    few = {"check": "rank-limit", "most": 1, "severity": "advised"}
    rows = [few | {"id": "few"}, few | {"id": "fewer"}, {"check": "counts", "modules": [1, 4], "severity": "advised"}]
    assert values(space_of(*rows))["advised_broken"] == 2


def test_no_vector_of_nothing_or_against_an_error_row() -> None:
    criteria = list(CRITERIA.values())
    assert vector_of(space_of(), criteria, {}) is None
    assert vector_of(space_of(), criteria, in_slots(A1=M16X8)) is None
    assert vector_of(space_of({"id": "few", "check": "rank-limit", "most": 1}), criteria, CONTENT) is None
    mirroring = {"check": "mirroring", "within": "socket"}
    assert vector_of(space_of(mirroring), criteria, CONTENT) is not None
    assert vector_of(space_of(mirroring, mode=Mode.MIRRORED), criteria, CONTENT) is None
    twins = in_slots(A1=M32, B1=M32, D1=M16, E1=M16)
    assert values(space_of(mirroring, mode=Mode.MIRRORED, capacity_gib=40), twins)["over_gib"] == 8


def test_placements_as_texts() -> None:
    """A byte for each slot in board order: the larger module is the greater byte, 0 is empty."""
    space = space_of()
    assert [module.label[:4] for module in space.types] == ["64GB", "32GB", "16GB"]
    texts = ((2, 1, 2, 0, 1, 0), (1, 0, 0))
    assert board_order_of(space, CONTENT) == texts
    assert content_of(space, texts) == dict.fromkeys(space.board.slots) | CONTENT
    assert content_of(space, (bytes([3, 0, 0, 0, 0, 0]), bytes(3)))["A1"] == M64
    alone = space_of(fitted=("S2",))
    assert board_order_of(alone, CONTENT) == texts[1:]
    assert set(content_of(alone, texts[1:])) == {"D1", "D2", "E1"}
    with pytest.raises(ValueError, match="shorter"):
        content_of(space, texts[:1])


def test_usable_capacity_of_a_placement() -> None:
    rows = (
        {"check": "mirroring", "within": "socket"},
        {"check": "sparing"},
        {"check": "partial-mirroring", "mirrored_gib": 8},
        {"check": "lockstep", "pairs": [["A", "B"]]},
    )
    usable = {mode: usable_of(space_of(*rows, mode=mode), CONTENT) for mode in Mode}
    assert usable == {
        Mode.INDEPENDENT: 112,
        Mode.MIRRORED: 56,
        Mode.SPARING: 32 + 16,
        Mode.PARTLY_MIRRORED: 96,
        Mode.LOCKSTEP: 112,
    }
    assert usable_of(space_of(fitted=("S2",)), CONTENT) == 16
    odd = replace(M32, capacity_gib=9)
    assert usable_of(space_of(*rows, mode=Mode.SPARING), in_slots(A1=odd)) == Fraction(9, 2)
