"""``dimmplan draw``: the sheet of a plan, the format by the name of the file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from dimmplan.cli import options, terminal
from dimmplan.cli.files import check_ending, page_path, write_files
from dimmplan.cli.machine import Machine, change_from
from dimmplan.cli.plans import read_judged, tell, with_judgement
from dimmplan.cli.proving import proof_of
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.output.pdf import pdf_bytes
from dimmplan.output.qr import qr_matrix
from dimmplan.output.record import FilesDocument, to_json
from dimmplan.output.svg import render_svg
from dimmplan.plancode.code import encode
from dimmplan.sheet.compose import compose
from dimmplan.sheet.letters import strangers
from dimmplan.sheet.shapes import Sheet, Text, walk
from dimmplan.units import quoted, words_problem

FORMATS = (".svg", ".png", ".pdf", ".html")
WORDS = ("title", "tag", "date")
_CHOICES = {"paper": ("a4", "letter", "a5"), "ink": ("colour", "mono"), "front": ("down", "up")}


def draw(
    plan: options.Plan,
    output: Annotated[
        Path, typer.Option("-o", "--output", help="File to write: .svg, .png, .pdf or .html.", metavar="FILE")
    ],
    board_file: options.BoardFile = None,
    origin: Annotated[
        str | None,
        typer.Option(
            "--from",
            help="A machine's inventory: draws the change sheet from it to the plan.",
            metavar="INVENTORY",
            rich_help_panel=options.MACHINE,
        ),
    ] = None,
    slots: options.Slots = None,
    data_saved: options.DataSaved = None,
    rest_empty: options.RestEmpty = False,
    prove: Annotated[
        bool, typer.Option("--prove", help="Search again: say whether a better placement is there, and draw that word.")
    ] = False,
    page: Annotated[
        str | None,
        typer.Option(help="One page only: its number, or chassis.", metavar="N", rich_help_panel=options.SHEET),
    ] = None,
    paper: options.Paper = "a4",
    ink: options.Ink = "colour",
    front: options.Front = "down",
    title: options.Title = None,
    tag: options.Tag = None,
    date: options.Date = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Draw the sheet of a plan: page one to tape inside the chassis, figures and findings on the next."""

    sheet: dict[str, Any] = {"paper": paper, "ink": ink, "front": front, "title": title, "tag": tag, "date": date}
    check_sheet_options(sheet)
    check_ending(output, FORMATS)
    judged = read_judged(plan, board_file)
    tell(judged)
    proof = proof_of(judged) if prove and judged.good else None
    board, placement = judged.board, proof.placement if proof else judged.placement
    sheet |= {name: said for name, said in judged.sheet if said is not None and sheet[name] is None}
    if origin is not None:
        machine = Machine(inventory=origin, slots=slots, data_saved=data_saved or (), rest_empty=rest_empty)
        placement, sheet["change"] = change_from(machine, board, placement)
    files = sheet_files(board, placement, output, page=page, **sheet)
    write_files(files, force=force)
    if as_json:
        document = FilesDocument.of(files=list(map(str, files)), **({"proof": proof.record} if proof else {}))
        typer.echo(to_json(with_judgement(document, judged)), nl=False)
    else:
        for path in files:
            options.wrote(path)
        if proof is not None:
            terminal.say(proof.text)
    if not judged.good or (proof is not None and proof.better):
        raise typer.Exit(1)


def check_sheet_options(chosen: Mapping[str, str | None]) -> None:
    """Raise ``InputError`` for a paper, an ink or a front that is none, and for words that no printer can print."""
    problems = [
        Problem(
            file=f"--{name}",
            place="",
            found=quoted(value),
            allowed=", ".join(_CHOICES[name]),
            hint=did_you_mean(value, _CHOICES[name]),
        )
        for name in _CHOICES
        if (value := chosen.get(name)) is not None and value not in _CHOICES[name]
    ]
    problems += [problem for name in WORDS if (problem := words_problem(chosen.get(name), file=f"--{name}"))]
    if problems:
        raise InputError(problems)


def sheet_files(
    board: Board,
    placement: Placement,
    path: Path,
    *,
    page: str | None = None,
    quiet: bool = False,
    **options_of_sheet: Any,
) -> dict[Path, bytes]:
    """The files of a sheet by their paths, in the format that the path's ending names.

    Further pages of an SVG or PNG are files of their own; a PDF and an HTML page hold them all. ``page`` chooses one.
    Letters that the sheet cannot bring along are named on standard error, unless ``quiet``.
    """

    code = encode(board, placement)
    sheet = compose(board, placement, code=code, matrix=qr_matrix(code), **options_of_sheet)
    numbers = _chosen_pages(page, len(sheet.pages))
    if not quiet:
        _warn_of_strangers(sheet)
    ending = path.suffix.lower()
    if ending == ".html":
        from dimmplan.page.document import page_html

        pages = tuple(sheet.pages[number - 1] for number in numbers)
        whole = page_html(
            board,
            placement,
            sheet._replace(pages=pages),
            code=code,
            tag=options_of_sheet.get("tag"),
            change=options_of_sheet.get("change"),
            front=options_of_sheet.get("front", "down"),
        )
        return {path: whole.encode("utf-8")}
    return rendered(sheet, path, numbers, alone=page is not None)


def rendered(sheet: Sheet, path: Path, numbers: Sequence[int] = (), *, alone: bool = False) -> dict[Path, bytes]:
    """Pages of a sheet as SVG, PNG or PDF by their paths; all where no numbers are given, one ``alone`` as ``path``."""

    chosen = {number: sheet.pages[number - 1] for number in numbers or range(1, len(sheet.pages) + 1)}
    ending = path.suffix.lower()
    if ending == ".pdf":
        return {path: pdf_bytes(list(chosen.values()), title=sheet.title)}
    paths = {number: path if alone else page_path(path, number) for number in chosen}
    if ending == ".png":
        from dimmplan.output.raster import png_bytes

        return {paths[number]: png_bytes(page) for number, page in chosen.items()}
    return {paths[number]: render_svg(page).encode("utf-8") for number, page in chosen.items()}


def _warn_of_strangers(sheet: Sheet) -> None:
    shapes = (shape for page in sheet.pages for shape in walk(page.shapes))
    if found := strangers(shape.text for shape in shapes if isinstance(shape, Text)):
        options.warn(
            f"the sheet has no letters of its own for {quoted(found)}: they look as the fonts of each machine have them"
        )


def _chosen_pages(page: str | None, count: int) -> list[int]:
    if page is None:
        return list(range(1, count + 1))
    number = 1 if page == "chassis" else int(page) if page.isdecimal() and len(page) < 4 else 0
    if not 1 <= number <= count:
        allowed = f"1 to {count}, or chassis"
        raise InputError(Problem(file="--page", place="", found=quoted(page), allowed=allowed))
    return [number]
