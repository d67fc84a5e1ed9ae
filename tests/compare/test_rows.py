"""The rows of a comparison: the numbers of ``plan``, and marks checked apart from the code that sets them."""

from __future__ import annotations

import contextlib
import io
import json
import random
import shlex
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.run import run
from dimmplan.compare import Comparison, Row, compare
from dimmplan.errors import ImpossibleError, InputError, RefusedError
from dimmplan.output.compare import Report, swap_text
from dimmplan.output.compare_rows import CompareDocument
from dimmplan.planner import ask, plan
from dimmplan.solve.criteria import LISTS
from tests.compare.cases import NAMES, priced_shelf, report_of, skerry, stocked
from tests.support import sampled

SHELF = """label,count,price,currency
8GB 1Rx8 PC4-2933Y-R,16,22,EUR
16GB 1Rx4 PC4-2933Y-R,9,34.50,EUR
32GB 2Rx4 PC4-2933Y-R,10,61.50,EUR
32GB 2Rx4 PC4-3200AA-R,6,58,EUR
64GB 2Rx4 PC4-2933Y-R,8,119,EUR
"""


def record_of(command: list[str]) -> tuple[int, dict[str, Any]]:
    """Exit status and JSON of a call."""
    output = io.StringIO()
    with contextlib.redirect_stdout(output):
        status = run([*command, "--json"])
    return status, json.loads(output.getvalue())


CALLS = {
    "skerry": "skerry-16 --processor tern-20 --processor tern-12 --capacity 96GiB --capacity 448GiB --capacity 1.2TiB",
    "from a shelf": "skerry-16 --stock shelf.csv --capacity 160GiB --capacity 512GiB --capacity 700GiB",
    "cost first": "skerry-16 --stock shelf.csv --prefer cost-first --over 10% --capacity 320GiB",
    "one socket, one type": "skerry-16 --fitted NEAR --max-types 1 --capacity 160GiB --capacity 640GiB",
    "lagoon": "lagoon-32 --module 16GiB --module 96GiB --module 64GiB --capacity 384GiB --capacity 1TiB",
    "room first": "quay-24 --prefer room-first --over 64GiB --capacity 200GiB --capacity 512GiB",
    "equal sockets": "saltern-24 --prefer equal-sockets --processor petrel-10 --capacity 384GiB",
    "bandwidth first": "strand-12 --prefer bandwidth-first --capacity 320GiB --capacity 704GiB",
    "mirrored": "lagoon-32 --mode mirrored --capacity 256GiB --module 32GiB --module 64GiB",
    "groups": "marram-4 --capacity 24GiB --capacity 48GiB --capacity 96GiB",
}


@pytest.mark.parametrize("name", sampled(list(CALLS), 2))
def test_the_numbers_are_those_of_plan(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each row carries a call of ``plan``; some of them, drawn with a seed, are made and give the same answer."""
    monkeypatch.chdir(tmp_path)
    Path("shelf.csv").write_text(SHELF, encoding="utf-8")
    status, record = record_of(["compare", *shlex.split(CALLS[name])])
    assert status == 0
    rows = record["rows"]
    answers = [row for row in rows if row.get("plan_answer")]
    for row in random.Random(name).sample(rows, min(2, len(rows))) + answers[:1]:
        status, planned = record_of(shlex.split(row["command"])[1:])
        if row["status"] == "impossible":
            assert (status, planned["status"], planned["nearest"]) == (1, "impossible", row["nearest"])
            continue
        assert status == 0
        assert planned["totals"] == row["totals"]
        assert planned["status"] == row["status"]
        assert planned["code"] == row["code"]
        assert [{"label": m["label"], "count": m["count"]} for m in planned["modules"]] == row["modules"]
        assert planned["findings"] == row["findings"]


@pytest.mark.parametrize("name", sampled(list(CALLS), 1))
def test_the_answer_is_that_of_plan_with_all_types(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the search over mixes was saved, since a single type is first for sure."""
    monkeypatch.chdir(tmp_path)
    Path("shelf.csv").write_text(SHELF, encoding="utf-8")
    _, record = record_of(["compare", *shlex.split(CALLS[name])])
    words = shlex.split(CALLS[name])
    for capacity in record["capacities"]:
        for processor in record["processors"]:
            kept = [
                word
                for index, word in enumerate(words)
                if word not in ("--capacity", "--processor") and words[index - 1] not in ("--capacity", "--processor")
            ]
            asked = ["--capacity", f"{capacity['capacity_gib']}GiB", "--processor", processor]
            status, planned = record_of(["plan", *kept, *asked])
            rows = [
                row
                for row in record["rows"]
                if (row["capacity_gib"], row["processor"]) == (capacity["capacity_gib"], processor)
            ]
            answers = [row for row in rows if row.get("plan_answer")]
            assert len(answers) == (1 if status == 0 else 0)
            if status == 0:
                assert answers[0]["code"] == planned["code"]
                assert rows[0] is answers[0], "the answer comes first"
                assert record["prefer"] in answers[0]["picked_by"]


def plain(comparison: Comparison) -> list[tuple[object, ...]]:
    """What a person sees of every row."""
    return [
        (
            row.request.capacity_gib,
            row.types if not row.is_answer else (),
            row.planned and row.planned.placement.slots,
            row.is_answer,
            row.unbeaten,
            row.picked_by,
        )
        for row in comparison.rows
    ]


# -- marks, worked out once more from the JSON -------------------------------------------------------------------------


def groups_of(report: Report) -> list[list[dict[str, Any]]]:
    groups: dict[tuple[int, str], list[dict[str, Any]]] = {}
    for row in CompareDocument.of(report).plain()["rows"]:
        if row["status"] != "impossible":
            groups.setdefault((row["capacity_gib"], row["processor"]), []).append(row)
    return list(groups.values())


@pytest.mark.parametrize("name", NAMES)
def test_unbeaten_rows(name: str) -> None:
    report = report_of(name)
    priced = CompareDocument.of(report).plain()["cost_compared"]
    for rows in groups_of(report):
        inside = [row for row in rows if not row["outside_window"]] or rows
        for row in rows:
            beaten = False
            for other in inside:
                mine, theirs = ([-t["balanced_sweep_gb_s"], -t["free_slots"]] for t in (row["totals"], other["totals"]))
                if priced:
                    mine, theirs = [*mine, row["totals"]["cost"]], [*theirs, other["totals"]["cost"]]
                beaten |= theirs != mine and all(a <= b for a, b in zip(theirs, mine, strict=True))
            assert row["unbeaten"] == (row in inside and not beaten)
        assert any(row["unbeaten"] for row in rows)


@pytest.mark.parametrize("name", NAMES)
def test_each_list_picks_one_row(name: str) -> None:
    report = report_of(name)
    lists = [each for each in LISTS if each != "upgrade" and (each != "cost-first" or report.comparison.priced)]
    for rows in groups_of(report):
        assert sorted(each for row in rows for each in row["picked_by"]) == sorted(lists)
        inside = [row for row in rows if not row["outside_window"]] or rows
        advised = min(warnings(row) for row in inside)
        best = [row for row in inside if warnings(row) == advised]
        fastest = max(row["totals"]["balanced_sweep_gb_s"] for row in best)
        picked = {each: row for row in rows for each in row["picked_by"]}
        assert picked["bandwidth-first"]["totals"]["balanced_sweep_gb_s"] == fastest
        if "cost-first" in picked:
            assert picked["cost-first"]["totals"]["cost"] == min(row["totals"]["cost"] for row in best)
        least = min(row["totals"]["usable_gib"] for row in best)
        exact = [row for row in best if row["totals"]["usable_gib"] == least]
        assert picked["room-first"]["totals"]["free_slots"] == max(row["totals"]["free_slots"] for row in exact)
        assert picked["capacity-first"]["totals"]["usable_gib"] == least


def warnings(row: dict[str, Any]) -> int:
    """Advised rows that a row breaks."""
    return len({f["rule"] for f in row["findings"] if f["severity"] == "warning" and f["rule"] != "uneven"})


@pytest.mark.parametrize("name", NAMES)
def test_even_rows_carry_the_same_on_every_channel(name: str) -> None:
    comparison = report_of(name).comparison
    board = comparison.board
    seen = set()
    for row in comparison.rows:
        if row.planned is None:
            continue
        content = row.planned.placement.content
        loads = [
            sorted(m.label for slot in channel.slots if (m := content.get(slot)))
            for channel in board.channels
            if channel.socket in row.request.fitted
        ]
        assert row.even == all(load == loads[0] for load in loads)
        seen.add(row.even)
    assert seen == {True, False}


# -- cost, processors, refusals ----------------------------------------------------------------------------------------


def test_one_type_without_a_price_takes_cost_out_of_the_comparison() -> None:
    lots = priced_shelf()
    shelf = replace(lots, lots=(*lots.lots, replace(lots.lots[0], place="line 20", price=None)))
    board = load_board("skerry-16")
    without = compare(board, capacities=["512GiB"], shelf=shelf)
    assert not without.priced and stocked().priced
    assert not any("cost-first" in row.picked_by for row in without.rows)
    costs = {row.types[0].capacity_gib: row.cost for row in without.rows if len(row.types) == 1 and row.planned}
    assert costs[32] == 4 * 58 + 12 * Fraction("61.50"), "a row whose own types are priced still says its cost"


def test_the_cheaper_of_two_is_unbeaten_only_where_cost_counts() -> None:
    """512 GiB of 32 GiB modules are slower and leave no slot free, but cost less than those of 64 GiB."""

    def unbeaten(comparison: Comparison) -> set[int]:
        rows = [row for row in comparison.rows if row.request.capacity_gib == 512 and len(row.types) == 1]
        return {row.types[0].capacity_gib for row in rows if row.unbeaten}

    assert unbeaten(stocked()) == {32, 64, 128}
    assert unbeaten(skerry(processors=("tern-20",), capacities=("512GiB",))) == {64, 128}


def test_what_lies_above_the_allowance_comes_after_the_rest() -> None:
    """Two modules of 64 GiB are the cheapest way to 100 GiB, but they are 28 % more."""
    shelf = priced_shelf()
    cheap = tuple(replace(lot, price=Fraction(9)) if lot.module.capacity_gib == 64 else lot for lot in shelf.lots)
    board, shelf = load_board("skerry-16"), replace(shelf, lots=cheap)
    rows = compare(board, capacities=["100GiB"], shelf=shelf, prefer="cost-first").rows
    above = [row.outside for row in rows if row.planned]
    assert above == sorted(above) and set(above) == {True, False}
    assert rows[0].is_answer and rows[0].picked_by and not any(row.picked_by for row in rows if row.outside)
    assert rows[0].cost != min(row.cost for row in rows if row.cost is not None)


def test_what_a_processor_swap_does() -> None:
    report = report_of("skerry")
    texts = {group.capacity_gib: swap_text(report, before, group.answer) for before, group in report.swaps}
    assert texts[96] == "281.6 to 230.4 GB/s (-18.2 %), 2933 to 2400 MT/s"
    slow = compare(load_board("skerry-16"), capacities=["1.75TiB"], processors=["tern-20", "tern-12"])
    report = Report(slow, board_name="skerry-16")
    assert [swap_text(report, before, group.answer) for before, group in report.swaps] == ["nothing fits"]


def test_modules_faster_or_larger_than_a_processor_allows() -> None:
    limits = {(limit.processor, limit.kind, limit.module.capacity_gib): limit for limit in skerry().limits}
    assert limits["tern-12", "rate", 32].allowed == 2400
    assert not any(processor == "tern-20" and kind == "rate" for processor, kind, _ in limits)
    assert (limits["tern-20", "ceiling", 128].allowed, limits["tern-20", "ceiling", 128].slots) == (8, 10)
    assert (limits["tern-12", "ceiling", 128].allowed, limits["tern-12", "ceiling", 128].slots) == (6, 10)
    assert ("tern-20", "ceiling", 64) not in limits
    ceiling = 768
    for row in skerry().rows:
        if row.request.processor == "tern-12" and row.figures:
            assert all(socket.capacity_gib <= ceiling for socket in row.figures.sockets)


def test_rows_that_nothing_fits_name_the_nearest() -> None:
    row = next(r for r in skerry().rows if r.request.capacity_gib == 1536 and r.types[0].capacity_gib == 8)
    assert row.planned is None and row.below_gib == 128
    with pytest.raises(ImpossibleError) as caught:
        plan(skerry().board, row.request)
    assert (caught.value.below_gib, caught.value.above_gib) == (row.below_gib, row.above_gib)


@pytest.mark.parametrize("seed", range(1))
def test_the_order_of_options_does_not_matter(seed: int) -> None:
    random_ = random.Random(seed)
    board = load_board("skerry-16")
    capacities, modules, processors = ["512GiB", "96GiB", "384 GB"], ["32GiB", "64GiB", "16GiB"], ["tern-12", "tern-20"]
    first = compare(board, capacities=capacities, modules=modules, processors=processors)
    for each in (capacities, modules, processors):
        random_.shuffle(each)
    second = compare(board, capacities=capacities * 2, modules=modules, processors=processors)
    records = [CompareDocument.of(Report(each, board_name="skerry-16")).plain() for each in (first, second)]
    assert records[0] == records[1]


def test_every_problem_of_a_call_is_named_once() -> None:
    with pytest.raises(InputError) as caught:
        compare(
            load_board("skerry-16"),
            capacities=["384", "12 apples", "512GiB"],
            modules=["3GiB"],
            processors=["tern-21", "tern-12"],
            prefer="cheapest",
        )
    assert sorted(problem.file for problem in caught.value.problems) == [
        "--capacity",
        "--capacity",
        "--module",
        "--prefer",
        "--processor",
    ]


def test_a_refused_module_and_refused_sockets() -> None:
    board = load_board("skerry-16")
    with pytest.raises(RefusedError):
        compare(board, modules=["32GB 2Rx8 PC5-4800B-R"])
    with pytest.raises(ImpossibleError) as caught:
        compare(board, fitted="FAR")
    assert caught.value.causes[0].rule == "near-boots-alone"


def test_too_large_a_table_is_refused() -> None:
    with pytest.raises(InputError, match="at most"):
        compare(load_board("skerry-16"), capacities=[f"{number}GiB" for number in range(1, 1001)])


def test_an_empty_shelf_fits_nothing() -> None:
    board = load_board("skerry-16")
    shelf = priced_shelf(count=0)
    shelf = replace(shelf, lots=shelf.lots[:-1])
    found = compare(board, capacities=["96GiB", "192GiB"], shelf=shelf)
    assert [(row.request.capacity_gib, row.planned) for row in found.rows] == [(96, None), (192, None)]
    assert ask(board, "96GiB", shelf=shelf).supplies == ()


def test_rows_are_frozen() -> None:
    row: Row = skerry().rows[0]
    with pytest.raises(AttributeError):
        row.unbeaten = True  # type: ignore[misc]
