"""Population tables: what they allow, which of several holds, what a board file says wrongly, tables copied as CSV."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from dimmplan.boardfile.read import examine_text, find_board_file
from dimmplan.boardfile.tables import copied_of
from dimmplan.errors import ImpossibleError, InputError
from dimmplan.model.board import Board
from dimmplan.model.request import Mode
from dimmplan.output.boards import table_note_text
from dimmplan.output.plan import request_findings
from dimmplan.planner import ask, plan
from dimmplan.rules import install_order, judge
from dimmplan.tables import table_notes
from tests.rules.boards import M32, board_with, in_slots

WORDS = ("anchor", "buoy", "cable", "dory", "eddy", "float", "gaff", "hull", "inlet", "jetty", "keel", "lamp")
MANUAL = {
    1: [3],
    2: [3, 9],
    3: [1, 3, 5],
    4: [3, 5, 9, 11],
    6: [1, 3, 5, 7, 9, 11],
    8: [3, 4, 5, 6, 9, 10, 11, 12],
    12: [*range(1, 13)],
}
"""A table whose rows do not hold one another, by the number of each slot."""
ROW = {"id": "manual", "check": "table", "source": "INVENTED"}
TABLE = {"check": "table", "rows": {1: ["C1"], 2: ["A1", "B1"], 3: ["A1", "B1", "C1"]}, "socket": "S1"}


def board_file(**changed: Any) -> bytes:
    """A board of one socket with twelve slots, with the table and what is changed of it."""
    rows = {count: [WORDS[place - 1] for place in places] for count, places in MANUAL.items()}
    row: dict[str, Any] = ROW | {"rows": rows} | changed
    lines = [f"{key} = {value!r}" for key, value in row.items() if key != "rows"]
    lines += ["[rules.rows]", *(f"{count} = {slots!r}" for count, slots in row["rows"].items())]
    return find_board_file("strand-12").read_bytes() + "\n".join(["", "[[rules]]", *lines, ""]).encode()


def with_table(**changed: Any) -> Board:
    board, problems = examine_text(board_file(**changed), file="board.toml")
    assert board is not None, problems
    return board


def problems_of(**changed: Any) -> list[tuple[str, str, str]]:
    _, problems = examine_text(board_file(**changed), file="board.toml")
    return [(problem.place, problem.found, problem.allowed) for problem in problems]


def rows_with(count: int, slots: list[str]) -> dict[int, list[str]]:
    return {1: ["cable"], count: slots}


@pytest.mark.parametrize(
    ("filled", "said"),
    [
        ("C1", None),
        ("A1 B1", None),
        ("A1", "A1 filled, C1 empty"),
        ("A1 C1", "B1 empty, C1 filled"),
        ("A1 B1 C1", None),
        ("A1 A2 B1 C1", "4 modules"),
        ("", "no module"),
    ],
)
def test_only_a_row_of_the_table_is_allowed(filled: str, said: str | None) -> None:
    content = in_slots(**dict.fromkeys(filled.split(), M32), D1=M32)
    breaches = judge(board_with(TABLE), None, ("S1", "S2"), content)
    assert [breach.found for breach in breaches if breach.check == "table"] == ([said] if said else [])


@pytest.mark.parametrize(
    ("tables", "mode", "broken"),
    [
        ([{"id": "one"}], Mode.MIRRORED, ["one"]),
        ([{"id": "one", "mode": "mirrored"}], Mode.INDEPENDENT, []),
        ([{"id": "one"}, {"id": "two", "mode": "mirrored", "rows": {1: ["A1"]}}], Mode.MIRRORED, []),
        ([{"id": "one"}, {"id": "two", "mode": "mirrored", "rows": {1: ["A1"]}}], Mode.INDEPENDENT, ["one"]),
        ([{"id": "one"}, {"id": "two", "fitted": ["S1", "S2"], "rows": {1: ["A1"]}}], Mode.INDEPENDENT, []),
        ([{"id": "one"}, {"id": "two", "fitted": ["S1"], "rows": {1: ["A1"]}}], Mode.INDEPENDENT, ["one"]),
        ([{"id": "one", "socket": None, "rows": {2: ["A1", "D1"]}}], Mode.INDEPENDENT, []),
        ([{"id": "one", "socket": None, "rows": {2: ["C1", "D1"]}}], Mode.INDEPENDENT, ["one"]),
    ],
)
def test_the_table_that_says_more_of_when_it_holds_goes_before(
    tables: list[dict[str, Any]], mode: Mode, broken: list[str]
) -> None:
    board = board_with(*(TABLE | table for table in tables))
    breaches = judge(board, None, ("S2", "S1"), in_slots(A1=M32, D1=M32), mode=mode)
    assert [breach.rule for breach in breaches if breach.check == "table"] == broken


def test_a_plan_obeys_the_table_to_the_letter() -> None:
    board = with_table()
    for count, places in MANUAL.items():
        planned = plan(board, ask(board, f"{count * 64}GiB", modules=["64GiB"]), alternatives=False)
        assert [s for s, module in planned.placement.slots if module] == [WORDS[place - 1] for place in places]
        assert planned.answer.proven
    request = ask(board, "320GiB", modules=["64GiB"], over="0GiB")
    assert plan(board, request, alternatives=False).figures.modules == 6  # five are not listed


def test_a_plan_says_what_the_model_would_have_gained_and_nothing_where_both_agree() -> None:
    board = with_table()
    told = {}
    for count in (3, 4):
        planned = plan(board, ask(board, f"{count * 64}GiB", modules=["64GiB"]), alternatives=False)
        told[count] = [finding for finding in request_findings(planned) if finding.rule == "table"]
    assert told[4] == []
    (finding,) = told[3]
    assert finding.severity == "note" and finding.source == "INVENTED"
    assert "anchor, buoy and gaff" in finding.text and "64 GiB between controllers instead of 192" in finding.text


def test_an_advised_table_gives_way_and_an_impossible_request_names_the_table() -> None:
    board = with_table(rows=rows_with(2, ["cable", "inlet"]))
    with pytest.raises(ImpossibleError) as refused:
        plan(board, ask(board, "640GiB", modules=["64GiB"]), alternatives=False)
    assert [cause.rule for cause in refused.value.causes] == ["manual"]
    assert refused.value.below_gib == 128
    advised = with_table(rows=rows_with(2, ["cable", "inlet"]), severity="advised")
    planned = plan(advised, ask(advised, "640GiB", modules=["64GiB"]), alternatives=False)
    assert planned.answer.best.vector[0] == 1


def test_notes_tell_what_a_table_leaves_open_and_where_the_model_disagrees() -> None:
    notes = [(note.modules, table_note_text(note)) for note in table_notes(with_table())]
    assert notes[0] == (None, "numbers of modules that it does not list are refused: 5, 7, 9, 10, 11")
    assert [modules for modules, _ in notes[1:]] == [3]
    assert notes[1][1].startswith("the model would fill anchor, buoy, gaff: 16 GiB between controllers instead of 48")
    few = table_notes(with_table(rows=rows_with(2, ["cable", "inlet"])))
    assert any("slots that no row fills: anchor, buoy" in note.text for note in few)


@pytest.mark.parametrize(
    ("changed", "problem"),
    [
        ({"rows": rows_with(2, ["cable", "inlte"])}, ("rules[7].rows.2", "'inlte'", "slots of tide")),
        ({"rows": rows_with(2, ["cable", "cable"])}, ("rules[7].rows.2", "slot cable twice", "each slot once")),
        ({"rows": rows_with(3, ["cable"])}, ("rules[7].rows.3", "1 slot", "3 slots, as its number says")),
        ({"socket": "tid"}, ("rules[7].socket", "'tid'", "a socket of the board")),
        ({"fitted": ["sea"]}, ("rules[7].fitted", "'sea'", "sockets of the board")),
    ],
)
def test_each_fault_of_a_table_is_one_problem(changed: dict[str, Any], problem: tuple[str, str, str]) -> None:
    assert problems_of(**changed) == [problem]


def test_a_row_that_breaks_an_error_rule_is_a_problem() -> None:
    text = find_board_file("skerry-16").read_text("utf-8")
    row = '\n[[rules]]\nid = "t"\ncheck = "table"\nsocket = "NEAR"\nrows = { 1 = ["K2"] }\nsource = "INVENTED"\n'
    _, problems = examine_text((text + row).encode(), file="b.toml")
    assert [(p.place.rpartition(".")[2], p.found) for p in problems] == [("1", "K1 empty at NEAR.K")]
    assert "fill-order" in problems[0].allowed
    machine = row.replace('socket = "NEAR"\n', "")
    mirror = '\n[[rules]]\nid = "mirroring"\ncheck = "mirroring"\nsource = "INVENTED"\n'
    for rows, mode, fitted, rule in (
        ('{ 2 = ["K1", "L1"] }', "", '["NEAR", "FAR"]', "every-socket"),
        ('{ 2 = ["K1", "L1"] }', "mirrored", '["NEAR"]', ""),
        ('{ 3 = ["K1", "L1", "M1"] }', "mirrored", '["NEAR"]', "mirroring"),
    ):
        said = machine.replace('{ 1 = ["K2"] }', rows) + f"fitted = {fitted}\n"
        _, problems = examine_text(
            (text + mirror + said + (f'mode = "{mode}"\n' if mode else "")).encode(), file="b.toml"
        )
        told = [problem.allowed.rpartition("(rule ")[2].rstrip(")") for problem in problems]
        assert told == ([rule] if rule else []), problems
    twin = text + row.replace("K2", "K1") + row.replace('"t"', '"u"').replace("K2", "L1")
    _, problems = examine_text(twin.encode(), file="b.toml")
    assert [p.found for p in problems] == ["the case of t once more"]


def test_modules_go_in_as_the_smaller_rows_of_a_table_say() -> None:
    board = with_table()
    planned = plan(board, ask(board, "256GiB", modules=["64GiB"]), alternatives=False)
    assert install_order(board, planned.placement) == ("cable", "inlet", "eddy", "keel")


LISTS = 'count,slots\n1,D3\n2,D3 D9\n3,"D1, D3 and D5"\n'
ROWS = {1: ("D3",), 2: ("D3", "D9"), 3: ("D1", "D3", "D5")}


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        (LISTS, ROWS),
        ("DIMMs;D1;D3;D5;D9\n1;;x;;\n2;-;X;-;X\n3 DIMMs;x;x;x\n", ROWS),
        ("\tD1\tD3\tD5\tD9\n1\t\t•\t\t\n2\t\t•\t\t•\n3\t•\t•\t•\t\n", ROWS),
        ("D1|D3|D5|D9\n|x||\n|x||x\nx|x|x|\n", ROWS),
        ("slot,1,2,3\nD1,no,no,yes\nD3,yes,yes,yes\nD5,,,yes\nD9,,yes,\n", ROWS),
        ("count,1,3,9\n1,0,1,0\n2,0,1,1\n", {1: ("3",), 2: ("3", "9")}),
        ("Modules,Slots\n1,A1\n2,\"A1,B1\"\n3,\"A1,B1,C1\"\n4,\"A1;B1;C1;D1\"\n5,all\n", None),
        ("count,slots\n1,A1\n2,all\n3,\"A1,B1\"\n", None),
        ("D1,D3\nx,x\nx,x\n", None),
        ("D1,D1\nx,\n", None),
        ("D1,D3\nx,?\n", None),
        ("D1,D3\nx,x,x\n", None),
        ("count,slots\nmany,D1\n", None),
        ("", None),
        ("one\n", None),
    ],
)  # fmt: skip
def test_tables_as_people_copy_them(text: str, rows: dict[int, tuple[str, ...]] | None) -> None:
    if rows is None:
        with pytest.raises(InputError):
            copied_of(text, file="copied.csv")
    else:
        copied = copied_of(text, file="copied.csv")
        assert copied.rows == rows
        (row,) = tomllib.loads(copied.toml("a", "INVENTED", socket="S", mode="mirrored"))["rules"]
        assert row["rows"] == {str(count): list(slots) for count, slots in rows.items()}
        assert row["socket"] == "S" and row["mode"] == "mirrored"
