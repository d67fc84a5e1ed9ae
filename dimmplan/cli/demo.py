"""``dimmplan demo``: the main job on a shipped board, with nothing to prepare."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import options, terminal
from dimmplan.cli.files import make_folder, write_files
from dimmplan.cli.sheets import sheet_files
from dimmplan.output.plan import PlanDocument, plan_text, sheet_record
from dimmplan.output.record import to_json
from dimmplan.planner import ask, plan
from dimmplan.units import cleaned

BOARD, CAPACITY, MODULES = "skerry-16", "512GiB", ("32GiB",)
TITLE, TAG = "Tide gauge archive", "QUAY-07"
NEXT = (
    ("the same with larger modules allowed", "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --module 64GiB"),
    ("another board, drawn", "dimmplan plan strand-12 --capacity 768GiB --out my-plan"),
    ("why a slot is as it is", "dimmplan why {plan} K2"),
    ("all boards", "dimmplan boards list"),
    ("a board of your own", "dimmplan docs writing-a-board"),
)
"""What to try next, and what it shows; ``{plan}`` is the plan just written."""


def demo(
    out: Annotated[Path, typer.Option(help="Folder for the plan and the sheet.", metavar="DIR")] = Path(
        "dimmplan-demo"
    ),
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Plan and draw a shipped board: ten slots at one socket, six at the other, 512 GiB of 32 GiB modules."""
    board = load_board(BOARD)
    planned = plan(board, ask(board, CAPACITY, modules=MODULES))
    record = to_json(PlanDocument.of(planned, **sheet_record({"title": TITLE, "tag": TAG})))
    files = {out / "plan.json": record.encode("ascii")}
    files |= sheet_files(board, planned.placement, out / "map.svg", title=TITLE, tag=TAG)
    make_folder(out)
    write_files(files, force=force)
    if as_json:
        typer.echo(record, nl=False)
        return
    written = "".join(f"  {cleaned(str(path), most=400)}\n" for path in files)
    plan_file = shlex.quote(cleaned(str(out / "plan.json"), most=400))
    following = "".join(f"  # {what}\n  {command.format(plan=plan_file)}\n" for what, command in NEXT)
    terminal.say(f"{plan_text(planned)}\nWritten\n{written}\nNext, try\n{following}")
