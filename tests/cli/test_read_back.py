"""A plan that is read back is judged by every command: nothing that follows from its slots is believed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dimmplan.cli.run import run
from tests.support import one_document, sampled

Plan = dict[str, Any]
PLAN = ["plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB"]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a plan, and a machine that is just as planned."""
    folder = tmp_path_factory.mktemp("made")
    assert run([*PLAN, "--out", str(folder)]) == 0
    plan = json.loads((folder / "plan.json").read_text(encoding="ascii"))
    label = plan["modules"][0]["label"]
    rows = [f"{slot},{label if key else 'empty'}\n" for slot, key in plan["slots"].items()]
    (folder / "machine.csv").write_text("slot,label\n" + "".join(rows), encoding="utf-8")
    return folder


@pytest.fixture
def plan(made: Path) -> Plan:
    loaded: Plan = json.loads((made / "plan.json").read_text(encoding="ascii"))
    return loaded


def words(folder: Path) -> str:
    """All that the sheet in a folder says."""
    return " ".join(re.sub(r"<[^>]*>", " ", path.read_text(encoding="utf-8")) for path in folder.glob("x*.svg"))


def answers(path: Path, made: Path, out: Path) -> Iterator[tuple[str, list[str]]]:
    """Every command that reads a plan back."""
    machine = str(made / "machine.csv")
    yield "draw", ["draw", str(path), "-o", str(out / "x.svg"), "--json"]
    yield "page", ["draw", str(path), "-o", str(out / "x.html"), "--json"]
    yield "change", ["draw", str(path), "--from", machine, "-o", str(out / "change.svg"), "--json"]
    yield "why", ["why", str(path), "K1", "--json"]
    yield "audit", ["audit", machine, "--against", str(path), "--json"]
    yield "moves", ["moves", machine, "--to", str(path), "--json"]


def gap(plan: Plan) -> None:
    plan["slots"]["K1"], plan["slots"]["K2"] = None, plan["slots"]["K1"]


def other_generation(plan: Plan) -> None:
    plan["modules"][0]["label"] = "32GB 2Rx8 PC5-4800B-R"


BROKEN: dict[str, Callable[[Plan], object]] = {"a gap": gap, "another generation": other_generation}
LIES: dict[str, tuple[Callable[[Plan], object], str]] = {
    "rate": (lambda plan: plan["totals"].update(rate_mts=4800), "totals.rate_mts"),
    "sweep": (lambda plan: plan["sockets"][0].update(sweep_gb_s=999.9), "sockets[1].sweep_gb_s"),
    "capacity asked": (lambda plan: plan["request"].update(capacity_gib=999), "code"),
    "status": (lambda plan: plan.update(status="best-found"), "code"),
    "code": (lambda plan: plan.update(code=plan["code"][:-1] + ("7" if plan["code"][-1] != "7" else "8")), "code"),
    "order": (lambda plan: plan["install_order"].reverse(), "install_order"),
    "count": (lambda plan: plan["modules"][0].update(count=11), "modules[1].count"),
    "digest": (lambda plan: plan["board"].update(electrical_digest="0" * 12), "code"),
}


@pytest.mark.parametrize("name", sampled([*BROKEN, *LIES], 3))
def test_every_command_tells_a_plan_that_lies_or_breaks_a_rule(
    name: str, plan: Plan, made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 1, the sheet is drawn all the same, and never says *proven*."""
    change, place = LIES.get(name) or (BROKEN[name], "")
    change(plan)
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(plan), encoding="ascii")
    for command, call in answers(path, made, tmp_path):
        capsys.readouterr()
        assert run(call) == 1, command
        document = one_document(capsys.readouterr().out)
        causes = document["causes"] if command == "why" and name in BROKEN else document["plan"]["causes"]
        assert causes, command
        if name in LIES:
            assert any(f"{path}: {place}: " in cause["text"] for cause in causes), command
            assert document["plan"]["agrees_with_itself"] is False
    said = words(tmp_path)
    assert "proven when planned" not in said and "proven when planned" not in (tmp_path / "x.html").read_text("utf-8")
    assert ("DOES NOT OBEY THE BOARD" in said) is (name in BROKEN)


def test_a_plan_as_it_was_written_is_good_and_says_so_everywhere(
    plan: Plan, made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for _, call in answers(made / "plan.json", made, tmp_path):
        capsys.readouterr()
        assert run(call) == 0
        assert "plan" not in one_document(capsys.readouterr().out)
    assert words(tmp_path).count("proven when planned") == 1
    assert run(["draw", plan["code"], "-o", str(tmp_path / "code.svg")]) == 0
    names = {"map.svg": "x.svg", "map-2.svg": "x-2.svg"}
    for drawn, again in names.items():
        assert (made / drawn).read_bytes() == (tmp_path / again).read_bytes()
        assert (made / drawn).read_bytes() == (tmp_path / again.replace("x", "code")).read_bytes()


def test_what_a_plan_does_not_say_is_no_lie_but_proves_nothing(plan: Plan, tmp_path: Path) -> None:
    """A plan of slots alone, as a script may write it."""
    for key in ("code", "totals", "sockets", "install_order", "blanks", "dead", "criteria"):
        del plan[key]
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="ascii")
    assert run(["draw", str(tmp_path / "plan.json"), "-o", str(tmp_path / "x.svg")]) == 0
    assert "not proven" in words(tmp_path) and "proven when" not in words(tmp_path)


def test_the_plan_of_another_board_is_refused_whatever_its_digest(
    plan: Plan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Also of a copy of the board under another id, which has the same wiring."""
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="ascii")
    copy = Path("boards/skerry-16.toml").read_text(encoding="utf-8").replace('id = "skerry-16"', 'id = "holm-16"')
    (tmp_path / "holm-16.toml").write_text(copy, encoding="utf-8")
    for call in (
        ["why", str(tmp_path / "plan.json")],
        ["draw", str(tmp_path / "plan.json"), "-o", str(tmp_path / "x.svg")],
    ):
        assert run([*call, "--board-file", str(tmp_path / "holm-16.toml")]) == 2
        assert "board.id: found 'skerry-16'; allowed: 'holm-16'" in capsys.readouterr().err
    assert not (tmp_path / "x.svg").exists()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda plan: plan["modules"].append(plan["modules"][0]), "modules: found 'a'; allowed: each key once"),
        (lambda plan: plan["slots"].update(Z9="a"), "'Z9'; allowed: slots of the board"),
        (lambda plan: plan.update(sheet={"title": "a\x1b[31m"}), "sheet.title"),
        (lambda plan: plan["board"].update(id="folder/skerry-16"), "board.id: found 'folder/skerry-16'"),
        (lambda plan: plan["board"].update(id="skerri-16"), "Did you mean skerry-16?"),
    ],
)
def test_a_plan_that_cannot_be_read_is_refused(
    change: Callable[[Plan], object], told: str, plan: Plan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    change(plan)
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="ascii")
    assert run(["why", str(tmp_path / "plan.json")]) == 2
    assert told in capsys.readouterr().err


def test_a_slot_named_twice_is_refused(made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (made / "plan.json").read_text(encoding="ascii").replace('"K2": null', '"K1": null')
    (tmp_path / "plan.json").write_text(text, encoding="ascii")
    assert run(["why", str(tmp_path / "plan.json")]) == 2
    assert "the key 'K1' twice" in capsys.readouterr().err


def test_prove_searches_again(plan: Plan, made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A good plan, one that proves nothing by itself, one that another beats; a plan over a machine is refused."""
    code, out = plan["code"], ["-o", str(tmp_path / "x.svg"), "--prove", "--json"]
    assert run(["draw", code, *out]) == 0
    assert one_document(capsys.readouterr().out)["proof"] == {"proven": True, "better": None}
    del plan["code"]
    (tmp_path / "slots.json").write_text(json.dumps(plan), encoding="ascii")
    assert run(["draw", str(tmp_path / "slots.json"), *out]) == 0
    assert "proven when planned" in words(tmp_path)
    for slot, empty in (("K2", "Y1"), ("L2", "X1"), ("P2", "W1")):
        plan["slots"] |= {slot: "a", empty: None}
    plan = {key: value for key, value in plan.items() if key not in ("totals", "sockets", "install_order", "blanks")}
    (tmp_path / "worse.json").write_text(json.dumps(plan), encoding="ascii")
    capsys.readouterr()
    assert run(["draw", str(tmp_path / "worse.json"), *out]) == 1
    better = one_document(capsys.readouterr().out)["proof"]["better"]
    assert "Y1" in better["slots"] and better["criterion"].endswith("sweep")
    assert run(["draw", str(tmp_path / "worse.json"), *out[:-1]]) == 1
    assert "a better placement exists: " in capsys.readouterr().out
    assert "not proven" in words(tmp_path)
    (tmp_path / "kept.json").write_text(json.dumps(plan | {"kept": {}}), encoding="ascii")
    assert run(["draw", str(tmp_path / "kept.json"), *out]) == 2


def test_title_tag_and_date_travel_in_the_plan_and_options_of_draw_win(tmp_path: Path) -> None:
    given = ["--tag", "QUAY-07", "--title", "Rack one", "--date", "2026-11-29"]
    assert run([*PLAN, *given, "--out", str(tmp_path)]) == 0
    plan = str(tmp_path / "plan.json")
    assert run(["draw", plan, "-o", str(tmp_path / "x.svg")]) == 0
    assert (tmp_path / "x.svg").read_bytes() == (tmp_path / "map.svg").read_bytes()
    assert run(["draw", plan, "-o", str(tmp_path / "x.svg"), "--tag", "HOLM-1"]) == 0
    assert "HOLM-1" in words(tmp_path) and "QUAY-07" not in words(tmp_path) and "Rack one" in words(tmp_path)


@pytest.mark.parametrize("words_given", ["a\nb", "\x1b[31m", "a\u202eb", "x" * 201])
@pytest.mark.parametrize("option", ["--title", "--tag", "--date"])
def test_words_that_cannot_be_printed_are_refused(option: str, words_given: str, made: Path, tmp_path: Path) -> None:
    for call in (
        ["draw", str(made / "plan.json"), "-o", str(tmp_path / "x.svg")],
        [*PLAN, "--out", str(tmp_path / "o")],
    ):
        assert run([*call, option, words_given]) == 2
    assert list(tmp_path.iterdir()) == []


def test_a_plan_is_kept_where_its_sheet_cannot_be_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The answer is printed and written, the problem told, status 2."""
    from dimmplan.cli import sheets
    from dimmplan.errors import InputError, Problem

    def too_dense(*_: object, **__: object) -> None:
        raise InputError(Problem(file="sheet", place="paper", found="512 slots, too much for a4", allowed="a4"))

    monkeypatch.setattr(sheets, "sheet_files", too_dense)
    for as_json in ([], ["--json"]):
        assert run([*PLAN, "--out", str(tmp_path), *as_json]) == 2
        said = capsys.readouterr()
        assert "384 GiB" in said.out or one_document(said.out)["totals"]["capacity_gib"] == 384
        assert "too much for a4" in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]
