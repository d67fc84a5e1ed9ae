"""``dimmplan compare``: capacities, module sizes and processors side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dimmplan.cli import complete, groups, options, terminal
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES

if TYPE_CHECKING:
    from dimmplan.output.compare import View

EPILOG = "Example: dimmplan compare skerry-16 --capacity 384GiB --capacity 512GiB -o compare.svg"
FORMATS = (".svg", ".png", ".csv", ".html")
NO = 1


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(
        name="compare",
        cls=groups.Command,
        short_help="Capacities, module sizes and processors side by side.",
        rich_help_panel=groups.PLANNING,
        epilog=EPILOG,
    )(compare)


def compare(
    board: options.Board,
    capacity: Annotated[
        list[str] | None,
        typer.Option(
            help="A usable capacity, with its unit; may be repeated. Without it: those worth looking at.",
            metavar="C",
            rich_help_panel=options.REQUEST,
        ),
    ] = None,
    module: options.Modules = None,
    processor: Annotated[
        list[str] | None,
        typer.Option(
            help="A processor option; may be repeated. Without it: the first.",
            metavar="OPTION",
            autocompletion=complete.processors,
        ),
    ] = None,
    stock: options.Stock = None,
    fitted: options.Fitted = None,
    mode: options.Mode = "independent",
    over: options.Over = None,
    prefer: Annotated[
        str,
        typer.Option(
            help="capacity-first, bandwidth-first, equal-sockets, cost-first or room-first.",
            metavar="LIST",
            autocompletion=complete.lists,
        ),
    ] = "capacity-first",
    max_types: options.MaxTypes = DEFAULT_MAX_TYPES,
    effort: options.Effort = DEFAULT_EFFORT,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="File to write: .svg, .png, .csv or .html.", metavar="FILE")
    ] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Compare capacities, module sizes and processors: how fast each is, what it costs, what it leaves free.

    Exit status 1 where no row at all has a placement.
    """
    from dimmplan.boardfile.read import load_board
    from dimmplan.compare import compare as compare_requests
    from dimmplan.output.compare import View
    from dimmplan.stock import read_shelf

    if output is not None:
        from dimmplan.cli.files import check_ending

        check_ending(output, FORMATS)
        if output.suffix.lower() in (".svg", ".png"):
            from dimmplan.output.compare_chart import require_matplotlib

            require_matplotlib()
    loaded = load_board(board)
    comparison = compare_requests(
        loaded,
        capacities=capacity or (),
        modules=module or (),
        processors=processor or (),
        shelf=read_shelf(stock, loaded) if stock is not None else None,
        fitted=fitted,
        mode=mode,
        over=over,
        prefer=prefer,
        max_types=max_types,
        effort=effort,
    )
    view = View(comparison, board_name=board, stock_name=str(stock) if stock is not None else None, over=over)
    _write(view, output, force=force, as_json=as_json)
    if not any(row.planned for row in comparison.rows):
        raise typer.Exit(NO)


def _write(view: View, output: Path | None, *, force: bool, as_json: bool) -> None:
    """The file, where one is asked for, then the table or the JSON document on standard output."""
    if output is not None:
        from dimmplan.cli.files import write_files

        write_files({output: _content(view, output.suffix.lower())}, force=force)
    if as_json:
        from dimmplan.output.compare_record import compare_record
        from dimmplan.output.values import to_json

        files = None if output is None else [str(output)]
        typer.echo(to_json(compare_record(view, files)), nl=False)
        return
    from dimmplan.output.compare_text import WIDTH, after_table, before_table, compare_table

    terminal.say(before_table(view))
    terminal.say_table(compare_table(view), width=WIDTH)
    terminal.say(after_table(view))
    if output is not None:
        options.wrote(output)


def _content(view: View, ending: str) -> bytes:
    """The bytes of a file of that ending."""
    if ending == ".csv":
        from dimmplan.output.compare_columns import compare_csv

        return compare_csv(view).encode("utf-8")
    if ending == ".html":
        from dimmplan.page.comparison import compare_html

        return compare_html(view).encode("utf-8")
    from dimmplan.output.compare_chart import chart_png, chart_svg

    return chart_png(view) if ending == ".png" else chart_svg(view).encode("utf-8")
