"""A seeded sample of ``tests.bench.hostile``: every form but inventories, which ``tests/inventory`` samples."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.damage import damage_all
from tests.bench.hostile import FORMS, INVENTORIES, run

SEED = 20240607
COUNTS = {"board": 20, "call": 20}
OTHERS = 40


@pytest.mark.parametrize("form", [name for name in FORMS if name not in INVENTORIES])
def test_hostile_inputs_are_read_or_refused(form: str) -> None:
    """No traceback and nothing unprintable, whatever is given; some of it can be read, and some is refused."""
    tally = run(form, SEED, COUNTS.get(form, OTHERS))
    faults = [failure for failure in tally.failures if not failure.endswith(" s")]
    assert faults == []
    assert tally.read and tally.refused


def test_damaged_plans_and_folders_and_two_runs_at_once(tmp_path: Path) -> None:
    """A seeded sample of ``tests.bench.damage``."""
    bench = damage_all(tmp_path, seed=SEED, rounds=6)
    assert bench.faults == []
    assert bench.counts.total() == 6
    assert {what.partition(",")[0] for what in bench.counts} == {"plans", "folders", "two runs"}
