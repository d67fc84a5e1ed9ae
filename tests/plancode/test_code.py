"""Plan codes: nothing is lost, the same sheet comes back, and a board that changed since is told apart."""

from __future__ import annotations

import json
import random
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

import dimmplan
from dimmplan import planner
from dimmplan.boardfile.read import load_board, shipped_folder, shipped_ids
from dimmplan.cli.run import run
from dimmplan.errors import InputError
from dimmplan.model.label import parse_label
from dimmplan.model.module import Kind
from dimmplan.model.placement import Placement
from dimmplan.plancode import code as plancode
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.plancode.symbols import ALPHABET, CHECK_SYMBOLS, looks_like_code, with_checks
from dimmplan.wording import CHANGED_RULE, placement_findings
from tests.plancode.codes import assert_same_sheet, made_plans
from tests.support import sampled
from tests.why.seeds import seeded_plans

PLANS_PER_BOARD = 25
SHEETS_PER_BOARD = 2


@pytest.mark.parametrize("board_id", shipped_ids())
def test_a_code_brings_back_the_whole_placement(board_id: str) -> None:
    board = load_board(board_id)
    for plan in made_plans(board, PLANS_PER_BOARD):
        code = encode(board, plan)
        again = decode(read_head(code), board)
        assert again == plan
        assert [module and module.label for _, module in again.slots] == [m and m.label for _, m in plan.slots]
        assert looks_like_code(code)


@pytest.mark.parametrize("board_id", sampled(shipped_ids(), 3))
def test_a_code_brings_back_the_same_bytes_of_the_sheet(board_id: str) -> None:
    """Two hundred for each board are in ``tests/bench/codes.py``."""
    board = load_board(board_id)
    for plan in seeded_plans(board, SHEETS_PER_BOARD):
        assert_same_sheet(board, plan)


def test_case_blanks_and_look_alikes_are_forgiven() -> None:
    board = load_board("skerry-16")
    plan = next(made_plans(board, 1))
    spoken = encode(board, plan).lower().replace("-", "  ").replace("0", "o").replace("1", "l")
    assert decode(read_head(spoken), board) == plan


def test_the_irregular_board_needs_at_most_28_characters() -> None:
    """Sixteen slots, two usual types; slots on hold and another capacity than asked are in it."""
    board = load_board("skerry-16")
    rng = random.Random(3)
    lengths, usual = set(), set()
    for turn in range(300):
        types = rng.sample(board.modules, 2)
        hold = tuple(slot for slot in board.slots if rng.random() < 0.2) if turn % 2 else ()
        slots = tuple((slot, None if slot in hold else rng.choice([*types, None])) for slot in board.slots)
        held = sum(module.capacity_gib for _, module in slots if module)
        plan = replace(next(made_plans(board, 1)), fitted=("NEAR", "FAR"), slots=slots, hold=hold)
        far = 1 << 20 if not hold else held + 4095
        for asked in (held, max(1, held - 600), far):
            lengths.add(len(encode(board, replace(plan, capacity_gib=asked)).replace("-", "")))
        if not hold:
            usual.add(len(encode(board, replace(plan, capacity_gib=held)).replace("-", "")))
    assert max(lengths) <= 28 and max(usual) <= 24


def test_more_types_than_anybody_should_use() -> None:
    """Nine types, most of them spelled out: longer, and whole."""
    board = load_board("saltern-24")
    labels = [
        f"{size}GB {ranks}Rx4 PC4-{rate}-R" for size in (16, 32) for ranks in (1, 2) for rate in ("2666V", "2933Y")
    ]
    types = [parse_label(label) for label in [*labels, "64GB 2Rx4 PC4-3200AA-R"]]
    slots = tuple((slot, types[index % len(types)]) for index, slot in enumerate(board.slots))
    plan = replace(next(made_plans(board, 1)), fitted=tuple(s.id for s in board.sockets), slots=slots, hold=())
    assert decode(read_head(encode(board, plan)), board) == plan


def test_the_page_about_codes_says_what_is_so() -> None:
    """Its example is the code of the plan that it names, and its table has the numbers of the coder."""
    page = (Path(dimmplan.__file__).parent / "docs" / "plan-code.md").read_text(encoding="utf-8")
    board = load_board("skerry-16")
    planned = planner.plan(board, planner.ask(board, "512GiB", modules=["32GiB"]))
    assert set(re.findall(r"dimmplan \w+ ([0-9A-Z-]{12,})", page)) == {encode(board, planned.placement)}
    fields = dict(re.findall(r"^\| ([^|]+) \| ([^|]+) \| [\d.]+ \|", page, re.MULTILINE))
    sizes = {"board id": plancode._ID, "names": plancode._NAMES, "drawing of the board": plancode._DRAWING}
    sizes["electrical part of the board"] = plancode._ELECTRICAL
    for name, size in sizes.items():
        assert fields[name] == f"2^{size.bit_length() - 1}"
    assert fields["version"] == str(plancode._VERSIONS)
    modes = f"{plancode._MODES_OF[1]} ({plancode._MODES_OF[2]} in version 2)"
    assert fields["mode, list, status"] == f"{modes}, {len(plancode._LISTS)}, {len(plancode._STATUSES)}"


# -- a board that changed since --------------------------------------------------------------------------------------


def skerry_code() -> tuple[str, Placement]:
    board = load_board("skerry-16")
    plan = next(seeded_plans(board, 1))
    return encode(board, plan), plan


def test_another_board_is_refused() -> None:
    with pytest.raises(InputError, match="another board"):
        decode(read_head(skerry_code()[0]), load_board("saltern-24"))


def test_a_changed_drawing_is_told_and_read() -> None:
    code, plan = skerry_code()
    head = read_head(code)
    redrawn = replace(load_board("skerry-16"), drawing_digest="0" * 16)
    assert head.is_of(redrawn.id) and head.made_on(redrawn.electrical_digest) and not head.same_drawing(redrawn)
    assert decode(head, redrawn) == plan


def test_changed_rules_are_told_while_every_name_resolves() -> None:
    """The placement comes back without its digest: sheets have the finding, and a code of it tells again."""
    code, plan = skerry_code()
    board = replace(load_board("skerry-16"), electrical_digest="0" * 16)
    again = decode(read_head(code), board)
    assert again == replace(plan, electrical_digest="")
    assert CHANGED_RULE in {finding.rule for finding in placement_findings(board, again, None)}
    assert not read_head(encode(board, again)).made_on(board.electrical_digest)


@pytest.mark.parametrize("change", ["slot renamed", "type replaced", "type added", "order turned"])
def test_a_name_that_means_something_else_is_refused(change: str) -> None:
    board = load_board("skerry-16")
    plan = next(plan for plan in seeded_plans(board, 9) if plan.types[0] == board.modules[0] and len(plan.types) == 1)
    code = encode(board, plan)
    first = next(slot for slot, module in plan.slots if module)
    changed = replace(board, electrical_digest="0" * 16)
    if change == "slot renamed":
        order = tuple("Z9" if slot == first else slot for slot in board.code_order)
        sockets = tuple(
            socket._replace(
                controllers=tuple(
                    controller._replace(
                        channels=tuple(
                            c._replace(slots=tuple("Z9" if slot == first else slot for slot in c.slots))
                            for c in controller.channels
                        ),
                    )
                    for controller in socket.controllers
                ),
            )
            for socket in board.sockets
        )
        changed = replace(changed, sockets=sockets, code_order=order)
    elif change == "type replaced":
        changed = replace(changed, modules=(board.modules[1], board.modules[0], *board.modules[2:]))
    elif change == "type added":
        changed = replace(changed, modules=(*board.modules, board.modules[0]))
    else:
        changed = replace(changed, code_order=tuple(reversed(board.code_order)))
    with pytest.raises(InputError, match="has changed since this code was made") as caught:
        decode(read_head(code), changed)
    assert "Do not use this map" in caught.value.problems[0].hint


@pytest.mark.parametrize("form", ["code", "plan"])
def test_the_command_says_what_changed(form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Other rates: told, and on the sheet. Another slot name: refused. Another title only: told, and drawn."""
    assert run(["plan", "skerry-16", "--capacity", "512GiB", "--module", "32GiB", "--json"]) == 0
    text = capsys.readouterr().out
    file = tmp_path / "plan.json"
    file.write_text(text)
    subject = json.loads(text)["code"] if form == "code" else str(file)
    board = (shipped_folder() / "skerry-16.toml").read_text()
    for name, old, new, status, words in (
        ("rates", "mts = 2666", "mts = 2400", 0, "plan again before you place anything"),
        ("names", '"K2"', '"KX"', 2, "Do not use this map"),
        ("drawing", 'title = "Skerry 16,', 'title = "Skerry sixteen,', 0, "the wiring is the same"),
    ):
        assert old in board
        changed = tmp_path / f"{name}.toml"
        changed.write_text(board.replace(old, new))
        drawn = tmp_path / f"{form}-{name}.svg"
        assert run(["draw", subject, "--board-file", str(changed), "-o", str(drawn)]) == status
        assert words in capsys.readouterr().err
        assert drawn.exists() is (status == 0)
        if drawn.exists():
            assert ("Do not place by this map" in drawn.read_text()) is (name == "rates")


# -- read back by another reader -------------------------------------------------------------------------------------


@pytest.mark.system_tool("pdftoppm")
@pytest.mark.parametrize(("board_id", "paper"), sampled([("skerry-16", "a4"), ("firth-96", "a5")], 1))
def test_the_symbol_is_read_from_a_printed_page(board_id: str, paper: str, tmp_path: Path) -> None:
    """By readers that are not the writer's: the first page of the PDF as a 200 dpi picture."""
    zxingcpp = pytest.importorskip("zxingcpp")
    image = pytest.importorskip("PIL.Image")
    board = load_board(board_id)
    plan = next(seeded_plans(board, 1))
    code = encode(board, plan)
    assert run(["draw", code, "--paper", paper, "-o", str(tmp_path / "x.pdf")]) == 0
    command = ["pdftoppm", "-r", "200", "-f", "1", "-l", "1", "-png", "-singlefile", tmp_path / "x.pdf", tmp_path / "p"]
    subprocess.run(command, check=True, capture_output=True)
    read = [symbol.text for symbol in zxingcpp.read_barcodes(image.open(tmp_path / "p.png").convert("L"))]
    assert read == [code]
    assert decode(read_head(read[0]), board) == plan


@pytest.mark.parametrize("text", ["", "7Q1E", "not a code!", "U" * 30, "0" * 500, "7Q1E-1EA1-N8QF-55AR-ZW1E-XXXX"])
def test_what_is_no_code_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_head(text)


def test_codes_whose_checks_are_right_and_content_is_not_are_refused() -> None:
    """Symbols at random behind the head of a board: refused, or a placement that brings back the same code."""
    rng = random.Random(8)
    board = load_board("skerry-16")
    head = encode(board, next(iter(made_plans(board, 1)))).replace("-", "")[-14:-CHECK_SYMBOLS]
    read = 0
    for _ in range(3000):
        code = with_checks("".join(rng.choices(ALPHABET, k=rng.randrange(4, 30))) + head)
        try:
            plan = decode(read_head(code), board)
        except InputError:
            continue
        again = decode(read_head(encode(board, plan)), board)
        assert again == plan
        assert [module and module.label for _, module in again.slots] == [m and m.label for _, m in plan.slots]
        read += 1
    assert read, "the check of the names refuses nearly all of them"


def test_a_code_from_before_stacked_lrdimms_were_a_kind_is_read() -> None:
    """Made when 256GB 4S2Rx4 counted as a plain LRDIMM; the module is what its label says today."""
    code = "CNHX-0RN3-WZTY-166T-7MQW-8PEQ-WY1D-4CR"
    placement = decode(read_head(code), load_board("skerry-16"))
    (module,) = {module for module in placement.content.values() if module}
    assert (module.label, module.kind) == ("256GB 4S2Rx4 PC4-2933Y-L", Kind.LRDIMM_3DS)
    assert [*placement.content.values()].count(module) == 4
    again = replace(placement, electrical_digest=load_board("skerry-16").electrical_digest)
    assert decode(read_head(encode(load_board("skerry-16"), again)), load_board("skerry-16")).content == again.content
