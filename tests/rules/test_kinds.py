"""Every kind of rule is whole: schema, judgement, sentence, question, cause, what is known in part.

The kinds come from the classes themselves, so that a new one is asked for all of it.
"""

from __future__ import annotations

import importlib
import itertools
import pkgutil
import random
from collections.abc import Iterator
from typing import Any, get_args

import pytest

import dimmplan.rules
from dimmplan.boardfile.schema import json_schema
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.rules import KINDS, ModeRow, Question, Rule, Scope, SocketView, SystemView, check_of, judge, rules_of
from dimmplan.rules.base import Couples, Limits
from dimmplan.wording.rules import rule_groups
from tests.rules.boards import BOARD, M16, M16X8, M32, M64, S64, board_with, row_of

EXAMPLES: dict[str, list[dict[str, Any]]] = {
    "accept": [{"field": "capacity_gib", "values": [16, 32]}],
    "mix": [{"field": "capacity_gib", "apart": apart} for apart in ("system", "socket", "channel", "nowhere")],
    "rank-limit": [{"most": 3}, {"count": "logical", "most": 3}],
    "fill-order": [{}],
    "channel-order": [{}, {"keys": ["capacity_gib"]}],
    "socket-minimum": [{"modules": 2}],
    "ceiling": [{"socket_gib": 64}, {"socket_gib": 64, "sockets": ["S2"]}],
    "counts": [{"modules": [1, 3]}],
    "sequence": [{"socket": "S1", "slots": ["A1", "C1", "A2", "B1", "B2", "C2"]}],
    "table": [
        {"socket": "S1", "rows": {1: ["C1"], 2: ["A1", "C1"], 4: ["A1", "A2", "B1", "C1"]}},
        {"rows": {2: ["A1", "D1"], 3: ["A1", "C1", "E1"]}, "fitted": ["S1", "S2"]},
    ],
    "fitted": [{"sets": [["S1"]]}],
    "alike": [{"what": what} for what in ("capacity", "count", "population")],
    "thermal": [{"from_gib": 64, "needs": "the baffle"}],
    "thermal-limit": [{"from_gib": 64}, {"from_gib": 32, "kinds": ["RDIMM"], "processors": []}],
    "device-correction": [{}, {"device_widths": [4, 8]}],
    "note": [{"about": about, "text": "Words."} for about in ("firmware", "care")],
    "blanks": [{}, {"slots": ["A1"]}],
    "mirroring": [{}, {"within": "socket", "modules": [2, 4], "one_type": True}],
    "sparing": [{}, {"min_ranks": 3}],
    "partial-mirroring": [{"mirrored_gib": 32}, {"mirrored_percent": 25, "group_channels": 2}],
    "lockstep": [{"pairs": [["A", "B"]]}, {"pairs": [["A", "B"]], "pair_peak": "one"}],
}
"""At least one row of each kind."""

MODULES = (M16, M16X8, M32, M64, S64, None, None, None)
ROWS = [row_of(check=check, **fields) for check, rows in EXAMPLES.items() for fields in rows]
KINDS_BY_CHECK = [pytest.param(kind, id=check_of(kind)) for kind in KINDS]


def rows_of_kind(kind: type[Rule]) -> list[Rule]:
    rows = [row for row in ROWS if type(row) is kind]
    assert rows, f"an example of {check_of(kind)} is wanted here"
    return rows


def test_every_class_is_in_the_table_and_in_the_board_file() -> None:
    """A kind in a module that nothing imports would be no kind."""
    for module in pkgutil.iter_modules(dimmplan.rules.__path__):
        importlib.import_module(f"dimmplan.rules.{module.name}")

    def leaves(kind: type[Rule]) -> Iterator[type[Rule]]:
        yield from itertools.chain(*map(leaves, kind.__subclasses__())) if kind.__subclasses__() else (kind,)

    assert set(leaves(Rule)) == set(KINDS)
    checks = [check_of(kind) for kind in KINDS]
    assert len(set(checks)) == len(checks)
    assert set(json_schema()["properties"]["rules"]["items"]["discriminator"]["mapping"]) == set(checks)


@pytest.mark.parametrize("kind", KINDS_BY_CHECK)
def test_a_kind_has_every_part(kind: type[Rule]) -> None:
    assert kind.question in get_args(Question)
    assert set(kind.scopes) <= set(get_args(Scope))
    assert kind.limits in get_args(Limits)
    assert kind.couples in get_args(Couples)
    assert isinstance(kind.judged_in_part, bool) and isinstance(kind.stays_broken, bool)
    for scope in get_args(Scope):
        has = getattr(kind, f"of_{scope}") is not getattr(Rule, f"of_{scope}")
        assert has == (scope in kind.scopes), f"{scope} is stated or judged, and not the other"
    assert kind.scopes or kind.told_at is not Rule.told_at or check_of(kind) == "blanks", "nothing comes of the row"
    assert ("system" in kind.scopes) == (kind.couples != "nothing"), "the search fixes what a system rule couples"
    assert kind.__doc__ and len(kind.__doc__) > 20


@pytest.mark.parametrize("kind", KINDS_BY_CHECK)
def test_a_kind_is_read_out(kind: type[Rule]) -> None:
    for row in rows_of_kind(kind):
        text = row.sentence()
        assert text[0].isupper() and text.endswith(".") and len(text) > 5
        assert row.model_copy(update={"text": "Own words."}).sentence() == "Own words."
        lines = [line for group in rule_groups(board_with(row.model_dump())) for line in group.lines]
        assert [line.text for line in lines if line.rule == row.id] == [text]


def test_an_example_of_every_kind_that_is_judged_is_broken_by_something() -> None:
    """Otherwise what follows would show nothing."""
    rng = random.Random(5)
    broken = {breach.check for content in contents(rng, 60) for row in ROWS for breach in found(row, content)}
    assert broken == {check_of(kind) for kind in KINDS if kind.scopes}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.check}-{row.module_field}")
def test_what_is_told_of_a_part_holds_for_the_whole(row: Rule) -> None:
    """Slots are hidden: whatever breaks the row then breaks it with what they hold, at the same places."""
    rng = random.Random(7)
    told = 0
    for content in contents(rng, 80):
        hidden = {slot for slot in BOARD.slots if rng.random() < 0.25}
        part = {slot: module for slot, module in content.items() if slot not in hidden}
        whole = {(breach.rule, where) for breach in found(row, content) for where in breach.where}
        seen = {(breach.rule, where) for breach in found(row, part, hidden) for where in breach.where}
        assert seen <= whole, (part, hidden)
        told += len(seen)
    judged = row.judged_in_part and any(row.judged_at(scope) for scope in get_args(Scope))
    assert bool(told) == judged, "a kind that can be judged in part is, and the others are not"


def contents(rng: random.Random, number: int) -> Iterator[dict[str, Module | None]]:
    for _ in range(number):
        yield {slot: rng.choice(MODULES) for slot in BOARD.slots}


def found(row: Rule, content: dict[str, Module | None], hidden: set[str] | frozenset[str] = frozenset()) -> list[Any]:
    """What breaks one row, in the mode that it is about."""
    mode = row.mode if isinstance(row, ModeRow) else Mode.INDEPENDENT
    breaches = judge(board_with(row.model_dump()), None, ("S1", "S2"), content, mode=mode, unknown=hidden)
    return [breach for breach in breaches if breach.rule == row.id]


def test_views_without_unknown_slots_are_the_usual_ones() -> None:
    assert SocketView(BOARD.socket("S1"), 2, 64, (M32,)).counts == range(2, 3)
    view = SystemView(BOARD, ("S1", "S2"), {}, unknown=frozenset({"E1"}))
    assert [socket.id for socket in view.known_sockets] == ["S1"]
    assert rules_of(board_with()) == ()
