"""``dimmplan compare``: capacities, module sizes and processors side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import NO, options, terminal
from dimmplan.cli.files import check_ending, write_files
from dimmplan.cli.options import RequestOptions, option
from dimmplan.compare import compare as compare_requests
from dimmplan.output.compare import Report
from dimmplan.output.compare_rows import (
    WIDTH,
    CompareDocument,
    after_table,
    before_table,
    compare_csv,
    compare_table,
)
from dimmplan.output.record import to_json
from dimmplan.planner import read_trays

FORMATS = (".svg", ".png", ".csv", ".html")


@options.grouped
def compare(
    *,
    board: options.Board,
    capacity: Annotated[
        list[str] | None,
        option(
            "A usable capacity, with its unit; may be repeated. Without it: the tool chooses some.",
            "C",
            panel=options.REQUEST,
        ),
    ] = None,
    request: RequestOptions,
    processor: Annotated[
        list[str] | None,
        option(
            "A processor option, or S1=ONE,S2=OTHER; may be repeated. Without it: the first.",
            "OPTION",
            panel=options.REQUEST,
            offers=options.processors,
        ),
    ] = None,
    without_tray: options.WithoutTray = None,
    inlet: options.Inlet = None,
    prefer: Annotated[
        str,
        option(
            "capacity-first, bandwidth-first, equal-sockets, cost-first or room-first.",
            "LIST",
            panel=options.REQUEST,
            offers=options.lists,
        ),
    ] = "capacity-first",
    output: Annotated[
        Path | None, option("File to write: .svg, .png, .csv or .html.", "FILE", "-o", "--output")
    ] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Compare capacities, module sizes and processors: how fast each is, what it costs, what it leaves free.

    Exit status 1 if no row has a placement.
    """
    if output is not None:
        check_ending(output, FORMATS)
        if output.suffix.lower() in (".svg", ".png"):
            from dimmplan.output.compare_chart import require_matplotlib

            require_matplotlib()
    loaded = read_trays(load_board(board), without_tray or (), inlet)
    terms = request.terms() | {"prefer": prefer}
    shelf = request.shelf(loaded)
    comparison = compare_requests(loaded, capacities=capacity or (), processors=processor or (), shelf=shelf, **terms)
    stock = None if request.stock is None else str(request.stock)
    report = Report(comparison, board_name=board, stock_name=stock, over=request.over)
    _write(report, output, force=force, as_json=as_json)
    if not any(row.planned for row in comparison.rows):
        raise typer.Exit(NO)


def _write(report: Report, output: Path | None, *, force: bool, as_json: bool) -> None:
    """The file, where one is asked for, then the table or the JSON document on standard output."""
    if output is not None:
        write_files({output: _content(report, output.suffix.lower())}, force=force)
    if as_json:
        files = {} if output is None else {"files": [str(output)]}
        typer.echo(to_json(CompareDocument.of(report, **files)), nl=False)
        return

    terminal.say(before_table(report))
    terminal.say_table(compare_table(report), width=WIDTH)
    terminal.say(after_table(report))
    if output is not None:
        terminal.wrote(output)


def _content(report: Report, ending: str) -> bytes:
    """The bytes of a file of that ending."""
    if ending == ".csv":
        return compare_csv(report).encode("utf-8")
    if ending == ".html":
        from dimmplan.page.comparison import compare_html

        return compare_html(report).encode("utf-8")
    from dimmplan.output.compare_chart import chart_png, chart_svg

    return chart_png(report) if ending == ".png" else chart_svg(report).encode("utf-8")
