"""Many machines at once: time and memory of 1,000 machines over 40 distinct requests, with a shared shelf or without.

Run: python -m tests.bench machines [-- --whole --machines N --requests N]

Prints one line for each run. ``--whole`` adds runs killed after a third and resumed, again on a whole folder and on one
core, of which the folders must be equal, byte for byte, and a shelf of a hundred labels.
"""

# ruff: noqa: T201 - a bench prints

from __future__ import annotations

import argparse
import filecmp
import itertools
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.bench.processes import README

BOARDS = {
    "skerry-16": (96, 192, 256, 320, 384, 448, 512, 640, 768, 896),
    "quay-24": (192, 256, 384, 512, 576, 640, 768),
    "strand-12": (192, 384, 512, 640, 768, 1024, 1152),
    "lagoon-32": (256, 512, 768, 1024, 1536, 2048),
    "marram-4": (16, 24, 32, 48, 64),
    "saltern-24": (192, 384, 512, 768, 1024),
}
SHELF = {
    "32GB 2Rx4 PC4-2933Y-R": 3000,
    "64GB 2Rx4 PC4-2933Y-R": 1200,
    "32GB 2Rx4 PC4-2666V-R": 1000,
    "64GB 2Rx4 PC5-6400B-R": 900,
    "64GB 2Rx4 PC5-4800B-R": 1500,
    "16GB 2Rx8 PC4-3200AA-E": 150,
}


def requests(count: int) -> Iterator[str]:
    """Distinct requests: board and capacity."""
    every = [(board, gib) for board, sizes in BOARDS.items() for gib in sizes]
    for number in range(count):
        board, gib = every[number % len(every)]
        yield f"{board},{gib + 8 * (number // len(every))}GiB"


def fleet_file(path: Path, machines: int, distinct: int) -> None:
    kinds = list(requests(distinct))
    rows = [f"RACK-{number:05d},{kinds[number * 7 % distinct]}" for number in range(machines)]
    path.write_text("\n".join(["tag,board,capacity", *rows]) + "\n", encoding="utf-8")


def many_labels(count: int, modules: int) -> str:
    """Rows of a shelf: that many labels, seeded, with about so many modules in all."""
    rng = random.Random(count)
    rates = {"PC4": ("2133P", "2400T", "2666V", "2933Y", "3200AA")}
    rates["PC5"] = ("4800B", "5200B", "5600B", "6000B", "6400B")
    every = [
        f"{gib}GB {ranks}Rx{width} {generation}-{rate}-R"
        for generation, each in rates.items()
        for gib, ranks, width, rate in itertools.product((8, 16, 32, 64, 128), (1, 2, 4), (4, 8), each)
        if 8 <= gib * width // ranks // 8 <= 16  # Gbit of a die
    ]
    return "".join(f"{label},{rng.randrange(1, modules // count)}\n" for label in rng.sample(every, count))


def command(fleet: Path, out: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "dimmplan", "plan", "--machines", str(fleet), "--out", str(out), *more]


def run(name: str, *arguments: list[str]) -> str:
    """Run commands one after another; say, and give as text, what they took together."""
    started = time.perf_counter()
    most = 0
    for each in arguments:
        process = subprocess.Popen(each, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        said = process.stdout.read().splitlines() if process.stdout else []
        _, status, usage = os.wait4(process.pid, 0)
        most = max(most, usage.ru_maxrss // 1024)
        code = os.waitstatus_to_exitcode(status)
        assert code in (0, 1), code
    took = time.perf_counter() - started
    print(f"{name:26s} {took:8.1f} s {most:6d} MiB   {' '.join(said)[:150]}", flush=True)
    return f"{took:.0f} s, {most} MB"


def killed(arguments: list[str], out: Path, wanted: int) -> None:
    """Start a run and kill it when so many machines are drawn."""
    process = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while len(list(out.glob("machines/*/machine.json"))) < wanted and process.poll() is None:
        time.sleep(0.05)
    process.send_signal(signal.SIGKILL)
    process.wait()
    print(f"{'killed':26s} after {len(list(out.glob('machines/*/machine.json')))} machines", flush=True)


def equal(one: Path, other: Path) -> bool:
    """True where two folders hold the same files with the same bytes."""
    compared = filecmp.dircmp(one, other)
    if compared.left_only or compared.right_only or compared.funny_files:
        return False
    _, mismatch, errors = filecmp.cmpfiles(one, other, compared.common_files, shallow=False)
    return not mismatch and not errors and all(equal(one / name, other / name) for name in compared.common_dirs)


def main(argv: Sequence[str] = ()) -> int:
    """Print a line for each run; 1 where folders differ that should be the same."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench machines --",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--whole", action="store_true", help="killed, resumed and on one core as well")
    parser.add_argument("--machines", type=int, default=1000)
    parser.add_argument("--requests", type=int, default=40, help="distinct ones among them")
    options = parser.parse_args(argv)
    machines, same = options.machines, True
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fleet, shelf = folder / "fleet.csv", folder / "shelf.csv"
        fleet_file(fleet, machines, options.requests)
        shelf.write_text("label,count\n" + "".join(f"{label},{count}\n" for label, count in SHELF.items()))
        fresh = run("fresh", command(fleet, folder / "fresh"))
        shared = run("with a shared shelf", command(fleet, folder / "stock", "--stock", str(shelf)))
        if options.whole:
            same = _whole(folder, fleet, machines, options.requests)
    what = f"{machines:,} machines over {options.requests} requests, every sheet written"
    README.append((what, f"{fresh}; sharing one shelf {shared}"))
    return int(not same)


def _whole(folder: Path, fleet: Path, machines: int, distinct: int) -> bool:
    """All other runs; true where the folders that should be equal are."""
    few, shelf = folder / "few.csv", folder / "labels.csv"
    fleet_file(few, max(distinct, machines // 10), distinct)
    run("a tenth of the machines", command(few, folder / "few"))
    killed(command(fleet, folder / "killed"), folder / "killed", machines // 3)
    run("resumed", command(fleet, folder / "killed"))
    resumed = equal(folder / "fresh", folder / "killed")
    print(f"{'':26s} as if never killed: {resumed}")
    run("again, all whole", command(fleet, folder / "fresh"))
    run("one at a time", command(fleet, folder / "one", "--jobs", "1"))
    merged = equal(folder / "fresh", folder / "one")
    print(f"{'':26s} the same on all cores: {merged}")
    shelf.write_text(f"label,count\n{many_labels(100, 20 * machines)}")
    run("100 labels shared", command(fleet, folder / "labels", "--stock", str(shelf)))
    return resumed and merged


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
