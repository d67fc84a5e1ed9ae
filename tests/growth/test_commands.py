"""``plan --then`` and ``plan --keep`` from outside: JSON, text, files, wrong calls; what is kept, held and released."""

from __future__ import annotations

import itertools
import json
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.run import run
from dimmplan.errors import ImpossibleError
from dimmplan.figures import placement_figures
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Request
from dimmplan.planner import ask
from dimmplan.rules import judge
from dimmplan.solve.answer import solve
from tests.support import one_document

BOARD = load_board("skerry-16")
M32, M16, M64 = "32GB 2Rx4 PC4-2933Y-R", "16GB 1Rx4 PC4-2933Y-R", "64GB 2Rx4 PC4-2933Y-R"
TWO = ("skerry-16", "--module", "32GiB", "--module", "64GiB", "--capacity", "384GiB")


def plan(capsys: pytest.CaptureFixture[str], *arguments: str | Path, status: int = 0) -> Any:
    """The JSON of a call."""
    assert run(["plan", *map(str, arguments), "--json"]) == status
    return one_document(capsys.readouterr().out)


def text_of(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    assert run(["plan", *map(str, arguments)]) == 0
    said = capsys.readouterr().out
    assert all(len(line) <= 80 for line in said.splitlines())
    return " ".join(said.split())


def content_of(labels: dict[str, str | None]) -> dict[str, Module | None]:
    return {slot: parse_label(label, usual=BOARD.modules) if label else None for slot, label in labels.items()}


def machine(tmp_path: Path, held: dict[str, str], *, leave_out: tuple[str, ...] = ()) -> Path:
    """A list of labels for every slot of the board but some; what is not said is empty."""
    rows = [f"{slot},{held.get(slot, 'empty')}" for slot in BOARD.slots if slot not in leave_out]
    path = tmp_path / "labels.csv"
    path.write_text("\n".join(["slot,label", *rows]) + "\n")
    return path


# Chains


def test_a_chain_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """Each step legal, around the one before, with figures that the figures module gives for its slots."""
    record = plan(capsys, *TWO, "--then", "640GiB", "--then", "768GiB")
    growth = record["growth"]
    assert growth["status"] == "best-found"
    assert [step["capacity_gib"] for step in growth["steps"]] == [384, 640, 768]
    before: dict[str, str | None] = {}
    for step in growth["steps"]:
        lying = content_of(step["slots"])
        assert not [b for b in judge(BOARD, BOARD.processor(None), ("NEAR", "FAR"), lying) if b.severity == "error"]
        figures = placement_figures(BOARD, BOARD.processor(None), ("NEAR", "FAR"), lying)
        assert figures.usable_gib == step["usable_gib"]
        assert float(figures.balanced_sweep_gb_s) == pytest.approx(step["balanced_sweep_gb_s"], abs=0.05)
        assert {slot: label for slot, label in before.items() if label}.items() <= step["slots"].items()
        added = sum(each["count"] for each in step["added"])
        assert added == sum(map(bool, step["slots"].values())) - sum(map(bool, before.values()))
        price = step["free"]["balanced_sweep_gb_s"] - step["balanced_sweep_gb_s"]
        assert step["price"]["balanced_sweep_gb_s"] == pytest.approx(price, abs=0.11)
        before = step["slots"]
    named = {each["key"]: each["label"] for each in record["modules"]}
    labels = {slot: named[key] if key else None for slot, key in record["slots"].items()}
    assert labels == growth["steps"][0]["slots"]
    names = [criterion["name"] for criterion in growth["criteria"]]
    assert names == [
        "advised_broken",
        "over_gib_1",
        "over_gib_2",
        "over_gib_3",
        "discarded",
        "smallest_sweep",
        "sum_of_sweeps",
        "bought",
    ]
    assert growth["path"] == {"bought": 16, "left_over": 0}
    assert growth["free_path"]["bought"] > 16


def test_the_price_of_a_path_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    said = text_of(capsys, *TWO, "--then", "640GiB")
    assert "best found" in said
    assert "at most 2 module types over the whole chain" in said
    assert "the path costs" in said
    assert "each step by itself would buy" in said


def test_moving_steps_say_their_moves(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("skerry-16", "--module", "32GiB", "--capacity", "256GiB", "--then", "384GiB", "--then-may-move")
    growth = plan(capsys, *arguments)["growth"]
    first, second = growth["steps"]
    kinds = [move["kind"] for move in second["change"]["moves"]]
    assert "pull" not in kinds
    assert kinds.count("insert") == 4
    assert kinds.count("keep") + kinds.count("move") == sum(each["count"] for each in first["modules"])


def test_files_of_every_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The first step where a plan always is, later ones in folders of their own; each can be drawn again."""
    out = tmp_path / "out"
    record = plan(capsys, *TWO, "--then", "640GiB", "--out", out)
    assert json.loads((out / "plan.json").read_text()).items() >= record.items()
    later = json.loads((out / "step-2" / "plan.json").read_text())
    assert later["request"]["capacity_gib"] == 640
    assert later["code"] == record["growth"]["steps"][1]["code"]
    assert run(["draw", str(out / "step-2" / "plan.json"), "-o", str(tmp_path / "again.svg")]) == 0
    assert (tmp_path / "again.svg").read_bytes() == (out / "step-2" / "map.svg").read_bytes()


def test_no_chain_is_the_answer_no(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What must stay is of two types already, and sixteen slots of those hold 496 GiB at most."""
    path = machine(tmp_path, {"K1": M32, "L1": M16})
    call = ("skerry-16", "--capacity", "384GiB", "--then", "512GiB", "--keep", path, "--keep-in-place")
    record = plan(capsys, *call, "--then-may-move", status=1)
    assert record["status"] == "impossible"
    assert record["causes"][0]["rule"] == "growth"
    assert "No way was found to reach 512 GiB after 384 GiB" in record["causes"][0]["text"]
    assert record["nearest"] == {"below_gib": 496, "above_gib": None}
    assert plan(capsys, *call, status=1)["causes"][0]["rule"] == "in-place"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--then", "256GiB"], "more than the step before"),
        (["--then", "384GiB"], "more than the step before"),
        (["--then", "512"], "unit is missing"),
        (["--then-may-move"], "--then C"),
        (["--keep-in-place"], "--keep INVENTORY"),
        (["--data-saved", "K1"], "--keep INVENTORY"),
        (["--then", "1TiB", *["--then", "2TiB"] * 5], "at most 5"),
        (["--keep", "none.csv"], "no such file"),
        (["--prefer", "fastest"], "capacity-first"),
    ],
)
def test_a_call_that_is_wrong(capsys: pytest.CaptureFixture[str], arguments: list[str], words: str) -> None:
    assert run(["plan", *TWO, *arguments]) == 2
    assert words in capsys.readouterr().err


def test_the_next_capacities_of_any_plan(capsys: pytest.CaptureFixture[str]) -> None:
    record = plan(capsys, *TWO)
    assert [each["usable_gib"] for each in record["next_by_adding"]] == [416, 448, 480, 512]
    assert all(each["added"] for each in record["next_by_adding"])
    assert "Next by adding only 416 GiB sweeps at" in text_of(capsys, *TWO)
    full = plan(capsys, "strand-12", "--capacity", "768GiB", "--module", "64GiB")
    assert full["next_by_adding"] == []


# What is in the machine


def test_kept_modules_are_used_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Fewest discarded, then fewest bought: six of 32 GiB stay in the machine, six more come; the list is upgrade."""
    lying = dict.fromkeys(("K1", "L1", "M1", "P1", "Q1", "R1"), M32)
    record = plan(capsys, "skerry-16", "--capacity", "384GiB", "--module", "32GiB", "--keep", machine(tmp_path, lying))
    assert record["prefer"] == "upgrade"
    kept = record["kept"]
    assert kept["discarded"] == 0
    assert kept["bought"] == [{"label": M32, "count": 6}]
    assert kept["change"]["stranded"] == []
    values = {criterion["name"]: criterion["value"] for criterion in record["criteria"]}
    assert (values["discarded"], values["bought"]) == (0, 6)
    assert [move["kind"] for move in kept["change"]["moves"]] == ["keep"] * 6 + ["insert"] * 6


FOUR = dict.fromkeys(("K1", "L1", "P1", "Q1"), M32)


def test_an_upgrade_that_slows_the_machine_is_a_warning(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four of 32 GiB sweep over 4 channels of 23464 MB/s; one of 64 more leaves 64 GiB over 2: 192 / (128/4 + 64/2)
    is three channels. Two more of 32 GiB make it six.
    """
    call = ("skerry-16", "--fitted", "NEAR", "--capacity", "192GiB", "--keep", machine(tmp_path, FOUR))
    record = plan(capsys, *call)
    peak = Fraction(2933 * 8, 1000)
    four, three, six = (float(round(count * peak, 1)) for count in (4, 3, 6))
    assert record["before"] == {
        "rate_mts": 2933,
        "balanced_sweep_gb_s": four,
        "worst_sweep_gb_s": four,
        "worst_socket": "NEAR",
    }
    (slower,) = [finding for finding in record["findings"] if finding["rule"] == "slower-than-now"]
    assert slower["severity"] == "warning"
    for words in (f"{four} GB/s", f"{three} GB/s", f"6 x {M32}, 192 GiB, {six} GB/s"):
        assert words in slower["text"]
    assert "slower-than-now" in text_of(capsys, *call)


def test_an_upgrade_that_is_faster_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call = ("skerry-16", "--fitted", "NEAR", "--capacity", "192GiB", "--keep", machine(tmp_path, FOUR))
    record = plan(capsys, *call, "--module", "32GiB")
    assert record["before"]["balanced_sweep_gb_s"] < record["totals"]["balanced_sweep_gb_s"]
    assert "slower-than-now" not in {finding["rule"] for finding in record["findings"]}
    assert {move["kind"] for move in record["kept"]["change"]["moves"]} == {"keep", "insert"}
    assert "before" not in plan(capsys, "skerry-16", "--capacity", "192GiB")


def test_what_cannot_be_told_has_no_before(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = machine(tmp_path, FOUR, leave_out=("M1",))
    assert plan(capsys, "skerry-16", "--fitted", "NEAR", "--capacity", "192GiB", "--keep", path)["before"] is None
    known = machine(tmp_path, FOUR | {"M1": "16GB NVDIMM"})
    before = plan(capsys, "skerry-16", "--fitted", "NEAR", "--capacity", "192GiB", "--keep", known)["before"]
    assert before["worst_socket"] == "NEAR"


def test_no_slower_is_the_cheapest_of_all_that_are_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With prices: against every count of the types on the shelf, each at its best."""
    (tmp_path / "shelf.csv").write_text(f"label,count,price,currency\n{M64},4,90,EUR\n{M32},4,70,EUR\n{M16},8,20,EUR\n")
    call = ("skerry-16", "--fitted", "NEAR", "--capacity", "192GiB", "--keep", machine(tmp_path, FOUR))
    record = plan(capsys, *call, "--stock", tmp_path / "shelf.csv")
    (slower,) = [finding for finding in record["findings"] if finding["rule"] == "slower-than-now"]
    request = ask(BOARD, "192GiB", modules=["16GiB", "32GiB", "64GiB"], fitted="NEAR", over="0%")
    price = {16: 20, 32: 70, 64: 90}
    costs = {}
    for counts in itertools.product(range(9), range(9), range(5)):
        modules = dict(zip((16, 32, 64), counts, strict=True))
        if sum(size * count for size, count in modules.items()) == 192 and sum(map(bool, counts)) <= 2:
            held = tuple(
                supply._replace(lots=(Lot(count=modules[supply.module.capacity_gib]),)) for supply in request.supplies
            )
            best = best_of(replace(request, supplies=held), modules)
            if best is not None and best >= 4 * Fraction(2933 * 8, 1000):
                bought = {size: max(0, count - 4 * (size == 32)) for size, count in modules.items()}
                costs[counts] = sum(price[size] * count for size, count in bought.items())
    cheapest = min(costs, key=costs.__getitem__)
    labels = {16: M16, 32: M32, 64: M64}
    for size, count in zip((16, 32, 64), cheapest, strict=True):
        assert (f"{count} x {labels[size]}" in slower["text"].split("cheapest")[1]) == bool(count)


def best_of(request: Request, modules: dict[int, int]) -> Fraction | None:
    """The highest sweep of just those modules."""
    try:
        answer = solve(BOARD, replace(request, prefer="bandwidth-first"), alternatives=False)
    except ImpossibleError:
        return None
    held = Counter(module.capacity_gib for module in answer.best.content.values() if module)
    assert held == Counter({size: count for size, count in modules.items() if count})
    return figures_of(answer.best.content)


def figures_of(content: dict[str, Module | None]) -> Fraction:
    return placement_figures(BOARD, BOARD.processor(None), ("NEAR",), content).system_sweep_gb_s


def test_stranded_modules_and_where_they_would_fit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A module that the capacity has no use for is left over, and the free slots that would take it are named."""
    arguments = ("skerry-16", "--capacity", "96GiB", "--fitted", "NEAR", "--keep")
    lying = dict.fromkeys(("K1", "L1", "M1", "P1", "Q1"), M32)
    path = machine(tmp_path, lying)
    (left,) = plan(capsys, *arguments, path)["kept"]["change"]["stranded"]
    assert (left["label"], left["count"]) == (M32, 2)
    assert left["fits"]
    assert "left over: 2 x" in text_of(capsys, *arguments, path)


def test_in_place_nothing_is_moved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What lies in a slot stays there, even where moving would sweep faster."""
    lying = {"K1": M32, "K2": M32, "P1": M32, "T1": M32}
    path = machine(tmp_path, lying)
    call = ("skerry-16", "--module", "32GiB", "--capacity", "256GiB", "--keep", path)
    placed = plan(capsys, *call, "--keep-in-place")
    moved = plan(capsys, *call)
    kinds = {move["kind"] for move in placed["kept"]["change"]["moves"]}
    assert kinds == {"keep", "insert"}
    assert all(placed["slots"][slot] for slot in lying)
    assert placed["kept"]["discarded"] == moved["kept"]["discarded"] == 0
    assert "move" in {move["kind"] for move in moved["kept"]["change"]["moves"]}
    assert moved["totals"]["balanced_sweep_gb_s"] > placed["totals"]["balanced_sweep_gb_s"]


def test_in_place_may_be_impossible_and_says_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = machine(tmp_path, {"K1": M32, "L1": M16, "M1": M64, "T1": M32})
    record = plan(capsys, "skerry-16", "--capacity", "384GiB", "--keep", path, "--keep-in-place", status=1)
    assert {cause["rule"] for cause in record["causes"]} >= {"max-types", "in-place"}
    record = plan(capsys, "skerry-16", "--capacity", "384GiB", "--keep", path, "--keep-in-place", "--max-types", "3")
    assert record["totals"]["usable_gib"] == 384


def test_a_chain_from_what_lies_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lying = dict.fromkeys(("K1", "P1", "T1", "W1"), M32)
    path = machine(tmp_path, lying)
    call = ("skerry-16", "--capacity", "256GiB", "--then", "384GiB", "--keep", path, "--keep-in-place")
    steps = plan(capsys, *call)["growth"]["steps"]
    for step in steps:
        assert lying.items() <= step["slots"].items()
    assert steps[1]["balanced_sweep_gb_s"] == 281.6
    assert [step["added"] for step in steps] == [[{"label": M32, "count": 4}]] * 2


def test_slots_on_hold_and_slots_not_told_are_never_planned(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A persistent module and a slot that the list leaves out; ``--data-saved`` releases each."""
    path = machine(tmp_path, {"K1": M32, "V1": "16GB NVDIMM"}, leave_out=("Y1",))
    call = ("skerry-16", "--module", "32GiB", "--capacity", "384GiB", "--keep", path)
    record = plan(capsys, *call)
    assert record["hold"] == ["V1", "Y1"]
    assert record["kept"]["unlisted"] == ["Y1"]
    assert record["slots"]["V1"] is None
    assert record["slots"]["Y1"] is None
    assert not {"V1", "Y1"} & {slot for each in record["next_by_adding"] for slot in (a["slot"] for a in each["added"])}
    free = plan(capsys, *call, "--data-saved", "V1", "--data-saved", "Y1")
    assert free["hold"] == []
    assert [each["slot"] for each in free["kept"]["released"]] == ["V1", "Y1"]
    assert free["totals"]["balanced_sweep_gb_s"] > record["totals"]["balanced_sweep_gb_s"]
    to = ("moves", str(path), "--to", free["code"], "--data-saved", "V1", "--data-saved", "Y1")
    assert run([*to, "--json"]) == 0
    told = one_document(capsys.readouterr().out)
    assert told["steps"] == free["kept"]["change"]["steps"] and told["released"] == ["V1", "Y1"]
    assert run([*to]) == 0 and "first take out what is in V1: its data is saved" in capsys.readouterr().out
    said = text_of(capsys, *call, "--data-saved", "V1")
    assert "out of V1: its data is saved" in said
    assert "not in the inventory, so not to be touched: Y1" in said


def test_hold_can_stand_in_the_way(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    held = dict.fromkeys(BOARD.socket("FAR").slots, "16GB NVDIMM")
    record = plan(capsys, "skerry-16", "--capacity", "384GiB", "--keep", machine(tmp_path, held), status=1)
    assert {cause["rule"] for cause in record["causes"]} == {"hold"}


def test_labels_that_the_board_cannot_tell_apart_are_one_type(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A faster label runs no faster here: with the usual one it is one type, named by what promises least."""
    lying = {"K1": "32GB 2Rx4 PC4-3200AA-R", "L1": M32, "P1": "32GB 2Rx4 PC4-3200AA-R", "T1": M32}
    record = plan(capsys, "skerry-16", "--capacity", "384GiB", "--max-types", "1", "--keep", machine(tmp_path, lying))
    assert [each["label"] for each in record["modules"]] == [M32]
    assert record["kept"]["discarded"] == 0
    assert record["kept"]["bought"] == [{"label": M32, "count": 8}]


def test_the_machine_with_a_shelf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Modules come from the machine first and cost nothing, then from the shelf; never more than there are."""
    (tmp_path / "shelf.csv").write_text(f"label,count,price,currency\n{M32},6,60,EUR\n")
    path = machine(tmp_path, dict.fromkeys(("K1", "L1", "M1", "P1", "Q1", "R1"), M32))
    call = ("skerry-16", "--keep", path, "--stock", tmp_path / "shelf.csv", "--capacity")
    record = plan(capsys, *call, "384GiB")
    assert record["totals"]["modules"] == 12
    assert record["totals"]["cost"] == 360
    assert plan(capsys, *call, "416GiB", status=1)["status"] == "impossible"


def test_a_socket_without_modules_is_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = text_of(capsys, "skerry-16", "--capacity", "384GiB", "--keep", machine(tmp_path, {"K1": M32}))
    assert "shows no module at FAR" in said


def test_a_step_that_the_one_before_it_reaches_adds_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    call = ("skerry-16", "--fitted", "NEAR", "--module", "64GiB", "--capacity", "130GiB", "--then", "190GiB")
    assert "adds nothing" in text_of(capsys, *call)
