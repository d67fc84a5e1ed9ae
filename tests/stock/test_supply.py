"""What a board uses of a shelf, and the shortest list to buy, held against trying everything."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.run import run
from dimmplan.errors import ImpossibleError, Shortfall
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.planner import ask, plan
from dimmplan.rules import judge
from dimmplan.stock import Shelf, ShelfLot
from dimmplan.supply import left_out_of, same_on_board, supplies_of, takes_of
from tests.support import sampled, shipped_boards

LOT = tuple[str, int, str | None]


def shelf(board: Board, *lots: LOT, currency: str | None = "EUR") -> Shelf:
    """A shelf from labels, counts and prices."""
    return Shelf(
        file="shelf",
        currency=currency,
        lots=tuple(
            ShelfLot(
                place=f"line {number}",
                module=parse_label(label, usual=board.modules),
                count=count,
                price=None if price is None else Fraction(price),
            )
            for number, (label, count, price) in enumerate(lots, start=2)
        ),
    )


SKERRY, MARRAM = load_board("skerry-16"), load_board("marram-4")


def test_a_faster_label_is_the_same_where_the_board_is_slower() -> None:
    slow, fast = (parse_label(f"32GB 2Rx4 PC4-{rate}-R") for rate in ("2933Y", "3200AA"))
    assert slow != fast
    assert same_on_board(SKERRY, slow, fast)
    assert not same_on_board(SKERRY, slow, parse_label("32GB 2Rx4 PC4-2666V-R"))
    assert not same_on_board(SKERRY, slow, parse_label("32GB 1Rx4 PC4-2933Y-R"))
    assert not same_on_board(MARRAM, *(parse_label(f"8GB 1Rx8 PC4-{rate}-E") for rate in ("3200AA", "2933Y")))


@pytest.mark.parametrize("board", sampled(shipped_boards(), 3), ids=lambda board: board.id)
def test_equal_labels_give_equal_figures(board: Board) -> None:
    """Where the board cannot tell two labels apart, either gives the same vector; checked over all usual types."""
    rates = {module.rate_mts for usual in shipped_boards() for module in usual.modules}
    for module in board.modules:
        for rate in rates:
            other = replace(module, rate_mts=rate, label=f"{module.label} at {rate}")
            if rate == module.rate_mts or not same_on_board(board, module, other):
                continue
            capacity = f"{module.capacity_gib * len(board.sockets) * 2}GiB"
            asked = ask(board, capacity, modules=[module.label])
            twin = replace(asked, supplies=tuple(s._replace(module=other) for s in asked.supplies))
            one, two = (plan(board, request, alternatives=False).answer.best for request in (asked, twin))
            assert one.vector == two.vector


def test_equal_labels_are_one_type_under_the_slowest() -> None:
    lots = shelf(SKERRY, ("32GB 2Rx4 PC4-3200AA-R", 8, "58"), ("32GB 2Rx4 PC4-2933Y-R", 8, "61.50"))
    (supply,) = supplies_of(SKERRY, lots, None)
    assert supply.module.label == "32GB 2Rx4 PC4-2933Y-R"
    assert [(lot.count, lot.price) for lot in supply.lots] == [(8, 58), (8, Fraction("61.5"))]


def test_what_the_board_refuses_or_has_none_of_is_left_out() -> None:
    """And its missing price does not keep cost from counting."""
    lots = shelf(
        SKERRY,
        ("32GB 2Rx4 PC4-2933Y-R", 16, "61.50"),
        ("32GB 2Rx8 PC5-4800B-R", 8, None),
        ("16GB 2Rx8 PC4-3200AA-E", 8, None),
        ("64GB 2Rx4 PC4-2933Y-R", 0, None),
    )
    request = ask(SKERRY, "384GiB", shelf=lots)
    assert [supply.module.label for supply in request.supplies] == ["32GB 2Rx4 PC4-2933Y-R"]
    planned = plan(SKERRY, request, shelf=lots, alternatives=False)
    assert planned.cost == 12 * Fraction("61.50")
    assert {why.module.label: why.rule for why in left_out_of(SKERRY, lots, None)} == {
        "32GB 2Rx8 PC5-4800B-R": "takes-generation",
        "16GB 2Rx8 PC4-3200AA-E": "kinds",
    }


def test_with_modules_what_is_in_both() -> None:
    lots = shelf(SKERRY, ("32GB 2Rx4 PC4-3200AA-R", 16, "58"), ("64GB 2Rx4 PC4-2933Y-R", 16, "119"))
    request = ask(SKERRY, "384GiB", shelf=lots, modules=["32GiB", "16GiB"])
    assert [supply.module.label for supply in request.supplies] == ["32GB 2Rx4 PC4-3200AA-R"]
    assert ask(SKERRY, "384GiB", shelf=lots, modules=["16GiB"]).supplies == ()


def random_shelf(board: Board, seed: int, *, priced: bool = True, most: int = 12) -> Shelf:
    """Some lots of usual labels, of faster ones that are equal here, and of others that the board refuses."""
    random_ = random.Random(seed)
    labels = [module.label for module in board.modules] + ["32GB 2Rx4 PC4-3200AA-R", "16GB 2Rx8 PC4-3200AA-U"]
    lots = [
        (random_.choice(labels), random_.randrange(0, most), str(random_.randrange(10, 400)) if priced else None)
        for _ in range(random_.randrange(2, 7))
    ]
    return shelf(board, *lots)


BOARDS = {board.id: board for board in shipped_boards()}
SHELVES = [(name, seed) for seed in range(9) for name in ("skerry-16", "marram-4", "strand-12", "quay-24")]


def capacity_for(board: Board, seed: int) -> str:
    sizes = sorted({module.capacity_gib for module in board.modules})
    return f"{random.Random(seed + 1000).randrange(2, len(board.slots)) * sizes[len(sizes) // 2]}GiB"


@pytest.mark.parametrize(("name", "seed"), SHELVES)
def test_a_plan_never_uses_more_than_the_shelf_has(name: str, seed: int) -> None:
    board, lots = BOARDS[name], random_shelf(BOARDS[name], seed)
    request = ask(board, capacity_for(board, seed), shelf=lots)
    try:
        planned = plan(board, request, shelf=lots, alternatives=False)
    except ImpossibleError as error:
        assert error.shortfall is not None
        return
    for module in planned.placement.types:
        there = sum(lot.count for lot in lots.lots if same_on_board(board, lot.module, module))
        assert planned.placement.count(module) <= there
    takes = takes_of(board, lots, planned.placement)
    assert sum(take.count for take in takes) == sum(planned.placement.count(m) for m in planned.placement.types)
    assert all(take.count <= take.lot.count for take in takes)
    assert len({take.lot.place for take in takes}) == len(takes)
    if planned.cost is not None:
        assert planned.cost == sum(take.count * (take.lot.price or 0) for take in takes)


def more_of(lots: Shelf, seed: int) -> Shelf:
    """The same shelf with more on it: one lot larger, and one new lot of a label that is there."""
    random_ = random.Random(seed)
    place = random_.randrange(len(lots.lots))
    larger = replace(lots.lots[place], count=lots.lots[place].count + random_.randrange(1, 6))
    new = replace(random_.choice(lots.lots), place="line 99", count=3, price=Fraction(random_.randrange(10, 400)))
    return replace(lots, lots=(*lots.lots[:place], larger, *lots.lots[place + 1 :], new))


@pytest.mark.parametrize(("name", "seed"), SHELVES)
def test_more_stock_never_gives_a_worse_answer(name: str, seed: int) -> None:
    board, lots = BOARDS[name], random_shelf(BOARDS[name], seed)
    capacity, prefer = capacity_for(board, seed), ("capacity-first", "cost-first", "room-first")[seed % 3]

    def ranked(stock: Shelf) -> tuple[object, ...]:
        request = ask(board, capacity, shelf=stock, prefer=prefer)
        try:
            planned = plan(board, request, shelf=stock, alternatives=False)
        except ImpossibleError:
            return (2,)
        answer = planned.answer
        assert planned.cost is not None
        vector = [-v if c.better == "high" else v for c, v in zip(answer.criteria, answer.best.vector, strict=True)]
        return (int(answer.outside_window), *vector)

    assert ranked(more_of(lots, seed)) <= ranked(lots)


@pytest.mark.parametrize("seed", range(6))
def test_the_order_of_rows_does_not_matter(seed: int) -> None:
    lots = random_shelf(SKERRY, seed)
    shuffled = list(lots.lots)
    random.Random(seed).shuffle(shuffled)
    other = replace(lots, lots=tuple(shuffled))
    assert supplies_of(SKERRY, lots, None) == supplies_of(SKERRY, other, None)
    assert [s.module.label for s in supplies_of(SKERRY, lots, None)] == [
        s.module.label for s in supplies_of(SKERRY, other, None)
    ]


# -- the list to buy ---------------------------------------------------------------------------------------------------


def every_placement(board: Board, types: list[Module], processor: str | None) -> Iterator[Counter[Module]]:
    """The module counts of every placement without a broken error row, each once; by trying all of them."""
    seen: set[frozenset[tuple[Module, int]]] = set()
    for chosen in itertools.product([None, *types], repeat=len(board.slots)):
        content = dict(zip(board.slots, chosen, strict=True))
        counts = Counter(module for module in chosen if module is not None)
        key = frozenset(counts.items())
        if not counts or key in seen:
            continue
        breaches = judge(board, board.processor(processor), [s.id for s in board.sockets], content)
        if not any(breach.severity == "error" for breach in breaches):
            seen.add(key)
            yield counts


ALL_COUNTS = {
    frozenset(counts.items()) for counts in every_placement(MARRAM, list(MARRAM.modules), "noddy-6")
}  # every placement of usual types, once for all shelves


def shortest(lots: Shelf, capacity: int, max_types: int, *, priced: bool) -> tuple[int, Fraction, int] | None:
    """Fewest bought, then cheapest, then least over, by looking at every placement."""
    have = Counter[Module]()
    price: dict[Module, Fraction] = {}
    for lot in lots.lots:
        have[lot.module] += lot.count
        if lot.price is not None:
            price[lot.module] = max(price.get(lot.module, Fraction(0)), lot.price)
    for high in (capacity + capacity // 4, 1 << 20):
        found = []
        for counts in ALL_COUNTS:
            gib = sum(module.capacity_gib * count for module, count in counts)
            if capacity <= gib <= high and len(counts) <= max_types:
                buy = {module: max(0, count - have[module]) for module, count in counts}
                cost = sum((price[m] * n for m, n in buy.items() if n), Fraction(0)) if priced else Fraction(0)
                found.append((sum(buy.values()), cost, gib))
        if found:
            return min(found)
    return None


def bought(error: ImpossibleError) -> Shortfall:
    assert error.shortfall is not None
    return error.shortfall


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("priced", [True, False])
def test_the_list_to_buy_is_the_shortest_then_the_cheapest(seed: int, priced: bool) -> None:
    """Against every placement of the four-slot board; with prices, every usual label has an offer."""
    random_ = random.Random(seed)
    rows: list[LOT] = [(random_.choice(MARRAM.modules).label, random_.randrange(1, 3), None) for _ in range(2)]
    if priced:
        rows = [(m.label, random_.randrange(0, 2), str(random_.randrange(10, 300))) for m in MARRAM.modules]
    lots = shelf(MARRAM, *rows)
    capacity, max_types = random_.choice([20, 32, 40, 56, 64, 72, 96, 128, 160]), random_.choice([1, 2, 3])
    request = ask(MARRAM, f"{capacity}GiB", shelf=lots, max_types=max_types)
    expected = shortest(lots, capacity, max_types, priced=priced)
    try:
        plan(MARRAM, request, shelf=lots, alternatives=False)
    except ImpossibleError as error:
        shortfall = bought(error)
    else:
        assert expected is not None
        return
    if expected is None:
        assert shortfall.buy is None
        return
    assert shortfall.proven and shortfall.buy
    assert sum(each.count for each in shortfall.buy) == expected[0]
    if priced:
        assert sum(each.cost or 0 for each in shortfall.buy) == expected[1]
    with_it = (*rows, *((each.label, each.count, None) for each in shortfall.buy))
    more = shelf(MARRAM, *with_it)
    served = plan(MARRAM, ask(MARRAM, f"{capacity}GiB", shelf=more, max_types=max_types), alternatives=False)
    assert served.placement.status == "proven"


def buy_of(lots: Shelf, capacity: str, **more: object) -> Shortfall:
    modules = more.pop("modules", ())
    request = ask(SKERRY, capacity, shelf=lots, modules=modules, **more)  # type: ignore[arg-type]
    with pytest.raises(ImpossibleError) as caught:
        plan(SKERRY, request, shelf=lots, modules=modules)  # type: ignore[arg-type]
    return bought(caught.value)


def test_substitutes_are_the_labels_that_are_equal_here() -> None:
    lots = shelf(SKERRY, ("32GB 2Rx4 PC4-3200AA-R", 8, "58"), ("32GB 2Rx4 PC4-2933Y-R", 0, "50"))
    (purchase,) = buy_of(lots, "384GiB", modules=["32GiB"]).buy or ()
    assert (purchase.label, purchase.count, purchase.cost) == ("32GB 2Rx4 PC4-2933Y-R", 4, 200)
    assert purchase.substitutes == ("32GB 2Rx4 PC4-3200AA-R",)


def test_only_the_modules_asked_for_are_bought() -> None:
    lots = shelf(SKERRY, ("32GB 2Rx4 PC4-2933Y-R", 8, None))
    assert {each.label for each in buy_of(lots, "512GiB", modules=["32GiB"]).buy or ()} == {"32GB 2Rx4 PC4-2933Y-R"}


def test_what_the_board_cannot_hold_is_not_for_sale() -> None:
    lots = shelf(SKERRY, ("32GB 2Rx4 PC4-2933Y-R", 8, None))
    assert buy_of(lots, "4TiB").buy is None
    assert buy_of(lots, "96GiB", fitted="FAR").buy is None


def test_an_offer_goes_before_what_the_last_lot_cost() -> None:
    rows: list[LOT] = [("32GB 2Rx4 PC4-2933Y-R", 4, "40"), ("32GB 2Rx4 PC4-2933Y-R", 4, "70")]
    (guess,) = buy_of(shelf(SKERRY, *rows), "384GiB", modules=["32GiB"]).buy or ()
    assert guess.cost == 4 * 70
    offer: LOT = ("32GB 2Rx4 PC4-2933Y-R", 0, "55")
    (quoted,) = buy_of(shelf(SKERRY, *rows, offer), "384GiB", modules=["32GiB"]).buy or ()
    assert quoted.cost == 4 * 55


def test_advised_rows_do_not_make_the_list_longer() -> None:
    """Six modules of 64 GiB would leave the sockets equal, as advised; five serve, and that is one to buy."""
    board = load_board("lagoon-32")
    lots = shelf(board, ("64GB 2Rx4 PC5-4800B-R", 4, None))
    request = ask(board, "320GiB", shelf=lots)
    with pytest.raises(ImpossibleError) as caught:
        plan(board, request, shelf=lots, modules=["64GiB"])
    (purchase,) = bought(caught.value).buy or ()
    assert purchase.count == 1


def test_a_pick_list_names_the_labels_that_lie_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sheet says one label for all that are equal on this board; the list beside it says which to fetch."""
    shelf, out = tmp_path / "shelf.csv", tmp_path / "out"
    rows = ["32GB 2Rx4 PC4-2933Y-R,7,61.50,EUR,old", "32GB 2Rx4 PC4-3200AA-R,9,58,EUR,=cmd()"]
    shelf.write_text("\n".join(["label,count,price,currency,note", *rows]) + "\n", encoding="utf-8")
    call = ["plan", "skerry-16", "--capacity", "384GiB", "--stock", str(shelf), "--out", str(out)]
    assert run(call) == 0
    assert run(call) == 0, "what the tool made it may write again"
    capsys.readouterr()
    assert (out / "pick.csv").read_text(encoding="utf-8").splitlines() == [
        "key,count,label,serves_as,place,note,part,watts",
        "a,9,32GB 2Rx4 PC4-3200AA-R,32GB 2Rx4 PC4-2933Y-R,line 3,'=cmd(),,",
        "a,3,32GB 2Rx4 PC4-2933Y-R,32GB 2Rx4 PC4-2933Y-R,line 2,old,,",
    ]
