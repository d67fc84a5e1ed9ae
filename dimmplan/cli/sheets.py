"""The files of a sheet: SVG and PNG page by page, PDF and HTML as one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dimmplan.cli import terminal
from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.output.svg import render_svg
from dimmplan.plancode.code import encode, qr_matrix
from dimmplan.sheet.compose import compose
from dimmplan.sheet.letters import missing_letters
from dimmplan.sheet.shapes import Sheet, Text, walk
from dimmplan.units import quoted


def sheet_files(
    board: Board,
    placement: Placement,
    path: Path,
    *,
    page: str | None = None,
    quiet: bool = False,
    sheet: Sheet | None = None,
    **options_of_sheet: Any,
) -> dict[Path, bytes]:
    """The files of a sheet by their paths, in the format that the path's ending names.

    Further pages of an SVG or PNG are files of their own; a PDF and an HTML page hold them all. ``page`` chooses one.
    Letters that the sheet cannot bring along are named on standard error, unless ``quiet``. A ``sheet`` that is
    already made is written in the place of that of the placement.
    """
    code = encode(board, placement)
    sheet = sheet or compose(board, placement, code=code, matrix=qr_matrix(code), **options_of_sheet)
    numbers = _chosen_pages(page, len(sheet.pages))
    if not quiet:
        _warn_of_missing_letters(sheet)
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
        from dimmplan.output.pdf import pdf_bytes

        return {path: pdf_bytes(list(chosen.values()), title=sheet.title)}
    paths = {number: path if alone else page_path(path, number) for number in chosen}
    if ending == ".png":
        from dimmplan.output.raster import png_bytes

        return {paths[number]: png_bytes(page) for number, page in chosen.items()}
    return {paths[number]: render_svg(page).encode("utf-8") for number, page in chosen.items()}


def page_path(path: Path, page: int) -> Path:
    """``x.svg`` for page 1, ``x-2.svg`` for page 2."""
    return path if page == 1 else path.with_name(f"{path.stem}-{page}{path.suffix}")


def _warn_of_missing_letters(sheet: Sheet) -> None:
    shapes = (shape for page in sheet.pages for shape in walk(page.shapes))
    if found := missing_letters(shape.text for shape in shapes if isinstance(shape, Text)):
        terminal.warn(
            f"the sheet has no letters of its own for {quoted(found)}: they look as the fonts of each machine have them"
        )


def _chosen_pages(page: str | None, count: int) -> list[int]:
    if page is None:
        return list(range(1, count + 1))
    number = 1 if page == "chassis" else int(page) if page.isdecimal() and len(page) < 4 else 0
    if not 1 <= number <= count:
        allowed = f"1 to {count}, or chassis"
        raise InputError(Problem(file="--page", found=quoted(page), allowed=allowed))
    return [number]
