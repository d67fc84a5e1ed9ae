"""Damaged plans, folders of machines and two runs at once: nothing believed, nothing lost, nothing without end.

Run: python -m tests.bench.damage [--minutes 10] [--seed 1]

Boards and every other form of input are damaged by ``tests.bench.hostile``, writes are killed by ``tests.bench.kills``.
A *plan* is changed at a random place of its JSON; a sheet that then says *proven* must be one of the plan as it was. A
*folder* of machines gets edits, foreign files, pipes, folders and forged records; what is not as the tool wrote it must
stay, and a run with ``--force`` must mend all but what is no file. *Two runs* start at once in one folder; one is told
so, and the folder is as one run leaves it.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import io
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from dimmplan.cli.machines import LOCK
from dimmplan.cli.run import run

MACHINES = "tag,board,capacity\n" + "".join(f"Q-{number},marram-4,{8 * number}GiB\n" for number in range(2, 5))
FOLLOWING = ("slots", "status", "totals", "sockets", "code", "fitted")
"""Keys of a plan of which none can change without another."""
LONGEST_SECONDS = 120


def agrees(part: object, whole: object) -> bool:
    """Whether everything that a damaged value still says is what it said: a figure that is left out is no lie."""
    if isinstance(part, dict) and isinstance(whole, dict):
        return all(key in whole and agrees(value, whole[key]) for key, value in part.items())
    if isinstance(part, list) and isinstance(whole, list) and len(part) == len(whole):
        return all(map(agrees, part, whole))
    return part == whole


class Bench:
    """One folder, one stream of random numbers, and what came of it."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder = folder
        self.rng = random.Random(seed)
        self.counts: Counter[str] = Counter()
        self.faults: list[str] = []
        self.plan = self._plan()
        (folder / "machines.csv").write_text(MACHINES, encoding="utf-8")
        self.call("plan", "--machines", str(folder / "machines.csv"), "--out", str(folder / "fresh"))
        self.fresh = files_of(folder / "fresh")

    def _plan(self) -> dict[str, Any]:
        status, text = self.call("plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB", "--json")
        assert status == 0
        plan: dict[str, Any] = json.loads(text)
        rows = [f"{slot},{plan['modules'][0]['label'] if key else 'empty'}\n" for slot, key in plan["slots"].items()]
        (self.folder / "machine.csv").write_text("slot,label\n" + "".join(rows), encoding="utf-8")
        return plan

    def call(self, *words: str) -> tuple[int, str]:
        """A command in this process; its status and what it printed. A fault of the program's own is noted."""
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run(list(words))
        if status not in (0, 1, 2) or "an internal fault" in out.getvalue() + err.getvalue():
            self.faults.append(f"{' '.join(words)}: {status}: {err.getvalue()[-300:]}")
        return status, out.getvalue()

    def damaged_plan(self) -> None:
        """A plan with one or two values changed; every command reads it back."""
        plan = copy.deepcopy(self.plan)
        for _ in range(self.rng.choice((1, 1, 2))):
            damage(plan, self.rng)
        path, machine = self.folder / "damaged.json", str(self.folder / "machine.csv")
        path.write_text(json.dumps(plan), encoding="ascii")
        picture = self.folder / "x.svg"
        calls = (
            ("draw", str(path), "-o", str(picture), "--force"),
            ("why", str(path), "K1"),
            ("audit", machine, "--against", str(path)),
            ("moves", machine, "--to", str(path)),
        )
        statuses = [self.call(*call)[0] for call in calls]
        self.counts[f"plans, status {max(statuses)}"] += 1
        same = all(key in plan and agrees(plan[key], self.plan[key]) for key in FOLLOWING)
        said = "".join(page.read_text(encoding="utf-8") for page in self.folder.glob("x*.svg"))
        if statuses[0] < 2 and not same and "proven when planned" in said:
            self.faults.append(f"a changed plan is drawn as proven: {json.dumps(plan)[:300]}")
        for page in self.folder.glob("x*.svg"):
            page.unlink()

    def damaged_folder(self) -> None:
        """A folder of machines with some damage; what is not as it was written stays, and --force mends the rest."""
        folder = self.folder / "damaged"
        shutil.copytree(self.folder / "fresh", folder)
        mine = [hurt for _ in range(self.rng.randint(1, 3)) if (hurt := harm(folder, self.rng)) is not None]
        before = {path: content_of(path) for path in mine}
        words = ("plan", "--machines", str(self.folder / "machines.csv"), "--out", str(folder))
        status, _ = self.call(*words)
        self.counts[f"folders, status {status}"] += 1
        self.faults += [
            f"{path} was lost" for path, its in before.items() if its is not None and content_of(path) != its
        ]
        forced, _ = self.call(*words, "--force")
        after = files_of(folder)
        refused = {path.parent for path in mine if content_of(path) in ("folder", "other")}
        self.faults += [
            f"{name} is not mended"
            for name, its in self.fresh.items()
            # a folder or a pipe in the place of a file is refused, --force or not, and with it the row of its machine
            if forced < 2 and name.startswith("machines/") and name in after and after[name] != its
            if (folder / name).parent not in refused
        ]
        shutil.rmtree(folder)

    def two_runs(self) -> None:
        """Two runs into one folder: each is done or told of the other, and the folder is as one run leaves it."""
        folder = self.folder / "two"
        words = [
            sys.executable,
            "-m",
            "dimmplan",
            "plan",
            "--machines",
            str(self.folder / "machines.csv"),
            "--out",
            str(folder),
        ]
        both = [subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) for _ in range(2)]
        said = [process.communicate(timeout=LONGEST_SECONDS)[1] for process in both]
        statuses = sorted(process.returncode for process in both)
        self.counts[f"two runs, status {statuses}"] += 1
        if statuses not in ([0, 0], [0, 2]) or any("bad-row" in text or "Traceback" in text for text in said):
            self.faults.append(f"two runs: {statuses}: {said}")
        if files_of(folder) != self.fresh:
            self.faults.append("two runs left another folder than one")
        shutil.rmtree(folder)


def files_of(folder: Path) -> dict[str, bytes]:
    """Every regular file below a folder but the lock."""
    found = (path for path in sorted(folder.rglob("*")) if path.is_file() and path.name != LOCK)
    return {str(path.relative_to(folder)): path.read_bytes() for path in found}


def content_of(path: Path) -> object:
    """What lies there, whatever it is."""
    return path.read_bytes() if path.is_file() else "folder" if path.is_dir() else "other" if path.exists() else None


def damage(value: Any, rng: random.Random) -> None:
    """Change one value somewhere inside a JSON document."""
    while True:
        keys: Sequence[Any] = list(value) if isinstance(value, dict) else range(len(value))
        key = rng.choice(keys)
        inner = value[key]
        if isinstance(inner, dict | list) and inner and rng.random() < 0.9:
            value = inner
            continue
        others: list[Callable[[], Any]] = [
            lambda: rng.randint(-5, 5000),
            lambda: rng.choice(("a", "b", "", "K1", "Z9", "proven", "\x1b", "32GB 2Rx8 PC5-4800B-R", "x" * 300)),
            lambda: None,
            list,
            dict,
        ]
        if rng.random() < 0.1 and isinstance(value, dict):
            del value[key]
        else:
            value[key] = value[rng.choice(keys)] if rng.random() < 0.2 else rng.choice(others)()
        return


def harm(folder: Path, rng: random.Random) -> Path | None:
    """Do something to a folder of machines; the path of what must then stay, where something must."""
    machine = folder / "machines" / f"Q-{rng.randint(2, 4)}"
    name = rng.choice(("plan.json", "map.svg", "machine.json", "../../summary.csv", "../../summary.json"))
    path = Path(os.path.normpath(machine / name))  # a link itself, not what it leads to
    what = rng.choice(("edit", "foreign", "lost", "pipe", "folder", "link", "forged", "left"))
    if what in ("edit", "foreign") and path.is_file():
        path.write_bytes(path.read_bytes() + b"\n" if what == "edit" else b"mine, of dimmplan\n")
        return path
    if what == "forged":
        keep = machine / "keep.txt"
        keep.write_bytes(b"keep")
        record = {"made_by": "dimmplan", "request": "0", "files": {"keep.txt": "0", "../keep": "0", "map.svg": "0"}}
        (machine / "machine.json").write_text(json.dumps(record, indent=2) + "\n", encoding="ascii")
        return keep
    if what == "left":
        (machine / ".dimmplan-abcdefgh.tmp").write_bytes(b"half")
        return None
    if path.is_file():
        path.unlink()
    if what == "pipe" and not path.exists():
        os.mkfifo(path)
        return path
    if what == "folder" and not path.exists():
        path.mkdir()
        return path
    if what == "link" and not path.exists():
        target = folder.parent / f"target-{machine.name}-{path.name}"
        target.write_bytes(b"target")
        path.symlink_to(target)
        return target
    return None


def damage_all(folder: Path, *, seed: int, seconds: float = 0.0, rounds: int = 0) -> Bench:
    """Damage for so many seconds, or so many rounds; of fifty rounds forty damage a plan, eight a folder."""
    bench = Bench(folder, seed)
    end, done = time.monotonic() + seconds, 0
    while done < rounds or time.monotonic() < end:
        done += 1
        kind = done % 50
        if kind == 5:
            bench.two_runs()
        elif kind % 6 == 0:
            bench.damaged_folder()
        else:
            bench.damaged_plan()
    return bench


def main(arguments: Sequence[str] | None = None) -> int:
    """Print counts and faults; 1 where there is a fault."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as name:
        bench = damage_all(Path(name), seed=options.seed, seconds=options.minutes * 60)
    for what, count in sorted(bench.counts.items()):
        say(f"{what:30}{count:>8}")
    for fault in bench.faults[:20]:
        say(fault)
    say(f"seed {options.seed}: {len(bench.faults)} faults")
    return int(bool(bench.faults))


def say(text: str) -> None:
    """Print a line of what was found."""
    print(text, flush=True)  # noqa: T201 - a bench prints what it found


if __name__ == "__main__":
    sys.exit(main())
