"""What a memory mode costs, said beside its plan."""

from __future__ import annotations

import pytest

from dimmplan.cli.run import run
from tests.support import one_document


def test_mirroring_takes_twice_the_capacity_and_writes_at_half(capsys: pytest.CaptureFixture[str]) -> None:
    """Worked by hand: 384 GiB on every channel is 12 x 32 GiB, mirrored 12 x 64 GiB; 12 channels of 2933 MT/s."""
    call = ["plan", "saltern-24", "--capacity", "384GiB", "--mode", "mirrored"]
    assert run([*call, "--json"]) == 0
    price = one_document(capsys.readouterr().out)["mode_price"]
    assert price["independent"]["modules"] == [{"label": "32GB 2Rx4 PC4-2933Y-R", "count": 12}]
    assert (price["installed_gib"], price["slots"], price["read_gb_s"]) == (384, 0, 0)
    assert price["write_gb_s"] == pytest.approx(-12 * 2933 * 8 / 1000 / 2, abs=0.06)
    assert run(call) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "768 GiB in 12 slots; sweeps at 281.6 GB/s reading, 140.8 GB/s writing" in said
    assert "independent: 384 GiB asked is 12 x 32GB 2Rx4 PC4-2933Y-R, 384 GiB in 12 slots; sweeps at 281.6 GB/s" in said


def test_sparing_takes_slots(capsys: pytest.CaptureFixture[str]) -> None:
    """With one type of two ranks half of each channel is spare: 192 GiB are twelve modules of 32 GiB, not six."""
    call = ["plan", "saltern-24", "--capacity", "192GiB", "--mode", "sparing", "--module", "32GiB", "--over", "0GiB"]
    assert run([*call, "--json"]) == 0
    record = one_document(capsys.readouterr().out)
    price = record["mode_price"]
    assert record["totals"]["usable_gib"] == price["independent"]["usable_gib"] == 192
    assert price["slots"] == record["totals"]["modules"] - 6
    assert price["installed_gib"] == 32 * price["slots"] > 0


def test_without_a_mode_there_is_no_price(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", "saltern-24", "--capacity", "384GiB", "--json"]) == 0
    assert "mode_price" not in one_document(capsys.readouterr().out)
