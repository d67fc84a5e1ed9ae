"""A seeded sample of the mutation bench, each form in a process of its own so that its memory can be measured."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench.mutate_inventories import MOST_MEMORY_MB, READERS, bases, mutants

SEED, COUNT = 20240607, 400
ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("form", sorted(READERS))
def test_mutated_inventories_are_read_or_refused(form: str) -> None:
    command = [sys.executable, "-m", "tests.bench.mutate_inventories", "--form", form]
    done = subprocess.run(
        [*command, "--seed", str(SEED), "--count", str(COUNT)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    sys.stdout.write(done.stdout)
    line = re.match(r"(\S+): seed (\d+), (\d+) mutants, (\d+) read, (\d+) refused, .* peak (\d+) MB", done.stdout)
    assert line, done.stdout + done.stderr
    assert done.returncode == 0, done.stdout
    assert (line[1], int(line[2]), int(line[3])) == (form, SEED, COUNT)
    assert int(line[4]) > COUNT // 10 and int(line[5]) > 10
    assert int(line[4]) + int(line[5]) >= COUNT
    assert int(line[6]) <= MOST_MEMORY_MB


@pytest.mark.parametrize("form", sorted(READERS))
def test_the_seed_gives_the_same_mutants(form: str) -> None:
    first = list(mutants(form, SEED, 30))
    assert first == list(mutants(form, SEED, 30))
    assert first != list(mutants(form, SEED + 1, 30))
    assert len(set(first) - set(bases(form))) > 25
