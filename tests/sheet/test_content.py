"""What the pages say: all of it follows from board and placement, and nothing that must be said is missing."""

from __future__ import annotations

import ast
import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest

import dimmplan.output.svg
import dimmplan.sheet
from dimmplan.errors import InputError
from dimmplan.model.request import Mode
from dimmplan.model.rows import Trust
from dimmplan.rules.tables import TableRow
from dimmplan.sheet.compose import compose
from dimmplan.sheet.facts import State, gather, socket_words
from dimmplan.sheet.marked import compose_rules, slot_rules
from dimmplan.sheet.panels import PANELS
from dimmplan.sheet.shapes import Line, Page, Rect, Sheet, Text, walk
from tests.sheet.pages import BOARDS, SAMPLE, board, groups, sheet, slot_groups, words
from tests.sheet.placements import FILLS, make
from tests.support import sampled


def all_words(name: str, fill: str = "full", **options: str) -> str:
    """All text of a sheet, spaces evened out."""
    return " ".join(" ".join(words(page) for page in sheet(name, fill, **options).pages).split())


CARE = (
    ("WARNING", "Shock.", "Pull all power cords", "wait as the maker states", "no standby light", "not hot-pluggable"),
    (
        "may restart",
        "One machine out at a time",
        "anti-tip feet",
        "site's rule",
        "Liquid-cooled:",
        "Trained staff only",
    ),
    ("CAUTION", "Sharp edges", "Hot modules and heat sinks", "pinch fingers"),
    ("NOTICE", "one earthed common point", "with its cords out the chassis is not earthed"),
    ("by the edges", "match the notch", "latches close by themselves", "Never force", "generation does not fit"),
    ("its tag and locate light", "Owner agrees, data is saved", "shut down", "a cord may feed a neighbour"),
    ("Nothing left inside", "as on the map", "All cords pulled"),
    ("Training can take many minutes", "Do not interrupt it", "Log cleared", "Memory test passed"),
    ("service manual, site rules, local codes and licensed practice come first", "an aid, not a safety label"),
)


@pytest.mark.parametrize(("name", "paper"), sampled(list(itertools.product(BOARDS, ["a4", "letter", "a5"])), 6))
def test_every_sheet_carries_the_care_in_full(name: str, paper: str) -> None:
    said = all_words(name, "sparse", paper=paper)
    for line in CARE:
        for piece in line:
            assert piece in said, piece


SHORT = ("Shock:", "Fans may restart.", "one machine out at a time.", "trained staff only.", "All cords pulled",
         "Sharp edges", "on one earth", "never force", "Shared chassis?", "come first.")  # fmt: skip


@pytest.mark.parametrize(("name", "fill"), sampled(list(itertools.product(BOARDS, FILLS)), 7))
def test_page_one_of_large_paper_warns_itself(name: str, fill: str) -> None:
    said = " ".join(words(sheet(name, fill).pages[0]).split())
    for piece in SHORT:
        assert piece in said, piece


@pytest.mark.parametrize("name", sampled(BOARDS, 2))
def test_page_one_of_small_paper_says_where_the_warnings_are(name: str) -> None:
    first, second = (" ".join(words(page).split()) for page in sheet(name, "full", paper="a5").pages[:2])
    assert "Before you touch anything, read sheet 2: WARNING." in first
    assert "! WARNING" in second


@pytest.mark.parametrize(("name", "fill"), sampled(list(itertools.product(BOARDS, FILLS)), 5))
def test_page_one_says_where_to_read_on(name: str, fill: str) -> None:
    pages = sheet(name, fill).pages
    told = re.search(r"More on sheet (\d+)\.", " ".join(words(pages[0]).split()))
    assert told and pages[int(told[1]) - 1].name == "reference"
    assert "Pull all power cords" in " ".join(words(pages[int(told[1]) - 1]).split())


def test_what_came_off_goes_back() -> None:
    groyne = board("groyne-24")
    said = " ".join(words(sheet("groyne-24").pages[0]).split())
    at = [said.index(step) for step in groyne.physical.closing]
    assert at == sorted(at) and said.index("4 Put back and close") < at[0]
    assert "Its small fan lead plugged in." in said
    bare = replace(groyne, physical=groyne.physical._replace(closing=()))
    said = " ".join(words(compose(bare, make(bare)).pages[0]).split())
    steps = enumerate(groyne.physical.access, 1)
    undone = [said.index(f"Step {number} undone ({step.rstrip('.')}).") for number, step in steps]
    assert undone == sorted(undone, reverse=True)


@pytest.mark.parametrize("name", SAMPLE)
def test_proven_stands_on_the_desk_page_alone(name: str) -> None:
    for page in sheet(name).pages:
        assert ("proven" in words(page)) == (page.name.startswith("reference") and "Request and answer" in words(page))


def test_a_panel_stands_where_its_class_says() -> None:
    """One class is enough: panels of a place stand in the order of their classes, none of them twice."""
    first, last = (words(page) for page in sheet("skerry-16").pages)
    for said, place in ((first, "chassis"), (last, "figures")):
        titles = [panel.title for panel in PANELS[place] if panel.title]
        at = [said.index(title) for title in titles]
        assert titles and at == sorted(at) and len(set(titles)) == len(titles)


def test_figures_and_findings_are_on_the_desk_page() -> None:
    drawn = sheet("skerry-16")
    desk = " ".join(words(drawn.pages[-1]).split())
    assert drawn.pages[-1].name == "reference"
    for piece in (
        "512 GiB usable, mode independent, list capacity-first",
        "NEAR and FAR",
        "proven when planned: nothing comes before it under this board file and this model",
        "the board's rate row two-per-channel",
        "The first 192 GiB over 6 channels, the last 128 GiB over 4 channels.",
        "All 192 GiB over 6 channels.",
        "83.3 %",
        "never a promise",
        "70 to 85 % of peak",
        "runs at 2666 MT/s, below its label",
        "(split-socket)",
    ):
        assert piece in desk, piece


def test_pick_list_counts_and_names() -> None:
    page = sheet("skerry-16", "mixed").pages[-1]
    (group,) = groups(page, "pick-list")
    said = [shape.text for shape in walk(group.children) if isinstance(shape, Text)]
    assert said[4:] == [
        *("a", "32GB 2Rx4 PC4-2933Y-R", "12 ×", "every slot of FAR; K1, L1, M1, P1, Q1, R1"),
        *("b", "16GB 1Rx4 PC4-2933Y-R", "4 ×", "K2, L2, P2, Q2"),
    ]


def test_blanks_are_picked_and_placed() -> None:
    said = all_words("skerry-16", "sparse")
    facts = gather(board("skerry-16"), make(board("skerry-16"), "sparse"))
    assert facts.counts[State.BLANK] == 10
    assert "blank for a slot 10 × K2, L1, L2, P1, P2, Q2, R1; U1, W1, Y1" in said
    assert "takes a blank: 10" in said and "10 blanks, see map" in said


@pytest.mark.parametrize("name", SAMPLE)
def test_access_steps_are_given_in_order(name: str) -> None:
    said = all_words(name)
    at = [said.index(step) for step in board(name).physical.access]
    assert at == sorted(at)


def test_install_order_is_that_of_the_numbers_on_the_map() -> None:
    facts = gather(board("skerry-16"), make(board("skerry-16")))
    assert [(head, [f.slot for f in batch]) for head, batch in facts.steps] == [
        ("NEAR, first slots", ["K1", "L1", "M1", "P1", "Q1", "R1"]),
        ("NEAR, second slots", ["K2", "L2", "P2", "Q2"]),
        ("FAR", ["T1", "U1", "V1", "W1", "X1", "Y1"]),
    ]
    drawn = slot_groups(sheet("skerry-16"))
    assert [drawn[f"slot-{f.slot}"].title.split(",")[0] for _, batch in facts.steps for f in batch] == [
        f"{f.slot}: step {n}" for n, f in enumerate((f for _, batch in facts.steps for f in batch), 1)
    ]


def test_slots_in_words_name_whole_sockets() -> None:
    facts = gather(board("skerry-16"), make(board("skerry-16")))
    assert facts.slots_in_words(board("skerry-16").slots) == "every slot of NEAR and FAR"
    assert facts.slots_in_words(["K1", "T1", "U1", "V1", "W1", "X1", "Y1"]) == "every slot of FAR; K1"
    assert facts.slots_in_words(["K1", "T1"]) == "K1; T1"


def test_a_socket_named_by_a_number_is_called_a_socket() -> None:
    assert socket_words("1") == "socket 1" and socket_words("NEAR") == "NEAR"


def test_types_that_read_alike_get_their_whole_label() -> None:
    groyne = board("groyne-24")
    one = next(m for m in groyne.modules if m.label == "8GB 1Rx4 PC3-14900R")
    other = next(m for m in groyne.modules if m.label == "8GB 1Rx4 PC3L-12800R")
    content = dict.fromkeys(groyne.slots) | {"11-fore": one, "21-fore": other, "11-aft": one, "21-aft": other}
    facts = gather(groyne, make(groyne, slots=tuple(content.items())))
    assert facts.slots["11-fore"].words == "8GB 1Rx4 PC3-14900R"
    assert facts.slots["21-fore"].words == "8GB 1Rx4 PC3L-12800R"
    same = gather(groyne, make(groyne, slots=tuple((content | {"21-fore": one, "21-aft": one}).items())))
    assert same.slots["11-fore"].words == "8GB 1Rx4"


def test_the_first_boot_says_why_it_is_slower_than_the_labels() -> None:
    saltern = board("saltern-24")
    facts = gather(saltern, make(saltern, "mixed"))
    assert facts.slower == "Modules rated 2933 MT/s: limited by the board." and facts.slower in all_words("saltern-24")
    one = make(saltern, slots=tuple((slot, module) for slot, module in make(saltern).slots if slot.endswith("-1")))
    assert gather(saltern, one).slower == ""


def test_hold_slots_are_no_step_and_no_memory() -> None:
    facts = gather(board("skerry-16"), make(board("skerry-16"), "hold"))
    held = facts.placement.hold
    assert held and all(facts.slots[slot].state is State.HOLD and not facts.slots[slot].step for slot in held)
    said = all_words("skerry-16", "hold")
    assert said.count("HOLD – do not touch") == len(held)
    assert "HOLD, do not touch" in said
    full = make(board("skerry-16"))
    on_hold = gather(board("skerry-16"), replace(full, hold=("K1",)))
    assert on_hold.usable_gib == gather(board("skerry-16"), full).usable_gib - 32
    assert "K1" not in on_hold.order


def test_dead_slots_and_absent_sockets() -> None:
    drawn = sheet("skerry-16", "one-socket")
    assert {g.look for g in groups(drawn.pages[0], "socket")} == {"socket fitted", "socket absent"}
    dead = [slot for slot, group in slot_groups(drawn).items() if group.look == "slot dead"]
    assert len(dead) == 6
    assert words(drawn.pages[0]).count("no processor") == 6 + 1  # each slot, and the legend


def test_a_drafted_board_shouts_on_every_page_of_slots() -> None:
    for page in sheet("firth-96").pages:
        if page.name == "chassis" or page.name.startswith("sockets"):
            assert "DRAFTED BOARD FILE" in words(page)
        assert "DRAFTED, not checked" in words(page)


@pytest.mark.parametrize(
    ("trust", "said"),
    [("example", "invented example"), ("manual", "read from a manual"), ("running", "seen running")],
)
def test_trust_is_printed_on_every_page(trust: Trust, said: str) -> None:
    made = replace(board("skerry-16"), trust=trust)
    for page in compose(made, make(made)).pages:
        assert said in words(page) and "DRAFTED" not in words(page)


def test_title_block_prints_what_is_given_and_leaves_lines_for_the_rest() -> None:
    given = {"title": "Upgrade of the mail host", "tag": "R12-U07", "date": "25 Nov", "code": "ABCD-EFGH"}
    page = sheet("skerry-16", "full", **given).pages[0]
    assert all(value in words(page) for value in given.values())
    empty = sheet("skerry-16").pages[0]

    def lines(drawn: Page) -> int:
        return sum(isinstance(s, Line) and s.look == "write" for s in walk(drawn.shapes))

    assert lines(page) == 2 and lines(empty) == 6  # the two to sign on, and one for each that is not given


def test_a_long_code_is_never_cut() -> None:
    code = "-".join(["9ZKA"] * 17)
    for name, paper in (("firth-96", "a4"), ("skerry-16", "a5")):
        said = "".join(words(sheet(name, "full", paper=paper, code=code).pages[0]).split())
        assert code in said


def test_the_qr_symbol_is_drawn_module_by_module() -> None:
    matrix = tuple(tuple((row * column) % 3 == 0 for column in range(25)) for row in range(25))
    page = compose(board("marram-4"), make(board("marram-4")), code="X", matrix=matrix).pages[0]
    (block,) = groups(page, "title-block")
    dark = [s for s in walk(block.children) if isinstance(s, Rect) and s.look == "ink"]
    side = dark[0].height
    assert 0.4 <= side <= 1.0
    assert round(sum(rect.width for rect in dark) / side) == sum(map(sum, matrix))


@pytest.mark.parametrize(("mode", "words_of_it"), [(Mode.MIRRORED, "mode mirrored"), (Mode.SPARING, "mode sparing")])
def test_other_modes_say_what_the_machine_shows_until_they_are_set(mode: Mode, words_of_it: str) -> None:
    placed = make(board("saltern-24"), "full", mode=mode)
    facts = gather(board("saltern-24"), placed)
    assert facts.usable_gib < facts.capacity_gib == 768
    drawn = compose(board("saltern-24"), placed)
    said = " ".join(" ".join(words(page) for page in drawn.pages).split())
    assert words_of_it in said
    shown = f"Expect 768 GiB; with {words_of_it} set in firmware, {facts.shown}."
    assert said.count(shown) == 2 and facts.shown in facts.expected  # page one, and before the work


def test_a_board_without_weight_and_without_access_steps() -> None:
    bare = board("skerry-16")
    bare = replace(bare, physical=bare.physical._replace(weight_kg=None, access=(), landmarks=(), to_scale=False))
    said = " ".join(" ".join(words(page) for page in compose(bare, make(bare)).pages).split())
    assert "Weigh it or ask." in said and "Weight: ask," in said
    assert "see the service manual" in said
    assert "Schematic: places were not measured." in said and "Go by the slot names." in said


def test_a_placement_that_cannot_run_is_drawn_without_figures() -> None:
    strand = board("strand-12")
    empty = make(strand, slots=tuple(dict.fromkeys(strand.slots).items()))
    drawn = compose(strand, empty)
    assert "No figures" in words(drawn.pages[-1])
    assert "Does not obey the board:" in " ".join(words(page) for page in drawn.pages)


def test_the_placement_of_another_board_is_refused() -> None:
    with pytest.raises(ValueError, match="skerry-16"):
        compose(board("strand-12"), make(board("skerry-16")))


def test_a_socket_that_no_page_shows_is_refused_in_words() -> None:
    wide = board("skerry-16")
    many = tuple(f"S{n:03}" for n in range(120))
    place = wide.physical.slots[0]
    slots = tuple(place._replace(slot=name, box=place.box._replace(x_mm=10.0 + 9.0 * n)) for n, name in enumerate(many))
    socket = wide.sockets[0]
    controller = socket.controllers[0]
    channels = tuple(
        controller.channels[0]._replace(id=f"C{n}", slots=many[4 * n : 4 * n + 4]) for n in range(len(many) // 4)
    )
    socket = socket._replace(controllers=(controller._replace(channels=channels),))
    physical = wide.physical._replace(slots=slots, sockets=wide.physical.sockets[:1])
    wide = replace(wide, sockets=(socket,), physical=physical, rules=(), code_order=many)
    placed = make(board("skerry-16"), slots=tuple(dict.fromkeys(many).items()), fitted=(socket.id,))
    with pytest.raises(InputError) as refused:
        compose(wide, placed, paper="a5")
    (problem,) = refused.value.problems
    assert problem.found.startswith("a5, too small for socket NEAR with 120 slots")
    for paper in ("a4", "letter", "a5"):
        if paper in problem.allowed:
            compose(wide, placed, paper=paper)
    assert problem.allowed or "No paper is large enough" in problem.hint


def imports(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    return found | {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}


def test_the_sheet_knows_no_search_and_no_writer() -> None:
    folder = Path(dimmplan.sheet.__file__).parent
    for path in sorted(folder.glob("*.py")):
        assert not any(
            name.startswith(("dimmplan.solve", "dimmplan.output", "dimmplan.cli", "cairo")) for name in imports(path)
        ), path.name


def test_the_map_of_rules_names_every_slot_that_a_rule_names() -> None:
    """The order of marram-4, the listed pairs of tombolo-32, a table: marks in the slots, their letters in the list."""
    rows = {2: ("K1", "T1"), 4: ("K1", "L1", "T1", "U1"), 6: ("K1", "K2", "L1", "L2", "T1", "U1")}
    table = TableRow(id="pages", check="table", rows=rows, source="INVENTED")
    tabled = board("skerry-16")
    tabled = replace(tabled, rules=(*tabled.rules, table))
    expected = {
        "marram-4": (board("marram-4"), {"rush": "A:1 B:1", "sedge": "A:1 B:2", "lyme": "A:2 B:3", "reed": "A:2 B:4"}),
        "tombolo-32": (board("tombolo-32"), {"isle-F-head": "A:1 B:1", "shore-Y-tail": "A:2 B:4"}),
        "skerry-16": (tabled, {"K1": "A:1 B:2+", "L2": "A:2 B:6", "U1": "A:1 B:4+", "Y1": "A:1 B:none"}),
    }
    for on, marks in expected.values():
        (page,) = compose_rules(on, ink="mono").pages
        drawn = slot_groups(Sheet("", "", (page,)))
        for slot, said in marks.items():
            assert {slot, said} <= {t.text for t in walk(drawn[f"slot-{slot}"].children) if isinstance(t, Text)}
        for row in slot_rules(on):
            assert row.letter in words(page).split() and row.id in words(page)
    assert [page.name for page in compose_rules(board("causeway-48")).pages] == ["chassis", "sockets-1", "sockets-2"]
