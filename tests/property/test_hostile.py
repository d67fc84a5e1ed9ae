"""A seeded sample of ``tests.bench.hostile``: every form but inventories, which ``tests/inventory`` samples."""

from __future__ import annotations

import pytest

from tests.bench.hostile import FORMS, INVENTORIES, run

SEED = 20240607
COUNTS = {"board": 60, "call": 60}
OTHERS = 150


@pytest.mark.parametrize("form", [name for name in FORMS if name not in INVENTORIES])
def test_hostile_inputs_are_read_or_refused(form: str) -> None:
    """No traceback and nothing unprintable, whatever is given; some of it can be read, and some is refused."""
    tally = run(form, SEED, COUNTS.get(form, OTHERS))
    faults = [failure for failure in tally.failures if not failure.endswith(" s")]
    assert faults == []
    assert tally.read and tally.refused
