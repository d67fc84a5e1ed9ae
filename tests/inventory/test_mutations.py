"""A seeded sample of damaged inventories, each form in a process of its own so that its memory can be measured.

How long one input may take is a target of the bench; here only what never ends is found.
"""

from __future__ import annotations

import subprocess
import sys
from itertools import islice
from pathlib import Path
from random import Random

import pytest

from tests.bench.hostile import INVENTORIES, MOST_MEMORY_MB, STOPPED_AFTER_SECONDS
from tests.bench.mutate_inventories import bases, mutants

SEED, COUNT = 20240607, 250
ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("form", INVENTORIES)
def test_mutated_inventories_are_read_or_refused(form: str) -> None:
    command = [sys.executable, "-m", "tests.bench.hostile", "--form", form]
    done = subprocess.run(
        [*command, "--seed", str(SEED), "--count", str(COUNT), "--limit", str(STOPPED_AFTER_SECONDS)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    sys.stdout.write(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
    seed, head, row = done.stdout.splitlines()[:3]
    told = dict(zip(head.split(), row.split(), strict=True))
    assert (seed, told["form"]) == (f"seed {SEED}", form)
    assert int(told["read"]) > COUNT // 10 and int(told["refused"]) > 10
    assert int(told["read"]) + int(told["refused"]) == int(told["inputs"]) >= COUNT
    assert int(told["faults"]) == int(told["hangs"]) == 0
    assert int(told["peak-MB"]) <= MOST_MEMORY_MB


@pytest.mark.parametrize("form", INVENTORIES)
def test_the_seed_gives_the_same_mutants(form: str) -> None:
    def first(seed: int) -> list[bytes]:
        return list(islice(mutants(form, Random(seed)), 30))

    assert first(SEED) == first(SEED)
    assert first(SEED) != first(SEED + 1)
    assert len(set(first(SEED)) - set(bases(form))) > 25
