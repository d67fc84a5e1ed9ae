"""Chains held against all chains of small random boards, irregular ones too; effort; greedy choices."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.grow import Growth, chain_of, grow
from dimmplan.growth.pinned import NOTHING, Start, next_by_adding, plan_from, solve_from
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.planner import ask, plan
from dimmplan.rules import judge
from tests.growth.brute_chain import Expected, One, best_chain, case, placements
from tests.oracle.brute import Oracle, every_filling
from tests.support import WHOLE, sampled, whole_matrix

ADDING, MOVING, PINNED = (sampled(range(start, start + 60), 5) for start in (0, 120, 180))
MODES = sampled(range(60), 8)


def cases(seeds: Sequence[int], *, modes: bool = False) -> Iterator[tuple[int, Board, tuple[Request, ...]]]:
    """The cases among the seeds that can be tried whole."""
    for seed in seeds:
        found = case(seed, modes=modes)
        if found is not None:
            yield seed, *found


def answered(board: Board, requests: Sequence[Request], **more: Any) -> Growth | None:
    """The chain, or ``None`` where the answer is that there is none, with its causes."""
    try:
        return grow(board, requests, **more)
    except ImpossibleError as error:
        assert error.causes
        return None


def held_against(board: Board, growth: Growth | None, expected: Expected | None, seed: int, **how: Any) -> bool:
    """A chain is legal, no better than the best of all, and its bound is not passed by that; true where it is as good.

    ``how`` is what ``best_chain`` was asked with.
    """
    assert (growth is None) == (expected is None), f"seed {seed}"
    if growth is None or expected is None:
        return True
    stays, hold = how.get("stays") or {}, how.get("closed") or ()
    before: dict[str, Module | None] = stays
    for step in growth.steps:
        content = step.placement.content
        assert not judge(board, None, step.request.fitted, content) or growth.chain.vector[0], f"seed {seed}"
        assert not any(content[slot] for slot in hold), f"seed {seed}"
        counts, earlier = Counter(content.values()), Counter(before.values())
        assert all(counts[module] >= count for module, count in earlier.items() if module), f"seed {seed}"
        if not how.get("may_move") or step is growth.steps[0]:
            assert all(content[slot] == module for slot, module in before.items() if module), f"seed {seed}"
        before = content
    best = expected.key[0], *expected.key[1], *expected.key[2:]
    mine = growth.chain.worth
    if growth.outside_window and not expected.outside:
        return False
    assert mine >= best[: len(mine)], f"seed {seed}"
    names = [each.name for each in growth.chain.criteria]
    if growth.bound is None:
        assert mine == best[: len(mine)], f"seed {seed}"
    else:
        place = names.index(growth.bound[0])
        better = growth.chain.criteria[place].better
        most = -growth.bound[1] if better == "high" else growth.bound[1]
        assert mine[:place] == best[:place] and best[place] >= most, f"seed {seed}: {growth.bound}"
    return mine == best[: len(mine)]


def as_good(results: Sequence[bool], *, share: float, least: int = 20) -> None:
    """Enough were compared, and so large a share is as good as the best chain of all; of a sample one may be less."""
    assert len(results) >= (least if WHOLE else 2)
    assert sum(results) >= share * len(results) - (not WHOLE), f"{sum(results)} of {len(results)}"


def test_chains_that_only_add() -> None:
    found = [
        held_against(board, answered(board, requests), best_chain(board, requests), seed)
        for seed, board, requests in cases(ADDING)
    ]
    as_good(found, share=0.95)


def test_chains_that_may_move() -> None:
    how = {"may_move": True}
    found = [
        held_against(board, answered(board, requests, **how), best_chain(board, requests, **how), seed, **how)
        for seed, board, requests in cases(MOVING)
    ]
    as_good(found, share=0.95)


def test_chains_in_the_other_modes() -> None:
    found = []
    for seed, board, requests in cases(MODES, modes=True):
        how = {"may_move": bool(seed % 2)}
        growth = answered(board, requests, **how)
        found.append(held_against(board, growth, best_chain(board, requests, **how), seed, **how))
    as_good(found, share=0.8, least=10)


def begun(seed: int, board: Board, requests: Sequence[Request]) -> tuple[dict[str, Module | None], tuple[str, ...]]:
    """Modules that lie there already, from some legal placement, and some slots on hold."""
    rng = random.Random(seed)
    one = rng.choice(placements(board, requests[0]))
    lying = dict(zip(board.slots, one.slots, strict=True))
    stays = {slot: module for slot, module in lying.items() if module and rng.random() < 0.4}
    return stays, tuple(slot for slot in board.slots if slot not in stays and rng.random() < 0.15)


def test_chains_from_what_lies_there() -> None:
    """Modules that stay and slots on hold, for chains of one step too; with moves they are free from the second on."""
    found = []
    for seed, board, requests in cases(PINNED):
        stays, hold = begun(seed, board, requests)
        some = requests[: 1 if seed % 3 == 0 else len(requests)]
        may_move = seed % 4 == 1
        growth = answered(board, some, may_move=may_move, start=Start(stays=stays, hold=hold))
        how = {"may_move": may_move, "stays": stays, "closed": hold}
        found.append(held_against(board, growth, best_chain(board, some, **how), seed, **how))
    as_good(found, share=0.95)


@whole_matrix
def test_the_chains_compared_are_of_every_kind() -> None:
    """Chains of three steps, within windows and above, with modules that stay and slots on hold."""
    found = [requests for _, _, requests in cases(ADDING)]
    assert sum(len(requests) > 2 for requests in found) >= 3
    outside = [expected.outside for _, b, r in cases(ADDING[:30]) if (expected := best_chain(b, r)) is not None]
    assert any(outside)
    assert not all(outside)
    begins = [begun(seed, board, requests) for seed, board, requests in cases(PINNED)]
    assert sum(bool(stays) for stays, _ in begins) >= 20
    assert sum(bool(hold) for _, hold in begins) >= 10


# One request over what is settled


@pytest.mark.parametrize("start", sampled(range(180, 240, 30), 1))
def test_one_request_in_place_is_the_best_of_those_that_leave_it(start: int) -> None:
    """With modules that stay, the request's own list decides among the placements that leave them where they are."""
    compared = 0
    for seed, board, requests in cases(sampled(range(start, start + 30), 4)):
        request = requests[0]
        stays, hold = begun(seed, board, requests)
        expected = _best_in_place(board, request, stays, hold)
        try:
            answer = solve_from(board, request, Start(stays=stays, hold=hold), alternatives=False)
        except ImpossibleError as error:
            assert expected is None, f"seed {seed}"
            assert error.causes
            continue
        assert expected is not None, f"seed {seed}"
        assert tuple(answer.best.content.get(slot) for slot in board.slots) == expected, f"seed {seed}"
        compared += 1
    assert compared >= (8 if WHOLE else 1)


def _best_in_place(
    board: Board, request: Request, stays: dict[str, Module | None], hold: Sequence[str]
) -> tuple[Module | None, ...] | None:
    oracle = Oracle(board, request)
    ranked = []
    for fillings in itertools.product(*(list(every_filling(oracle, socket)) for socket in oracle.fitted)):
        lying: dict[str, Module | None] = dict.fromkeys(board.slots)
        for filling in fillings:
            lying.update(zip(filling.socket.slots, filling.slots, strict=True))
        usable = sum(filling.usable for filling in fillings)
        left = all(lying[slot] == module for slot, module in stays.items()) and not any(lying[slot] for slot in hold)
        if left and usable >= request.capacity_gib and usable and not oracle.refusals(fillings):
            ranked.append((usable > request.limit_gib, oracle.rank(fillings), tuple(lying.values())))
    return min(ranked, key=lambda each: each[:2])[2] if ranked else None


@pytest.mark.parametrize("start", sampled((0, 30), 1))
def test_next_by_adding_names_every_next_capacity(start: int) -> None:
    """The capacities above a plan that hold all of its modules where they are, nearest first, each with its best sweep
    among those that break fewest advised rows."""
    for seed, board, requests in cases(sampled(range(start, start + 30), 4)):
        try:
            planned = plan(board, replace(requests[0], prefer="bandwidth-first"), alternatives=False)
        except ImpossibleError:
            continue
        here = planned.placement.content
        more = [one for one in placements(board, requests[0]) if _holds(board, one, here)]
        usable = sorted({one.usable for one in more if one.usable > planned.answer.best.usable_gib})
        nexts = next_by_adding(planned)
        assert [each.usable_gib for each in nexts] == usable[:4], f"seed {seed}"
        for each in nexts:
            at = [one for one in more if one.usable == each.usable_gib]
            fewest = min(len(one.advised) for one in at)
            assert each.sweep_gb_s == max(one.sweep for one in at if len(one.advised) == fewest), f"seed {seed}"
            assert dict(each.added).items() <= each.content.items()
            assert {s: m for s, m in each.content.items() if m} == {s: m for s, m in here.items() if m} | dict(
                each.added
            )


def _holds(board: Board, one: One, content: dict[str, Module | None]) -> bool:
    lying = dict(zip(board.slots, one.slots, strict=True))
    return all(module is None or lying[slot] == module for slot, module in content.items())


# On shipped boards

SHIPPED = [
    ("skerry-16", ["256GiB", "384GiB", "640GiB"], ["32GiB", "64GiB"]),
    ("strand-12", ["384GiB", "768GiB"], []),
    ("quay-24", ["256GiB", "512GiB"], ["16GiB", "32GiB"]),
    ("tombolo-32", ["384GiB", "1TiB"], ["32GiB", "64GiB"]),
    ("causeway-48", ["768GiB", "1.5TiB"], ["32GiB", "64GiB"]),
    ("marram-4", ["16GiB", "32GiB", "64GiB"], []),
]


def asked(board: Board, capacities: Sequence[str], modules: Sequence[str]) -> list[Request]:
    """A request for each capacity."""
    return [ask(board, capacity, modules=modules) for capacity in capacities]


@pytest.mark.parametrize(("board_id", "capacities", "modules"), sampled(SHIPPED, 2))
def test_never_worse_than_one_step_at_a_time(board_id: str, capacities: list[str], modules: list[str]) -> None:
    """A chain is no worse than going on from the best first step, and with moves no worse than without."""
    board = load_board(board_id)
    requests = asked(board, capacities, modules)
    growth = grow(board, requests)
    moved = grow(board, requests, may_move=True)
    assert moved.chain.key <= growth.chain.key
    start, contents = NOTHING, []
    for request in requests:
        try:
            step = plan_from(board, request, start, alternatives=False)
        except ImpossibleError:
            return
        contents.append(step.placement.content)
        start = Start(stays=step.placement.content)
    greedy = chain_of(board, requests, contents)
    assert growth.outside_window or growth.chain.key <= greedy.key


def test_the_price_of_a_path_is_shown() -> None:
    """Twelve of 32 GiB first would be free's choice; a chain to 640 GiB begins with modules it can keep."""
    board = load_board("skerry-16")
    growth = grow(board, asked(board, ["384GiB", "640GiB"], ["32GiB", "64GiB"]))
    first, last = growth.steps
    kept = {slot: module for slot, module in first.placement.slots if module}
    assert kept.items() <= dict(last.placement.slots).items()
    free = [answer.best.content for answer in growth.free]
    assert not {s: m for s, m in free[0].items() if m}.items() <= free[1].items()
    assert growth.steps[0].placement.status == "best-found"
    assert growth.steps[0].answer.bound is not None


def test_a_first_step_by_itself_is_what_plan_says() -> None:
    """A chain of one step by the default list has the capacity and the sweep of the plan."""
    board = load_board("skerry-16")
    request = ask(board, "384GiB", modules=["32GiB", "64GiB"])
    growth, planned = grow(board, [request]), plan(board, request, alternatives=False)
    assert growth.chain.sweeps[0] == planned.answer.best.vector[2]
    assert growth.steps[0].answer.best.usable_gib == planned.answer.best.usable_gib


def test_the_order_of_modules_does_not_matter() -> None:
    board = load_board("skerry-16")
    requests = asked(board, ["256GiB", "640GiB"], ["32GiB", "64GiB", "16GiB"])
    turned = [replace(request, supplies=request.supplies[::-1]) for request in requests]
    assert grow(board, requests).chain == grow(board, turned).chain


def test_at_most_so_many_types_over_the_whole_chain() -> None:
    """Each step may use two types by itself; over the chain they are still two at most, one if asked."""
    board = load_board("skerry-16")
    for most in (1, 2):
        requests = [replace(r, max_types=most) for r in asked(board, ["192GiB", "768GiB"], ["16GiB", "32GiB", "64GiB"])]
        growth = grow(board, requests)
        used = {module for content in growth.chain.contents for module in content.values() if module}
        assert len(used) <= most


@pytest.mark.parametrize("effort", (1, 300, 3000))
def test_with_too_little_effort_the_bound_still_holds(effort: int) -> None:
    """What a search that was cut short found is no bound for a step."""
    board = load_board("machair-20")
    requests = asked(board, ["320GiB", "640GiB"], ["32GiB", "64GiB"])
    whole = grow(board, requests)
    cut = grow(board, [replace(request, effort=effort) for request in requests])
    assert cut.bound is not None
    name, value = cut.bound
    (best, better) = next(
        (best, each.better)
        for each, best in zip(whole.chain.criteria, whole.chain.vector, strict=True)
        if each.name == name
    )
    assert best <= value if better == "high" else best >= value


def test_no_chain_says_why_and_what_is_near() -> None:
    """Each capacity can be had by itself, but not one after the other with one type."""
    board = load_board("strand-12")
    requests = [replace(r, max_types=1) for r in asked(board, ["192GiB", "1.5TiB"], ["16GiB", "128GiB"])]
    requests = [replace(r, over_gib=0) for r in requests]
    with pytest.raises(ImpossibleError) as caught:
        grow(board, [replace(requests[0], supplies=requests[0].supplies[:1]), *requests[1:]])
    assert caught.value.causes
