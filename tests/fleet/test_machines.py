"""``plan --machines`` from outside: folders and summary, bad rows, killed and taken up again, many cores, memory."""

from __future__ import annotations

import csv
import errno
import gc
import hashlib
import itertools
import json
import os
import pty
import shutil
import signal
import sys
import threading
import time
import tracemalloc
from collections.abc import Callable, Iterable
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pytest

import dimmplan.cli.machines as work
from dimmplan.boardfile.read import shipped_folder
from dimmplan.cli.files import write_files
from dimmplan.cli.run import run
from dimmplan.cli.workers import Workers
from dimmplan.errors import InputError
from dimmplan.output.record import to_json
from tests.fleet import tasks
from tests.support import one_document

PROCESSES = Path("/proc")
HEAD = "tag,board,fitted,processor,capacity,modules,prefer"
KINDS = (
    "skerry-16,,,384GiB,32GiB,",
    "marram-4,,,64GiB,16GiB,bandwidth-first",
    "marram-4,,,32GiB,,",
    "skerry-16,NEAR,,192GiB,32GiB,",
)
SHELF = (
    "label,count\n32GB 2Rx4 PC4-2933Y-R,40\n64GB 2Rx4 PC4-2933Y-R,10\n"
    "64GB 2Rx4 PC5-6400B-R,12\n32GB 1Rx4 PC5-6400B-R,12\n16GB 2Rx8 PC4-3200AA-E,5\n"
)


def fleet_file(folder: Path, count: int, *, more: Iterable[str] = ()) -> Path:
    """A list of that many machines over a few distinct requests."""
    rows = [f"Q-{number:03d},{KINDS[number % len(KINDS)]}" for number in range(count)]
    path = folder / "fleet.csv"
    path.write_text("\n".join([HEAD, *rows, *more]) + "\n", encoding="utf-8")
    return path


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its content, hidden ones too."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def called(*arguments: str | Path) -> int:
    return run(["plan", *map(str, arguments)])


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A list of three machines and the folder of a run over it."""
    folder = tmp_path_factory.mktemp("three")
    assert called("--machines", fleet_file(folder, 3), "--out", folder / "out") == 0
    return folder


@pytest.fixture
def done(three: Path, tmp_path: Path) -> tuple[Path, Path]:
    """A copy of it that a test may harm: the list, the folder."""
    shutil.copytree(three, tmp_path, dirs_exist_ok=True)
    return tmp_path / "fleet.csv", tmp_path / "out"


class Started:
    """A run in a process of its own, forked so that nothing is imported anew."""

    def __init__(self, *arguments: str | Path) -> None:
        self.process = get_context("fork").Process(target=self._run, args=arguments)
        self.process.start()

    @staticmethod
    def _run(*arguments: str | Path) -> None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        os._exit(called(*arguments))

    def until(self, reached: Callable[[], bool]) -> None:
        """Wait until something holds."""
        deadline = time.monotonic() + 120
        while not reached():
            assert time.monotonic() < deadline
            time.sleep(0.002)

    def workers(self) -> list[Path]:
        """Its worker processes, where the system shows them."""
        children = PROCESSES / f"{self.process.pid}/task/{self.process.pid}/children"
        return [PROCESSES / number for number in children.read_text().split()] if children.exists() else []

    def kill(self) -> None:
        self.process.kill()
        self.process.join()


# Folders and summary


def test_a_folder_for_each_machine_and_one_summary(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fleet = fleet_file(tmp_path, 6)
    out = tmp_path / "out"
    assert called("--machines", fleet, "--out", out) == 0
    said = capsys.readouterr()
    assert "6 machines: 6 planned" in said.out
    assert said.err == ""
    names = {name for name in files_of(out) if name.startswith("machines/Q-000/")}
    assert names == {f"machines/Q-000/{n}" for n in ("machine.json", "map-2.svg", "map.svg", "plan.json")}
    rows = list(csv.DictReader((out / "summary.csv").open(encoding="utf-8")))
    summary = json.loads((out / "summary.json").read_text(encoding="ascii"))
    assert [row["tag"] for row in rows] == [f"Q-{number:03d}" for number in range(6)]
    assert [row["tag"] for row in summary["machines"]] == [row["tag"] for row in rows]
    assert summary["counts"] == {"planned": 6, "impossible": 0, "not-served": 0, "bad-row": 0}
    for row, entry in zip(rows, summary["machines"], strict=True):
        plan = json.loads((out / row["folder"] / "plan.json").read_text(encoding="ascii"))
        assert plan["code"] == row["code"] == entry["code"]
        assert plan["totals"]["usable_gib"] == entry["usable_gib"] == int(row["usable_gib"])
        assert plan["totals"]["system_sweep_gb_s"] == entry["system_sweep_gb_s"]
        assert f"{entry['tag']}" in (out / row["folder"] / "map.svg").read_text(encoding="utf-8")


def test_a_machine_has_the_plan_that_it_has_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same JSON, but for what can be added next, and the same drawing as ``plan --out`` with its tag."""
    fleet = fleet_file(tmp_path, 1)
    assert called("--machines", fleet, "--out", tmp_path / "many") == 0
    alone = ("skerry-16", "--capacity", "384GiB", "--module", "32GiB", "--tag", "Q-000", "--out", tmp_path / "one")
    assert called(*alone) == 0
    capsys.readouterr()
    many, one = files_of(tmp_path / "many" / "machines" / "Q-000"), files_of(tmp_path / "one")
    assert {name: many[name] for name in many if name.endswith(".svg")} == {
        name: one[name] for name in one if name.endswith(".svg")
    }
    whole = json.loads(one["plan.json"])
    drawn = json.loads(many["plan.json"])
    del whole["next_by_adding"], whole["files"], whole["seal"], drawn["seal"]
    assert drawn == whole


def test_equal_requests_are_solved_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    solved: list[Any] = []
    plan = work.plan
    monkeypatch.setattr(work, "plan", lambda *a, **k: (solved.append(a[1]), plan(*a, **k))[1])
    fleet = fleet_file(
        tmp_path, 12, more=["X,skerry-16,,,384 GB,32GB,", "Y,skerry-16,,,0.375TiB,32 GiB,capacity-first"]
    )
    assert called("--machines", fleet, "--out", tmp_path / "out", "--jobs", "1") == 0
    assert len(solved) == len(KINDS)


def test_json_is_the_summary(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fleet = fleet_file(tmp_path, 2, more=["Z,skery-16,,,1GiB,,"])
    assert called("--machines", fleet, "--out", tmp_path / "out", "--json") == 1
    said = capsys.readouterr()
    assert one_document(said.out) == json.loads((tmp_path / "out" / "summary.json").read_text(encoding="ascii"))
    assert "line 4, board" in said.err


def test_options_hold_where_a_row_has_no_word_of_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "fleet.csv"
    path.write_text("tag,board,capacity,modules,fitted\nA,skerry-16,192GiB,,\nB,skerry-16,192GiB,64GiB,NEAR\n")
    out = tmp_path / "out"
    assert called("--machines", path, "--out", out, "--module", "32GiB", "--fitted", "NEAR,FAR") == 0
    capsys.readouterr()
    plans = [json.loads((out / "machines" / tag / "plan.json").read_text()) for tag in "AB"]
    assert [plan["fitted"] for plan in plans] == [["NEAR", "FAR"], ["NEAR"]]
    assert [plan["modules"][0]["capacity_gib"] for plan in plans] == [32, 64]


# Bad rows


def test_bad_rows_stop_nothing_and_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = {
        "A,skery-16,,,384GiB,,": "Did you mean skerry-16?",
        "B,skerry-16,,,384,,": "The unit is missing",
        "C,skerry-16,,,-1GiB,,": "'-1GiB'",
        "D,skerry-16,S9,,384GiB,,": "NEAR, FAR",
        "E,skerry-16,,tern-99,384GiB,,": "tern-20",
        "F,skerry-16,,,384GiB,32GB 2Rx4 PC9-1-R,": "modules",
        "G,skerry-16,,,384GiB,8GB 1Rx8 PC4-3200AA-E,": "refuses",
        "H,skerry-16,,,384GiB,,fastest": "capacity-first",
        "Q-000,skerry-16,,,384GiB,,": "once more",
        "I,skerry-16,,,9TiB,,": "cannot reach",
        '"J,skerry-16,,,384GiB,,': "quote",
    }
    fleet = fleet_file(tmp_path, 2, more=[*bad, f"LAST,{KINDS[0]}"])
    out = tmp_path / "out"
    assert called("--machines", fleet, "--out", out) == 1
    said = capsys.readouterr()
    assert "3 planned, 1 impossible, 10 bad rows" in said.out
    lines = said.err.splitlines()
    for number, (line, words) in enumerate(zip(lines, bad.values(), strict=True), start=4):
        assert f"line {number}" in line, line
        assert words in line, line
    assert sorted(path.name for path in (out / "machines").iterdir()) == ["LAST", "Q-000", "Q-001"]
    rows = list(csv.DictReader((out / "summary.csv").open(encoding="utf-8")))
    assert [int(row["line"]) for row in rows] == list(range(2, 16))
    assert all(row["problem"] for row in rows if row["status"] != "planned")


def test_no_cell_runs_in_a_spreadsheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fleet = fleet_file(tmp_path, 0, more=['"=HYPERLINK(1)",' + KINDS[2], "+1,skery,,,1GiB,,", "\x1b[2J," + KINDS[2]])
    called("--machines", fleet, "--out", tmp_path / "out")
    said = capsys.readouterr()
    text = (tmp_path / "out" / "summary.csv").read_text(encoding="utf-8")
    assert "\x1b" not in text + said.out + said.err
    assert all(not row[0].startswith(("=", "+")) for row in csv.reader(text.splitlines()) if row)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--machines", "{fleet}"], "--out"),
        (["skerry-16", "--machines", "{fleet}", "--out", "{out}"], "for one machine only"),
        (["--machines", "{fleet}", "--out", "{out}", "--capacity", "1GiB"], "for one machine only"),
        (["--machines", "{fleet}", "--out", "{out}", "--jobs", "0"], "1 to "),
        (["--machines", "none.csv", "--out", "{out}"], "no such file"),
        (["--machines", "{fleet}", "--out", "{out}", "--stock", "none.csv"], "no such file"),
        (["--machines", "{fleet}", "--out", "{out}", "--paper", "b5"], "a4"),
        (["--machines", "{fleet}", "--out", "{out}", "--prefer", "fastest"], "--prefer: found 'fastest'"),
        (["--machines", "{fleet}", "--out", "{out}", "--over", "x", "--mode", "y"], "--over: found"),
        (["--machines", "{fleet}", "--out", "{out}", "--max-types", "9"], "1 to 4"),
        (["--machines", "/dev/null", "--out", "{out}"], "no regular file"),
        (["skerry-16", "--capacity", "384GiB", "--jobs", "2"], "--machines"),
        (["skerry-16", "--capacity", "384GiB", "--cluster", "x"], "--machines"),
        (["--capacity", "384GiB"], "no BOARD"),
        (["skerry-16"], "no --capacity"),
    ],
)
def test_a_call_that_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    fleet = fleet_file(tmp_path, 1)
    filled = [text.format(fleet=fleet, out=tmp_path / "out") for text in arguments]
    assert called(*filled) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
    assert called(*filled, "--json") == 2
    assert one_document(capsys.readouterr().out)["errors"]


def test_foreign_files_are_not_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A foreign summary stops the run before it begins; a foreign file in a machine's folder is that row's fault."""
    fleet, out = fleet_file(tmp_path, 2), tmp_path / "out"
    (out / "machines" / "Q-000").mkdir(parents=True)
    (out / "machines" / "Q-000" / "plan.json").write_text("mine")
    assert called("--machines", fleet, "--out", out) == 1
    assert "1 planned, 1 bad row" in capsys.readouterr().out
    assert (out / "machines" / "Q-000" / "plan.json").read_text() == "mine"
    (out / "summary.csv").write_text("mine")
    assert called("--machines", fleet, "--out", out) == 2
    assert (out / "summary.csv").read_text() == "mine"
    assert called("--machines", fleet, "--out", out, "--force") == 0


def test_an_option_that_does_not_suit_a_row_is_named_as_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not as a cell of the row, which is empty."""
    path = tmp_path / "fleet.csv"
    path.write_text("tag,board,capacity,fitted\nA,skerry-16,192GiB,\nB,marram-4,32GiB,NEAR\n")
    assert called("--machines", path, "--out", tmp_path / "out", "--fitted", "west") == 1
    said = capsys.readouterr().err
    assert "line 2, --fitted: found 'west'; allowed: NEAR, FAR" in said
    assert "line 3, fitted: found 'NEAR'" in said


def test_what_the_shelf_does_not_serve_is_told_with_what_to_buy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Taken by others, not there at all, or there but above the allowance: each says what it is."""
    path, shelf, out = tmp_path / "fleet.csv", tmp_path / "shelf.csv", tmp_path / "out"
    rows = ["A,skerry-16,384GiB,32GiB", "B,skerry-16,384GiB,32GiB", "C,skerry-16,384GiB,64GiB", "D,skerry-16,9TiB,"]
    path.write_text("\n".join(["tag,board,capacity,modules", *rows]) + "\n")
    shelf.write_text("label,count,price,currency\n32GB 2Rx4 PC4-2933Y-R,14,60,EUR\n64GB 2Rx4 PC4-2933Y-R,2,119,EUR\n")
    assert called("--machines", path, "--stock", shelf, "--out", out) == 1
    capsys.readouterr()
    summary = json.loads((out / "summary.json").read_text(encoding="ascii"))
    _, second, third, fourth = summary["machines"]
    assert [row["status"] for row in summary["machines"]] == ["planned", "not-served", "impossible", "impossible"]
    assert second["problems"][0]["hint"].startswith("Other machines get what it needs")
    bought = {"label": "32GB 2Rx4 PC4-2933Y-R", "count": 10, "cost": 600, "part": "", "watts": None, "substitutes": []}
    assert (second["buy"], second["buy_status"]) == ([bought], "proven"), "two are left"
    assert [(each["label"][:4], each["count"]) for each in third["buy"]] == [("64GB", 4)]
    assert third["nearest"] == {"below_gib": 128, "above_gib": None}
    assert fourth["buy"] is None
    table = list(csv.DictReader((out / "summary.csv").open(encoding="utf-8")))
    assert [row["buy"] for row in table] == ["", "10 x 32GB 2Rx4 PC4-2933Y-R", "4 x 64GB 2Rx4 PC4-2933Y-R", ""]
    assert "4 x 64GB 2Rx4 PC4-2933Y-R" in table[2]["problem"]

    path.write_text("tag,board,capacity,modules\nA,skerry-16,192GiB,16GiB\nB,skerry-16,100GiB,\n")
    shelf.write_text("label,count\n16GB 1Rx4 PC4-2933Y-R,12\n64GB 2Rx4 PC4-2933Y-R,2\n")
    assert called("--machines", path, "--stock", shelf, "--out", out) == 1
    assert "only above its allowance" in capsys.readouterr().err


# Taken up again


def test_whole_machines_are_not_done_again(done: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    fleet, out = done
    before, stamps = files_of(out), {p: p.stat().st_mtime_ns for p in (out / "machines").rglob("*") if p.is_file()}
    capsys.readouterr()
    assert called("--machines", fleet, "--out", out) == 0
    assert "0 folders written, 3 whole already" in capsys.readouterr().out
    assert files_of(out) == before
    assert {path: path.stat().st_mtime_ns for path in stamps} == stamps


@pytest.mark.parametrize("harm", ["cut", "lost", "other", "manifest", "believed", "temporary"])
def test_a_machine_that_is_not_whole_is_done_again(done: tuple[Path, Path], harm: str) -> None:
    """What is no longer as it was written may be a person's: that needs --force."""
    fleet, out = done
    before = files_of(out)
    folder = out / "machines" / "Q-001"
    if harm == "cut":
        (folder / "map.svg").write_bytes((folder / "map.svg").read_bytes()[:1000])
    elif harm == "lost":
        (folder / "plan.json").unlink()
    elif harm == "other":
        shutil.copy(out / "machines" / "Q-002" / "map.svg", folder / "map.svg")
    elif harm == "manifest":
        (folder / "machine.json").write_bytes(b'{"made_by": "dimmplan", "files": [[[')
    elif harm == "believed":  # the summary takes nothing from a record that was edited
        record = folder / "machine.json"
        record.write_bytes(record.read_bytes().replace(b'"rate_mts": ', b'"rate_mts": 9'))
    else:
        (folder / "machine.json").unlink()
        (folder / ".dimmplan-abcdefgh.tmp").write_bytes(b"half")
    if harm in ("cut", "manifest", "believed"):
        assert called("--machines", fleet, "--out", out) == 1
        assert files_of(out)["machines/Q-001/map-2.svg"] == before["machines/Q-001/map-2.svg"]
        assert called("--machines", fleet, "--out", out, "--force") == 0
    assert called("--machines", fleet, "--out", out) == 0
    assert files_of(out) == before


@pytest.mark.parametrize(
    "files",
    [
        {"keep.txt": "0"},
        {"keep.txt": "{keep}"},
        {"../keep.txt": "{keep}"},
        {"folder": "0"},
        {"map.svg": "{map}", "map-3.svg": "0"},
    ],
)
def test_a_record_of_a_machine_deletes_nothing_that_it_did_not_write(tmp_path: Path, files: dict[str, str]) -> None:
    """Names of other files, of folders, of files outside, of a sheet that a person has put there: all stay."""
    fleet, out = fleet_file(tmp_path, 1), tmp_path / "out"
    folder = out / "machines" / "Q-000"
    (folder / "folder").mkdir(parents=True)
    (folder / ".dimmplan-abcdefgh.tmp").mkdir()
    mine = {folder / "keep.txt": b"keep", folder / "map-3.svg": b"<svg/>", folder.parent / "keep.txt": b"keep"}
    for path, content in mine.items():
        path.write_bytes(content)
    digest = {"{keep}": hashlib.sha256(b"keep").hexdigest(), "{map}": hashlib.sha256(b"<svg/>").hexdigest()}
    record = {
        "made_by": "dimmplan",
        "request": "0",
        "files": {name: digest.get(its, its) for name, its in files.items()},
    }
    write_files({folder / "machine.json": to_json(record).encode("ascii")})
    assert called("--machines", fleet, "--out", out) == 0
    assert {path: path.read_bytes() for path in mine} == mine
    assert (folder / "folder").is_dir() and (folder / "map.svg").is_file()


@pytest.mark.parametrize(
    "name", ["machines/Q-000/machine.json", "machines/Q-000/map.svg", "summary.json", "summary.csv"]
)
def test_a_pipe_where_a_file_should_be_is_not_waited_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    fleet, out = fleet_file(tmp_path, 1), tmp_path / "out"
    (out / "machines" / "Q-000").mkdir(parents=True)
    os.mkfifo(out / name)
    signal.alarm(60)  # a wait without end ends the tests
    try:
        assert called("--machines", fleet, "--out", out) == (1 if "machines" in name else 2)
    finally:
        signal.alarm(0)
    assert "no regular file" in capsys.readouterr().err


def test_a_second_run_in_a_folder_is_told_so_and_a_killed_one_leaves_no_lock(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fleet, out = fleet_file(tmp_path, 40), tmp_path / "out"
    process = Started("--machines", fleet, "--out", out, "--jobs", "1")
    process.until(lambda: bool(list(out.glob("machines/*/plan.json"))))
    os.kill(process.process.pid or 0, signal.SIGSTOP)
    before = files_of(out)
    assert called("--machines", fleet, "--out", out) == 2
    assert "another run at work in it" in capsys.readouterr().err
    assert files_of(out) == before
    process.kill()
    assert not (out / "summary.csv").exists()
    assert called("--machines", fleet_file(tmp_path, 2), "--out", out) == 0


def test_a_full_disk_ends_the_run_and_calls_no_row_bad(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was written stays, and a later run goes on from there."""
    from dimmplan.cli import files

    fleet, out, written = fleet_file(tmp_path, 3), tmp_path / "out", itertools.count()
    replace = files._replace

    def full(target: Path, parts: Iterable[bytes]) -> None:
        if next(written) >= 5:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        replace(target, parts)

    monkeypatch.setattr(files, "_replace", full)
    assert called("--machines", fleet, "--out", out) == 2
    said = capsys.readouterr().err
    assert "no space left on device" in said and "bad-row" not in said
    assert (out / "machines/Q-000/machine.json").exists() and not (out / "summary.csv").exists()
    monkeypatch.setattr(files, "_replace", replace)
    assert called("--machines", fleet, "--out", out) == 0
    assert "2 folders written, 1 whole already" in capsys.readouterr().out


def test_another_request_replaces_a_machine_whole(tmp_path: Path) -> None:
    """No page of the earlier sheet is left behind."""
    out = tmp_path / "out"
    path = tmp_path / "fleet.csv"
    path.write_text("tag,board,capacity\nA,causeway-48,768GiB\n")
    called("--machines", path, "--out", out)
    pages = len(list((out / "machines" / "A").iterdir()))
    path.write_text("tag,board,capacity\nA,marram-4,32GiB\n")
    called("--machines", path, "--out", out)
    assert len(list((out / "machines" / "A").iterdir())) < pages
    fresh = tmp_path / "fresh"
    called("--machines", path, "--out", fresh)
    assert files_of(out) == files_of(fresh)


@pytest.fixture
def shared(monkeypatch: pytest.MonkeyPatch) -> None:
    """A few machines are shared between workers too."""
    monkeypatch.setattr("dimmplan.cli.machines.FEW_MACHINES", 1)


@pytest.mark.usefixtures("shared")
def test_killed_half_way_and_resumed(tmp_path: Path) -> None:
    """Killed at any moment, several times over, and taken up again: the folder is as if never killed.

    Workers end with a run that is killed.
    """
    fleet = fleet_file(tmp_path, 8, more=["BAD,skery-16,,,1GiB,,"])
    never, often = tmp_path / "never", tmp_path / "often"
    assert called("--machines", fleet, "--out", never, "--jobs", "1") == 1
    for wanted, jobs in ((1, 1), (4, 2)):
        process = Started("--machines", fleet, "--out", often, "--jobs", str(jobs))
        process.until(lambda wanted=wanted: len(list(often.glob("machines/*/plan.json"))) >= wanted)
        workers = process.workers()
        assert len(workers) >= jobs - 1 or not PROCESSES.exists()
        process.kill()
        process.until(lambda workers=workers: not any(worker.exists() for worker in workers))
    assert 1 <= len(list(often.glob("machines/*/machine.json"))) < 8
    assert not (often / "summary.csv").exists()
    assert called("--machines", fleet, "--out", often, "--jobs", "1") == 1
    assert files_of(often) == files_of(never)


# Many cores, many machines


@pytest.mark.usefixtures("shared")
def test_the_folder_is_the_same_on_any_number_of_cores(tmp_path: Path) -> None:
    fleet = fleet_file(tmp_path, 4, more=["BAD,skery-16,,,1GiB,,", "FAR,skerry-16,,,9TiB,,"])
    (tmp_path / "shelf.csv").write_text(SHELF)
    for jobs in ("1", "2"):
        call = ("--machines", fleet, "--stock", tmp_path / "shelf.csv", "--out", tmp_path / jobs, "--jobs", jobs)
        assert called(*call) == 1
    assert files_of(tmp_path / "1") == files_of(tmp_path / "2")


def test_a_killed_worker_loses_nothing(tmp_path: Path) -> None:
    each = [(str(tmp_path / "killed"), number) for number in range(4)]
    with Workers(2) as workers:
        assert list(workers.results(tasks.slow_then_killed, each)) == [number * number for number in range(4)]


def test_workers_that_are_killed_again_and_again_end_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dimmplan.cli.workers.MOST_RESTARTS", 1)
    with Workers(2) as workers, pytest.raises(InputError, match="workers that were killed"):
        list(workers.results(tasks.killed, [(1,)]))


def test_a_cluster_draws_the_same_folder_and_loses_nothing_with_a_worker(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A scheduler and two workers on the loopback; one of them is killed on the way."""
    distributed = pytest.importorskip("distributed")
    fleet, out = fleet_file(tmp_path, 4), tmp_path / "out"
    assert called("--machines", fleet, "--out", tmp_path / "here", "--jobs", "1") == 0
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:

        def kill_one() -> None:
            deadline = time.monotonic() + 120
            while not list(out.glob("machines/*/plan.json")) and time.monotonic() < deadline:
                time.sleep(0.005)
            os.kill(cluster.workers[0].pid, signal.SIGKILL)

        killing = threading.Thread(target=kill_one)
        killing.start()
        assert called("--machines", fleet, "--out", out, "--cluster", cluster.scheduler_address) == 0
        killing.join()
    assert files_of(out) == files_of(tmp_path / "here")
    assert called("--machines", fleet, "--out", tmp_path / "x", "--cluster", "tcp://127.0.0.1:1x") == 2
    assert "--cluster: found tcp://127.0.0.1:1x" in capsys.readouterr().err


def test_a_shared_shelf_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Who is not served, what is taken from which row, what is left, and how it was divided."""
    fleet, out = fleet_file(tmp_path, 9), tmp_path / "out"
    (tmp_path / "shelf.csv").write_text(SHELF)
    assert called("--machines", fleet, "--stock", tmp_path / "shelf.csv", "--out", out) == 1
    said = capsys.readouterr()
    assert "Division: exact" in said.out
    assert "not-served: Q-" in said.err
    summary = json.loads((out / "summary.json").read_text(encoding="ascii"))
    assert summary["division"]["method"] == "exact"
    taken: dict[str, int] = {}
    for row in summary["machines"]:
        for each in row.get("take", ()):
            taken[each["place"]] = taken.get(each["place"], 0) + each["count"]
    for each in summary["division"]["left"]:
        taken[each["place"]] = taken.get(each["place"], 0) + each["count"]
    there = [int(line.rsplit(",", 1)[1]) for line in SHELF.splitlines()[1:]]
    assert taken == {f"line {number}": count for number, count in enumerate(there, start=2)}
    served = [row for row in summary["machines"] if row["status"] == "planned"]
    assert len(served) == summary["division"]["served"]
    for row in served:
        plan = json.loads((out / row["folder"] / "plan.json").read_text(encoding="ascii"))
        assert plan["totals"]["modules"] == sum(each["count"] for each in row["take"])
        picks = list(csv.DictReader((out / row["folder"] / "pick.csv").open(encoding="utf-8")))
        took = [(str(each["count"]), each["label"], each["serves_as"], each["place"]) for each in row["take"]]
        assert [(pick["count"], pick["label"], pick["serves_as"], pick["place"]) for pick in picks] == took
        keys = {module["label"]: module["key"] for module in plan["modules"]}
        assert all(keys[pick["serves_as"]] == pick["key"] for pick in picks)


# Terminal and memory


def test_a_bar_on_a_terminal_only(tmp_path: Path, three: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """That a pipe gets none is seen where nothing is written to standard error."""
    leader, follower = pty.openpty()
    with os.fdopen(follower, "w", encoding="utf-8") as terminal, monkeypatch.context() as patch:
        patch.setattr(sys, "stderr", terminal)
        assert called("--machines", three / "fleet.csv", "--out", tmp_path / "out") == 0
        terminal.flush()
        shown = os.read(leader, 65536).decode()
    os.close(leader)
    assert "3/3" in shown
    assert "\r" in shown
    assert files_of(tmp_path / "out") == files_of(three / "out")


def test_memory_is_flat(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times the machines over the same requests hold no more memory; drawing is left to the bench.

    What only waits to be collected is not held: it is collected every fiftieth machine, else the peaks say when the
    interpreter last looked. Its table of interned names doubles now and then, so the better of two runs counts.
    """
    done = itertools.count()

    def few_bytes(board: Any, placement: Any, path: Path, **more: Any) -> dict[Path, bytes]:
        if next(done) % 50 == 0:
            gc.collect()
        return {path: b"dimmplan " + str(more["tag"]).encode()}

    def peak(count: int) -> int:
        fleet = fleet_file(tmp_path, 0, more=[f"Q-{n:03d},{(KINDS[2], KINDS[3])[n % 2]}" for n in range(count)])
        tracemalloc.start()
        assert called("--machines", fleet, "--out", tmp_path / f"out{count}", "--jobs", "1") == 0
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    solve, known = work.plan, {}

    def solved_before(board: Any, request: Any) -> Any:
        if request.capacity_gib not in known:
            known[request.capacity_gib] = solve(board, request)
        return known[request.capacity_gib]

    monkeypatch.setattr(work, "sheet_files", few_bytes)
    monkeypatch.setattr(work, "plan", solved_before)
    monkeypatch.setattr("os.fsync", lambda _: None)
    peak(8)
    small, large = peak(8), min(peak(32), peak(33))
    assert large < small + (1 << 18)


def test_trays_and_inlet_air_are_columns_or_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A cell goes before the option; equal requests with other trays are other plans; wrong cells name their column."""
    board = (tmp_path / "trays.toml").resolve()
    text = shipped_folder().joinpath("marram-4.toml").read_text(encoding="utf-8")
    board.write_text(
        text.replace('id = "marram-4"', 'id = "trays"') + '\n[electrical.trays]\n"riser" = ["reed"]\n', "utf-8"
    )
    rows = [
        f"Q-1,{board},,,32GiB",
        f"Q-2,{board},riser,25,32GiB",
        f"Q-3,{board},cellar,,32GiB",
        f"Q-4,{board},,warm,32GiB",
    ]
    (tmp_path / "fleet.csv").write_text(
        "\n".join(["tag,board,without-tray,inlet,capacity", *rows]) + "\n", encoding="utf-8"
    )
    assert called("--machines", tmp_path / "fleet.csv", "--out", tmp_path / "out", "--inlet", "30") == 1
    told = capsys.readouterr().err
    assert "line 4, without-tray: found 'cellar'; allowed: riser" in told and "line 5, inlet: found 'warm'" in told
    plans = [json.loads((tmp_path / "out/machines" / tag / "plan.json").read_text("utf-8")) for tag in ("Q-1", "Q-2")]
    assert [(plan["absent_trays"], plan["inlet_c"]) for plan in plans] == [([], 30), (["riser"], 25)]
    assert "reed" in plans[1]["dead"]
