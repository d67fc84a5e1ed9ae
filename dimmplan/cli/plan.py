"""``dimmplan plan``: the placement that is best for a request."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dimmplan.cli import options
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES

if TYPE_CHECKING:
    from dimmplan.planner import Planned
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
        str,
        typer.Option(help="capacity-first, bandwidth-first, equal-sockets, cost-first or room-first.", metavar="LIST"),
    ] = "capacity-first",
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
    from dimmplan.planner import ask
    from dimmplan.planner import plan as solve_plan

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
        prefer=prefer,
        over=over,
        max_types=max_types,
        effort=effort,
    )
    sheet = {"paper": paper, "ink": ink, "front": front, "title": title, "tag": tag, "date": date}
    if out is not None:
        from dimmplan.cli.draw import check_sheet_options

        check_sheet_options(paper=paper, ink=ink, front=front)
    planned = solve_plan(loaded, request, shelf=shelf, modules=module or ())
    from dimmplan.output.record import to_json

    written: list[Path] = []
    record = to_json(_record(planned, shelf)) if as_json or out is not None else ""
    if out is not None:
        from dimmplan.cli.draw import sheet_files
        from dimmplan.cli.files import make_folder, write_files

        files = {out / "plan.json": record.encode("ascii")}
        files |= sheet_files(loaded, planned.placement, out / "map.svg", **sheet)
        make_folder(out)
        write_files(files, force=force)
        written = list(files)
    if as_json:
        typer.echo(record, nl=False)
        return
    from dimmplan.output.text import plan_text

    typer.echo(plan_text(planned), nl=False)
    if shelf is not None:
        from dimmplan.output.stock import shelf_text

        typer.echo(f"\n{shelf_text(planned, shelf)}", nl=False)
    for path in written:
        typer.echo(f"wrote {path}", err=True)


def _record(planned: Planned, shelf: Shelf | None) -> dict[str, Any]:
    """The plan as JSON, and what it takes from the shelf where there is one."""
    from dimmplan.output.record import plan_record

    record = plan_record(planned)
    if shelf is not None:
        from dimmplan.output.stock import shelf_record

        record["stock"] = shelf_record(planned, shelf)
    return record
