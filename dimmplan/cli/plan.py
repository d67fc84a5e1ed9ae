"""``dimmplan plan``: the placement that is best for a request."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dimmplan.cli import options
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES

if TYPE_CHECKING:
    from dimmplan.cli.growing import Grown
    from dimmplan.stock import Shelf

EPILOG = "Example: dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --module 64GiB"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="plan", epilog=EPILOG)(plan)


def plan(
    board: options.Board,
    capacity: Annotated[str, typer.Option(help="Usable capacity over all fitted sockets, with its unit.", metavar="C")],
    module: Annotated[
        list[str] | None,
        typer.Option(help="A JEDEC label or a bare size; again for more. None: the board's usual ones.", metavar="M"),
    ] = None,
    stock: Annotated[
        Path | None,
        typer.Option(
            help="Shelf list, CSV or TOML: it alone is used, and with --module what is in both.", metavar="FILE"
        ),
    ] = None,
    over: Annotated[
        str | None, typer.Option(help="Allowance above the request that counts as equal: 10% or 64GiB.", metavar="A")
    ] = None,
    fitted: Annotated[str | None, typer.Option(help="Sockets fitted, with commas. None: all.", metavar="S,S")] = None,
    processor: Annotated[str | None, typer.Option(help="Processor option. None: the first.", metavar="OPTION")] = None,
    mode: Annotated[str, typer.Option(help="Memory mode.", metavar="MODE")] = "independent",
    prefer: Annotated[
        str | None,
        typer.Option(
            help="capacity-first (the default), bandwidth-first, equal-sockets, cost-first, room-first or upgrade "
            "(the default with --keep).",
            metavar="LIST",
        ),
    ] = None,
    keep: Annotated[
        str | None,
        typer.Option(help="What is in the machine: a file or folder, or this-machine.", metavar="INVENTORY"),
    ] = None,
    keep_in_place: Annotated[
        bool, typer.Option("--keep-in-place", help="What lies in a slot stays there; modules are only added.")
    ] = False,
    slots: options.Slots = None,
    data_saved: options.DataSaved = None,
    then: Annotated[
        list[str] | None,
        typer.Option(help="A capacity that is to follow by adding modules only; again for more steps.", metavar="C"),
    ] = None,
    then_may_move: Annotated[
        bool, typer.Option("--then-may-move", help="Modules may move between steps; none is discarded.")
    ] = False,
    max_types: Annotated[int, typer.Option(help="Most module types used at once.", metavar="N")] = DEFAULT_MAX_TYPES,
    effort: Annotated[int, typer.Option(help="Most search nodes; no clock.", metavar="N")] = DEFAULT_EFFORT,
    out: Annotated[Path | None, typer.Option(help="Folder for plan.json and the sheet.", metavar="DIR")] = None,
    paper: options.Paper = "a4",
    ink: options.Ink = "colour",
    front: options.Front = "down",
    title: options.Title = None,
    tag: options.Tag = None,
    date: options.Date = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Find the best placement for a capacity on a board, prove it, and say how the memory will run."""
    from dimmplan.boardfile.read import load_board
    from dimmplan.cli.growing import Wishes, answer
    from dimmplan.planner import ask

    wishes = Wishes(
        keep=keep,
        in_place=keep_in_place,
        data_saved=data_saved or (),
        slots=slots,
        then=then or (),
        may_move=then_may_move,
        over=over,
    )
    wishes.check()
    loaded = load_board(board)
    shelf = None
    if stock is not None:
        from dimmplan.stock import read_shelf

        shelf = read_shelf(stock, loaded)
    request = ask(
        loaded,
        capacity,
        modules=module or (),
        shelf=shelf,
        fitted=fitted,
        processor=processor,
        mode=mode,
        prefer=prefer or ("upgrade" if keep else None),
        over=over,
        max_types=max_types,
        effort=effort,
    )
    sheet = {"paper": paper, "ink": ink, "front": front, "title": title, "tag": tag, "date": date}
    if out is not None:
        from dimmplan.cli.draw import check_sheet_options

        check_sheet_options(paper=paper, ink=ink, front=front)
    grown = answer(loaded, request, wishes, shelf=shelf, modules=module or ())
    written = _written(grown, shelf, out, sheet, force=force) if out is not None else []
    if as_json:
        from dimmplan.output.record import to_json

        typer.echo(to_json(_record(grown, shelf)), nl=False)
        return
    from dimmplan.output.text import plan_text

    searched = grown.planned.answer
    how = "proven" if searched.proven else f"stopped: {searched.stopped}"
    options.detail(f"{searched.effort} search nodes, {how}")
    typer.echo(plan_text(grown.planned), nl=False)
    if shelf is not None:
        from dimmplan.output.stock import shelf_text

        typer.echo(f"\n{shelf_text(grown.planned, shelf)}", nl=False)
    typer.echo(f"\n{grown.text}", nl=False)
    for path in written:
        options.wrote(path)


def _written(grown: Grown, shelf: Shelf | None, out: Path, sheet: dict[str, Any], *, force: bool) -> list[Path]:
    """Write the plan and its sheet, and those of later steps into folders of their own."""
    from dimmplan.cli.draw import sheet_files
    from dimmplan.cli.files import make_folder, write_files
    from dimmplan.output.record import plan_record, to_json

    records = [_record(grown, shelf), *(plan_record(step) for step in grown.later)]
    files: dict[Path, bytes] = {}
    for number, (record, placement) in enumerate(zip(records, grown.placements, strict=True), start=1):
        folder = out if number == 1 else out / f"step-{number}"
        files[folder / "plan.json"] = to_json(record).encode("ascii")
        files |= sheet_files(grown.planned.board, placement, folder / "map.svg", **sheet)
    for folder in dict.fromkeys(path.parent for path in files):
        make_folder(folder)
    write_files(files, force=force)
    return list(files)


def _record(grown: Grown, shelf: Shelf | None) -> dict[str, Any]:
    """The plan as JSON, what it takes from the shelf where there is one, and what stands beside it."""
    from dimmplan.output.record import plan_record

    record = plan_record(grown.planned)
    if shelf is not None:
        from dimmplan.output.stock import shelf_record

        record["stock"] = shelf_record(grown.planned, shelf)
    return record | grown.record
