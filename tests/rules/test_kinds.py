"""Every kind of rule is whole: schema, judgement, sentence, question, cause, what is known in part.

The kinds come from the classes themselves, so that a new one is asked for all of it.
"""

from __future__ import annotations

import importlib
import itertools
import pkgutil
import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, get_args

import pytest

import dimmplan.rules
from dimmplan.boardfile.schema import json_schema
from dimmplan.model.board import Channel, Controller, Socket
from dimmplan.model.module import Kind, Module
from dimmplan.model.request import Mode, Request, Supply
from dimmplan.output.rules import rule_groups
from dimmplan.rules import (
    KINDS,
    ModeRow,
    Question,
    Reads,
    Rule,
    Scope,
    SocketView,
    SystemView,
    check_of,
    judge,
    judge_channel,
    judge_controller,
    judge_module,
    judge_socket,
    judge_system,
    rules_of,
)
from dimmplan.rules.base import Couples, Limits
from dimmplan.solve.causes import capacities
from dimmplan.solve.space import Space
from tests.rules.boards import BOARD, M16, M16X8, M32, M32S, M64, S64, board_with, row_of

EXAMPLES: dict[str, list[dict[str, Any]]] = {
    "accept": [{"field": "capacity_gib", "values": [16, 32]}, {"field": "rate_mts", "values": [2933]}],
    "mix": [{"field": "capacity_gib", "apart": apart} for apart in ("system", "socket", "channel", "nowhere")]
    + [{"field": "rate_mts", "apart": "system"}, {"field": "device_width", "apart": "socket"}],
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

MODULES = (M16, M16X8, M32, M32S, M64, S64, None, None, None)
ROWS = [row_of(check=check, **fields) for check, rows in EXAMPLES.items() for fields in rows]
KINDS_BY_CHECK = [pytest.param(kind, id=check_of(kind)) for kind in KINDS]


MADE_OTHERWISE = {
    module: replace(
        module, label=f"other {place}", kind=Kind.LRDIMM, package_ranks=4, device_width=4, rate_mts=3200 - place
    )
    for place, module in enumerate(dict.fromkeys(module for module in MODULES if module))
}
"""For each module another of its size that is made otherwise."""

PLACES = {
    **{slot: {slot} for slot in BOARD.slots},
    **{channel.name: set(channel.slots) for channel in BOARD.channels},
    **{socket.id: set(socket.slots) for socket in BOARD.sockets},
    **{f"{s.id} {m.id}": set(s.part([m.id]).slots) for s in BOARD.sockets for m in s.controllers},
}
"""The slots of each place that a breach may name."""


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
    assert all(row.reads(scope) in get_args(Reads) for row in rows_of_kind(kind) for scope in get_args(Scope))
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
        lines = [line for group in rule_groups(board_with(row.model_dump())) for line in group.rules]
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
        partly = {where for _, where in seen if not hidden.isdisjoint(PLACES[where])}
        assert row.judged_in_part or not partly, "told of a place of which not all is known"
    judged = row.judged_in_part and any(row.judged_at(scope) for scope in get_args(Scope))
    assert told or not judged, "a kind that can be judged in part is"


HARD_TO_MEND = {"mirroring", "lockstep", "fitted"}
"""Kinds of which a broken row is hardly ever mended by chance, or by other sockets alone."""


@pytest.mark.parametrize("kind", [param for param in KINDS_BY_CHECK if param.values[0].scopes])
def test_adding_mends_what_does_not_stay_broken_and_nothing_else(kind: type[Rule]) -> None:
    """What a machine breaks is told to be broken for good only where no module that is added mends it."""
    rng = random.Random(13)
    mended = 0
    for row in rows_of_kind(kind):
        for content in contents(rng, 80):
            if broken(row, content):
                more = {slot: module or rng.choice(MODULES) for slot, module in content.items()}
                mended += not broken(row, more)
    assert bool(mended) != kind.stays_broken or check_of(kind) in HARD_TO_MEND and not mended


def contents(rng: random.Random, number: int) -> Iterator[dict[str, Module | None]]:
    for _ in range(number):
        yield {slot: rng.choice(MODULES) for slot in BOARD.slots}


def found(row: Rule, content: dict[str, Module | None], hidden: set[str] | frozenset[str] = frozenset()) -> list[Any]:
    """What breaks one row, in the mode that it is about."""
    breaches = judge(board_with(row.model_dump()), None, ("S1", "S2"), content, mode=mode_of(row), unknown=hidden)
    return [breach for breach in breaches if breach.rule == row.id]


@pytest.mark.parametrize("kind", KINDS_BY_CHECK)
def test_a_kind_limits_what_it_says(kind: type[Rule]) -> None:
    """A row that limits nothing keeps no capacity away, and one that limits capacity lowers the largest."""
    lost, lowered = False, False
    for row, types in itertools.product(rows_of_kind(kind), ((M32,), (M16, S64))):
        request = Request(capacity_gib=1, supplies=tuple(map(Supply, types)), fitted=("S1", "S2"))
        space = Space(board_with(row.model_dump()), request)
        if space.fitted_allowed() and not any(any(judge_module([row], module)) for module in types):
            free, kept = capacities(Space(board_with(), request)), capacities(space)
            assert kept <= free
            lost |= kept < free
            lowered |= max(kept, default=0) < max(free)
    assert not (lost and kind.limits == "nothing")
    assert lowered or kind.limits != "capacity"


# What the search relies on: it looks no closer than a row says that it reads


@pytest.mark.parametrize("kind", KINDS_BY_CHECK)
def test_a_row_of_the_system_tells_the_search_what_it_couples(kind: type[Rule]) -> None:
    if "system" in kind.scopes and kind.couples == "types":
        assert kind.apart_by is not Rule.apart_by, "write apart_by: what must not differ between types"
    if kind.couples == "amounts":
        hooks = kind.alike is not Rule.alike or kind.populations is not Rule.populations
        assert hooks, "write alike or populations: the search fixes nothing else between sockets"
    if kind.couples == "mode":
        assert issubclass(kind, ModeRow), "what a mode couples is fixed in solve/, by the hooks of ModeRow"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.check}-{row.module_field}")
def test_a_row_reads_no_closer_than_it_says(row: Rule) -> None:
    """Else the search would judge it by less than it reads: another answer, or none, and nobody would know why."""
    rng = random.Random(11)
    for content in contents(rng, 60):
        for closer, why in [*closer_than_a_type(row, content), *closer_than_told(row, content)]:
            assert not closer, f"{row.check} tells apart {why}"


def closer_than_a_type(row: Rule, content: dict[str, Module | None]) -> Iterator[tuple[bool, str]]:
    """Of types alike but for rate and label the search asks few which capacities they reach."""
    why = "modules by rate or label: write tells_alike_apart"
    if not row.tells_alike_apart:
        best = {slot: M32 if module == M32S else module for slot, module in content.items()}
        slower = {slot: module and replace(module, label="", rate_mts=1600) for slot, module in best.items()}
        yield broken(row, best) != broken(row, slower), why
        yield bool(broken(row, best)) and not broken(row, content), why
    if not row.tells_types:
        other = {slot: module and MADE_OTHERWISE[module] for slot, module in content.items()}
        for socket in BOARD.sockets:
            for part in (socket, *(socket.part([controller.id]) for controller in socket.controllers)):
                views = [SocketView.of(part, each, fitted=("S1", "S2"), mode=mode_of(row)) for each in (content, other)]
                told = [any(judge_socket([row], view)) or any(judge_controller([row], view)) for view in views]
                yield told[0] != told[1], "modules of one size that a controller or socket holds: write tells_types"
    if row.judged_at("system") and row.couples == "types":
        values = {row.apart_by(module) for module in content.values() if module}
        view = SystemView(BOARD, ("S1", "S2"), content, mode=mode_of(row))
        yield any(judge_system([row], view)) != (len(values) > 1), "types by more than apart_by, or less"


def closer_than_told(row: Rule, content: dict[str, Module | None]) -> Iterator[tuple[bool, str]]:
    """What the search does not look at where it judges a row by channels, controllers, sockets or counts."""
    for socket in BOARD.sockets:
        for channel in socket.channels if row.judged_at("channel") and row.reads("channel") != "slots" else ():
            load = tuple(content[slot] for slot in channel.slots)
            bare = Channel("", "", "", tuple(map(str, range(len(load)))))
            differ = any(judge_channel([row], channel, load)) != any(judge_channel([row], bare, load))
            yield differ, 'channels by name: reads is "slots"'
        view = SocketView.of(socket, content, fitted=("S1", "S2"), mode=mode_of(row))
        prescribed = row.populations(socket.id, view.fitted, view.mode)
        if row.judged_at("socket") and row.reads("socket") == "counts":
            told = any(judge_socket([row], view._replace(content=None)))
            told |= prescribed is not None and view.filled not in prescribed.values()
            yield any(judge_socket([row], view)) != told, 'more than counts of a socket: reads is "channels" or "slots"'
        if prescribed is None:
            yield from closer_than_channels(row, socket, view)


def closer_than_channels(row: Rule, socket: Socket, view: SocketView) -> Iterator[tuple[bool, str]]:
    """Equal channels trade places, and nothing has its name."""
    one, other, *_ = (*socket.controllers[0].channels, *socket.controllers[0].channels)
    swap = {**dict(zip(one.slots, other.slots, strict=True)), **dict(zip(other.slots, one.slots, strict=True))}
    traded = {swap.get(slot, slot): module for slot, module in (view.content or {}).items()}
    for scope, judged in (("controller", judge_controller), ("socket", judge_socket)):
        if row.judged_at(scope) and row.reads(scope) != "slots":  # type: ignore[arg-type]
            part = socket if scope == "socket" else socket.part([socket.controllers[0].id])
            here = SocketView.of(part, view.content or {}, fitted=view.fitted, mode=view.mode)
            there = SocketView.of(part, traded, fitted=view.fitted, mode=view.mode)
            yield any(judged([row], here)) != any(judged([row], there)), 'equal channels: reads is "slots"'
            bare = SocketView.of(unnamed(part), view.content or {}, fitted=view.fitted, mode=view.mode)
            named = any(judged([row], here)) != any(judged([row], bare))
            yield named and not row.only_at, 'places by name: say the sockets in only_at, or reads is "slots"'


def unnamed(socket: Socket) -> Socket:
    """A socket of which only the slots have names."""
    controllers = (
        Controller("", tuple(Channel("", "", "", channel.slots) for channel in controller.channels))
        for controller in socket.controllers
    )
    return Socket("", tuple(controllers))


def mode_of(row: Rule) -> Mode:
    return row.mode if isinstance(row, ModeRow) else Mode.INDEPENDENT


def broken(row: Rule, content: dict[str, Module | None]) -> list[tuple[str, ...]]:
    """Where a row is broken, whatever else the board says."""
    found = [breach for module in content.values() if module for breach in judge_module([row], module)]
    view = SystemView(BOARD, ("S1", "S2"), content, mode=mode_of(row))
    found += judge_system([row], view)
    for socket in BOARD.sockets:
        at = SocketView.of(socket, content, fitted=("S1", "S2"), mode=mode_of(row))
        found += judge_socket([row], at)
        for controller in socket.controllers:
            found += judge_controller([row], at._replace(socket=socket.part([controller.id])))
        for channel in socket.channels:
            found += judge_channel([row], channel, tuple(content[slot] for slot in channel.slots))
    return [breach.where for breach in found]


def test_views_without_unknown_slots_are_the_usual_ones() -> None:
    assert SocketView(BOARD.socket("S1"), 2, 64, (M32,)).counts == range(2, 3)
    view = SystemView(BOARD, ("S1", "S2"), {}, unknown=frozenset({"E1"}))
    assert [socket.id for socket in view.known_sockets] == ["S1"]
    assert rules_of(board_with()) == ()
