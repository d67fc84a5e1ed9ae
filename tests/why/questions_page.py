"""The questions kept as a page of the docs: what a caller asks, the command that answers, how the answer begins."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable
from pathlib import Path

import dimmplan
from dimmplan.cli.run import run
from dimmplan.plancode.code import encode
from tests.why.questions import PLANS, QUESTIONS, Question, world_of

PAGE = Path(dimmplan.__file__).parent / "docs" / "questions.md"
ENOUGH_LINES = 9
"""An answer is shown up to the end of the sentence that this line is in."""

HEAD = """# Questions that callers ask

Each with the command that answers it and the beginning of the answer. The codes are plan codes, as they stand on a
sheet; the plan that they carry is named with each. The tests ask every question again and check the answers against the
board's rules and against figures computed apart.
"""

TOPICS: dict[str, Callable[[Question], bool]] = {
    "Why is this slot as it is?": lambda q: q.command[0] == "why" and q.command[1:] != () and q.command[1][0] != "-",
    "Why this rate?": lambda q: q.command == ("why",),
    "What comes next?": lambda q: "--next" in q.command,
    "May this go in, may that come out?": lambda q: bool({"--put", "--clear"} & set(q.command)),
    "What after a failed module?": lambda q: "--without" in q.command,
    "Why not these slots?": lambda q: "--expect" in q.command,
    "May these be mixed?": lambda q: q.command[0] == "mix",
    "Which rules are there?": lambda q: q.command[0] == "rules",
}


def argv_of(question: Question) -> list[str]:
    """The command line: the plan's code, or the board's id, comes after the command."""
    world = world_of(question.about)
    subject = encode(world.board, world.placement) if world.placement else question.about
    return [question.command[0], subject, *question.command[1:]]


def section(question: Question, answer: str) -> str:
    """One question of the page. ``answer`` is all that the command printed."""
    command = " ".join(f"'{part}'" if " " in part else part for part in ["dimmplan", *argv_of(question)])
    about = f"The plan: {_plan_words(question)}.\n\n" if question.about in PLANS else ""
    no = " (exit status 1: the answer is no)" if question.status else ""
    return f"### {question.text}\n\n{about}    {command}\n\nThe answer{no}:\n\n{_excerpt(question, answer)}"


def _plan_words(question: Question) -> str:
    board, capacity, options = PLANS[question.about]
    parts = [f"`{board}`, {capacity} of {', '.join(options['modules'])} modules"]
    parts += [f"{name} {value}" for name, value in options.items() if name != "modules"]
    return ", ".join(parts)


def _excerpt(question: Question, answer: str) -> str:
    """From the first line that answers on, to the end of a sentence; indented as a block."""
    lines = answer.rstrip("\n").splitlines()
    begin = lines.index(question.shown) if question.shown else _after_head(lines)
    shown: list[str] = []
    for line in lines[begin:]:
        if len(shown) >= ENOUGH_LINES and (not line or shown[-1].endswith("]")):
            break
        shown.append(line)
    more = "    ...\n" if begin + len(shown) < len(lines) else ""
    return "".join(f"    {line}".rstrip() + "\n" for line in shown) + more


def _after_head(lines: list[str]) -> int:
    """The line after the first empty one: what stands above names the board and the plan."""
    return lines.index("") + 1 if "" in lines else 0


def page(answers: dict[str, str]) -> str:
    """The whole page, from what each question's command printed."""
    parts = [HEAD]
    for topic, is_of in TOPICS.items():
        parts.append(f"## {topic}\n")
        parts += [section(question, answers[question.text]) for question in QUESTIONS if is_of(question)]
    return "\n".join(parts)


def answered(question: Question) -> str:
    """What the command prints: the answer, or the causes of a refusal."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        run(argv_of(question))
    return out.getvalue() or err.getvalue()


def write() -> None:
    """Ask every question and write the page."""
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page({question.text: answered(question) for question in QUESTIONS}), encoding="utf-8")
