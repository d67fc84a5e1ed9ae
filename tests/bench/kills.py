"""Kills during writes: every file is the whole earlier one or a whole new one, never broken and never lost.

Run: python -m tests.bench.kills [--kills 1000] [--seed 1] [--folder DIR]

Two processes at once write a plan's JSON, its sheet as SVG, PNG, PDF and HTML, a comparison as CSV, and the summary of
a list of machines, over and over and each in its own version, into one folder; both are killed (SIGKILL) at a random
moment after they have begun. Every tenth round kills a whole ``plan --machines`` instead, which is then run again to
its end and compared with a run that nobody disturbed. What a kill leaves behind beside the files (hidden,
``.dimmplan-*.tmp``) is counted.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import itertools
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

from dimmplan.boardfile.read import load_board
from dimmplan.cli.compare import _content
from dimmplan.cli.files import sealed, write_files, write_stream
from dimmplan.cli.run import run
from dimmplan.cli.sheets import sheet_files
from dimmplan.compare import compare
from dimmplan.output.compare import Report
from dimmplan.output.plan import PlanDocument
from dimmplan.output.record import to_json
from dimmplan.planner import ask, plan

LONGEST_SECONDS = 0.15
FLEET_SECONDS = 0.6
MACHINES = "tag,board,capacity\n" + "".join(f"Q-{number},marram-4,{8 * number}GiB\n" for number in range(2, 6))

Version = Mapping[str, bytes]


@dataclass(slots=True)
class Tally:
    """What came of all kills."""

    kills: int = 0
    changed: int = 0
    """Files found in another version than before."""
    leftovers: int = 0
    broken: list[str] = field(default_factory=list)


ENDINGS = (".svg", ".png", ".pdf", ".html")
"""Of the sheets that are written."""


def versions(endings: Sequence[str] = ENDINGS) -> list[Version]:
    """The same files in two versions of different lengths."""
    board = load_board("marram-4")
    found = []
    for capacity, tag in (("32GiB", "QUAY-07"), ("48GiB", "a longer tag " * 4)):
        planned = plan(board, ask(board, capacity))
        files = {"plan.json": to_json(PlanDocument.of(planned)).encode()}
        for ending in endings:
            drawn = sheet_files(board, planned.placement, Path(f"map{ending}"), tag=tag, paper="a5")
            files |= {path.name: content for path, content in drawn.items()}
        rows = compare(board, capacities=(capacity,))
        files["compare.csv"] = _content(Report(rows, board_name="marram-4", stock_name=None, over=None), ".csv")
        files["summary.csv"] = f"# dimmplan\n{tag}\n".encode() * 3000
        found.append(files)
    names = set.intersection(*(set(files) for files in found))
    return [{name: files[name] for name in sorted(names)} for files in found]


def kill_many(folder: Path, *, kills: int, seed: int, fleet_every: int = 10, endings: Sequence[str] = ENDINGS) -> Tally:
    """Kill ``kills`` times in a folder and look at the files after each."""
    rng = random.Random(seed)
    tally = Tally()
    known = versions(endings)
    written = [{name: b"".join(sealed((its,))) for name, its in files.items()} for files in known]
    place = folder / "files"
    place.mkdir()
    write_all(place, known[0])
    before = _content_of(place)
    fleet: dict[str, bytes] | None = None
    for number in itertools.count(1):
        if tally.kills >= kills:
            break
        if number % fleet_every == 0:
            fleet = fleet or _whole_fleet(folder / "undisturbed")
            _kill_fleet(folder / "fleet", fleet, rng, tally)
            continue
        children = [_child(lambda mine=mine: _write_on(place, mine)) for mine in known]
        time.sleep(rng.random() * LONGEST_SECONDS)
        _kill(children, tally)
        for name in known[0]:
            path = place / name
            content = path.read_bytes() if path.exists() else None
            if content not in [whole[name] for whole in written]:
                tally.broken.append(f"{name}: {'lost' if content is None else f'{len(content)} bytes'}")
                write_all(place, {name: known[0][name]})
        now = _content_of(place)
        tally.changed += sum(now[name] != before[name] for name in known[0])
        before = now
        tally.leftovers += _tidied(place)
    return tally


def write_all(folder: Path, files: Version) -> None:
    """Write every file, as the commands do."""
    write_files({folder / name: content for name, content in files.items() if name != "summary.csv"}, force=True)
    if "summary.csv" in files:
        write_stream(folder / "summary.csv", (files["summary.csv"],))


def _write_on(folder: Path, files: Version) -> NoReturn:
    while True:
        write_all(folder, files)


def _kill_fleet(folder: Path, whole: Mapping[str, bytes], rng: random.Random, tally: Tally) -> None:
    """Kill a run over a list of machines; run it again; the folder must be that of an undisturbed run."""
    children = [_child(lambda: _fleet(folder))]
    time.sleep(rng.random() * FLEET_SECONDS)
    _kill(children, tally)
    for path in folder.rglob("*"):
        known = whole.get(str(path.relative_to(folder)))
        if path.is_file() and not path.name.startswith(".dimmplan-") and path.read_bytes() != known:
            tally.broken.append(f"{path}: {path.stat().st_size} bytes")
    tally.leftovers += sum(1 for _ in folder.rglob(".dimmplan-*.tmp"))
    _fleet(folder)
    after = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    if after != whole:
        tally.broken.append(f"{folder}: taken up again, {sorted(set(after) ^ set(whole))}")
    shutil.rmtree(folder)


def _whole_fleet(folder: Path) -> dict[str, bytes]:
    _fleet(folder)
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def _fleet(folder: Path) -> None:
    machines = folder.parent / "machines.csv"
    machines.write_text(MACHINES, encoding="utf-8")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        run(["plan", "--machines", str(machines), "--out", str(folder)])


def _child(work: Callable[[], object]) -> int:
    """Start work in a process of its own and return its id once it has begun."""
    begun, begin = os.pipe()
    number = os.fork()
    if number == 0:
        try:
            os.write(begin, b"!")
            work()
        finally:
            os._exit(0)
    os.read(begun, 1)
    os.close(begun)
    os.close(begin)
    return number


def _kill(children: Sequence[int], tally: Tally) -> None:
    for number in children:
        os.kill(number, signal.SIGKILL)
    for number in children:
        os.waitpid(number, 0)
    tally.kills += len(children)


def _content_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")}


def _tidied(folder: Path) -> int:
    """Take away what kills have left; how many files that were."""
    left = list(_leftovers(folder))
    for path in left:
        path.unlink()
    return len(left)


def _leftovers(folder: Path) -> Iterator[Path]:
    yield from folder.glob(".dimmplan-*.tmp")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the bench and print what was found; 1 where a file was broken or lost."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where to write; a folder of its own is made in it")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        tally = kill_many(Path(folder), kills=options.kills, seed=options.seed)
    print(  # noqa: T201 - a bench prints what it found
        f"seed {options.seed}: {tally.kills} kills, {len(tally.broken)} broken or lost, {tally.changed} files changed "
        f"between kills, {tally.leftovers} temporary files left behind"
    )
    for line in tally.broken[:20]:
        print(f"  {line}")  # noqa: T201
    return int(bool(tally.broken))


if __name__ == "__main__":
    sys.exit(main())
