"""One list of sources: neutral ids, every cited one in the list, citations in one place, older ids still read."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dimmplan.boardfile.read import examine_text, load_board
from dimmplan.cli.sheets import sheet_files
from dimmplan.planner import ask, plan
from dimmplan.sources import SOURCES, current_id
from tests.docs.shell import call
from tests.support import shipped_boards
from tests.test_structure import maker_words, project_files

ROOT = Path(__file__).resolve().parents[1]
NEUTRAL = re.compile(r"\b(?:guide|article|report|kernel|standard)-\d\d\b")
MARKS = {"PRACTICE", "MEMORY", "MODEL", "INVENTED"}


def test_ids_are_neutral_and_documents_are_named() -> None:
    for source in SOURCES.values():
        assert NEUTRAL.fullmatch(source.id) or source.id in MARKS
        assert source.document and bool(source.publisher) == (source.id not in MARKS)
    formerly = [source.formerly for source in SOURCES.values() if source.formerly]
    assert len(set(formerly)) == len(formerly)
    assert not set(formerly) & set(SOURCES)


def test_every_neutral_id_resolves() -> None:
    cited = {match[0] for path in project_files() for match in NEUTRAL.finditer(path.read_text(encoding="utf-8"))}
    assert cited and cited <= set(SOURCES)


def test_the_list_is_printed() -> None:
    said = call("dimmplan docs sources")[1]
    assert all(f"| {source.id} | {source.citation()} |" in said for source in SOURCES.values())


@pytest.mark.parametrize("board", [board.id for board in shipped_boards()])
def test_rules_end_with_the_documents_that_they_cite(board: str) -> None:
    said = " ".join(call(f"dimmplan rules {board}")[1].split())
    body, _, documents = said.rpartition(" Sources ")
    cited = set(NEUTRAL.findall(body))
    assert cited == set(NEUTRAL.findall(documents))
    assert all(f"{each}: {SOURCES[each].citation()}" in documents for each in cited)


def test_an_older_id_is_read_as_the_one_of_today() -> None:
    """Every row of a board that cites by older ids cites the same documents, and its plans are the same."""
    board = load_board("quay-24")
    text = (ROOT / "boards" / "quay-24.toml").read_text(encoding="utf-8")
    for source in SOURCES.values():
        if source.formerly:
            text = text.replace(f'"{source.id}"', f'"{source.formerly}"')
            assert current_id(source.formerly) == source.id
    assert NEUTRAL.search(text) is None
    older, problems = examine_text(text.encode(), file="older.toml")
    assert older is not None and not problems
    assert [row.source for row in older.rules] == [row.source for row in board.rules]
    assert [row.source for row in older.rates] == [row.source for row in board.rates]
    assert older.interleave == board.interleave
    assert older.electrical_digest == board.electrical_digest


def test_an_id_that_the_board_declares_stays_its_own() -> None:
    text = (ROOT / "boards" / "quay-24.toml").read_text(encoding="utf-8")
    older = next(source for source in SOURCES.values() if source.id == "kernel-02").formerly
    text = text.replace('"kernel-02"', f'"{older}"') + f'\n[sources]\n"{older}" = "our own manual, page 3"\n'
    board, problems = examine_text(text.encode(), file="own.toml")
    assert board is not None and not problems
    assert board.interleave.source == older
    assert board.citation(older) == "our own manual, page 3"
    taken = text.replace(f'"{older}" = "our', '"kernel-02" = "our')
    board, problems = examine_text(taken.encode(), file="own.toml")
    assert board is not None and not problems
    assert board.citation(board.interleave.source) == SOURCES["kernel-02"].citation()


@pytest.mark.parametrize(
    "command",
    [
        "plan strand-12 --capacity 512GiB",
        "plan strand-12 --capacity 512GiB --json",
        "compare tombolo-32 --capacity 512GiB --json",
        "mix causeway-48 32GiB '128GB 4DRx4 PC4-2933Y-L'",
        "boards show groyne-24 --json",
        "boards show lagoon-32",
    ],
)
def test_answers_cite_by_id_alone(command: str) -> None:
    said = call(f"dimmplan {command}")[1]
    assert NEUTRAL.search(said)
    makers = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, maker_words()))})(?![\w-])", re.IGNORECASE)
    assert makers.search(SOURCES["guide-01"].citation())
    assert not makers.search(said)


def test_sheets_and_pages_cite_by_id_alone() -> None:
    board = load_board("strand-12")
    placement = plan(board, ask(board, "512GiB"), alternatives=False).placement
    makers = re.compile("|".join(map(re.escape, maker_words())))
    page, sheet = (
        b"".join(sheet_files(board, placement, Path(name)).values()).decode("utf-8") for name in ("x.html", "x.svg")
    )
    assert NEUTRAL.search(page)
    assert not makers.search(page) and not makers.search(sheet)
