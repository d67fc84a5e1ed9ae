"""The questions kept: each command gives its status and holds the facts computed from rules and figures."""

from __future__ import annotations

import json
from typing import Any

import pytest

from dimmplan.cli.run import run
from dimmplan.plancode import encode
from tests.why.questions import PLANS, QUESTIONS, Question, world_of


def argv_of(question: Question) -> list[str]:
    """The command line: the plan's code, or the board's id, comes after the command."""
    world = world_of(question.about)
    subject = encode(world.board, world.placement) if world.placement else question.about
    return [question.command[0], subject, *question.command[1:]]


def at(answer: Any, path: str) -> Any:
    """What stands at a dotted path of an answer."""
    for part in path.split("."):
        answer = answer[int(part)] if isinstance(answer, list) else answer[part]
    return answer


@pytest.mark.parametrize("question", QUESTIONS, ids=[f"{n}-{q.about}" for n, q in enumerate(QUESTIONS, 1)])
def test_question(question: Question, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON holds the facts; the terminal answers with the same status."""
    status = run([*argv_of(question), "--json"])
    out = capsys.readouterr().out
    assert status == question.status, out[:400]
    answer = json.loads(out)
    facts = question.facts(world_of(question.about))
    assert facts
    for path, wanted in facts.items():
        found = at(answer, path)
        if callable(wanted):
            assert wanted(found), f"{question.text} {path}: {found}"
        else:
            assert found == wanted, f"{question.text} {path}"
    assert run(argv_of(question)) == question.status
    said = capsys.readouterr()
    assert said.out or said.err


def test_there_are_enough_of_them() -> None:
    """At least forty, each worded once, over most shipped boards, with every command and every kind of question."""
    assert len(QUESTIONS) >= 40
    assert len({question.text for question in QUESTIONS}) == len(QUESTIONS)
    assert len({world_of(question.about).board.id for question in QUESTIONS}) >= 9
    assert {question.command[0] for question in QUESTIONS} == {"why", "mix", "rules"}
    options = {part for question in QUESTIONS for part in question.command if part.startswith("--")}
    assert {"--next", "--module", "--put", "--clear", "--without", "--expect"} <= options
    assert {question.about for question in QUESTIONS if question.about in PLANS} == set(PLANS)
