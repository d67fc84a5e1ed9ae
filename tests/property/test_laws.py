"""Laws that hold on every board: names and order do not matter, more is never worse, figures add up."""

from __future__ import annotations

import functools
import itertools
import random
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.figures import placement_figures
from dimmplan.interleave import Region, permitted_sets, regions
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request, Supply
from dimmplan.model.rows import InterleaveRow
from dimmplan.planner import ask
from dimmplan.rules import FittedRow, judge
from dimmplan.solve.answer import Answer, solve
from dimmplan.solve.criteria import LISTS
from dimmplan.units import channel_peak_gb_s
from tests.oracle.random_boards import random_case
from tests.property.relabel import relabelled
from tests.property.strategies import socket_loads
from tests.support import sampled, shipped_boards, socket_of

BLOCKS = sampled(range(0, 112, 16), 1)


@functools.cache
def answer_of(seed: int) -> Answer | ImpossibleError:
    """The search's answer to a random case."""
    return attempt(*random_case(seed))


def attempt(board: Board, request: Request) -> Answer | ImpossibleError:
    try:
        return solve(board, request, alternatives=False)
    except ImpossibleError as error:
        return error


def told(answer: Answer | ImpossibleError) -> Any:
    """What must not change: the vector, or the nearest capacities where nothing fits."""
    if isinstance(answer, ImpossibleError):
        return answer.below_gib, answer.above_gib
    return answer.best.vector, answer.outside_window


def turned(answer: Answer) -> tuple[Any, ...]:
    """The vector with every criterion turned so that smaller is better."""
    pairs = zip(answer.criteria, answer.best.vector, strict=True)
    return tuple(-value if criterion.better == "high" else value for criterion, value in pairs)


# Names and order


@pytest.mark.parametrize("start", BLOCKS)
@pytest.mark.parametrize("reorder", [False, True])
def test_relabelling_never_changes_the_vector(start: int, reorder: bool) -> None:
    """Other names, other order of sockets, controllers and channels: the same vector, or the same refusal.

    With the order kept, the placement is the same position by position too.
    """
    for seed in sampled(range(start, start + 16), 8):
        rng = random.Random(seed)
        board, request = random_case(seed)
        other = relabelled(board, rng, reorder=reorder)
        mine, theirs = answer_of(seed), attempt(other.board, other.request(request))
        assert told(theirs) == told(mine), f"seed {seed}"
        if isinstance(mine, Answer) and isinstance(theirs, Answer) and not reorder:
            expected = {other.slots[slot]: module for slot, module in mine.best.content.items()}
            assert theirs.best.content == expected, f"seed {seed}"


def random_content(rng: random.Random, board: Board, request: Request) -> dict[str, Module | None]:
    """Modules thrown into the slots of the fitted sockets, channel rules and rates obeyed."""
    types = [supply.module for supply in request.supplies]
    content: dict[str, Module | None] = dict.fromkeys(board.slots)
    for socket_id in request.fitted:
        for channel in board.socket(socket_id).channels:
            for _ in range(6):
                load = [rng.choice((*types, None)) for _ in channel.slots]
                load.sort(key=lambda module: (-module.package_ranks, -module.capacity_gib) if module else (1, 0))
                tried = dict(zip(channel.slots, load, strict=True))
                said = judge(board, board.processor(request.processor), [socket_id], tried)
                if not any(breach.where == (channel.name,) for breach in said):
                    content |= tried
                    break
    return content


@pytest.mark.parametrize("start", sampled(range(0, 240, 60), 1))
def test_relabelling_never_changes_a_figure(start: int) -> None:
    """The figures of any population, socket by socket, are those of the same population under other names."""
    compared = 0
    for seed in range(start, start + 60):
        rng = random.Random(seed)
        board, request = random_case(seed)
        content = random_content(rng, board, request)
        if not any(content.values()):
            continue
        other = relabelled(board, rng, reorder=True)
        option = board.processor(request.processor)
        mine = placement_figures(board, option, request.fitted, content)
        moved = {other.slots[slot]: module for slot, module in content.items()}
        theirs = placement_figures(other.board, option, other.request(request).fitted, moved)
        assert theirs.system_sweep_gb_s == mine.system_sweep_gb_s, f"seed {seed}"
        for one, two in zip(mine.sockets, theirs.sockets, strict=True):
            assert two.socket == other.sockets[one.socket]
            assert figures_without_names(two) == figures_without_names(one), f"seed {seed}"
        compared += 1
    assert compared >= 40


def figures_without_names(socket: Any) -> tuple[Any, ...]:
    shown = sorted((region.ways, region.capacity_gib, region.rate_mts) for region in socket.regions)
    return (
        socket.usable_gib,
        socket.rate.rate_mts,
        socket.peak_gb_s,
        socket.sweep_gb_s,
        socket.parallel_gb_s,
        socket.share,
        socket.controller_difference_gib,
        socket.low_rank_channels,
        shown,
    )


@pytest.mark.parametrize("board", sampled(shipped_boards(), 3), ids=lambda board: board.id)
def test_relabelling_shipped_boards(board: Board) -> None:
    """On every shipped board the vector of a plain request is the same under other names and in another order."""
    rng = random.Random(board.id)
    fitted = tuple(socket.id for socket in board.sockets)[:4]  # eight sockets take eight times as long
    count = sum(len(board.socket(socket).slots) for socket in fitted)
    for modules, share in ((board.modules[:3], 0.6), (board.modules, 0.45)):
        capacity = int(count * share) * modules[len(modules) // 2].capacity_gib
        request = Request(
            capacity_gib=capacity,
            supplies=tuple(Supply(module=module) for module in modules),
            fitted=fitted,
        )
        mine = attempt(board, request)
        for reorder in (False, True):
            other = relabelled(board, rng, reorder=reorder)
            assert told(attempt(other.board, other.request(request))) == told(mine)


@pytest.mark.parametrize("start", BLOCKS)
def test_order_of_the_request_never_matters(start: int) -> None:
    """Supplies, lots and fitted sockets in any order: the same placement, slot by slot."""
    for seed in sampled(range(start, start + 16), 8):
        rng = random.Random(seed)
        board, request = random_case(seed)
        supplies = [s._replace(lots=tuple(rng.sample(s.lots, len(s.lots)))) for s in request.supplies]
        other = replace(
            request,
            supplies=tuple(rng.sample(supplies, len(supplies))),
            fitted=tuple(rng.sample(request.fitted, len(request.fitted))),
        )
        mine, theirs = answer_of(seed), attempt(board, other)
        assert told(theirs) == told(mine), f"seed {seed}"
        if isinstance(mine, Answer) and isinstance(theirs, Answer):
            assert theirs.best.content == mine.best.content, f"seed {seed}"


@pytest.mark.parametrize("board_id", ["saltern-24", "lagoon-32", "tombolo-32", "groyne-24"])
def test_equal_sockets_may_swap(board_id: str) -> None:
    """What two equal sockets hold may be swapped: the figures of the system stay, those of the sockets swap."""
    board = load_board(board_id)
    one, two = board.sockets
    request = ask(board, f"{sum(m.capacity_gib for m in board.modules) + 40}GiB")
    content = solve(board, request, alternatives=False).best.content
    pairs = dict(zip((*one.slots, *two.slots), (*two.slots, *one.slots), strict=True))
    swapped = {pairs[slot]: module for slot, module in content.items()}
    option = board.processor(None)
    here = placement_figures(board, option, [one.id, two.id], content)
    there = placement_figures(board, option, [one.id, two.id], swapped)
    assert there.system_sweep_gb_s == here.system_sweep_gb_s
    assert [figures_without_names(s) for s in there.sockets] == [figures_without_names(s) for s in here.sockets][::-1]


# More is never worse


@pytest.mark.parametrize("start", BLOCKS)
def test_more_stock_never_gives_a_worse_vector(start: int) -> None:
    """More of the same at the same price: never a worse vector, and never a refusal where there was an answer."""
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        more = replace(request, supplies=tuple(map(with_more, request.supplies)))
        mine, theirs = answer_of(seed), attempt(board, more)
        if isinstance(mine, Answer):
            assert isinstance(theirs, Answer), f"seed {seed}"
            if not mine.outside_window:
                assert turned(theirs) <= turned(mine), f"seed {seed}"


def with_more(supply: Supply) -> Supply:
    lots = (replace(lot, count=None if lot.count is None else lot.count + 2) for lot in supply.lots)
    return supply._replace(lots=tuple(lots))


@pytest.mark.parametrize("start", BLOCKS)
def test_more_types_never_give_a_worse_vector(start: int) -> None:
    """One type more allowed at once: never a worse vector."""
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        mine, theirs = answer_of(seed), attempt(board, replace(request, max_types=request.max_types + 1))
        if isinstance(mine, Answer):
            assert isinstance(theirs, Answer), f"seed {seed}"
            if not mine.outside_window:
                assert turned(theirs) <= turned(mine), f"seed {seed}"


@pytest.mark.parametrize("start", BLOCKS[:4])
def test_another_type_allowed_never_gives_a_worse_vector(start: int) -> None:
    """One type less among those that may be used: never a better vector, and no answer where there was none."""
    compared = 0
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        request = replace(request, prefer="capacity-first")
        less = attempt(board, replace(request, supplies=request.supplies[:-1]))
        more = attempt(board, request)
        if isinstance(less, Answer):
            assert isinstance(more, Answer), f"seed {seed}"
            if same_list(more, less) and not less.outside_window:
                assert turned(more) <= turned(less), f"seed {seed}"
                compared += 1
    assert compared


def same_list(one: Answer, other: Answer) -> bool:
    """True where both answers were decided by the same criteria: cost counts only where every type is priced."""
    return [each.name for each in one.criteria] == [each.name for each in other.criteria]


@pytest.mark.parametrize("start", BLOCKS[:4])
def test_a_rule_less_never_gives_a_worse_vector(start: int) -> None:
    """Without one of the board's rules, whichever it is, the answer is as good or better, and no answer is lost."""
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        mine = answer_of(seed)
        row = random.Random(seed).choice(board.rules)
        theirs = attempt(replace(board, rules=tuple(each for each in board.rules if each is not row)), request)
        if isinstance(mine, Answer):
            assert isinstance(theirs, Answer), f"seed {seed}: {row.id}"
            if not mine.outside_window:
                assert turned(theirs) <= turned(mine), f"seed {seed}: {row.id}"


@pytest.mark.parametrize("start", BLOCKS[:4])
def test_a_wider_allowance_never_gives_a_worse_vector(start: int) -> None:
    """With a larger ``--over`` whatever was inside still is, and counts as well."""
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        gib = request.capacity_gib
        answers = [attempt(board, replace(request, over_gib=over)) for over in (0, gib // 8, gib // 2)]
        for narrow, wide in itertools.pairwise(answers):
            if isinstance(narrow, Answer):
                assert isinstance(wide, Answer), f"seed {seed}"
                if not narrow.outside_window:
                    assert turned(wide) <= turned(narrow), f"seed {seed}"


@pytest.mark.parametrize("start", BLOCKS[:4])
def test_asking_for_what_was_found_finds_it_again(start: int) -> None:
    """By capacity first, the capacity of an answer has that answer: nothing nearer was passed over."""
    asked_again = 0
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        request = replace(request, prefer="capacity-first", over_gib=None)
        first = attempt(board, request)
        if isinstance(first, Answer):
            gib = request.capacity_gib + int(first.best.vector[1])
            again = attempt(board, replace(request, capacity_gib=gib))
            assert isinstance(again, Answer)
            assert again.best.content == first.best.content, f"seed {seed}"
            asked_again += gib > request.capacity_gib
    assert asked_again


@pytest.mark.parametrize("board_id", ["saltern-24", "lagoon-32", "tombolo-32", "groyne-24", "causeway-48"])
def test_equal_sockets_give_equal_answers(board_id: str) -> None:
    """Whichever of two equal sockets is fitted alone: the same vector, and the same modules position by position."""
    board = load_board(board_id)
    one, two = board.sockets[:2]
    board = replace(board, rules=tuple(row for row in board.rules if row.check != "fitted"))
    free = FittedRow(id="any", check="fitted", sets=((one.id,), (two.id,)), source="INVENTED")
    board = replace(board, rules=(*board.rules, free))
    size = board.modules[0].capacity_gib
    for count in (1, 3, len(one.slots) // 2 + 1):
        mine, theirs = (attempt(board, ask(board, f"{size * count}GiB", fitted=(each.id,))) for each in (one, two))
        assert isinstance(mine, Answer) and isinstance(theirs, Answer)
        assert theirs.best.vector == mine.best.vector
        assert [theirs.best.content[s] for s in two.slots] == [mine.best.content[s] for s in one.slots]


# Effort

EFFORTS = (1, 10, 100, 1000, 10_000, 100_000, 20_000_000)
CUT = [
    ("skerry-16", "512GiB", {"modules": ("32GiB", "64GiB")}),
    ("skerry-16", "700GiB", {}),
    ("saltern-24", "640GiB", {}),
    ("saltern-24", "640GiB", {"prefer": "equal-sockets"}),
    ("machair-20", "900GiB", {}),
    ("strand-12", "500GiB", {}),
    ("strand-12", "768GiB", {"prefer": "room-first"}),
    ("tombolo-32", "900GiB", {}),
    ("groyne-24", "200GiB", {}),
    ("groyne-24", "100GiB", {"prefer": "bandwidth-first", "max_types": 3}),
    ("lagoon-32", "1TiB", {"modules": ("32GiB", "64GiB", "128GiB"), "prefer": "bandwidth-first"}),
    ("marram-4", "60GiB", {}),
    ("causeway-48", "2TiB", {"modules": ("32GiB", "64GiB")}),
]


@pytest.mark.parametrize(("board_id", "capacity", "wishes"), sampled(CUT, 2), ids=str)
def test_a_larger_effort_never_crosses_the_bound(board_id: str, capacity: str, wishes: Mapping[str, Any]) -> None:
    """With the effort cut the answer is the best found with a bound; more effort never crosses it and is never worse.

    Before the bound's criterion nothing changes any more; at it, no later answer is better than the bound says, and
    the answer itself is not better either. The last answer is proven.
    """
    board = load_board(board_id)
    answers = [solve(board, ask(board, capacity, effort=effort, **wishes), alternatives=False) for effort in EFFORTS]
    names = [criterion.name for criterion in answers[0].criteria]
    for before, after in itertools.pairwise(answers):
        assert turned(after) <= turned(before)
        assert after.proven >= before.proven
    for index, answer in enumerate(answers):
        assert (answer.bound is None) == (answer.stopped is None) == answer.proven
        if answer.bound is None:
            assert answer.best == answers[-1].best
            continue
        assert str(EFFORTS[index]) in (answer.stopped or "")
        place = names.index(answer.bound.criterion)
        bound = answer.bound.value
        assert bound is not None
        edge = -bound if answer.criteria[place].better == "high" else bound
        for later in answers[index:]:
            assert later.best.vector[:place] == answer.best.vector[:place]
            assert turned(later)[place] >= edge
    assert not answers[0].proven
    assert answers[-1].proven


@pytest.mark.parametrize("start", sampled(range(0, 96, 16), 1))
def test_a_cut_search_is_never_better_than_the_proven_one(start: int) -> None:
    """On random boards too: efforts 1, 30 and 300 give placements that obey the rules and are not better."""
    for seed in sampled(range(start, start + 16), 8):
        board, request = random_case(seed)
        proven = answer_of(seed)
        for effort in (1, 30, 300):
            cut = attempt(board, replace(request, effort=effort))
            assert isinstance(cut, Answer) == isinstance(proven, Answer), f"seed {seed}"
            if isinstance(cut, Answer) and isinstance(proven, Answer):
                assert turned(cut) >= turned(proven), f"seed {seed}"
                assert cut.outside_window == proven.outside_window, f"seed {seed}"
                if cut.proven:
                    assert cut.best == proven.best, f"seed {seed}"


def test_the_answer_depends_on_the_list_alone() -> None:
    """Each list's answer is first by that list: no other list's answer comes before it."""
    board = load_board("skerry-16")
    lists = [prefer for prefer in LISTS if prefer not in ("upgrade", "cost-first")]
    answers = {prefer: solve(board, ask(board, "600GiB", prefer=prefer), alternatives=False) for prefer in lists}
    for prefer, other in itertools.permutations(lists, 2):
        mine, theirs = answers[prefer], answers[other]
        names = [criterion.name for criterion in theirs.criteria]
        values = dict(zip(names, theirs.best.vector, strict=True))
        shared = [criterion for criterion in mine.criteria if criterion.name in values]
        if len(shared) == len(mine.criteria):
            seen = tuple(
                -values[criterion.name] if criterion.better == "high" else values[criterion.name]
                for criterion in mine.criteria
            )
            assert turned(mine) <= seen, (prefer, other)


# Figures add up


def regions_in(row: InterleaveRow, amounts: tuple[tuple[int, ...], ...], names: str) -> tuple[Region, ...]:
    return regions(amounts, permitted_sets(row, socket_of([len(each) for each in amounts], names)))


@settings(max_examples=60, derandomize=True, deadline=None)
@given(socket_loads())
def test_every_gib_is_served_once(case: tuple[InterleaveRow, tuple[tuple[int, ...], ...], str]) -> None:
    """The regions hold just what the channels hold, channel by channel, over permitted sets of as many channels."""
    row, amounts, names = case
    found = regions_in(row, amounts, names)
    flat = [amount for controller in amounts for amount in controller]
    served = [sum(r.depth for r in found if channel in r.channels) for channel in range(len(flat))]
    assert served == flat
    listed = [frozenset(group.channels) for group in row.groups]
    for region in found:
        assert region.ways == len(set(region.channels))
        assert region.capacity == region.ways * region.depth > 0
        if region.ways > 1:
            members = frozenset(names[channel] for channel in region.channels)
            assert members in listed if row.style == "groups" else region.ways in row.ways


@settings(max_examples=60, derandomize=True, deadline=None)
@given(socket_loads(), st.integers(2, 5))
def test_figures_scale(case: tuple[InterleaveRow, tuple[tuple[int, ...], ...], str], factor: int) -> None:
    """Modules larger by one factor on every channel: the same regions, larger by that factor."""
    row, amounts, names = case
    larger = tuple(tuple(amount * factor for amount in controller) for controller in amounts)
    expected = [(region.ways, region.capacity * factor) for region in regions_in(row, amounts, names)]
    assert [(region.ways, region.capacity) for region in regions_in(row, larger, names)] == expected


@pytest.mark.parametrize("start", sampled(range(0, 200, 50), 1))
def test_sweep_parallel_and_peak(start: int) -> None:
    """No socket sweeps faster than its parallel figure, none of them beats its peak, and the system not their sum."""
    compared = 0
    for seed in range(start, start + 50):
        board, request = random_case(seed)
        content = random_content(random.Random(seed), board, request)
        if not any(content.values()):
            continue
        figures = placement_figures(board, board.processor(request.processor), request.fitted, content)
        for socket in (each for each in figures.sockets if each.modules):
            peak = channel_peak_gb_s(max(board.rates_mts)) * len(board.socket(socket.socket).channels)
            assert 0 < socket.sweep_gb_s <= socket.parallel_gb_s <= socket.peak_gb_s <= peak, f"seed {seed}"
            assert socket.share == socket.sweep_gb_s / socket.peak_gb_s
            total = sum(Fraction(region.capacity_gib) for region in socket.regions)
            assert total == socket.usable_gib == sum(socket.channel_gib)
        assert figures.system_sweep_gb_s <= sum(socket.sweep_gb_s for socket in figures.sockets), f"seed {seed}"
        compared += 1
    assert compared >= 30
