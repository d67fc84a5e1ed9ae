"""A seeded sample of damaged inventories, each form in a forked process so that its memory can be measured.

How long one input may take is a target of the bench; here only what never ends is found.
"""

from __future__ import annotations

from itertools import islice
from multiprocessing import get_context
from multiprocessing.queues import SimpleQueue
from random import Random

import pytest

from tests.bench import hostile
from tests.bench.hostile import INVENTORIES, MOST_MEMORY_MB, STOPPED_AFTER_SECONDS, Tally, peak_mb
from tests.bench.mutate_inventories import bases, mutants
from tests.support import WHOLE

SEED, COUNT = 20240607, 120


def _tally(form: str, results: SimpleQueue[tuple[Tally, int]]) -> None:
    before = peak_mb()
    results.put((hostile.run(form, SEED, COUNT, every=1 if WHOLE else 96, limit=STOPPED_AFTER_SECONDS), before))


@pytest.mark.parametrize("form", INVENTORIES)
def test_mutated_inventories_are_read_or_refused(form: str) -> None:
    context = get_context("fork")
    results: SimpleQueue[tuple[Tally, int]] = context.SimpleQueue()
    process = context.Process(target=_tally, args=(form, results))
    process.start()
    tally, before = results.get()
    process.join()
    assert tally.failures == []
    assert tally.hangs == 0
    assert tally.read > COUNT // 10 and tally.refused > 10
    assert tally.read + tally.refused >= COUNT
    assert tally.peak_mb - before <= MOST_MEMORY_MB


@pytest.mark.parametrize("form", INVENTORIES)
def test_the_seed_gives_the_same_mutants(form: str) -> None:
    def first(seed: int) -> list[bytes]:
        return list(islice(mutants(form, Random(seed)), 30))

    assert first(SEED) == first(SEED)
    assert first(SEED) != first(SEED + 1)
    assert len(set(first(SEED)) - set(bases(form))) > 12
