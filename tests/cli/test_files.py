"""Where files are written: links, devices, pipes, full disks, two runs at once, a kill at any moment."""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import resource
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.files import is_ours, sealed, write_files
from dimmplan.cli.machines import LOCK
from dimmplan.cli.run import run
from dimmplan.errors import InputError
from tests.bench.kills import kill_many
from tests.support import forked, one_document, sampled, unprintable

OLD, NEW = b"# old\n", b"# new\n" * 5000
CAIRO = pytest.mark.system_tool("libcairo2")
PLAN = ["plan", "marram-4", "--capacity", "32GiB"]


def as_written(content: bytes) -> bytes:
    """Content with its mark."""
    return b"".join(sealed((content,)))


def left_in(folder: Path) -> list[str]:
    """Names of all that lies in a folder, hidden files too."""
    return sorted(path.name for path in folder.iterdir())


def refused(path: Path) -> str:
    """The sentence with which writing there is refused."""
    with pytest.raises(InputError) as caught:
        write_files({path: NEW})
    return caught.value.problems[0].sentence()


def test_a_link_stays_a_link_and_its_target_is_written(tmp_path: Path) -> None:
    """Also where the target is not there yet; a circle of links is refused."""
    (tmp_path / "far").mkdir()
    target, link = tmp_path / "far" / "map.svg", tmp_path / "link.svg"
    link.symlink_to(target)
    for content in (OLD, NEW):
        write_files({link: content})
        assert link.is_symlink() and target.read_bytes() == as_written(content)
    assert left_in(tmp_path / "far") == ["map.svg"]
    (tmp_path / "round.svg").symlink_to(tmp_path / "about.svg")
    (tmp_path / "about.svg").symlink_to(tmp_path / "round.svg")
    assert "too many levels of symbolic links" in refused(tmp_path / "round.svg")
    (tmp_path / "away.svg").symlink_to(tmp_path / "none" / "x.svg")
    assert "no such file" in refused(tmp_path / "away.svg")


@pytest.mark.parametrize(
    "name",
    ["map.pdf", "map.html", "compare.csv", "m.toml"],
)
def test_what_the_tool_made_is_written_anew_without_force(name: str, tmp_path: Path) -> None:
    """Every format carries its mark, a table is known where it would be the same; a file without it stays as it is."""
    assert run([*PLAN, "--out", str(tmp_path)]) == 0
    (tmp_path / "labels.csv").write_text("slot,label\nA1,8GB 1Rx8 PC4-2666V-E\n", encoding="utf-8")
    path = tmp_path / name
    command = (
        ["draw", str(tmp_path / "plan.json")]
        if name.startswith("map")
        else ["compare", "marram-4", "--capacity", "32GiB"]
    )
    command = ["boards", "draft", str(tmp_path / "labels.csv")] if name == "m.toml" else command
    for _ in range(2):
        assert run([*command, "-o", str(path)]) == 0
    path.write_bytes(b"%PDF-1.5 of another maker")
    assert run([*command, "-o", str(path)]) == 2
    assert path.read_bytes() == b"%PDF-1.5 of another maker"


@pytest.mark.parametrize(
    ("name", "edit"),
    sampled(
        list(
            itertools.product(
                ["map.svg", "map.png", "map.pdf", "map.html", "m.toml", "plan.json"],
                ["a word", "a line at the end", "cut", "line ends"],
            )
        ),
        10,
    ),
)
def test_what_a_person_has_edited_is_theirs(
    name: str, edit: str, made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Any change, anywhere, also where the mark stays in the file; with --force it is written over."""
    path, content = tmp_path / name, (made / name).read_bytes()
    middle = len(content) // 2
    edited = {
        "a word": content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :],
        "a line at the end": content + b"# mine\n",
        "cut": content[: -len(content) // 3],
        "line ends": content.replace(b"\n", b"\r\n"),
    }[edit]
    path.write_bytes(edited)
    with pytest.raises(InputError, match="--force"):
        write_files({path: b"# other\n"})
    assert path.read_bytes() == edited
    write_files({path: b"# other\n"}, force=True)
    path.write_bytes(content)
    write_files({path: b"# other\n"})
    assert path.read_bytes() == as_written(b"# other\n")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file of each format that this tool writes."""
    folder = tmp_path_factory.mktemp("made")
    assert run([*PLAN, "--out", str(folder)]) == 0
    for ending in ("png", "pdf", "html"):
        assert run(["draw", str(folder / "plan.json"), "-o", str(folder / f"map.{ending}")]) == 0
    (folder / "labels.csv").write_text("slot,label\nA1,8GB 1Rx8 PC4-2666V-E\n", encoding="utf-8")
    assert run(["boards", "draft", str(folder / "labels.csv"), "-o", str(folder / "m.toml")]) == 0
    return folder


@pytest.mark.parametrize("parts", [1, 7, 1000])
@pytest.mark.parametrize("name", ["map.png", "plan.json"])
def test_a_mark_is_the_same_in_however_many_pieces_a_file_is_written(name: str, parts: int, made: Path) -> None:
    plain = (made / name).read_bytes()[:-60][:50_000]
    size = -(-len(plain) // parts)
    pieces = [plain[start : start + size] for start in range(0, len(plain), size)]
    whole = b"".join(sealed(pieces))
    assert whole == as_written(plain) != plain
    assert is_ours(io.BytesIO(whole)) and not is_ours(io.BytesIO(plain))


def test_a_word_in_a_file_makes_it_nobodys(tmp_path: Path) -> None:
    """A floor plan that mentions the tool, a stock list with the head of a pick list: both stay."""
    files = {
        "floor.svg": b"<svg><desc>rack 4, planned with dimmplan</desc></svg>",
        "list.csv": b"key,count,label,serves_as,place,note\n",
        "old.json": b'{"made_by": "dimmplan", "board": {"electrical_digest": "0"}}',
        "notes.toml": b"# Drafted from a machine by dimmplan\n",
        "end.svg": b"<svg/>\n<!-- dimmplan " + b"0" * 32 + b" -->\n",
    }
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
        assert "--force" in refused(tmp_path / name)
        assert (tmp_path / name).read_bytes() == content


def test_answers_in_a_slot_mapping_stay(tmp_path: Path) -> None:
    """Filled in by a person, then saved again: no answer is lost, also about locators that are not listed now."""
    labels, mapping = tmp_path / "labels.csv", tmp_path / "map.csv"
    labels.write_text("slot,label\nP1-DIMM1,8GB 1Rx8 PC4-2666V-E\nQ9,8GB 1Rx8 PC4-2666V-E\n", encoding="utf-8")
    words = ["audit", str(labels), "--board", "marram-4", "--save-slots", str(mapping)]
    run(words)
    slots = load_board("marram-4").slots
    lines = mapping.read_text(encoding="utf-8").splitlines()
    filled = [line + slots[0] if line.startswith("Q9,") else line for line in lines] + [f"GONE,,{slots[1]}"]
    mapping.write_text("\n".join(filled) + "\n", encoding="utf-8")
    for _ in range(2):
        run(words)
        kept = mapping.read_text(encoding="utf-8").splitlines()
        assert f"Q9,,{slots[0]}" in kept and f"GONE,,{slots[1]}" in kept
    noted = mapping.read_text(encoding="utf-8").replace("Q9,", "# ask the owner\nQ9,")
    mapping.write_text(noted, encoding="utf-8")
    assert run(words) == 2
    assert mapping.read_text(encoding="utf-8") == noted


def test_a_plan_replaces_all_pages_of_an_earlier_one(tmp_path: Path) -> None:
    """Those that are as they were written; one that a person has marked stops it before anything is written."""
    large = ["plan", "causeway-48", "--capacity", "768GiB", "--out", str(tmp_path)]
    assert run(large) == 0
    pages = left_in(tmp_path)
    assert run([*PLAN, "--out", str(tmp_path)]) == 0
    assert len(left_in(tmp_path)) < len(pages) and "plan.json" in left_in(tmp_path)
    assert run(large) == 0 and left_in(tmp_path) == pages
    last = tmp_path / pages[-2]
    last.write_bytes(last.read_bytes() + b"<!-- mine -->")
    assert run(large) == 2
    assert last.read_bytes().endswith(b"<!-- mine -->")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("/dev/full", "no space left"),
        ("/proc/map.svg", "no such file"),
        ("folder", "a folder"),
        ("file/map.svg", "no such folder"),
        ("x" * 300 + ".svg", "file name too long"),
        ("a\0b.svg", "not a usable name"),
    ],
)
def test_where_nothing_can_be_written(name: str, told: str, tmp_path: Path) -> None:
    """One problem that names the file, and nothing is left beside it."""
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_bytes(OLD)
    assert told in refused(tmp_path / name)
    assert left_in(tmp_path) == ["file", "folder"]


def test_devices_and_pipes_are_written_directly(tmp_path: Path) -> None:
    """A null device swallows it; a pipe carries it whole, or says that its reader has gone."""
    write_files({Path(os.devnull): NEW})
    pipe = tmp_path / "pipe.svg"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_files({pipe: NEW})
    reader.join()
    assert got == [as_written(NEW)]

    def look_away() -> None:
        with pipe.open("rb") as handle:
            handle.read(1)

    reader = threading.Thread(target=look_away)
    reader.start()
    with pytest.raises(InputError, match="broken pipe"):
        write_files({pipe: NEW * 40})
    reader.join()


@pytest.mark.parametrize(
    "words",
    [
        ["draw", "{}/plan.json", "-o", "{}/map.svg"],
        ["draw", "{}/plan.json", "-o", "{}/map.pdf"],
        ["compare", "marram-4", "-o", "{}/compare.csv"],
        ["plan", "--machines", "{}/machines.csv", "--out", "{}/sheets"],
        [*PLAN, "--out", "{}"],
    ],
    ids=" ".join,
)
def test_a_full_disk_leaves_what_was_there(words: list[str], tmp_path: Path) -> None:
    """No file may grow beyond some bytes, as on a full disk: status 2 or 1, nothing new, nothing lost, no traceback."""
    assert run([*PLAN, "--out", str(tmp_path)]) == 0
    (tmp_path / "machines.csv").write_text("tag,board,capacity\nQ-1,marram-4,32GiB\n", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}

    def on_a_full_disk() -> int:
        sys.dont_write_bytecode = True  # else Python itself would leave cut files of what it loads here
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
        return run([word.format(tmp_path) for word in words])

    status, said = forked(on_a_full_disk)
    assert status in (1, 2), said
    assert "file too large" in said
    assert "Traceback" not in said and "an internal fault" not in said
    after = {path.name: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file() and path.name != LOCK}
    assert after == before


@pytest.mark.parametrize("words", [["boards", "list"], [*PLAN, "--json"], ["boards", "schema"], ["--help"]])
def test_a_full_device_behind_standard_output(words: list[str]) -> None:
    """An answer that cannot be written is no answer: status 2, and one line says why."""
    with Path("/dev/full").open("w") as full:
        status, said = forked(lambda: run(words), full)
    assert status == 2
    assert "no space left" in said and len(said.splitlines()) == 1


def test_two_runs_to_one_file_leave_one_of_them_whole(tmp_path: Path) -> None:
    path = tmp_path / "map.svg"
    contents = [b"# %d\n" % number * 20_000 for number in range(4)]

    def write(content: bytes) -> Callable[[], Any]:
        return lambda: [write_files({path: content}) for _ in range(8)]

    threads = [threading.Thread(target=write(content)) for content in contents]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert path.read_bytes() in map(as_written, contents)
    assert left_in(tmp_path) == ["map.svg"]


@CAIRO
def test_a_kill_at_any_moment_leaves_whole_files(tmp_path: Path) -> None:
    """A sample of ``tests.bench.kills``."""
    tally = kill_many(tmp_path, kills=3, seed=3, fleet_every=3, endings=(".svg", ".pdf"))
    assert tally.kills >= 3
    assert tally.broken == []
    assert tally.changed > 0


@pytest.mark.parametrize("name", ["a\x1b[31mb", "a\u202eb", "a\nerror: forged", "[red]x", "a\udcff", "\u200b"])
def test_names_of_files_are_told_without_their_escapes(
    name: str, made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file may be called anything; what is said of it is one printable line."""
    plan, labels = str(made / "plan.json"), str(made / "labels.csv")
    for command, ending in (
        (["draw", plan], ".svg"),
        (["compare", "marram-4", "--capacity", "32GiB"], ".csv"),
        (["boards", "draft", labels], ".toml"),
    ):
        capsys.readouterr()
        path = tmp_path / f"{name}{ending}"
        assert run([*command, "-o", str(path)]) == 0
        assert path.exists()
        said = capsys.readouterr()
        assert list(unprintable(said.out + said.err)) == []
        assert not any(line.startswith("error: ") for line in said.err.splitlines())


def test_a_mapping_that_cannot_be_written_is_one_document(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "labels.csv").write_text("slot,label\nA1,8GB 1Rx8 PC4-2666V-E\n", encoding="utf-8")
    words = ["audit", str(tmp_path / "labels.csv"), "--board", "marram-4", "--save-slots", str(tmp_path), "--json"]
    assert run(words) == 2
    assert one_document(capsys.readouterr().out)["errors"]


@pytest.mark.parametrize("title", ["\U0001f600 and \U00010400", "a\x07b\x7f", "\u2028", 'quote " \\ back', "\ud800"])
def test_a_draft_of_any_title_is_read_by_the_check(title: str, tmp_path: Path) -> None:
    (tmp_path / "labels.csv").write_text("slot,label\nA1,8GB 1Rx8 PC4-2666V-E\n", encoding="utf-8")
    path = str(tmp_path / "m.toml")
    assert run(["boards", "draft", str(tmp_path / "labels.csv"), "-o", path, "--title", title]) == 0
    assert run(["boards", "check", path]) == 0


@pytest.mark.parametrize("delay", [0.15, 0.35, 0.8])
def test_an_interrupt_at_any_moment_ends_quietly(delay: float, tmp_path: Path) -> None:
    """Once the program's own code runs: no traceback, and status 130, as a shell also says of the signal.

    Python drops an interrupt that falls into certain moments of loading a module; as a person would, press again then.
    """
    rows = "".join(f"Q-{number},marram-4,32GiB\n" for number in range(4000))
    (tmp_path / "m.csv").write_text(f"tag,board,capacity\n{rows}")
    process = subprocess.Popen(
        [sys.executable, "-c", _ANNOUNCED, "plan", "--machines", str(tmp_path / "m.csv"), "--out", str(tmp_path / "o")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None and process.stdout.readline() == "begun\n"
    time.sleep(delay - 0.15)
    os.killpg(process.pid, signal.SIGINT)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(timeout=10)
    if process.returncode is None:
        os.killpg(process.pid, signal.SIGINT)
    said = process.communicate(timeout=60)[1]
    assert process.returncode in (130, -signal.SIGINT)
    assert "Traceback" not in said and "Interrupt" not in said


_ANNOUNCED = (
    "import dimmplan.__main__ as program, signal; signal.signal(signal.SIGINT, signal.SIG_DFL);"
    "print('begun', flush=True); program.start()"
)
