"""A cold command costs little more than the libraries it stands on: ratios within one run, never times."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.bench.commands import BARE, TARGETS, processor_ratio, run_in_turn

ROUNDS = 4
"""What else the machine does only ever adds time, so the best of some rounds decides."""

HEADROOM = 1.1
"""The targets are those of the bench; here a tenth is left for machines that differ from the one they were met on."""


@pytest.mark.skipif(
    sys.version_info[:2] != (3, 11), reason="the targets were met on Python 3.11; on 3.13 a code drawn takes 2.0"
)
def test_commands_start_within_their_targets(tmp_path: Path) -> None:
    best = dict.fromkeys(TARGETS, float("inf"))
    for _ in range(ROUNDS):
        found = run_in_turn(tmp_path, 3)
        assert {process.status for processes in found.values() for process in processes} == {0}
        for name in TARGETS:
            best[name] = min(best[name], processor_ratio(found[name], found[BARE]))
        if all(best[name] <= most * HEADROOM for name, most in TARGETS.items()):
            return
    assert best == {name: min(best[name], most * HEADROOM) for name, most in TARGETS.items()}
