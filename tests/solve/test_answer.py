"""What stands around the search: where it starts, what nothing can cross, how much effort it may take."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from dimmplan.errors import DimmplanError
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Mode, Request, Supply
from dimmplan.solve.answer import Bound, Choice, bound_of, solve
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.criteria import CRITERIA, LISTS, criteria_of, vector_of
from dimmplan.solve.search import Aim, Found, Search
from dimmplan.solve.space import Space
from tests.rules.boards import M16, M24, M32, M64, board_with, in_slots

PEAK = Fraction(2933 * 8, 1000)
ORDER = {"id": "order", "check": "fill-order"}
EVERY = {"id": "every", "check": "socket-minimum"}


def request(capacity_gib: int, *modules: Module | Supply, **more: Any) -> Request:
    supplies = tuple(each if isinstance(each, Supply) else Supply(module=each) for each in modules)
    return Request(capacity_gib=capacity_gib, supplies=supplies, **({"fitted": ("S1", "S2")} | more))


def priced(module: Module, price: int, **more: Any) -> Supply:
    return Supply(module=module, lots=(Lot(price=Fraction(price)),), **more)


# lists


def test_the_criteria_of_every_list() -> None:
    """As the domain orders them: advised rules first, and board order after the last."""
    over, balanced, difference = "over_gib", "balanced_sweep", "socket_difference_gib"
    sweeps, shape = (
        ["system_sweep", "worst_sweep", "worst_parallel"],
        ["controller_difference_gib", "regions", "narrowest_ways", "types"],
    )
    last = ["low_rank_channels", "modules"]
    expected = {
        "capacity-first": [over, balanced, difference, *sweeps, *shape, "cost", *last],
        "bandwidth-first": [balanced, *sweeps, over, difference, *shape, "cost", *last],
        "equal-sockets": [difference, over, balanced, *sweeps, *shape, "cost", *last],
        "cost-first": ["cost", over, balanced, difference, *sweeps, *shape, *last],
        "room-first": [over, "free_slots", balanced, difference, *sweeps, *shape, "cost", *last],
        "upgrade": [over, "discarded", "bought", balanced, difference, *sweeps, *shape, "cost", *last],
    }
    assert {name: [each.name for each in criteria] for name, criteria in LISTS.items()} == {
        name: ["advised_broken", *rest] for name, rest in expected.items()
    }
    for name, rest in expected.items():
        assert [each.name for each in criteria_of(name, priced=True)] == ["advised_broken", *rest]
        unpriced = [each for each in rest if each != "cost"]
        assert [each.name for each in criteria_of(name, priced=False)] == ["advised_broken", *unpriced]


def test_which_way_is_better() -> None:
    high = {name for name, criterion in CRITERIA.items() if criterion.better == "high"}
    sweeps = {"balanced_sweep", "system_sweep", "worst_sweep", "worst_parallel"}
    assert high == sweeps | {"narrowest_ways", "free_slots"}
    assert {criterion.better for criterion in CRITERIA.values()} == {"high", "low"}


# effort


def test_effort_binds_once_it_may() -> None:
    budget = Budget(3)
    budget.spend(5)
    assert (budget.limit, budget.spent, budget.binding) == (3, 5, False)
    budget = Budget(3)
    budget.binding = True
    budget.spend(1)
    budget.spend(2)
    with pytest.raises(EffortSpent):
        budget.spend(1)
    assert budget.spent == 4


def test_the_best_found_says_why_it_stopped() -> None:
    answer = solve(board_with(ORDER, EVERY), request(176, M32, M16, effort=1))
    assert (answer.proven, answer.stopped) == (False, "the search reached its limit of 1 node")
    assert answer.bound is not None
    proven = solve(board_with(ORDER, EVERY), request(176, M32, M16))
    assert (proven.proven, proven.stopped, proven.bound) == (True, None, None)
    assert proven.effort > 1


# the first placement


# bounds


def bounds(asked: Request, *rows: dict[str, Any]) -> dict[str, Any]:
    """The value at which each criterion stops being the bound, by asking for the bound with all before it met."""
    space = Space(board_with(*rows), asked)
    criteria = (*criteria_of("upgrade", priced=True), CRITERIA["free_slots"])
    found: dict[str, Any] = {}
    vector: list[Any] = []
    for place in range(len(criteria)):
        never = -1
        rest = [never] * (len(criteria) - place)
        bound = bound_of(space, criteria, Choice({}, (*vector, *rest), 0))
        assert bound is not None and bound.criterion == criteria[place].name
        found[bound.criterion] = bound.value
        vector.append(bound.value)
    assert bound_of(space, criteria, Choice({}, tuple(vector), 0)) == Bound("board_order", None)
    return found


def test_what_no_placement_crosses() -> None:
    expected = {
        "advised_broken": 0,
        "over_gib": 2,
        "discarded": 0,
        "bought": 0,
        "balanced_sweep": 4 * PEAK,
        "socket_difference_gib": 0,
        "system_sweep": 5 * PEAK,
        "worst_sweep": 2 * PEAK,
        "worst_parallel": 2 * PEAK,
        "controller_difference_gib": 0,
        "regions": 1,
        "narrowest_ways": 3,
        "types": 1,
        "cost": 0,
        "low_rank_channels": 0,
        "modules": 2,
        "free_slots": 7,
    }
    assert bounds(request(78, M16, M64)) == expected
    # the socket of two channels may stay empty, unless every socket has a module; one over is nothing where allowed
    every = bounds(request(17, M64, M16, over_gib=14), EVERY)
    assert every == expected | {"over_gib": 1, "regions": 2, "narrowest_ways": 2}
    advised = bounds(request(17, M64, M16, over_gib=15), EVERY | {"severity": "advised"})
    assert advised == expected | {"over_gib": 0, "modules": 1, "free_slots": 8}
    alone = bounds(request(16, M16, fitted=("S1",)))
    sweeps = dict.fromkeys(("balanced_sweep", "system_sweep", "worst_sweep", "worst_parallel"), 3 * PEAK)
    assert alone == expected | sweeps | {"over_gib": 0, "modules": 1, "free_slots": 5}


def test_a_mode_may_leave_any_capacity() -> None:
    rows = ({"check": "mirroring", "within": "socket"},)
    assert bounds(request(78, M16, M64, mode=Mode.MIRRORED), *rows)["over_gib"] == 0


# beside the answer


@pytest.mark.parametrize(
    ("prefer", "causes"),
    [
        ("capacity-first", ["counts"]),
        ("upgrade", ["counts"]),
        ("bandwidth-first", ["counts"]),
        ("equal-sockets", ["counts"]),
    ],
)
def test_advice_that_a_nearer_capacity_would_break(prefer: str, causes: list[str]) -> None:
    counts = {"id": "counts", "check": "counts", "modules": [3], "severity": "advised"}
    answer = solve(board_with(counts), request(160, M32, prefer=prefer))
    assert (answer.best.vector[0], answer.best.usable_gib) == (0, 192)
    assert [cause.rule for cause in answer.rounded_up] == causes
    assert solve(board_with(counts), request(160, M32), alternatives=False).rounded_up == ()


def test_no_advice_is_in_the_way_of_an_exact_answer_or_where_it_is_broken() -> None:
    counts = {"id": "counts", "check": "counts", "modules": [3], "severity": "advised"}
    assert solve(board_with(counts), request(192, M32)).rounded_up == ()
    few = {"id": "few", "check": "rank-limit", "most": 1, "severity": "advised"}
    broken = solve(board_with(counts, few), request(160, M32))
    assert (broken.best.vector[0], broken.best.usable_gib, broken.rounded_up) == (1, 192, ())


def test_what_is_asked_beside_the_answer() -> None:
    """Steps alone, or all; five modules on five channels at two sockets, and the next that sweep faster."""
    asked = request(160, M32, fitted=("S1",))
    everything = solve(board_with(), asked)
    assert everything.step_above is not None and everything.step_above.usable_gib == 192
    assert everything.step_below is not None and everything.step_below.usable_gib == 96
    steps = solve(board_with(), asked, alternatives=False, steps=True)
    assert (steps.step_above, steps.step_below) == (everything.step_above, everything.step_below)
    assert (steps.runners_up, steps.rounded_up) == ((), everything.rounded_up)
    none = solve(board_with(), asked, alternatives=False)
    assert (none.step_above, none.step_below) == (None, None)


@pytest.mark.parametrize(
    ("rows", "supplies", "more", "above", "below"),
    [
        # 160 GiB sweep like two and a half channels; of all that sweep faster the nearest on each side
        ([], [M32, M16], {}, 176, 144),
        # with one type alone only six and three modules of 32 GiB
        ([], [M32, M16], {"max_types": 1}, 192, 96),
        ([], [M32], {}, 192, 96),
        # no step breaks more advice than the answer
        ([{"modules": [5]}], [M32], {}, None, None),
        ([{"modules": [5, 6]}], [M32], {}, 192, None),
        ([{"modules": [3]}, {"modules": [6]}], [M32], {}, 192, 96),
        # nor needs more modules than there are
        ([], [Supply(module=M32, lots=(Lot(count=5),))], {}, None, 96),
    ],
)
def test_the_nearest_steps(
    rows: list[dict[str, Any]], supplies: list[Any], more: dict[str, Any], above: int | None, below: int | None
) -> None:
    advice = [{"id": f"c{n}", "check": "counts", "severity": "advised"} | row for n, row in enumerate(rows)]
    answer = solve(board_with(ORDER, *advice), request(160, *supplies, fitted=("S1",), over_gib=0, **more))
    assert answer.best.usable_gib == 160
    steps = (answer.step_above, answer.step_below)
    assert [step and step.usable_gib for step in steps] == [above, below]
    assert all(step.vector[0] <= answer.best.vector[0] for step in steps if step)


def test_a_step_up_is_at_most_a_quarter_away() -> None:
    """From 128 GiB to 160 is just a quarter; from 64 to 96, which would work on three channels, is half."""
    steps = [solve(board_with(ORDER), request(gib, M32, fitted=("S1",))).step_above for gib in (128, 64)]
    assert [step and step.usable_gib for step in steps] == [160, None]


def test_an_answer_outside_the_window() -> None:
    """Nothing from 100 to 125 GiB, so more is given, and said so."""
    inside = solve(board_with(), request(128, M64), alternatives=False)
    assert (inside.outside_window, inside.best.usable_gib) == (False, 128)
    outside = solve(board_with(), request(100, M64), alternatives=False)
    assert (outside.outside_window, outside.best.usable_gib) == (True, 128)
    allowed = solve(board_with(), request(100, M64, over_gib=28), alternatives=False)
    assert (allowed.outside_window, allowed.best.usable_gib) == (False, 128)


def test_capacity_of_a_choice() -> None:
    assert Choice(in_slots(A1=M32, D1=M16) | {"B1": None}, (), 0).capacity_gib == 48


def sizes(choice: Choice) -> dict[str, int]:
    """What a placement holds, by slot."""
    return {slot: module.capacity_gib for slot, module in choice.content.items() if module}


def test_what_a_person_may_prefer() -> None:
    """Best first: the best of another set of modules or one type alone, then what other lists would take.

    Six of 16 GiB work like three of 32 GiB, only with more modules; two modules leave most slots free, which is what
    the list of most room would take. One of 64 GiB alone does not reach the capacity, so that type is not shown alone.
    """
    stock = (M32, M16, Supply(module=M64, lots=(Lot(count=1),)))
    three = dict.fromkeys(("A1", "B1", "C1"), 32)
    six = dict.fromkeys(("A1", "A2", "B1", "B2", "C1", "C2"), 16)
    two = {"A1": 64, "C1": 32}
    expected = {
        "capacity-first": [three, six, two],
        "bandwidth-first": [three, six, two],
        "room-first": [two, three, six],
    }
    for prefer, placements in expected.items():
        answer = solve(board_with(ORDER), request(96, *stock, fitted=("S1",), prefer=prefer))
        assert list(map(sizes, (answer.best, *answer.runners_up))) == placements, prefer
        space = Space(board_with(ORDER), request(96, *stock, fitted=("S1",), prefer=prefer))
        for choice in answer.runners_up:
            assert choice.usable_gib == 96
            assert choice.vector == vector_of(space, answer.criteria, choice.content)


def test_the_same_at_a_glance_is_shown_once() -> None:
    """One type and one capacity: whatever the lists want, there is nothing else to show."""
    assert solve(board_with(ORDER), request(96, M32, fitted=("S1",))).runners_up == ()


def test_the_cheapest_is_shown_where_all_is_priced() -> None:
    """The next set of modules is two of 32 and two of 16 GiB; the cheapest, which works unevenly, is of 24 and 16."""
    for price, shown in ((Fraction(1), [{32, 16}, {24, 16}]), (None, [{32, 16}])):
        few = [Supply(module=m, lots=(Lot(count=n, price=price),)) for m, n in ((M24, 2), (M16, 3))]
        answer = solve(board_with(ORDER), request(96, priced(M32, 90), *few, fitted=("S1",)))
        assert sizes(answer.best) == dict.fromkeys(("A1", "B1", "C1"), 32)
        assert [set(sizes(choice).values()) for choice in answer.runners_up] == shown


def test_an_answer_is_judged_again_before_it_is_accepted(monkeypatch: pytest.MonkeyPatch) -> None:
    searched = Search.best

    def boasting(search: Search, aim: Aim, incumbent: Found | None = None) -> Found | None:
        found = searched(search, aim, incumbent)
        return None if found is None else found._replace(vector=(7, *found.vector[1:]))

    monkeypatch.setattr(Search, "best", boasting)
    with pytest.raises(DimmplanError, match=r"^internal: the search decided by \(7, .*\), the figures give \(0, .*\)$"):
        solve(board_with(ORDER), request(96, M32))
