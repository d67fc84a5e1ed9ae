"""Mutation testing: does a test fail when a line of the rules, the figures or the search is changed?

A copy of the project is mutated by mutmut (``pip install mutmut==3.8.1``; needs ``fork``), a seeded sample of the
mutants is tried by quick tests, and what survives those by many more. A mutant that runs out of time counts as killed.
"""

from __future__ import annotations

import argparse
import fnmatch
import json
import math
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[2]

MUTATED = (
    "dimmplan/rules/*.py",
    "dimmplan/rates.py",
    "dimmplan/interleave.py",
    "dimmplan/figures.py",
    "dimmplan/solve/*.py",
)
COPIED = ("boards", "out", "README.md")
"""What tests read besides sources and tests."""

QUICK = (
    "tests/rules",
    "tests/solve",
    *(f"tests/oracle/test_against_search.py::test_regions_of_random_loads[{n}]" for n in range(3)),
    *(f"tests/oracle/test_against_search.py::test_search_and_oracle_agree[{n}]" for n in (20, 40, 120, 200, 220, 340)),
    "tests/oracle/test_against_search.py::test_alternatives_are_placements[0]",
    "tests/oracle/test_against_search.py::test_steps_are_the_nearest_faster_capacities[0]",
    *(f"tests/oracle/test_modes.py::test_modes_give_what_brute_force_gives[{n}]" for n in (0, 80)),
)
"""Tests of a few seconds, which see most of what a mutant does."""

WIDE = (
    *QUICK[:2],
    "tests/oracle/test_against_search.py",
    "tests/oracle/test_modes.py",
    "tests/published/test_interleave.py",
    "tests/published/test_placements.py",
    "tests/published/test_rates.py",
    "tests/property/test_search_switches.py",
    "tests/opinion",
    "tests/why/test_failed.py",
)
"""Tests of about a minute: brute force over all seeds, a second solver, published values, reasons."""

SLOW = (
    "tests/opinion/test_opinion.py::test_shipped_boards",
    "tests/solve/test_scale.py",
    "tests/oracle/test_modes.py::test_the_seeds_hold_plans_and_refusals_of_both_modes",
)
"""Tests among those that need seconds each."""

ARGUMENTS = ("-n", "0", "-p", "no:cacheprovider", *(f"--deselect={name}" for name in SLOW))

CONFIGURATION = """
[tool.mutmut]
source_paths = ["dimmplan"]
only_mutate = {mutated}
also_copy = {copied}
pytest_add_cli_args = {arguments}
pytest_add_cli_args_test_selection = {tests}
timeout_multiplier = 2.0
timeout_constant = 5.0
track_dependencies = false
use_git_change_detection = false
process_isolation = "forkserver"
"""


class Runner:
    """mutmut in a folder of its own; its chatter goes to ``mutmut.log`` there."""

    def __init__(self, folder: Path, jobs: int) -> None:
        self.folder = folder
        self.jobs = jobs
        beside = str(Path(sys.executable).parent)
        self.command = shutil.which("mutmut", path=os.pathsep.join([beside, *os.get_exec_path()]))

    def copy(self) -> None:
        """Copy what is mutated, what is tested and what tests read."""
        for name in ("dimmplan", "tests", *COPIED):
            source, target = ROOT / name, self.folder / name
            if source.is_dir():
                shutil.copytree(source, target, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, target)

    def choose(self, tests: Sequence[str]) -> None:
        """Write the configuration for those tests."""
        chosen = CONFIGURATION.format(
            mutated=json.dumps(MUTATED),
            copied=json.dumps(COPIED),
            arguments=json.dumps(ARGUMENTS),
            tests=json.dumps(tests),
        )
        project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
        (self.folder / "pyproject.toml").write_text(project + chosen, encoding="utf-8")

    def run(self, names: Iterable[str]) -> None:
        """Try mutants by name; names may hold wildcards."""
        self._mutmut("run", "--max-children", str(self.jobs), *names)

    def results(self) -> dict[str, str]:
        """What is known of every mutant there is, by name."""
        lines = self._mutmut("results", "--all", "1").splitlines()
        return dict(line.strip().split(": ", 1) for line in lines if ": " in line)

    def show(self, name: str) -> str:
        """A mutant as a difference of lines."""
        return self._mutmut("show", name)

    def again(self, names: Sequence[str]) -> dict[str, str]:
        """What becomes of mutants by many tests: each is written into a project of its own, so nothing slows it."""
        _, seconds = self._many_tests(self._project("unchanged"), None)
        projects = []
        for name in names:
            source = self.folder / file_of(name)
            unchanged = source.read_bytes()
            self._mutmut("apply", name)
            projects.append(self._project(name))
            source.write_bytes(unchanged)
        with ThreadPoolExecutor(self.jobs) as pool:
            found = pool.map(lambda project: self._many_tests(project, 5 * seconds + 60), projects)
            return {name: status for name, (status, _) in zip(names, found, strict=True)}

    def _project(self, name: str) -> Path:
        """A copy of the project as it is in the folder now."""
        project = self.folder / "again" / name
        ignored = shutil.ignore_patterns("mutants", "again", "__pycache__", "mutmut.log")
        shutil.copytree(self.folder, project, ignore=ignored)
        return project

    def _many_tests(self, project: Path, limit: float | None) -> tuple[str, float]:
        """Whether a project passes, and in how many seconds. The unchanged one has no limit and must pass."""
        began = time.perf_counter()
        command = [sys.executable, "-m", "pytest", "-x", "-q", *ARGUMENTS, *WIDE]
        environment = os.environ | {"PYTHONPATH": str(project)}
        try:
            done = subprocess.run(
                command, cwd=project, env=environment, capture_output=True, text=True, check=False, timeout=limit
            )
        except subprocess.TimeoutExpired:
            return "timeout", time.perf_counter() - began
        if limit is None and done.returncode:
            raise SystemExit(done.stdout)
        shutil.rmtree(project)
        return "killed" if done.returncode else "survived", time.perf_counter() - began

    def _mutmut(self, *arguments: str) -> str:
        assert self.command is not None
        environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
        done = subprocess.run(
            [self.command, *arguments], cwd=self.folder, env=environment, capture_output=True, text=True, check=False
        )
        with (self.folder / "mutmut.log").open("a", encoding="utf-8") as log:
            log.write(f"{done.stdout}\n{done.stderr}\n")
        if done.returncode:
            raise SystemExit(f"mutmut {arguments[0]} failed, see {self.folder / 'mutmut.log'}")
        return done.stdout


def file_of(name: str) -> str:
    """The file of a mutant from its name, ``dimmplan.solve.decide.x_reached__mutmut_3``."""
    return f"{name.split('.x', 1)[0].replace('.', '/')}.py"


def interval(killed: int, tried: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share."""
    z, share = 1.96, killed / tried
    middle = share + z * z / (2 * tried)
    half = z * math.sqrt(share * (1 - share) / tried + z * z / (4 * tried * tried))
    return (middle - half) / (1 + z * z / tried), (middle + half) / (1 + z * z / tried)


def table(results: dict[str, str], every: Iterable[str]) -> Iterable[str]:
    """Lines for a person: each file with its mutants, how many were tried, and what became of them."""
    there = Counter(map(file_of, every))
    yield f"{'file':<30}{'mutants':>9}{'tried':>7}{'killed':>8}{'timed out':>11}{'survived':>10}"
    for file in [*sorted(there), ""]:
        of_file = Counter(status for name, status in results.items() if file in ("", file_of(name)))
        tried = sum(of_file.values())
        killed, timed_out = of_file["killed"], of_file["timeout"]
        mutants = there[file] if file else sum(there.values())
        yield f"{file or 'all':<30}{mutants:>9}{tried:>7}{killed:>8}{timed_out:>11}{tried - killed - timed_out:>10}"
    low, high = interval(killed + timed_out, tried)
    yield f"score {(killed + timed_out) / tried:.1%} of {tried} mutants, 95 % interval {low:.1%} to {high:.1%}"


def main(argv: list[str] | None = None) -> int:
    """Draw, try, try the survivors again, print the table and the survivors."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench mutants --")
    parser.add_argument("--sample", type=int, default=400, help="how many mutants to draw; 0 for all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="*", metavar="PATTERN", help="files to draw from, such as dimmplan/rates.py")
    parser.add_argument("--names", type=Path, metavar="FILE", help="mutants to try instead, one a line")
    parser.add_argument("--tests", nargs="+", default=QUICK, help="what to try first, such as tests/rules")
    parser.add_argument("--quick", action="store_true", help="do not try the survivors by more tests")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--folder", type=Path, help="where to work, kept; otherwise a temporary one")
    wanted = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="mutants-") as temporary:
        folder = wanted.folder or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        runner = Runner(folder.resolve(), wanted.jobs)
        if runner.command is None:
            parser.error("mutmut is not there: pip install mutmut==3.8.1")
        return _tried(runner, wanted)


def _tried(runner: Runner, wanted: argparse.Namespace) -> int:
    runner.copy()
    runner.choose(wanted.tests)
    runner.run(["dimmplan.rates.x_rate_row__mutmut_1"])  # writes all mutants and learns which tests reach which
    every = sorted(name for name in runner.results() if fnmatch.fnmatch(file_of(name), wanted.only))
    if wanted.names:
        drawn = wanted.names.read_text(encoding="utf-8").split()
    else:
        drawn = every[:]
        random.Random(wanted.seed).shuffle(drawn)
        drawn = drawn[: wanted.sample or None]
    runner.run(drawn)
    known = runner.results()
    results = {name: known[name] for name in drawn}
    survivors = _survivors(results)
    if survivors and not wanted.quick:
        results |= runner.again(survivors)
    print("\n".join(table(results, every)))  # noqa: T201
    for name in _survivors(results):
        print(f"\n{name}\n{runner.show(name)}")  # noqa: T201
    return 0


def _survivors(results: dict[str, str]) -> list[str]:
    return sorted(name for name, status in results.items() if status not in ("killed", "timeout"))


if __name__ == "__main__":
    sys.exit(main())
