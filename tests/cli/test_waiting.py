"""A search that takes a while: what it says, and Ctrl-C, which gives the best found so far with status 130."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from fractions import Fraction

import pytest

from dimmplan.cli.run import run
from dimmplan.cli.waiting import Waiting, progress_text, waiting
from dimmplan.solve import budget
from dimmplan.solve.budget import Progress
from dimmplan.solve.criteria import criteria_of

PLAN = ["plan", "tombolo-32", "--capacity", "640GiB", "--max-types", "3"]
CRITERIA = criteria_of("capacity-first", priced=False)[:3]


def press(monkeypatch: pytest.MonkeyPatch, when: Callable[[Progress], bool]) -> None:
    """Ctrl-C is pressed as soon as a search is so far."""

    def hear(wait: Waiting, progress: Progress) -> None:
        if when(progress) and not wait.stopping:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(budget, "NODES_A_REPORT", 10)
    monkeypatch.setattr(Waiting, "hear", hear)


@pytest.fixture(autouse=True)
def _signals() -> object:
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_the_best_so_far_as_json(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    press(monkeypatch, lambda progress: progress.best is not None)
    assert run([*PLAN, "--json"]) == 130
    plan = json.loads(capsys.readouterr().out)
    assert (plan["status"], plan["stopped"]) == ("best-found", "Ctrl-C ended the search")
    assert plan["bound"]["criterion"] and plan["runners_up"] == []


def test_the_best_so_far_as_text(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    press(monkeypatch, lambda progress: progress.best is not None)
    assert run(PLAN) == 130
    assert "Ctrl-C ended the search" in " ".join(capsys.readouterr().out.split())


def test_nothing_found_so_far(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    press(monkeypatch, lambda progress: progress.best is None)
    assert run([*PLAN, "--json"]) == 130
    said = capsys.readouterr()
    assert json.loads(said.out) == {"format": 1, "status": "stopped"}
    assert said.err == "stopped: nothing was found so far\n"


CHAIN = ["plan", "tombolo-32", "--capacity", "640GiB", "--then", "1TiB", "--then-may-move"]


@pytest.mark.parametrize("found", [1, 40])
def test_the_best_chain_so_far(found: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Pressed when the first step is found, or while other types are tried: a whole chain with its bound."""
    heard = iter(range(1000))
    press(monkeypatch, lambda progress: progress.best is not None and next(heard) >= found)
    assert run([*CHAIN, "--json"]) == 130
    plan = json.loads(capsys.readouterr().out)
    growth = plan["growth"]
    assert (growth["status"], growth["stopped"]) == ("best-found", "Ctrl-C ended the search")
    assert growth["bound"]["criterion"] and len(growth["steps"]) == 2
    assert {(step["free"], step["price"]) for step in growth["steps"]} == {(None, None)}
    assert (plan["next_by_adding"], growth["free_path"]) == ([], None)


def test_the_best_chain_so_far_as_text(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    press(monkeypatch, lambda progress: progress.best is not None)
    assert run(CHAIN) == 130
    text = " ".join(capsys.readouterr().out.split())
    assert "best found, not proven: Ctrl-C ended the search; " in text and "by itself" not in text


def test_what_stands_beside_an_answer_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pressed while the next step is worked out: the answer is there."""
    with waiting() as wait:
        signal.raise_signal(signal.SIGINT)
        assert wait.stopping
        assert signal.getsignal(signal.SIGINT) is signal.SIG_DFL  # the second one ends at once
        assert wait.unless_stopped(lambda: 1, 0) == 0


@pytest.mark.parametrize(
    ("best", "text"),
    [
        (None, "Searching: balanced sweep; nothing found yet. Ctrl-C stops."),
        (
            (0, 32, Fraction(176, 2)),
            "Searching: balanced sweep; so far 32 GiB over, 88 GB/s; over at best 0. Ctrl-C gives the best so far.",
        ),
        (
            (0, 0, Fraction(1421, 10)),
            "Searching: balanced sweep; so far 0 GiB over, 142.1 GB/s; balanced sweep at best 150.5. "
            "Ctrl-C gives the best so far.",
        ),
        (
            (0, 0, Fraction(301, 2)),
            "Searching: balanced sweep; so far 0 GiB over, 150.5 GB/s. Ctrl-C gives the best so far.",
        ),
    ],
)
def test_one_line(best: tuple[int | Fraction, ...] | None, text: str) -> None:
    assert progress_text(Progress(CRITERIA, "balanced_sweep", best, (0, 0, Fraction(301, 2)))) == text
