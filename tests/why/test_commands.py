"""The three commands: exit status, one JSON document, help with an example that works, problems named at once."""

from __future__ import annotations

import json
import re

import pytest

from dimmplan.cli.run import run
from dimmplan.plancode.code import decode, encode, read_head
from tests.support import one_document
from tests.why.questions import world_of


def code_of(name: str) -> str:
    """The code of a named plan."""
    world = world_of(name)
    assert world.placement is not None
    return encode(world.board, world.placement)


def problems_of(capsys: pytest.CaptureFixture[str], *argv: str) -> list[dict[str, str]]:
    """The problems of a call that is wrong."""
    assert run([*argv, "--json"]) == 2
    return json.loads(capsys.readouterr().out)["errors"]


def test_unknown_slots_are_wrong_with_the_nearest_name(capsys: pytest.CaptureFixture[str]) -> None:
    """Wherever a slot is named: status 2, what was found, the nearest right spelling."""
    pairs, wrong = code_of("pairs"), "isle-F-hed"
    for argv in ((wrong,), ("--put", f"{wrong}=32GiB"), ("--clear", wrong), ("--without", wrong)):
        (problem,) = problems_of(capsys, "why", pairs, *argv)
        assert wrong in problem["found"] and "isle-F-head" in problem["hint"]
    both = problems_of(capsys, "why", pairs, "--expect", "isle-F-hed,shore-Y-tale")
    assert [("isle-F-head" in p["hint"], "shore-Y-tail" in p["hint"]) for p in both] == [(True, False), (False, True)]


def test_calls_that_are_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    """Two questions at once, a module without its question, a slot twice, a put without a module: status 2."""
    code = code_of("ten-six-even")
    wrong = {
        ("K1", "--next"): "one question",
        ("--next", "--expect", "K1,T1"): "one question",
        ("K1", "--module", "32GiB"): "--next",
        ("--put", "K2"): "SLOT=M",
        ("--put", "K2="): "",
        ("--put", "K2=32"): "unit",
        ("--put", "K2=32GiB", "--clear", "k2"): "once",
        ("--without", "K2"): "K1",
        ("--next", "--module", "33GiB"): "32 GiB",
        ("",): "shell",
    }
    for argv, said in wrong.items():
        problems = problems_of(capsys, "why", code, *argv)
        assert problems and said in " ".join(part for p in problems for part in p.values()), argv
    for argv, count in ((("32GiB",), 1), (("32GiB",) * 5, 1), (("1 2 3", "4 5 6"), 2)):
        assert len(problems_of(capsys, "mix", "skerry-16", *argv)) == count
    assert problems_of(capsys, "mix", "skerry-16", "32GiB", "64GiB", "--fitted", "NEAR,OUT")
    assert problems_of(capsys, "rules", "skery-16")[0]["hint"]


def test_a_plan_that_breaks_a_rule_is_a_no(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan file whose content breaks a rule: no reasons, status 1 with that rule; put and clear still answer."""
    assert run(["plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    record["slots"] |= {"K1": None, "K2": "a"}
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(record), encoding="utf-8")
    for argv in ((), ("K1",), ("--next",), ("--expect", "K1,T1"), ("--without", "T1")):
        assert run(["why", str(path), *argv, "--json"]) == 1
        answer = json.loads(capsys.readouterr().out)
        assert [cause["rule"] for cause in answer["causes"]] == ["fill-order"]
    assert run(["why", str(path), "--put", "K1=32GiB", "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert answer["allowed"] and [finding["rule"] for finding in answer["mended"]] == ["fill-order"]
    assert run(["why", str(path), "--clear", "T1", "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert [finding["rule"] for finding in answer["still_broken"]] == ["fill-order"]


def test_an_empty_plan_and_an_unknown_list(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan without modules is no plan; a preference list that is none is wrong, with the nearest name."""
    assert run(["plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    empty = record | {"slots": dict.fromkeys(record["slots"])}
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(empty), encoding="utf-8")
    (problem,) = problems_of(capsys, "why", str(path))
    assert problem["found"] == "'no module in any slot'"
    path.write_text(json.dumps(record | {"prefer": "capacity-frist"}), encoding="utf-8")
    (problem,) = problems_of(capsys, "why", str(path))
    assert "capacity-first" in problem["hint"]


# -- the change sheet ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["svg", "pdf"])
def test_a_change_is_drawn(ending: str, tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """From the plan's placement to the changed one, with the code of the changed one, which brings it back."""
    path = tmp_path / f"change.{ending}"
    command = ["why", code_of("ten-six-even"), "--put", "K2=32GiB", "--clear", "R1", "-o", str(path), "--json"]
    assert run(command) == 0
    captured = capsys.readouterr()
    answer = one_document(captured.out)
    pages = [str(path), str(tmp_path / f"change-2.{ending}")] if ending in ("svg", "png") else [str(path)]
    assert answer["files"] == pages and answer["allowed"]
    assert all(tmp_path.joinpath(page).stat().st_size for page in pages)
    assert captured.err.count("wrote ") == len(pages)
    if ending == "svg":
        drawn = path.read_text(encoding="utf-8")
        assert "CHANGE: 1 out, then 1 in" in drawn and "OUT to K2" in drawn
        world = world_of("ten-six-even")
        code = re.search(r"[0-9A-Z]{4}(-[0-9A-Z]{1,4}){4,}", drawn)
        assert code is not None
        after = decode(read_head(code[0]), world.board)
        assert after.content == world.having({"K2": world.module, "R1": None}) and after.status == "best-found"


def test_a_refused_change_is_not_drawn(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """The answer is the same no, status 1, and no file."""
    for argv in (("--clear", "K1"), ("--put", "K2=64GiB")):
        path = tmp_path / "no.svg"
        assert run(["why", code_of("ten-six-full"), *argv, "-o", str(path), "--json"]) == 1
        captured = capsys.readouterr()
        assert one_document(captured.out)["files"] == [] and not path.exists()
        assert "nothing is drawn" in captured.err


def test_sheets_asked_for_wrongly(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet without a change, a sheet option without a sheet, another ending, another paper: status 2, no file."""
    put = ("--put", "K2=32GiB")
    wrong = {
        ("--next", "-o", "x.svg"): "--put or --clear",
        ("-o", "x.svg"): "--put or --clear",
        (*put, "--tag", "QUAY-07"): "together with -o",
        (*put, "-o", "x.tiff"): ".svg",
        (*put, "-o", "x.svg", "--paper", "a3"): "letter",
    }
    for options, said in wrong.items():
        argv = [str(tmp_path / part) if part.startswith("x.") else part for part in options]
        problems = problems_of(capsys, "why", code_of("ten-six-even"), *argv)
        assert said in " ".join(part for p in problems for part in p.values()), argv
    assert not list(tmp_path.iterdir())
