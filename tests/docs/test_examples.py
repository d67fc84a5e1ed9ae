"""Every example of the README and of the documents is run as it stands; what is not run is counted and says why."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Literal, get_args, get_origin

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.rules import SCHEMA
from dimmplan.docs import FOLDER, topics
from dimmplan.model.module import Generation
from dimmplan.model.rows import Row
from dimmplan.rules import RuleRow, default_rows
from dimmplan.rules.judge import fitted_default
from tests.docs.shell import blocks, call, missing_lines, run_document

ROOT = Path(__file__).resolve().parent.parent.parent
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(FOLDER.glob("*.md"))]
NOT_RUN = {
    # how many lines of each document are not run; each says why where it stands, or is no command of ours
    "README.md": 2,  # pip install
    "machines.md": 1,  # job runners
    "writing-a-board.md": 1,  # --watch goes on until it is stopped
}


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_the_examples_of_a_document(document: Path, tmp_path: Path) -> None:
    """Every command of a document's blocks ends as it should and prints what is shown."""
    text = document.read_text(encoding="utf-8")
    count = run_document(text, tmp_path)
    assert len(count.not_run) == NOT_RUN.get(document.name, 0), count.not_run
    typed = [line for block in blocks(text) if block.kind == "sh" for line in block.body.splitlines()]
    commands = sum(line.lstrip().startswith("dimmplan ") for line in typed)
    skipped = sum(line.startswith("dimmplan ") for line in count.not_run)
    programs = sum(block.kind == "python" for block in blocks(text))
    assert count.run + skipped == commands + programs, "nothing is skipped in silence"


def test_the_examples_are_found() -> None:
    """There are examples to run, in the README and in the guide."""
    for name, least in (("README.md", 8), ("dimmplan/docs/writing-a-board.md", 4)):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert len(re.findall(r"^dimmplan ", text, re.MULTILINE)) >= least, name


def test_links_between_documents_lead_somewhere() -> None:
    """A link to a file of the project names one that is there."""
    for document in DOCUMENTS:
        for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", document.read_text(encoding="utf-8")):
            assert (document.parent / target).exists(), f"{document.name}: {target}"


def test_topics_that_are_named_are_there() -> None:
    """Where a document, a message or a help says what to read, there is such a topic."""
    named = set()
    for path in (*DOCUMENTS, *sorted((ROOT / "dimmplan").rglob("*.py"))):
        named |= set(re.findall(r"dimmplan docs\s+([a-z][a-z-]+)", path.read_text(encoding="utf-8")))
    assert "writing-a-board" in named
    assert named <= {*topics(), SCHEMA}


def test_the_small_shell_fails_where_it_should(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A wrong status, a line that is not printed and a foreign command fail a document."""
    monkeypatch.chdir(tmp_path)
    assert (
        call("dimmplan boards list --json > list.json && dimmplan boards show skerry-16 | dimmplan docs words")[0] == 0
    )
    assert (tmp_path / "list.json").exists()
    for text in (
        "```sh\ndimmplan boards show nowhere\n```\n",
        "<!-- test: status 1 -->\n```sh\ndimmplan boards list\n```\n",
        "```sh\ndimmplan boards list\n```\n\n```text\nskerry-17\n```\n",
        "```sh\ndimmplan boards list | sort\n```\n",
    ):
        with pytest.raises(AssertionError):
            run_document(text, tmp_path)
    assert missing_lines("a\n b \nc\n", "a\n...\nc") == []
    assert missing_lines("a\nb\n", "b\na") == ["a"]


def test_the_rules_document_knows_every_rule() -> None:
    """The usual rules and the checks of the document are those of the code, and each board named has such a row."""
    text = (FOLDER / "rules.md").read_text(encoding="utf-8")
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line.startswith("|")]
    middle = rows.index(["check", "keys", "says", "see"])
    last = rows.index(["key", "holds"])
    usual, checks, held = rows[:middle], rows[middle:last], rows[last + 2 :]
    named = {name: row[2] for row in usual[2:] for name in row[0].split(", ")}
    default = (*default_rows(Generation.DDR4), *fitted_default(load_board("marram-4")))
    assert named == {row.id: row.source for row in default}
    kinds = get_args(get_args(RuleRow)[0])
    keys = {get_args(kind.model_fields["check"].annotation)[0]: kind for kind in kinds}
    assert {row[0] for row in checks[2:]} == set(keys)
    for check, told, _, board in checks[2:]:
        own = set(keys[check].model_fields) - {*Row.model_fields, "check"} | ({"text"} if check == "note" else set())
        assert set(filter(None, told.split(", "))) == own, check
        if board:
            assert any(row.check == check for row in load_board(board).rules), board
    said = {name: " ".join(row[1:]) for row in held for name in row[0].split(", ")}
    for kind in kinds:
        for name, field in kind.model_fields.items():
            words = {word for word in _words(field.annotation) if name in said}
            assert all(f"`{word}`" in said[name] for word in words), (kind.__name__, name)
    assert {"field", "within", "spare", "about", "group_channels"} <= set(said)


def _words(annotation: object) -> Iterator[object]:
    """The words and numbers that a key may hold, where it lists them."""
    for inner in get_args(annotation):
        if get_origin(annotation) is Literal:
            yield inner
        else:
            yield from _words(inner)
