"""After a failure: the sets left are the best by brute force, moves lead there, and halving finds any bad module."""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter
from dataclasses import replace

import pytest

from dimmplan.errors import InputError
from dimmplan.model.request import Mode
from dimmplan.output.changes import failure_text
from dimmplan.planner import ask, plan
from dimmplan.reasons.case import Case
from dimmplan.reasons.failure import failure_of
from dimmplan.rules import SocketMinimumRow
from dimmplan.solve.criteria import ranked
from tests.machine.support import apply_moves
from tests.support import WHOLE, sampled, shipped_boards
from tests.why.seeds import broken_by, seeded_plans

BOARDS = {board.id: board for board in shipped_boards()}


def bare(case: Case):
    """The placement in the independent mode, in which the smallest population and halves are judged."""
    return replace(case.placement, mode=Mode.INDEPENDENT)


def cases(board, count: int):
    """Seeded plans, each with one of its modules to fail."""
    rng = random.Random(board.id)
    for placement in seeded_plans(board, count):
        filled = [slot for slot, module in placement.slots if module]
        if len(filled) > 1:
            yield Case(board, placement), rng.choice(filled)


@pytest.mark.parametrize("board", sampled(list(BOARDS.values()), 2), ids=lambda board: board.id)
def test_sets_and_moves_hold(board) -> None:
    """Each set uses what is left and obeys the rules; its moves lead there; the fastest and the smallest are so."""
    for case, slot in cases(board, 3 if WHOLE else 1):
        failure = failure_of(case, [slot])
        stay = case.content | {slot: None}
        left = Counter(module for module in stay.values() if module)
        assert dict(failure.left) == left
        assert failure.stay.content == stay
        for found in (failure.best, failure.fastest, failure.independent, failure.smallest):
            if found is None:
                continue
            used = Counter(module for module in found.alternative.content.values() if module)
            assert all(used[module] <= left[module] for module in used)
            placement = bare(case) if found in (failure.smallest, failure.independent) else case.placement
            assert not broken_by(board, placement, found.alternative.content)
            assert apply_moves(stay, found.moves.moves) == found.alternative.content
        if failure.best and failure.fastest:
            best, fast = failure.best.alternative.figures, failure.fastest.alternative.figures
            assert fast.balanced_sweep_gb_s > best.balanced_sweep_gb_s and fast.usable_gib <= best.usable_gib
        if failure.best and failure.smallest:
            assert failure.smallest.figures.modules <= failure.best.figures.modules


@pytest.mark.parametrize("board_id", sampled(["skerry-16", "strand-12", "tombolo-32", "machair-20", "marram-4"], 2))
def test_halving_finds_every_bad_module(board_id: str) -> None:
    """Whichever module is bad, following the steps ends at it, in about as many steps as halving needs."""
    board = BOARDS[board_id]
    for case, slot in cases(board, 2):
        failure = failure_of(case, [slot])
        if failure.best is None:
            continue
        content = failure.best.alternative.content
        filled = [name for name in board.slots if content[name]]
        steps = {step.number: step for step in failure.split}
        assert len(steps) == len(filled) - 1
        for bad in filled:
            goal: int | str = 1 if steps else bad
            taken = 0
            while isinstance(goal, int):
                step = steps[goal]
                stays = {*step.keep, *step.company}
                assert set(step.out) == set(filled) - stays and set(step.keep) < set(step.suspects)
                assert not set(step.company) & set(step.suspects), "company must be known to be good"
                allowed = not broken_by(
                    board, case.placement, {s: m if s in stays else None for s, m in content.items()}
                )
                assert allowed is not bool(step.broken)
                goal = step.if_fault if bad in stays else step.if_clean
                taken += 1
            assert goal == bad
            assert taken <= 2 * math.ceil(math.log2(max(2, len(filled)))) + 1


def least_modules(case: Case, stay) -> int:
    """The fewest modules of those left that break no error row, by going through every filling."""
    left = Counter(module for module in stay.values() if module)
    slots = [slot for socket in case.sockets() for slot in socket.slots]
    for count in range(1, sum(left.values()) + 1):
        for chosen in itertools.combinations(slots, count):
            for modules in itertools.product(left, repeat=count):
                if Counter(modules) <= left:
                    content = dict.fromkeys(case.board.slots) | dict(zip(chosen, modules, strict=True))
                    if not broken_by(case.board, bare(case), content):
                        return count
    raise AssertionError("nothing boots")


@pytest.mark.parametrize(
    "board_id", sampled(["skerry-16", "strand-12", "marram-4", "machair-20", "groyne-24", "causeway-48"], 2)
)
def test_the_smallest_population_is_the_smallest(board_id: str) -> None:
    """No population of fewer modules breaks no error row."""
    board = BOARDS[board_id]
    for case, slot in cases(board, 4 if WHOLE else 2):
        if len(case.placement.fitted) > 2:
            continue
        failure = failure_of(case, [slot])
        if failure.smallest is not None:
            assert failure.smallest.figures.modules == least_modules(case, case.content | {slot: None})
            assert failure.smallest.proven


def test_the_smallest_population_may_leave_a_socket_empty() -> None:
    """Where a module at each socket is advised alone, one module boots."""
    board = BOARDS["groyne-24"]
    minimum = SocketMinimumRow(id="least", check="socket-minimum", modules=1, severity="advised", source="INVENTED")
    board = replace(board, rules=tuple(minimum if row.check == minimum.check else row for row in board.rules))
    failure = failure_of(Case(board, plan(board, ask(board, "128GiB", modules=["16GiB"])).placement), ["11-fore"])
    assert failure.smallest.figures.modules == 1 and failure.smallest.figures.balanced_sweep_gb_s == 0


def test_the_best_set_on_a_small_board_is_the_best() -> None:
    """Every placement of what is left on four slots: none with as much of the request comes before the answer."""
    board = BOARDS["marram-4"]
    for case, slot in cases(board, 6):
        failure = failure_of(case, [slot])
        stay = case.content | {slot: None}
        left = Counter(module for module in stay.values() if module)
        legal = []
        for held in itertools.product([None, *left], repeat=len(board.slots)):
            content = dict(zip(board.slots, held, strict=True))
            weighed = case.weigh(content)
            if Counter(module for module in held if module) <= left and weighed.vector is not None:
                legal.append(weighed)
        asked = min(case.placement.capacity_gib, max(w.figures.usable_gib for w in legal))
        enough = [w for w in legal if w.figures.usable_gib >= asked]
        over = [w.figures.usable_gib - asked for w in enough]
        names = [criterion.name for criterion in case.criteria]
        if names[1] == "over_gib":
            enough = [w for w, gib in zip(enough, over, strict=True) if gib == min(over)]
            ranks = {ranked(case.criteria, w.vector) for w in enough}
            assert ranked(case.criteria, failure.best.alternative.vector) == min(ranks)
        fastest = max(w.figures.balanced_sweep_gb_s for w in legal if not w.breaches) if legal else 0
        shown = (failure.fastest or failure.best).alternative
        if not shown.breaches and not failure.best.alternative.breaches:
            assert shown.figures.balanced_sweep_gb_s == fastest


def test_modules_stay_where_that_costs_nothing() -> None:
    """Two fail, one of each controller: leaving the others in place is worth as much, so nothing is moved at all."""
    board = BOARDS["firth-96"]
    placement = plan(board, ask(board, "1536GiB", modules=["32GiB"]), alternatives=False).placement
    failure = failure_of(Case(board, placement), ["arch.1.1", "arch.4.1"])
    assert failure.best.moves.handled == ()
    skerry = BOARDS["skerry-16"]
    full = plan(skerry, ask(skerry, "512GiB", modules=["32GiB"]), alternatives=False).placement
    handled = failure_of(Case(skerry, full), ["K1"]).best.moves.handled
    assert [(move.kind, move.target) for move in handled] == [("move", "K1")]
    smallest = failure_of(Case(skerry, full), ["K1", "T1"]).smallest
    assert {move.kind for move in smallest.moves.handled} == {"pull"} and smallest.figures.modules == 2


def test_an_empty_slot_cannot_fail() -> None:
    """A slot without a module is wrong input, and the filled ones are named."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "384GiB", modules=["32GiB"]), alternatives=False).placement
    with pytest.raises(InputError) as wrong:
        failure_of(Case(board, placement), ["K2"])
    assert "K1" in wrong.value.problems[0].allowed


def test_the_last_module_leaves_nothing() -> None:
    """Without its only module a machine has nothing left: no set, no steps."""
    board = BOARDS["marram-4"]
    placement = plan(board, ask(board, "8GiB", modules=["8GB 1Rx8 PC4-3200AA-E"]), alternatives=False).placement
    only = next(slot for slot, module in placement.slots if module)
    failure = failure_of(Case(board, placement), [only])
    assert (failure.best, failure.fastest, failure.smallest, failure.split) == (None, None, None, ())


@pytest.mark.parametrize("board_id", sampled(["skerry-16", "tombolo-32", "strand-12", "machair-20"], 2))
def test_slots_on_hold_stay_empty_in_every_set(board_id: str) -> None:
    """Half of the empty slots are on hold: the best and the smallest set are those of the slots that are not."""
    board = BOARDS[board_id]
    held_somewhere = 0
    for placement in seeded_plans(board, 4 if WHOLE else 2):
        empty = [slot for slot, module in placement.slots if not module]
        free = [slot for slot in empty if board.channel_of[slot].socket in placement.fitted]
        filled = [slot for slot, module in placement.slots if module]
        if len(filled) < 2 or not free:
            continue
        case = Case(board, replace(placement, hold=tuple(free[::2])))
        failure = failure_of(case, [filled[0]])
        for found in (failure.best, failure.fastest, failure.independent, failure.smallest):
            if found is not None:
                assert not any(found.alternative.content[slot] for slot in free[::2])
                held_somewhere += 1
        if failure.smallest is not None and len(placement.fitted) <= 2:
            least = least_modules(case, case.content | {filled[0]: None})
            assert failure.smallest.figures.modules == least and failure.smallest.proven
    assert held_somewhere


def test_the_best_set_around_a_hold_is_the_best() -> None:
    """Three of four slots filled, the fourth on hold: with one out, brute force over the other pairs agrees."""
    board = BOARDS["marram-4"]
    placement = plan(board, ask(board, "64GiB", modules=["16GiB"]), alternatives=False).placement
    filled = [slot for slot, module in placement.slots if module]
    assert len(filled) == 4
    content = {slot: module if slot in filled[:3] else None for slot, module in placement.slots}
    held = tuple(slot for slot in board.slots if not content[slot])
    case = Case(board, replace(placement, slots=tuple(content.items()), capacity_gib=48, hold=held))
    failure = failure_of(case, [filled[0]])
    legal = []
    for chosen in itertools.combinations([slot for slot in board.slots if slot not in held], 2):
        weighed = case.weigh({slot: placement.types[0] if slot in chosen else None for slot in board.slots})
        if weighed.vector is not None:
            legal.append(ranked(case.criteria, weighed.vector))
    assert legal and ranked(case.criteria, failure.best.alternative.vector) == min(legal)


def test_a_mode_that_cannot_go_on_leaves_the_independent_one() -> None:
    """Fifteen of sixteen modules cannot mirror on a board of 8 or 16: why, and what runs with the mode off."""
    board = BOARDS["lagoon-32"]
    asked = ask(board, "256GiB", modules=["32GiB"], mode="mirrored")
    placement = plan(board, asked, alternatives=False).placement
    failure = failure_of(Case(board, placement), ["11r"])
    assert failure.best is None and failure.fastest is None and failure.causes
    assert {breach.rule for breach in failure.stay.errors} == {"mirror-8-or-16"}
    assert failure.independent.alternative.figures.usable_gib == 15 * 32
    assert failure.independent.moves.handled == ()
    assert {slot for step in failure.split for slot in step.suspects} == {
        slot for slot, module in failure.independent.alternative.content.items() if module
    }
    text = failure_text(Case(board, placement), failure)
    assert "No set of the remaining modules may run mirrored" in text and "to independent in firmware" in text


def test_what_runs_with_nothing_moved_is_told_where_moving_gains() -> None:
    """Six channels at each socket, wired in pairs: with one out it runs as it stands, and moving gains in figures."""
    board = BOARDS["tombolo-32"]
    placement = plan(board, ask(board, "384GiB", modules=["32GiB"]), alternatives=False).placement
    case = Case(board, placement)
    failure = failure_of(case, ["isle-K-head"])
    assert not failure.stay.errors and failure.best.moves.handled
    assert failure.best.alternative.figures.balanced_sweep_gb_s > failure.stay.figures.balanced_sweep_gb_s
    assert "With nothing moved" in failure_text(case, failure)
