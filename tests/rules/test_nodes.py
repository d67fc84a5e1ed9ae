"""Node settings: the figures of a node are those of a socket that has just its controllers."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest

from dimmplan.boardfile.read import examine_text
from dimmplan.figures import placement_figures
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.output.plan import PlanDocument, plan_text
from dimmplan.output.reading import judge_file, read_plan
from dimmplan.output.record import to_json
from dimmplan.planner import ask, plan
from dimmplan.wording import placement_findings

TEXT = (Path(__file__).parent / "staithe-16.toml").read_text("utf-8")
NODES = '\n[[nodes]]\nid = "split"\nnodes = { left = ["M1"], right = ["M2"] }\nsource = "INVENTED"\n'


def read(nodes: str = NODES) -> Board:
    board, problems = examine_text((TEXT + nodes).encode(), file="board.toml")
    assert board is not None, problems
    return board


def split(board: Board) -> Board:
    """The board with a socket of its own for each controller, named as node and socket are."""
    names = {"M1": "left", "M2": "right"}
    sockets = tuple(
        socket._replace(id=f"{socket.id}.{names[controller.id]}", controllers=(controller,))
        for socket in board.sockets
        for controller in socket.controllers
    )
    return replace(board, sockets=sockets, wired=(), nodes=())


def test_a_node_runs_as_a_socket_of_its_controllers() -> None:
    board = read()
    rng = random.Random(5)
    for _ in range(60):
        content: dict[str, Module | None] = {}
        for channel in board.channels:
            held = rng.randint(0, len(channel.slots))
            module = rng.choice(board.modules)
            content |= {slot: module if place < held else None for place, slot in enumerate(channel.slots)}
        if not any(content.values()):
            continue
        option = board.processor(None)
        whole = placement_figures(board, option, ["N", "S"], content)
        parts = {
            socket.socket: socket
            for socket in placement_figures(
                split(board), option, ["N.left", "N.right", "S.left", "S.right"], content
            ).sockets
        }
        assert len(whole.nodes) == 4
        for node in whole.nodes:
            part = parts[f"{node.figures.socket}.{node.node}"]
            assert node.figures._replace(socket="", regions=()) == part._replace(socket="", regions=())
            assert [(r.ways, r.capacity_gib) for r in node.figures.regions] == [
                (r.ways, r.capacity_gib) for r in part.regions
            ]


def test_unequal_nodes_are_a_finding_and_stand_in_text_and_json() -> None:
    board = read()
    planned = plan(board, ask(board, "320GiB", modules=["64GiB"], fitted="N"), alternatives=False)
    found = placement_findings(planned.board, planned.placement, planned.figures)
    (finding,) = [each for each in found if each.rule == "nodes-differ"]
    assert finding.where == ("N",) and finding.source == "INVENTED"
    record = PlanDocument.of(planned).plain()
    assert [(n["setting"], n["socket"], n["node"], n["usable_gib"]) for n in record["nodes"]] == [
        ("split", "N", "left", 192),
        ("split", "N", "right", 128),
    ]
    assert "Nodes of N with split (sweep): left 192 GiB at" in " ".join(plan_text(planned).split())
    assert judge_file(read_plan(to_json(record).encode(), file="plan.json"), board).good
    record["nodes"][0]["usable_gib"] = 64
    told = judge_file(read_plan(to_json(record).encode(), file="plan.json"), board)
    assert [problem.place for problem in told.disagreements] == ["nodes[1].usable_gib"]


def test_equal_nodes_are_no_finding() -> None:
    board = read()
    planned = plan(board, ask(board, "256GiB", modules=["64GiB"], fitted="N"), alternatives=False)
    found = placement_findings(planned.board, planned.placement, planned.figures)
    assert not [each for each in found if each.rule == "nodes-differ"]
    assert [node.figures.usable_gib for node in planned.figures.nodes] == [128, 128]


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('["M2"]', '["M3"]', "'M3'"),
        ('["M2"]', '["M1"]', "controller M1 twice"),
        ('["M2"] }', '["M2"] }\nsocket = "X"', "'X'"),
        (', right = ["M2"] }', " }", "a table of 1"),
        ('right = ["M2"] }', 'right = ["M2"] }\nsocket = "N"', None),
    ],
)
def test_each_wrong_setting_is_one_problem(old: str, new: str, found: str | None) -> None:
    _, problems = examine_text((TEXT + NODES.replace(old, new)).encode(), file="board.toml")
    assert [problem.found for problem in problems][:1] == ([found] if found else [])
    assert len(problems) == (1 if found else 0), problems
