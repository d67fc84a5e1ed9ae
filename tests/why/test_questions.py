"""The questions kept: each command gives its status and holds the facts computed from rules and figures."""

from __future__ import annotations

import re
from typing import Any

import pytest

from dimmplan.cli.run import run
from tests.support import one_document, unprintable
from tests.why.questions import PLANS, QUESTIONS, Question, world_of
from tests.why.questions_page import PAGE, TOPICS, argv_of, section


def at(answer: Any, path: str) -> Any:
    """What stands at a dotted path of an answer."""
    for part in path.split("."):
        answer = answer[int(part)] if isinstance(answer, list) else answer[part]
    return answer


@pytest.mark.parametrize("question", QUESTIONS, ids=[f"{n}-{q.about}" for n, q in enumerate(QUESTIONS, 1)])
def test_question(question: Question, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON is one document and holds the facts; the terminal has the same status and at most 80 columns."""
    status = run([*argv_of(question), "--json"])
    out = capsys.readouterr().out
    assert status == question.status, out[:400]
    answer = one_document(out)
    assert answer["format"] == 1
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
    assert not list(unprintable(said.out))
    assert max((len(line) for line in said.out.splitlines()), default=0) <= 80
    assert section(question, said.out or said.err) in PAGE.read_text(encoding="utf-8")


def test_the_page_of_the_docs_has_each_question_once_in_order() -> None:
    """The sections are held by each question's own test; between them stand only the topics."""
    wanted = ["# Questions that callers ask"]
    for topic, is_of in TOPICS.items():
        wanted += [f"## {topic}", *(f"### {question.text}" for question in QUESTIONS if is_of(question))]
    assert re.findall(r"^#+ .*", PAGE.read_text(encoding="utf-8"), re.MULTILINE) == wanted
    assert len(wanted) == len(QUESTIONS) + len(TOPICS) + 1


def test_there_are_enough_of_them() -> None:
    """At least forty, each worded once, over most shipped boards, with every command and every kind of question."""
    assert len(QUESTIONS) >= 40
    assert len({question.text for question in QUESTIONS}) == len(QUESTIONS)
    assert len({world_of(question.about).board.id for question in QUESTIONS}) >= 9
    assert {question.command[0] for question in QUESTIONS} == {"why", "mix", "rules"}
    options = {part for question in QUESTIONS for part in question.command if part.startswith("--")}
    assert {"--next", "--module", "--put", "--clear", "--without", "--expect"} <= options
    assert {question.about for question in QUESTIONS if question.about in PLANS} == set(PLANS)
