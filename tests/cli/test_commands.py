"""The command line from outside: help, exit status, JSON, messages, files, and hostile input."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import typer

from dimmplan.boardfile.read import load_board, shipped_folder, shipped_ids
from dimmplan.cli.app import application
from dimmplan.cli.run import run
from dimmplan.solve.criteria import LISTS
from tests.docs import shell
from tests.inventory import build
from tests.support import one_document, sampled, shipped_raw, toml_text, unprintable

PROGRAM = [sys.executable, "-m", "dimmplan"]
PLAN = ["plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB"]


@dataclass(frozen=True)
class Said:
    """What a call ended with and wrote."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Standard output as the one JSON document that it is."""
        return one_document(self.out)


Call = Callable[..., Said]


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    """Calls the command line in this process; a fault of the program's own fails the test."""

    def called(*arguments: str) -> Said:
        status = run(list(arguments))
        captured = capsys.readouterr()
        for text in (captured.out, captured.err):
            assert "Traceback" not in text
            assert "an internal fault" not in text
        return Said(status, captured.out, captured.err)

    return called


def typed(command: str, folder: Path) -> tuple[int, str]:
    """A command line as typed into a shell in a folder: its status, and all that is shown."""
    with contextlib.chdir(folder):
        return shell.call(command)


# Help


def leaves(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every command that does something, by its words."""
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path
        return
    for name, each in inner.items():
        yield from leaves(each, (*path, name))


COMMANDS = sorted(leaves(typer.main.get_command(application(every=True))))


def test_the_commands_of_the_main_job_are_there() -> None:
    """The commands that the main job needs are among those found."""
    wanted = {("demo",), ("plan",), ("draw",), *(("boards", name) for name in ("list", "show", "check", "schema"))}
    assert wanted <= set(COMMANDS)


def example_of(words: tuple[str, ...], call: Call) -> str:
    said = call(*words, "--help")
    assert said.status == 0
    assert said.err == ""
    text = " ".join(said.out.split())
    assert text.startswith(f"Usage: dimmplan {' '.join(words)}")
    example = text.rpartition("Example: ")[2]
    assert example.startswith("dimmplan ")
    assert " ".join(words) in example
    return example


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_help_shows_an_example(words: tuple[str, ...], call: Call) -> None:
    """Every command's help says how it is used, ends with an example of it, and offers --json."""
    example_of(words, call)
    assert "--json" in call(*words, "--help").out


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files that examples speak of."""
    folder = tmp_path_factory.mktemp("prepared")
    shutil.copy(shipped_folder() / "skerry-16.toml", folder / "my-board.toml")
    assert typed("dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --json > plan.json", folder) == (0, "")
    record = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    labels = {module["key"]: module["label"] for module in record["modules"]}
    rows = [f"{slot},{labels[key]}" for slot, key in record["slots"].items() if key]
    (folder / "labels.csv").write_text("slot,label\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "listing.txt").write_text(build.listing([build.FILLED, build.EMPTY]), encoding="utf-8")
    (folder / "copied.csv").write_text("count,slots\n1,K1\n2,K1 L1\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_the_example_works(words: tuple[str, ...], call: Call, prepared: Path, tmp_path: Path) -> None:
    """The example of every command, typed as it stands beside the files it speaks of, ends with status 0."""
    example = example_of(words, call)
    written = re.findall(r"(?:-o|--output|--out|>) (\S+)", example)
    for path in prepared.iterdir():
        if path.name in example.split() and path.name not in written:
            shutil.copy(path, tmp_path)
    status, shown = typed(example, tmp_path)
    assert status == 0, shown
    for name in written:
        assert (tmp_path / name).exists()


def test_version_and_bare_call(call: Call) -> None:
    """--version says the version and the formats; a bare call shows the help."""
    said = call("--version")
    assert said.status == 0
    assert re.fullmatch(r"dimmplan \d+\.\d+\.\d+ \(.*format 1.*\)\n", said.out)
    assert "Usage: dimmplan" in call().out
    assert call("-h").out == call("--help").out


# Exit status


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (PLAN, 0),
        ([*PLAN, "--effort", "1"], 0),
        (["boards", "list"], 0),
        (["boards", "show", "skerry-16"], 0),
        (["boards", "show", "skerry-16", "--toml"], 0),
        (["boards", "schema"], 0),
        (["plan", "skerry-16", "--capacity", "512TiB"], 1),
        (["plan", "skerry-16", "--capacity", "384GiB", "--fitted", "FAR"], 1),
        (["plan", "skerry-16", "--capacity", "384GiB", "--module", "16GB 1Rx8 PC4-2933Y-E"], 1),
        (["plan", "skerry-16", "--capacity", "384GiB", "--module", "64GB 2Rx4 PC5-4800B-R"], 1),
        (["plan", "skerry-16", "--capacity", "384"], 2),
        (["plan", "skerry-16", "--capacity", "384XB"], 2),
        (["plan", "skerry-16", "--capacity", ""], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--out", ""], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--tag", ""], 0),
        (["plan", "skerry-16"], 2),
        (["plan"], 2),
        (["plan", "skery-16", "--capacity", "384GiB"], 2),
        (["plan", "", "--capacity", "384GiB"], 2),
        (["plan", "none.toml", "--capacity", "384GiB"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--module", "32GB 2Rx4 PC4-2934Y-R"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--module", "48GiB"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--fitted", "NEER"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--processor", "tern"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--prefer", "speed"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--mode", "turbo"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--over", "much"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--over", "-5%"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--max-types", "0"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--max-types", "five"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--effort", "0"], 2),
        (["plan", "skerry-16", "--capacity", "384GiB", "--colour"], 2),
        (["plan", "skerry-16", "saltern-24", "--capacity", "384GiB"], 2),
        (["boards", "show", "skery"], 2),
        (["boards", "check", "none.toml"], 2),
        (["boards", "check"], 2),
        (["board"], 2),
        (["draw"], 2),
        (["draw", "none.json", "-o", "map.svg"], 2),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else str(value),
)
def test_exit_status(arguments: list[str], status: int, call: Call) -> None:
    """0 done, 1 the answer is no, 2 the call or an input is wrong; with --json the same, and one document.

    What is wrong or refused is told on standard error alone; with --json nothing stands on standard error.
    """
    said = call(*arguments)
    assert said.status == status
    if status:
        assert said.out == ""
        assert said.err.startswith("error: " if status == 2 else "no: ")
    else:
        assert said.out
        assert said.err == ""
    if "--toml" in arguments:
        return
    machine = call(*arguments, "--json")
    assert machine.status == status
    assert machine.err == ""
    record = machine.json
    if status == 2:
        assert set(record) == {"format", "errors"}
        assert record["errors"]
        assert all(set(each) == {"file", "place", "found", "allowed", "hint"} for each in record["errors"])
        assert len(record["errors"]) == said.err.count("error: ")
    if status == 1:
        assert record["status"] in ("impossible", "refused")
        assert record["causes"]
        assert all({"rule", "text"} <= set(each) for each in record["causes"])


# Messages


def test_every_wrong_thing_of_a_call_is_told_at_once(call: Call) -> None:
    """Capacity, sockets, processor, module and list wrong in one call: five lines, each naming its option."""
    wrong = ["--capacity", "384", "--fitted", "FARR", "--processor", "tern-2", "--module", "5", "--prefer", "room"]
    said = call("plan", "skerry-16", *wrong)
    assert said.status == 2
    lines = said.err.splitlines()
    for option in ("--capacity", "--fitted", "--processor", "--module", "--prefer"):
        assert len([line for line in lines if line.startswith(f"error: {option}: ")]) == 1, option
    assert len(lines) == 5
    assert "Did you mean FAR?" in said.err
    assert "tern-20" in said.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["plan", "skery-16", "--capacity", "1GiB"], ["'skery-16'", "Did you mean skerry-16"]),
        (["boards", "show", "tombollo-32"], ["'tombollo-32'", "Did you mean tombolo-32"]),
        (["plan", "zzzzzz", "--capacity", "1GiB"], ["'zzzzzz'", "dimmplan boards list"]),
        (["plan", "skerry-16", "--capacity", "384"], ["'384'", "unit is missing", "384GiB?"]),
        (["plan", "skerry-16", "--capacity", "1,5TiB"], ["'1,5TiB'", "point, not a comma"]),
        (["plan", "skerry-16", "--capacity", "384XB"], ["'384XB'", "'XB'", "384GiB, 384 GB or 1.5TiB"]),
        (
            ["plan", "skerry-16", "--capacity", "1GiB", "--module", "32GB 2Rx4 PC4-2934Y-R"],
            ["'32GB 2Rx4 PC4-2934Y-R'", "no rate 2934", "2933"],
        ),
        (
            ["plan", "skerry-16", "--capacity", "1GiB", "--module", "32GB 3Rx4 PC4-2933Y-R"],
            ["not a module label", "Did you mean '32GB 2Rx4 PC4-2933Y-R'"],
        ),
        (["plan", "skerry-16", "--capacity", "1GiB", "--module", "48GiB"], ["48 GiB", "8 GiB, 16 GiB, 32 GiB"]),
        (["plan", "skerry-16", "--capacity", "1GiB", "--prefer", "rooms-first"], ["Did you mean room-first"]),
        (["plan", "skerry-16", "--capacity", "1GiB", "--mode", "miror"], ["'miror'", "mirrored"]),
        (["draw", "plan.json", "-o", "map.sgv"], ["'.sgv'", ".svg"]),
    ],
    ids=lambda value: " ".join(value[-2:]),
)
def test_messages_help(arguments: list[str], told: list[str], call: Call) -> None:
    """One line says what was found, what is allowed, and the nearest right spelling."""
    said = call(*arguments)
    assert said.status == 2
    assert len(said.err.splitlines()) == 1
    for words in told:
        assert words in said.err


def test_a_refused_module_names_its_rule(call: Call) -> None:
    """A readable module that the board refuses: status 1, every rule it breaks, and its source."""
    said = call("plan", "skerry-16", "--capacity", "384GiB", "--module", "64GB 2Rx4 PC5-4800B-R")
    assert said.status == 1
    assert "DDR5; allowed: DDR4" in said.err
    assert "[takes-generation, PRACTICE]" in said.err
    unbuffered = call("plan", "skerry-16", "--capacity", "384GiB", "--module", "16GB 1Rx8 PC4-2933Y-E", "--json")
    assert [cause["rule"] for cause in unbuffered.json["causes"]] == ["kinds"]


def test_what_stands_in_the_way_is_named(call: Call) -> None:
    """Impossible: the rules in the way and the nearest capacities, in words and in JSON."""
    arguments = ["plan", "skerry-16", "--capacity", "1100GiB", "--module", "128GiB", "--fitted", "NEAR"]
    said, record = call(*arguments), call(*arguments, "--json").json
    assert said.status == 1
    assert record["status"] == "impossible"
    assert record["format"] == 1
    assert [cause["rule"] for cause in record["causes"]] == ["processor:tern-20"]
    assert record["nearest"] == {"below_gib": 1024, "above_gib": None}
    assert "A socket holds at most 1 TiB" in said.err
    assert "nearest capacities that fit: 1 TiB below" in said.err


def test_an_advised_rule_that_lifts_the_capacity_is_named(call: Call) -> None:
    """Five modules at a socket are not advised there: six are planned, and the rule that did it is named."""
    words = ["plan", "saltern-24", "--fitted", "low", "--capacity", "160GiB", "--json"]
    lifted = call(*words, "--module", "32GiB").json
    assert lifted["totals"]["usable_gib"] == 192
    (named,) = [finding for finding in lifted["findings"] if finding["rule"] == "rounded-up"]
    assert "192 GiB is the next larger capacity that breaks no advised rule" in named["text"]
    assert "Rule even-counts: Without this advised rule 160 GiB would fit" in named["text"]
    assert (named["severity"], named["source"]) == ("note", "guide-07")
    more = call(*words, "--module", "32GiB", "--module", "16GiB").json
    assert "rounded-up" not in [finding["rule"] for finding in more["findings"]]


def test_nearest_capacities_on_both_sides(call: Call) -> None:
    """With one module size the capacities below and above an impossible one are the neighbours that fit."""
    arguments = ["plan", "causeway-48", "--capacity", "100GiB", "--module", "64GiB", "--over", "0GiB", "--json"]
    said = call(*arguments)
    assert said.status == 0  # nothing fits exactly, so the first above is given
    assert said.json["totals"]["usable_gib"] == 256
    (named,) = [finding["text"] for finding in said.json["findings"] if finding["rule"] == "rounded-up"]
    assert named.startswith("100 GiB was asked; 256 GiB is the next larger capacity that fits.")
    assert "between" not in named


def test_a_list_that_goes_far_above_the_request_says_so(call: Call) -> None:
    """64 GiB would be nearer, but it is above the allowance as well: this list takes what is fastest."""
    arguments = ["plan", "skerry-16", "--capacity", "40GiB", "--module", "32GiB", "--prefer", "bandwidth-first"]
    said = call(*arguments, "--json")
    (named,) = [finding["text"] for finding in said.json["findings"] if finding["rule"] == "rounded-up"]
    assert named.endswith("No capacity within the allowance fits. Of all above it bandwidth-first puts 384 GiB first.")


# JSON


PLAN_KEYS = {
    "format",
    "board",
    "fitted",
    "processor",
    "mode",
    "prefer",
    "request",
    "status",
    "stopped",
    "bound",
    "modules",
    "slots",
    "dead",
    "blanks",
    "hold",
    "install_order",
    "sockets",
    "totals",
    "criteria",
    "runners_up",
    "one_step",
    "findings",
    "code",
}
MODULE_KEYS = {
    "key",
    "label",
    "generation",
    "capacity_gib",
    "kind",
    "package_ranks",
    "logical_ranks",
    "device_width",
    "ecc_bits",
    "die_gbit",
    "rate_mts",
    "count",
}
SOCKET_KEYS = {
    "id",
    "capacity_gib",
    "usable_gib",
    "rate_mts",
    "rate_row",
    "peak_gb_s",
    "sweep_gb_s",
    "parallel_gb_s",
    "share",
    "regions",
}
TOTAL_KEYS = {
    "capacity_gib",
    "usable_gib",
    "modules",
    "free_slots",
    "rate_mts",
    "balanced_sweep_gb_s",
    "system_sweep_gb_s",
    "own_sweep_gb_s",
    "worst_sweep_gb_s",
    "worst_share",
    "socket_difference_gib",
    "cost",
}
SWEEP_KEYS = {"balanced_sweep_gb_s", "system_sweep_gb_s", "worst_sweep_gb_s"}
CHOICE_KEYS = {"capacity_gib", "modules", "slots", "gains", "loses"} | SWEEP_KEYS
CRITERIA = [
    "advised_broken",
    "over_gib",
    "balanced_sweep",
    "socket_difference_gib",
    "system_sweep",
    "worst_sweep",
    "worst_parallel",
    "controller_difference_gib",
    "regions",
    "narrowest_ways",
    "types",
    "low_rank_channels",
    "modules",
]


@pytest.mark.parametrize(
    "arguments",
    [
        PLAN,
        ["plan", "skerry-16", "--capacity", "640GiB", "--fitted", "near"],
        ["plan", "saltern-24", "--capacity", "160GiB", "--module", "32GiB", "--fitted", "low", "--over", "0GiB"],
        ["plan", "machair-20", "--capacity", "900GiB", "--over", "10%"],
        ["plan", "strand-12", "--capacity", "500GiB", "--effort", "1"],
    ],
    ids=" ".join,
)
def test_plan_json_has_the_stable_keys(arguments: list[str], call: Call) -> None:
    """Every key that people script against is there, at every depth, and the parts agree with each other."""
    said = call(*arguments, "--json")
    assert (said.status, said.err) == (0, "")
    record = said.json
    assert set(record) >= PLAN_KEYS
    assert record["format"] == 1
    assert set(record["board"]) >= {"id", "trust", "electrical_digest", "drawing_digest"}
    board = load_board(record["board"]["id"])
    assert record["board"]["trust"] == board.trust
    assert list(record["slots"]) == list(board.slots)
    assert record["mode"] == "independent"
    assert record["status"] in ("proven", "best-found")
    assert (record["stopped"] is None) == (record["status"] == "proven")

    counts = {module["key"]: module["count"] for module in record["modules"]}
    held = [key for key in record["slots"].values() if key is not None]
    assert {key: held.count(key) for key in set(held)} == counts
    assert list(counts) == sorted(counts)
    assert all(set(module) >= MODULE_KEYS for module in record["modules"])
    dead = [slot for socket in board.sockets if socket.id not in record["fitted"] for slot in socket.slots]
    assert record["dead"] == dead
    assert all(record["slots"][slot] is None for slot in (*dead, *record["blanks"], *record["hold"]))
    assert sorted(record["install_order"]) == sorted(slot for slot, key in record["slots"].items() if key)

    assert [socket["id"] for socket in record["sockets"]] == record["fitted"]
    for socket in record["sockets"]:
        assert set(socket) >= SOCKET_KEYS
        assert all(set(r) >= {"ways", "capacity_gib", "channels", "peak_gb_s"} for r in socket["regions"])
        assert all(r["ways"] == len(r["channels"]) for r in socket["regions"])
        assert socket["share"] == pytest.approx(socket["sweep_gb_s"] / socket["peak_gb_s"], abs=0.001)
    assert set(record["totals"]) >= TOTAL_KEYS
    assert record["totals"]["usable_gib"] == sum(socket["usable_gib"] for socket in record["sockets"])
    assert record["totals"]["modules"] == len(held)
    assert record["totals"]["worst_share"] == min(socket["share"] for socket in record["sockets"])

    assert [criterion["name"] for criterion in record["criteria"]] == CRITERIA
    for criterion in record["criteria"]:
        assert criterion["better"] in ("high", "low")
        exact = criterion["name"] in ("balanced_sweep", "system_sweep", "worst_sweep", "worst_parallel")
        assert isinstance(criterion["value"], str if exact else int)
        assert not exact or re.fullmatch(r"\d+(/\d+)?", criterion["value"])
    assert set(record["one_step"]) == {"above", "below"}
    beside = [*record["runners_up"], *(step for step in record["one_step"].values() if step)]
    for choice in beside:
        assert set(choice) >= CHOICE_KEYS
        assert list(choice["slots"]) == list(board.slots)
        assert sum(module["count"] for module in choice["modules"]) == sum(map(bool, choice["slots"].values()))
    for finding in record["findings"]:
        assert set(finding) >= {"rule", "severity", "where", "text", "source"}
        assert finding["severity"] in ("error", "warning", "note")


def test_install_order(call: Call) -> None:
    """Socket by socket, channels in board order, all first slots before any second slot."""
    order = call("plan", "skerry-16", "--capacity", "512GiB", "--module", "32GiB", "--json").json["install_order"]
    near = ["K1", "L1", "M1", "P1", "Q1", "R1", "K2", "L2", "P2", "Q2"]
    assert order == [*near, "T1", "U1", "V1", "W1", "X1", "Y1"]


@pytest.mark.parametrize("prefer", [prefer for prefer in LISTS if prefer not in ("upgrade", "cost-first")])
def test_criteria_stand_in_the_order_of_the_list(prefer: str, call: Call) -> None:
    """The vector names its criteria in the order of the list asked for; cost is left out without prices."""
    record = call(*PLAN, "--prefer", prefer, "--json").json
    assert record["prefer"] == prefer
    names = [criterion["name"] for criterion in record["criteria"]]
    assert names == [criterion.name for criterion in LISTS[prefer] if criterion.name != "cost"]


def test_best_found_tells_its_bound(call: Call) -> None:
    """With the effort cut the answer is the best found: still status 0, with why it stopped and a bound."""
    record = call("plan", "skerry-16", "--capacity", "700GiB", "--effort", "1", "--json").json
    assert record["status"] == "best-found"
    assert "limit of 1 node" in record["stopped"]
    assert record["bound"]["criterion"] in [criterion["name"] for criterion in record["criteria"]]
    text = call("plan", "skerry-16", "--capacity", "700GiB", "--effort", "1").out
    assert "best found, not proven: " in text


def test_boards_list_json(call: Call) -> None:
    """The board library by id, with counts that are the boards' own; the text names every board."""
    record = call("boards", "list", "--json").json
    assert record["format"] == 1
    assert [board["id"] for board in record["boards"]] == shipped_ids()
    for entry in record["boards"]:
        board = load_board(entry["id"])
        assert (entry["title"], entry["sockets"]) == (board.title, len(board.sockets))
        assert (entry["channels"], entry["slots"]) == (len(board.channels), len(board.slots))
    text = call("boards", "list").out
    assert all(board_id in text for board_id in shipped_ids())


def test_boards_show(call: Call) -> None:
    """A board in words, as JSON and as its own file."""
    board = load_board("skerry-16")
    text = call("boards", "show", "skerry-16").out
    assert all(slot in text for slot in board.slots)
    flat = " ".join(text.split())
    assert all(f"[{row.id}, {row.source}]" in flat for row in board.rules if row.check in ("mix", "ceiling", "fitted"))
    record = call("boards", "show", "skerry-16", "--json").json
    assert record["format"] == 1
    assert record["electrical_digest"] == board.electrical_digest
    toml = call("boards", "show", "skerry-16", "--toml").out
    assert toml == (shipped_folder() / "skerry-16.toml").read_text(encoding="utf-8")


def test_boards_check(call: Call, tmp_path: Path) -> None:
    """Good files are good (0); a faulty one is told fault by fault (1), and the good one beside it stays good."""
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    raw = shipped_raw("skerry-16")
    good.write_text(toml_text(raw), encoding="utf-8")
    raw["trust"], raw["rates"][1]["mts"] = "hearsay", 2667
    bad.write_text(toml_text(raw), encoding="utf-8")
    assert call("boards", "check", str(good)).status == 0
    said = call("boards", "check", str(good), str(bad))
    assert said.status == 1
    assert f"{good}: good" in said.out
    assert f"{bad}: 2 problems" in said.out
    line = bad.read_text(encoding="utf-8").splitlines().index('"trust" = "hearsay"') + 1
    assert f"{bad}:{line}: trust: found 'hearsay'" in said.out
    record = call("boards", "check", str(good), str(bad), "--json").json
    assert [len(each["problems"]) for each in record["files"]] == [0, 2]
    assert record["files"][1]["problems"][0]["line"] == line
    assert [each["id"] for each in record["files"]] == ["skerry-16", None]


def test_a_faulty_board_file_is_no_board(call: Call, tmp_path: Path) -> None:
    """Planning on a faulty file tells every fault and ends with status 2."""
    raw = shipped_raw("skerry-16")
    raw["trust"], raw["rates"][1]["mts"] = "hearsay", 2667
    path = tmp_path / "bad.toml"
    path.write_text(toml_text(raw), encoding="utf-8")
    said = call("plan", str(path), "--capacity", "384GiB")
    assert said.status == 2
    assert len(said.err.splitlines()) == 2


def test_a_board_of_ones_own(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A board file plans by its path, and by its id from a folder of DIMMPLAN_BOARDS."""
    raw = shipped_raw("skerry-16") | {"id": "own-16", "title": "Own board"}
    (tmp_path / "own-16.toml").write_text(toml_text(raw), encoding="utf-8")
    by_path = call("plan", str(tmp_path / "own-16.toml"), "--capacity", "384GiB", "--json")
    assert by_path.status == 0
    assert call("plan", "own-16", "--capacity", "384GiB").status == 2
    monkeypatch.setenv("DIMMPLAN_BOARDS", f"{tmp_path / 'none'}{os.pathsep}{tmp_path}")
    assert call("plan", "own-16", "--capacity", "384GiB", "--json").json == by_path.json


def test_boards_list_tells_boards_of_ones_own(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Boards of DIMMPLAN_BOARDS stand among the shipped ones; files that hold no board of their name are told."""
    raw = shipped_raw("skerry-16") | {"id": "own-16", "title": "Own board"}
    (tmp_path / "own-16.toml").write_text(toml_text(raw), encoding="utf-8")
    (tmp_path / "another.toml").write_text(toml_text(raw), encoding="utf-8")
    (tmp_path / "half.toml").write_text("format = 1", encoding="utf-8")
    monkeypatch.setenv("DIMMPLAN_BOARDS", str(tmp_path))
    said = call("boards", "list", "--json")
    assert said.status == 0
    assert [board["id"] for board in said.json["boards"]] == sorted([*shipped_ids(), "own-16"])
    assert "another.toml: it holds own-16" in said.err
    assert "half.toml: 6 problems" in said.err


def test_sockets_that_may_not_be_fitted_so_are_told_with_those_that_may(call: Call) -> None:
    said = call("plan", "skerry-16", "--capacity", "64GiB", "--fitted", "FAR")
    assert said.status == 1
    assert "FAR may not be fitted alone; allowed: NEAR or NEAR + FAR." in " ".join((said.out + said.err).split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["plan", "skerry-16", "--capcity", "1GiB"],
            "found '--capcity'; allowed: an option of this command. Did you mean --capacity?",
        ),
        (
            ["plan", "skerry-16", "--capacity", "384GiB", "--paper", "a7"],
            "--paper: found 'a7'; allowed: a4, letter, a5. Did you mean a5 or a4?",
        ),
        (["plan", "skerry-16", "--capacity", "384GiB", "--ink", "gray"], "--ink: found 'gray'; allowed: colour, mono"),
        (["boards", "list", "-q"], "It stands before the command: dimmplan -q boards list."),
        (
            ["--capacity", "1GiB"],
            "dimmplan: found '--capacity'; allowed: an option of this command. See: dimmplan --help",
        ),
    ],
)
def test_options_that_are_none_are_told_with_what_is_meant(call: Call, arguments: list[str], said: str) -> None:
    """The nearest option, or where the option of all commands stands."""
    told = call(*arguments)
    assert told.status == 2
    assert said in told.err


def test_a_board_that_is_not_at_hand_is_asked_for(call: Call, tmp_path: Path) -> None:
    """A wrong id is told with where boards are found, a plan of an unknown board with how to give its file."""
    assert "DIMMPLAN_BOARDS" in call("plan", "xyz", "--capacity", "384GiB").err
    raw = shipped_raw("skerry-16") | {"id": "own-16"}
    (tmp_path / "own-16.toml").write_text(toml_text(raw), encoding="utf-8")
    plan = tmp_path / "plan.json"
    made = call("plan", str(tmp_path / "own-16.toml"), "--capacity", "384GiB", "--json").out
    plan.write_text(made, encoding="utf-8")
    said = call("why", str(plan), "K1")
    assert said.status == 2
    assert "--board-file" in said.err
    assert call("why", str(plan), "K1", "--board-file", str(tmp_path / "own-16.toml")).status == 0


# Hostile input

HOSTILE = {
    "escape": "\x1b[31m\x1b]0;title\x07",
    "override": "\u202e\u2066txt\u2069",
    "markup": "[bold red]x[/] <b>&amp;</b> {0} %s",
    "control": "a\rb\x08\x7f\x9b31m",
    "surrogate": "\udcff\ud800",
    "long": "x" * 20_000,
    "blank": " \t ",
    "newline": "a\nerror: forged",
}
SAID_BY_USAGE = [
    ["plan", "skerry-16", "--capacity", "1GiB", "--{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "and {}"],
]
SAID_BY_ARGUMENTS = [
    ["plan", "{}", "--capacity", "1GiB"],
    ["plan", "{}.toml", "--capacity", "1GiB"],
    ["plan", "skerry-16", "--capacity", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--module", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--fitted", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--processor", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--prefer", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--mode", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--over", "{}"],
    ["plan", "skerry-16", "--capacity", "1GiB", "--max-types", "{}"],
    ["boards", "show", "{}"],
    ["boards", "check", "{}"],
    ["boards", "{}"],
    ["{}"],
    ["draw", "{}", "-o", "map.svg"],
    ["draw", "plan.json", "-o", "map.{}"],
    ["draw", "plan.json", "-o", "map.svg", "--paper", "{}"],
]

HOSTILE_CALLS = [
    pytest.param(arguments, text, id=f"{' '.join(arguments)} {name}")
    for name, text in HOSTILE.items()
    for arguments in (*SAID_BY_ARGUMENTS, *(SAID_BY_USAGE if name != "override" else ()))
]


@pytest.mark.parametrize(("arguments", "text"), sampled(HOSTILE_CALLS, 35))
def test_hostile_arguments(arguments: list[str], text: str, call: Call, tmp_path: Path, monkeypatch: Any) -> None:
    """Control characters, overrides, markup, surrogates in any argument: status 2, printable lines, no forged ones."""
    monkeypatch.chdir(tmp_path)
    filled = [argument.replace("{}", text) for argument in arguments]
    said = call(*filled)
    if said.status == 0:
        assert text.isspace() and arguments[-1] == "{}"  # blanks alone say nothing
        return
    assert said.status == 2
    assert list(unprintable(said.out + said.err)) == []
    assert all(line.startswith("error: ") for line in said.err.splitlines())
    assert "error: forged" not in said.err.splitlines()
    if text in (HOSTILE["escape"], HOSTILE["surrogate"]):
        assert call(*filled, "--json").json["errors"]


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02\xff\xfe" * 100, b"{" * 200_000, b"[1, 2", b"null", b'"text"'])
def test_files_that_are_no_plan(content: bytes, call: Call, tmp_path: Path) -> None:
    """Empty, binary, endlessly nested and other files as a plan: status 2 and printable lines."""
    path = tmp_path / "plan.json"
    path.write_bytes(content)
    said = call("draw", str(path), "-o", str(tmp_path / "map.svg"))
    assert said.status == 2
    assert list(unprintable(said.err)) == []
    assert str(path) in said.err and "_Read" not in said.err
    assert not (tmp_path / "map.svg").exists()


def test_a_huge_plan_and_a_folder(call: Call, tmp_path: Path) -> None:
    """A plan of more than a few megabytes is refused unread, and so is a folder."""
    path = tmp_path / "plan.json"
    path.write_bytes(b" " * (8 << 20))
    said = call("draw", str(path), "-o", str(tmp_path / "map.svg"))
    assert said.status == 2
    assert "more than 4 MiB" in said.err
    assert call("draw", str(tmp_path), "-o", str(tmp_path / "map.svg")).status == 2


@pytest.mark.parametrize("content", [b"", b"\x00" * 99, b"\xff\xfe\x00", b"#" * (2 << 20), b"a = [" + b"[" * 9999])
@pytest.mark.parametrize("words", [["boards", "check"], ["boards", "show"], ["plan"]], ids=" ".join)
def test_files_that_are_no_board(words: list[str], content: bytes, call: Call, tmp_path: Path) -> None:
    """Empty, binary, huge and endlessly nested board files: one printable problem; checked 1, otherwise 2."""
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    said = call(*words, str(path), *(["--capacity", "1GiB"] if words == ["plan"] else []))
    assert said.status == (1 if words == ["boards", "check"] else 2)
    told = (said.out if said.status == 1 else said.err).splitlines()
    assert len([line for line in told if "found" in line]) == 1
    assert list(unprintable(said.out + said.err)) == []


@pytest.mark.parametrize("text", [HOSTILE["escape"], HOSTILE["override"], HOSTILE["control"]])
@pytest.mark.parametrize(
    "place",
    [
        ("title",),
        ("physical", "landmarks", 0, "name"),
        ("physical", "access", 0),
        ("processors", 0, "id"),
        ("rules", 0, "id"),
        ("electrical", "sockets", 1, "controllers", "port", "T", 0),
        ("electrical", "sockets", 1, "id"),
        ("modules", 0),
        ("trust",),
        ("id",),
    ],
    ids=str,
)
def test_hostile_names_in_a_board_file(place: tuple[str | int, ...], text: str, call: Call, tmp_path: Path) -> None:
    """Names with control characters or overrides are problems, and are told without printing them raw."""
    raw = shipped_raw("skerry-16")
    here: Any = raw
    for part in place[:-1]:
        here = here[part]
    here[place[-1]] = f"a{text}"[:40]
    path = tmp_path / "mine.toml"
    path.write_text(toml_text(raw), encoding="utf-8")
    said = call("boards", "check", str(path))
    assert said.status == 1
    assert list(unprintable(said.out + said.err)) == []
    assert call("plan", str(path), "--capacity", "384GiB").status == 2


def test_markup_in_a_board_file_is_only_text(call: Call, tmp_path: Path) -> None:
    """What looks like markup is printed as it stands."""
    title = "[bold]Own[/bold] <b>board</b> %s {0}"
    path = tmp_path / "mine.toml"
    path.write_text(toml_text(shipped_raw("skerry-16") | {"title": title}), encoding="utf-8")
    said = call("plan", str(path), "--capacity", "384GiB")
    assert said.status == 0
    assert title in said.out


# Pipes and terminals


def test_a_closed_pipe_leaves_no_traceback(tmp_path: Path) -> None:
    """Whoever stops reading early gets no traceback, however much was to be written."""
    for command in ("boards schema", "plan marram-4 --capacity 64GiB --json"):
        process = subprocess.Popen([*PROGRAM, *command.split()], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        told = process.stderr.read()
        process.stderr.close()
        process.wait(timeout=60)
        assert told == b"", command


@pytest.mark.parametrize("variables", [{"NO_COLOR": "1", "TERM": "xterm-256color"}, {"TERM": "dumb"}], ids=str)
def test_no_colour_on_a_terminal(variables: dict[str, str], tmp_path: Path) -> None:
    """With NO_COLOR, or on a terminal that can do nothing, answer and errors carry no escape."""
    environment = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR")}
    for arguments, status in sampled(((["boards", "show", "skery"], 2), (["boards", "show", "marram-4"], 0)), 1):
        near, far = pty.openpty()
        process = subprocess.Popen([*PROGRAM, *arguments], stdout=far, stderr=far, env=environment | variables)
        os.close(far)
        told = b""
        while True:
            try:
                piece = os.read(near, 65536)
            except OSError:  # the far end is closed
                break
            if not piece:
                break
            told += piece
        os.close(near)
        assert process.wait(timeout=60) == status
        assert told
        assert b"\x1b" not in told


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_any_encoding_of_the_terminal(encoding: str) -> None:
    """What an encoding cannot carry never ends the answer: it is escaped, or UTF-8 goes out all the same."""
    environment = os.environ | {"LC_ALL": "C", "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    done = subprocess.run(
        [*PROGRAM, "plan", "saltern-24", "--capacity", "1536GiB", "--module", "128GiB"],
        capture_output=True,
        env=environment,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    told = done.stdout.decode("latin-1" if encoding == "latin-1" else "utf-8")
    assert re.search(r"inlet of at most 30 (°|deg )C", " ".join(told.split()))


def test_the_same_call_gives_the_same_bytes() -> None:
    """Two processes with different hash seeds print the same answer."""
    answers = set()
    for seed in ("1", "2"):
        done = subprocess.run(
            [*PROGRAM, "plan", "machair-20", "--capacity", "640GiB", "--json"],
            capture_output=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
            timeout=60,
            check=True,
        )
        answers.add(done.stdout)
    assert len(answers) == 1


# Files and drawings


def test_out_writes_the_plan_and_the_map(call: Call, tmp_path: Path) -> None:
    """--out writes plan.json, which --json prints too but for its mark, and the map; the files are told."""
    folder = tmp_path / "new" / "plan"
    said = call(*PLAN, "--out", str(folder))
    assert said.status == 0
    assert {path.name for path in folder.iterdir()} >= {"plan.json", "map.svg"}
    written = json.loads((folder / "plan.json").read_text(encoding="ascii"))
    assert written.pop("seal").startswith("dimmplan ")
    assert written.pop("files").keys() == {path.name for path in folder.iterdir()} - {"plan.json"}
    assert written == one_document(call(*PLAN, "--json").out)
    for path in folder.iterdir():
        assert f"wrote {path}" in said.err
    assert call(*PLAN).out == said.out
    assert "<svg" in (folder / "map.svg").read_text(encoding="utf-8")


def test_out_is_a_folder(call: Call, tmp_path: Path) -> None:
    said = call(*PLAN, "--out", str(tmp_path / "map.png"))
    assert said.status == 2 and "allowed: a folder" in said.err and "dimmplan draw" in said.err
    assert not (tmp_path / "map.png").exists()


def test_out_again_overwrites_what_the_tool_made(call: Call, tmp_path: Path) -> None:
    """Written again, the files are replaced and stay the same bytes; nothing else is left behind."""
    call(*PLAN, "--out", str(tmp_path))
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert call(*PLAN, "--out", str(tmp_path)).status == 0
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("name", ["plan.json", "map.svg"])
def test_a_foreign_file_is_not_overwritten(name: str, call: Call, tmp_path: Path) -> None:
    """A file that the tool did not make stays, nothing else is written, and --force says otherwise."""
    (tmp_path / name).write_text("mine, thank you", encoding="utf-8")
    said = call(*PLAN, "--out", str(tmp_path))
    assert said.status == 2
    assert str(tmp_path / name) in said.err
    assert "--force" in said.err
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine, thank you"
    assert call(*PLAN, "--out", str(tmp_path), "--force").status == 0
    assert "mine" not in (tmp_path / name).read_text(encoding="utf-8")


def test_out_where_nothing_can_be_written(call: Call, tmp_path: Path) -> None:
    """A file where the folder should be, and a folder that takes no files: status 2 and no half-written plan."""
    file = tmp_path / "file"
    file.write_text("x", encoding="utf-8")
    for folder in (file, file / "plan", Path("/proc/dimmplan-out"), tmp_path / ("x" * 300)):
        said = call(*PLAN, "--out", str(folder))
        assert said.status == 2, folder
        assert said.err.startswith("error: ")
    assert file.read_text(encoding="utf-8") == "x"
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    if not os.access(locked, os.W_OK):  # the superuser may write anywhere
        assert call(*PLAN, "--out", str(locked)).status == 2
        assert list(locked.iterdir()) == []
    locked.chmod(0o755)


def test_demo(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo needs nothing: it plans, draws, tells what it wrote and what to try next; --json prints the plan."""
    monkeypatch.chdir(tmp_path)
    said = call("demo")
    assert said.status == 0
    written = list((tmp_path / "dimmplan-demo").iterdir())
    assert written
    assert all(str(path.relative_to(tmp_path)) in said.out for path in written)
    tried = [line.strip() for line in said.out.partition("Next, try")[2].splitlines() if line.strip()]
    tried = [line for line in tried if not line.startswith("#")]
    assert len(tried) > 3
    for line in tried:
        assert call(*shlex.split(line)[1:]).status == 0
    assert call("demo", "--json").json["board"]["id"] == "skerry-16"


def test_draw_from_file_code_and_standard_input(call: Call, prepared: Path, tmp_path: Path) -> None:
    """The plan as a file, as its code and on standard input gives the same sheet, byte for byte."""
    shutil.copy(prepared / "plan.json", tmp_path)
    code = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))["code"]
    assert call("draw", str(tmp_path / "plan.json"), "-o", str(tmp_path / "a.svg")).status == 0
    assert call("draw", code, "-o", str(tmp_path / "b.svg")).status == 0
    assert call("draw", code.lower().replace("-", " "), "-o", str(tmp_path / "c.svg")).status == 0
    again = "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --json | dimmplan draw - -o d.svg"
    assert typed(again, tmp_path) == (0, "wrote d.svg\nwrote d-2.svg\n")
    drawn = {(tmp_path / f"{name}.svg").read_bytes() for name in "abcd"}
    assert len(drawn) == 1


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (lambda plan: plan["slots"].update(K9="a"), "K9"),
        (lambda plan: plan["slots"].update(K1="q"), "slots.K1"),
        (lambda plan: plan.update(fitted=["NEAR"]), "its processor is absent"),
        (lambda plan: plan.update(fitted=["NEAR", "MID"]), "MID"),
        (lambda plan: plan.update(processor="tern-99"), "tern-99"),
        (lambda plan: plan.update(format=2), "format"),
        (lambda plan: plan["board"].update(id="skery-16"), "Did you mean skerry-16"),
        (lambda plan: plan["board"].update(id="../skerry-16.toml"), "a board id"),
        (lambda plan: plan["modules"][0].update(label="32GB 2Rx4 PC4-2934Y-R"), "no rate 2934"),
        (lambda plan: plan["request"].update(capacity_gib=-1), "request.capacity_gib"),
        (lambda plan: plan.pop("slots"), "slots"),
        (lambda plan: plan.update(hold=["ZZ"]), "ZZ"),
        (lambda plan: plan.update(slots=dict.fromkeys(plan["slots"])), "no module in any slot"),
    ],
)
def test_a_plan_that_does_not_fit_its_board(
    edit: Callable[[Any], object], told: str, call: Call, prepared: Path, tmp_path: Path
) -> None:
    """A plan edited into nonsense is refused with the place that is wrong, and nothing is drawn."""
    record = json.loads((prepared / "plan.json").read_text(encoding="utf-8"))
    edit(record)
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(record), encoding="utf-8")
    said = call("draw", str(path), "-o", str(tmp_path / "map.svg"))
    assert said.status == 2
    assert told in said.err
    assert list(unprintable(said.err)) == []
    assert not (tmp_path / "map.svg").exists()


@pytest.mark.parametrize("text", [text for name, text in HOSTILE.items() if name != "newline"])
def test_hostile_words_on_the_sheet(text: str, call: Call, prepared: Path, tmp_path: Path) -> None:
    """Title, tag and date may be anything: the sheet is drawn, and is text that any XML reader takes."""
    words = ["--title", text, "--tag", text[:50], "--date", text[:30]]
    said = call("draw", str(prepared / "plan.json"), "-o", str(tmp_path / "map.svg"), *words)
    assert said.status in (0, 2)
    assert list(unprintable(said.err)) == []
    if said.status == 0:
        drawn = (tmp_path / "map.svg").read_text(encoding="utf-8")
        assert not set(drawn) & set("\x1b\x07\x08\x7f\x9b\u202e\u2066\u2069\udcff\ud800")
        assert "<b>" not in drawn
