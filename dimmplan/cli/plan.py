"""``dimmplan plan``: the placement that is best for a request."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import STOPPED, complete, options, terminal
from dimmplan.cli.draw import check_sheet_options, sheet_files
from dimmplan.cli.files import digest_of_sealed, files_beside, make_folder, remove_unchanged, write_files
from dimmplan.cli.growing import GrowthAnswer, GrowthOptions, answer
from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES, Request
from dimmplan.output.plan import plan_record, sheet_record
from dimmplan.output.record import to_json
from dimmplan.output.stock import pick_csv, picks_of, shelf_record, shelf_text
from dimmplan.output.text import plan_text
from dimmplan.planner import Terms, ask, read_trays
from dimmplan.stock import Shelf, read_shelf
from dimmplan.units import cleaned


def plan(
    board: Annotated[
        str | None,
        typer.Argument(
            help="A shipped board id, or a board file.",
            metavar="BOARD",
            show_default=False,
            autocompletion=complete.board_ids,
        ),
    ] = None,
    capacity: Annotated[
        str | None,
        typer.Option(
            help="Usable capacity over all fitted sockets, with its unit.", metavar="C", rich_help_panel=options.REQUEST
        ),
    ] = None,
    module: options.Modules = None,
    stock: options.Stock = None,
    over: options.Over = None,
    fitted: options.Fitted = None,
    processor: options.Processor = None,
    without_tray: options.WithoutTray = None,
    mode: options.Mode = "independent",
    prefer: Annotated[
        str | None,
        typer.Option(
            help="capacity-first (the default), bandwidth-first, equal-sockets, cost-first, room-first or upgrade "
            "(the default with --keep).",
            metavar="LIST",
            rich_help_panel=options.REQUEST,
            autocompletion=complete.lists,
        ),
    ] = None,
    keep: Annotated[
        str | None,
        typer.Option(
            help="What is in the machine: a file or folder, or this-machine.",
            metavar="INVENTORY",
            rich_help_panel=options.MACHINE,
        ),
    ] = None,
    keep_in_place: Annotated[
        bool,
        typer.Option(
            "--keep-in-place",
            help="What lies in a slot stays there; modules are only added.",
            rich_help_panel=options.MACHINE,
        ),
    ] = False,
    slots: options.Slots = None,
    data_saved: options.DataSaved = None,
    rest_empty: options.RestEmpty = False,
    then: Annotated[
        list[str] | None,
        typer.Option(
            help="A later capacity, reached by adding modules only; may be repeated.",
            metavar="C",
            rich_help_panel=options.LATER,
        ),
    ] = None,
    then_may_move: Annotated[
        bool,
        typer.Option(
            "--then-may-move",
            help="With --then: modules may move between steps; none is discarded.",
            rich_help_panel=options.LATER,
        ),
    ] = False,
    max_types: options.MaxTypes = DEFAULT_MAX_TYPES,
    effort: options.Effort = DEFAULT_EFFORT,
    machines: Annotated[
        Path | None,
        typer.Option(
            help="Many machines at once, a CSV file: tag, board, fitted, processor, capacity, modules, prefer. With "
            "--stock the shelf is divided between them.",
            metavar="FILE",
            rich_help_panel=options.MANY,
        ),
    ] = None,
    jobs: Annotated[
        int | None,
        typer.Option(
            help="With --machines: so many at once; all cores without it.", metavar="N", rich_help_panel=options.MANY
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            help="With --machines: work on the workers of this Dask scheduler.",
            metavar="ADDRESS",
            rich_help_panel=options.MANY,
        ),
    ] = None,
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

    sheet = {"paper": paper, "ink": ink, "front": front, "title": title, "tag": tag, "date": date}
    if list(sheet.values()) != ["a4", "colour", "down", None, None, None]:  # the defaults need no look, and no import
        check_sheet_options(sheet)
    terms: Terms = {
        "modules": tuple(module or ()),
        "fitted": fitted,
        "processor": processor,
        "mode": mode,
        "prefer": prefer,
        "over": over,
        "max_types": max_types,
        "effort": effort,
    }
    wishes = GrowthOptions(
        keep=keep,
        in_place=keep_in_place,
        data_saved=data_saved or (),
        slots=slots,
        rest_empty=rest_empty,
        then=then or (),
        may_move=then_may_move,
        over=over,
    )
    wishes.check()
    given = {"BOARD": board, "--capacity": capacity, "--keep": keep, "--then": then, "--tag": tag}
    given["--without-tray"] = without_tray
    if machines is not None:
        from dimmplan.cli.machines import Job, plan_machines  # brings processes and locks, which one machine needs not

        folder = _check_call(given, out)
        job = Job(
            machines=machines,
            out=folder,
            terms=terms,
            stock=stock,
            jobs=jobs,
            cluster=cluster,
            sheet=sheet,
            force=force,
        )
        plan_machines(job, as_json=as_json)
        return
    loaded, request, shelf = _asked(given, terms, stock, {"--jobs": jobs, "--cluster": cluster})
    _plan_one(
        loaded,
        request,
        wishes,
        shelf=shelf,
        modules=terms["modules"],
        out=out,
        sheet=sheet,
        force=force,
        as_json=as_json,
    )


def _check_call(given: dict[str, Any], out: Path | None) -> Path:
    """The output folder of a call with --machines. Raises ``InputError`` for what does not go with it."""
    problems = [
        Problem(file=name, place="", found="together with --machines", allowed="for one machine only")
        for name, value in given.items()
        if value
    ]
    if out is None:
        problems.append(Problem(file="--machines", place="", found="no --out", allowed="together with --out DIR"))
    if problems or out is None:
        raise InputError(problems)
    return out


def _asked(
    given: dict[str, Any], terms: Terms, stock: Path | None, many: dict[str, Any]
) -> tuple[Board, Request, Shelf | None]:
    """The board, what is asked of it, and the shelf. Raises ``InputError`` and ``RefusedError``."""

    problems = [
        Problem(file="dimmplan plan", place="", found=f"no {name}", allowed="", hint="See: dimmplan plan --help")
        for name in ("BOARD", "--capacity")
        if given[name] is None
    ]
    problems += [
        Problem(file=name, place="", found="no --machines", allowed="together with --machines")
        for name, value in many.items()
        if value is not None
    ]
    if problems:
        raise InputError(problems)
    loaded = read_trays(load_board(given["BOARD"]), given["--without-tray"] or ())
    shelf = None
    if stock is not None:
        shelf = read_shelf(stock, loaded)
    if given["--keep"] and not terms["prefer"]:
        terms = terms | {"prefer": "upgrade"}
    request = ask(loaded, given["--capacity"], shelf=shelf, **terms)
    return loaded, request, shelf


def _plan_one(
    board: Board,
    request: Request,
    wishes: GrowthOptions,
    *,
    shelf: Shelf | None,
    modules: Sequence[str],
    out: Path | None,
    sheet: dict[str, Any],
    force: bool,
    as_json: bool,
) -> None:

    grown = answer(board, request, wishes, shelf=shelf, modules=modules)
    record = _record(grown, shelf, sheet) if as_json or out is not None else {}
    written, problems = _written(grown, record, shelf, out, sheet, force=force) if out is not None else ([], [])
    if as_json:
        typer.echo(to_json(record), nl=False)
    else:
        _say(grown, shelf)
        for path in written:
            options.wrote(path)
    for problem in problems:  # the answer itself stands above, whatever became of its files
        terminal.complain(f"error: {cleaned(problem.sentence(), most=2000)}")
    if problems or grown.stopped:
        raise typer.Exit(2 if problems else STOPPED)


def _say(grown: GrowthAnswer, shelf: Shelf | None) -> None:
    """Print the answer for people."""

    searched = grown.planned.answer
    how = "proven" if searched.proven else f"stopped: {searched.stopped}"
    options.detail(f"{searched.effort} search nodes, {how}")
    terminal.say(plan_text(grown.planned))
    if shelf is not None:
        terminal.say(f"\n{shelf_text(grown.planned, shelf)}")
    terminal.say(f"\n{grown.text}")


def _written(
    grown: GrowthAnswer, first: dict[str, Any], shelf: Shelf | None, out: Path, sheet: dict[str, Any], *, force: bool
) -> tuple[list[Path], list[Problem]]:
    """Write the plan (``first`` as JSON) and its sheet, and those of later steps into folders of their own.

    Returns what was written and what could not be: a plan is worth keeping also where its sheet cannot be drawn.
    """

    records = [first, *(plan_record(step, **sheet_record(sheet)).plain() for step in grown.later)]
    files: dict[Path, bytes] = {}
    folders: dict[Path, dict[str, Any]] = {}
    problems: list[Problem] = []
    for number, (record, placement) in enumerate(zip(records, grown.placements, strict=True), start=1):
        folder = out if number == 1 else out / f"step-{number}"
        try:
            files |= sheet_files(grown.planned.board, placement, folder / "map.svg", **sheet)
        except InputError as error:
            problems += error.problems
        folders[folder] = record
    if shelf is not None:
        files[out / "pick.csv"] = pick_csv(grown.planned.placement, picks_of(grown.planned, shelf)).encode("utf-8")
    plans: dict[Path, bytes] = {}
    for folder, record in folders.items():
        beside = {path.name: digest_of_sealed(its) for path, its in files.items() if path.parent == folder}
        plans[folder / "plan.json"] = to_json(record | {"files": beside}).encode("ascii")
    files = plans | files
    try:
        earlier = {folder: files_beside(folder / "plan.json") for folder in folders}
        for folder in folders:
            make_folder(folder)
        write_files(files, force=force, ours=[its for known in earlier.values() for its in known.values()])
        for folder, known in earlier.items():
            remove_unchanged(folder, known, [path.name for path in files if path.parent == folder])
    except InputError as error:
        return [], [*problems, *error.problems]
    return list(files), problems


def _record(grown: GrowthAnswer, shelf: Shelf | None, sheet: dict[str, Any]) -> dict[str, Any]:
    """The plan as JSON, what it takes from the shelf where there is one, and what stands beside it."""

    beside: dict[str, Any] = dict(sheet_record(sheet))
    if shelf is not None:
        beside["stock"] = shelf_record(grown.planned, shelf)
    return plan_record(grown.planned, **beside, **grown.record).plain()
