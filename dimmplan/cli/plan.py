"""``dimmplan plan``: the placement that is best for a request, alone, from what is in a machine, or step by step."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import STOPPED, WRONG, options, terminal
from dimmplan.cli.files import SHEET_FORMATS, PlanFolder, write_folders
from dimmplan.cli.options import InventoryOptions, RequestOptions, SheetOptions, option
from dimmplan.cli.waiting import Waiting, waiting
from dimmplan.errors import InputError, Problem, gathered
from dimmplan.growth.pinned import NOTHING, Next, Start, next_by_adding, plan_from
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.output.plan import PlanDocument, next_text, plan_text, sheet_record
from dimmplan.output.record import to_json
from dimmplan.planner import Planned, Terms, ask, read_over, read_trays, without_mode
from dimmplan.units import cleaned, format_capacity, parse_capacity

if TYPE_CHECKING:
    from dimmplan.growth.keep import KeptModules
    from dimmplan.stock import Shelf

MOST_STEPS = 6
"""Steps of one chain: the space of chains grows with a power of them."""


@dataclass(frozen=True, kw_only=True)
class KeepOptions(InventoryOptions):
    """What is in the machine already."""

    keep: Annotated[
        str | None,
        option(
            "What is in the machine now: a file or folder, or this-machine. Its modules are used first.", "INVENTORY"
        ),
    ] = None
    keep_in_place: Annotated[
        bool, option("With --keep: modules stay in their slots; new ones are only added.", None, "--keep-in-place")
    ] = False


@dataclass(frozen=True, kw_only=True)
class LaterOptions:
    """Later steps."""

    head: ClassVar = options.LATER

    then: Annotated[list[str], option("A later capacity, reached by adding modules only; may be repeated.", "C")] = (
        field(default_factory=list)
    )
    then_may_move: Annotated[
        bool, option("With --then: modules may move between steps; none is discarded.", None, "--then-may-move")
    ] = False


@dataclass(frozen=True, kw_only=True)
class ManyOptions:
    """Many machines."""

    head: ClassVar = options.MANY

    machines: Annotated[
        Path | None,
        option(
            "Many machines at once, a CSV file: tag, board, fitted, processor, capacity, modules, prefer. With "
            "--stock the shelf is divided between them.",
            "FILE",
        ),
    ] = None
    jobs: Annotated[int | None, option("With --machines: how many at once. Without it: one on each core.", "N")] = None
    cluster: Annotated[
        str | None, option("With --machines: work on the workers of this Dask scheduler.", "ADDRESS")
    ] = None


@options.grouped
def plan(
    *,
    board: Annotated[
        str | None,
        typer.Argument(
            help="A shipped board id, or a board file.",
            metavar="BOARD",
            show_default=False,
            autocompletion=options.board_ids,
        ),
    ] = None,
    capacity: Annotated[
        str | None, option("Usable capacity over all fitted sockets, with its unit.", "C", panel=options.REQUEST)
    ] = None,
    request: RequestOptions,
    processor: options.Processor = None,
    without_tray: options.WithoutTray = None,
    inlet: options.Inlet = None,
    prefer: Annotated[
        str | None,
        option(
            "capacity-first (the default), bandwidth-first, equal-sockets, cost-first, room-first or upgrade "
            "(the default with --keep).",
            "LIST",
            panel=options.REQUEST,
            offers=options.lists,
        ),
    ] = None,
    kept: KeepOptions,
    later: LaterOptions,
    many: ManyOptions,
    sheet: SheetOptions,
    out: Annotated[Path | None, option("Folder for plan.json and the sheet.", "DIR")] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Find the best placement for a capacity on a board, prove it, and say how the memory will run."""
    sheet.check()
    terms = request.terms()
    terms |= {"processor": processor, "prefer": prefer or ("upgrade" if kept.keep else None)}
    one: dict[str, object] = {"BOARD": board, "--capacity": capacity}
    if many.machines is not None:
        one |= {"--keep": kept.keep, "--then": later.then, "--tag": sheet.tag}
    _check_together(kept, later, many, one, out)
    if many.machines is not None and out is not None:
        from dimmplan.cli.machines import MachineRun  # brings processes and locks, which one machine needs not

        run = MachineRun(
            machines=many.machines,
            out=out,
            terms=terms,
            stock=request.stock,
            trays=without_tray or (),
            inlet=inlet,
            jobs=many.jobs,
            cluster=many.cluster,
            sheet=sheet.named(),
            force=force,
        )
        run.run(as_json=as_json)
        return
    loaded = read_trays(load_board(str(board)), without_tray or (), inlet)
    shelf = request.shelf(loaded)
    asked = ask(loaded, str(capacity), shelf=shelf, **terms)
    answer = _answer(loaded, asked, kept, later, shelf=shelf, terms=terms)
    record = answer.document(sheet) if as_json or out is not None else {}
    written, problems = _written(answer, record, out, sheet, force=force) if out is not None else ([], [])
    if as_json:
        typer.echo(to_json(record), nl=False)
    else:
        searched = answer.planned.answer
        how = "proven" if searched.proven else f"stopped: {searched.stopped}"
        terminal.detail(f"{searched.effort} search nodes, {how}")
        terminal.say("\n".join([plan_text(answer.planned), *answer.texts]))
        for path in written:
            terminal.wrote(path)
    for problem in problems:  # the answer itself stands above, whatever became of its files
        terminal.complain(f"error: {cleaned(problem.sentence(), most=2000)}")
    if problems or answer.stopped:
        raise typer.Exit(WRONG if problems else STOPPED)


# -- what does not go together -----------------------------------------------------------------------------------------


def _check_together(
    kept: KeepOptions, later: LaterOptions, many: ManyOptions, one: Mapping[str, object], out: Path | None
) -> None:
    """Raise ``InputError`` for options that mean nothing together or without another one, and for a file as ``out``.

    ``one`` holds what is said of one machine alone.
    """
    given = {
        "--keep-in-place": (kept.keep_in_place, kept.keep, "--keep INVENTORY"),
        "--data-saved": (kept.data_saved, kept.keep, "--keep INVENTORY"),
        "--slots": (kept.slots, kept.keep, "--keep INVENTORY"),
        "--rest-empty": (kept.rest_empty, kept.keep, "--keep INVENTORY"),
        "--then-may-move": (later.then_may_move, later.then, "--then C"),
    }
    problems = _lacking(given)
    if out is not None and out.suffix.lower() in (*SHEET_FORMATS, ".json") and not out.is_dir():
        hint = "It gets plan.json and the pages of the sheet; dimmplan draw makes one file of a plan."
        problems.append(Problem(file="--out", found=str(out), allowed="a folder", hint=hint))
    if len(later.then) >= MOST_STEPS:
        found = f"{len(later.then)} later steps"
        problems.append(Problem(file="--then", found=found, allowed=f"at most {MOST_STEPS - 1}"))
    if problems:
        raise InputError(problems)
    if many.machines is not None:
        alone = "for one machine only"
        problems = [Problem(name, "", "together with --machines", alone) for name, value in one.items() if value]
        problems += _lacking({"--machines": (True, out, "--out DIR")}, found="--out")
    else:
        hint = "See: dimmplan plan --help"
        problems = [Problem("dimmplan plan", "", f"no {name}", "", hint) for name, its in one.items() if its is None]
        jobs, cluster = many.jobs is not None, many.cluster is not None
        problems += _lacking({"--jobs": (jobs, None, "--machines"), "--cluster": (cluster, None, "--machines")})
    if problems:
        raise InputError(problems)


def _lacking(options_given: Mapping[str, tuple[object, object, str]], *, found: str = "") -> list[Problem]:
    """Problems of options that are given without the one that they need."""
    return [
        Problem(file=name, found=f"no {found or needed}", allowed=f"together with {needed}")
        for name, (given, other, needed) in options_given.items()
        if given and not other
    ]


# -- the answer --------------------------------------------------------------------------------------------------------


@dataclass(kw_only=True)
class _Answer:
    """The answer with what stands beside it: more keys of its JSON, more texts, the plans of later steps, its shelf.

    ``stopped`` is true where Ctrl-C ended the search: the best found so far.
    """

    planned: Planned
    record: dict[str, Any]
    texts: list[str]
    later: tuple[Planned, ...] = ()
    shelf: "Shelf | None" = None
    stopped: bool = False

    def beside(self, text: str, **record: Any) -> None:
        """Put something before what stands beside the answer."""
        self.record = record | self.record
        self.texts.insert(0, text)

    def next_by_adding(self, nexts: tuple[Next, ...] | None) -> None:
        """Put what adding alone can reach behind the answer; ``None`` where the search was ended before that."""
        self.record["next_by_adding"] = list(nexts or ())
        if nexts is not None:
            self.texts.append(next_text(nexts))

    def document(self, sheet: SheetOptions) -> dict[str, Any]:
        """All of it as JSON."""
        form = PlanDocument
        if self.record.keys() - form.model_fields.keys():
            from dimmplan.output.growth import WholePlanDocument  # builds forms that a plan alone needs not

            form = WholePlanDocument
        return form.of(self.planned, **sheet_record(sheet.named()), **self.record).plain()


def _answer(
    board: Board, request: Request, kept: KeepOptions, later: LaterOptions, *, shelf: "Shelf | None", terms: Terms
) -> _Answer:
    """Answer ``plan``: alone, from what is in a machine, or as the first step of a chain.

    Raises ``InputError`` and ``ImpossibleError``.
    """
    machine, start = None, NOTHING
    if kept.keep is not None:
        from dimmplan.growth.keep import keep  # brings the audit, which a new machine needs not

        read, matching = kept.matched(kept.keep, board)
        machine = keep(board, read, matching, data_saved=kept.data_saved, supplies=request.supplies)
        request = replace(request, supplies=machine.supplies)
        start = machine.start(request.fitted, in_place=kept.keep_in_place)
    requests = _requests(request, later, terms["over"])
    with waiting() as wait:
        if later.then:
            answer = _chain(board, requests, start, wait, may_move=later.then_may_move)
        else:
            answer = _alone(board, request, start, wait, shelf=shelf, modules=terms["modules"])
        if machine is not None:
            _keep_beside(answer, machine, start, wait)
    answer.shelf, answer.stopped = shelf, wait.stopping
    if shelf is not None:
        from dimmplan.output.stock import ShelfEntry, shelf_text

        answer.beside(shelf_text(answer.planned, shelf), stock=ShelfEntry.of(shelf, answer.planned))
    return answer


def _alone(
    board: Board, request: Request, start: Start, wait: Waiting, *, shelf: "Shelf | None", modules: Sequence[str]
) -> _Answer:
    planned = plan_from(board, request, start, shelf=shelf, modules=modules)
    nexts = wait.unless_stopped(lambda: next_by_adding(planned), None)
    free = None if start.pins else wait.unless_stopped(lambda: without_mode(planned), None)
    answer = _Answer(planned=planned, record={}, texts=[])
    answer.next_by_adding(nexts)
    if free is not None:
        from dimmplan.output.growth import ModePriceEntry, mode_text

        answer.beside(mode_text(planned, free), mode_price=ModePriceEntry.of(planned, free))
    return answer


def _chain(board: Board, requests: list[Request], start: Start, wait: Waiting, *, may_move: bool) -> _Answer:
    from dimmplan.growth.grow import grow
    from dimmplan.growth.keep import change_between
    from dimmplan.output.growth import GrowthEntry, growth_text

    growth = grow(board, requests, may_move=may_move, start=start)
    changes = [change_between(*steps) for steps in pairwise(growth.steps)] if may_move else []
    answer = _Answer(planned=growth.steps[0], record={}, texts=[], later=growth.steps[1:])
    answer.next_by_adding(wait.unless_stopped(lambda: next_by_adding(growth.steps[-1]), None))
    answer.beside(growth_text(growth, changes), growth=GrowthEntry.of(growth, changes))
    return answer


def _keep_beside(answer: _Answer, kept: "KeptModules", start: Start, wait: Waiting) -> None:
    from dimmplan.growth.keep import change_to, upgrade_of
    from dimmplan.output.growth import KeptEntry, kept_text, upgrade_findings

    planned, change = answer.planned, change_to(kept, answer.planned)
    now = kept.now(planned.request.fitted)
    upgrade = wait.unless_stopped(lambda: upgrade_of(planned, now, start), None) or upgrade_of(planned, now, None)
    answer.planned = replace(planned, remarks=upgrade_findings(upgrade))
    answer.beside(kept_text(kept, planned, upgrade, change), before=upgrade.before, kept=KeptEntry.of(kept, change))


def _requests(request: Request, later: LaterOptions, over: str | None) -> list[Request]:
    """The request of each step. Raises ``InputError`` where capacities do not rise."""
    found, problems = [request], list[Problem]()
    for text in later.then:
        try:
            gib = parse_capacity(text, file="--then")
        except InputError as error:
            problems += error.problems
            continue
        before = found[-1].capacity_gib
        if gib <= before:
            allowed = f"more than the step before, {format_capacity(before)}"
            problems.append(Problem(file="--then", found=format_capacity(gib), allowed=allowed))
        found.append(replace(request, capacity_gib=gib, over_gib=None if over is None else read_over(over, gib)))
    if problems:
        raise InputError(problems)
    return found


# -- files -------------------------------------------------------------------------------------------------------------


def _written(
    answer: _Answer, first: dict[str, Any], out: Path, sheet: SheetOptions, *, force: bool
) -> tuple[list[Path], list[Problem]]:
    """Write the plan (``first`` as JSON) and its sheet, and those of later steps into folders of their own.

    Returns what was written and what could not be: a plan is worth keeping also where its sheet cannot be drawn.
    """
    from dimmplan.cli.sheets import sheet_files  # brings the drawing, which a plan without files needs not

    folders: list[PlanFolder] = []
    problems: list[Problem] = []
    for number, step in enumerate([answer.planned, *answer.later], start=1):
        files: dict[str, bytes] = {}
        with gathered(problems):
            sheet_of_step = sheet_files(step.board, step.placement, Path("map.svg"), **sheet.named())
            files = {path.name: content for path, content in sheet_of_step.items()}
        if number == 1 and answer.shelf is not None:
            from dimmplan.output.stock import pick_csv
            from dimmplan.supply import takes_of

            takes = takes_of(step.board, answer.shelf, step.placement)
            files["pick.csv"] = pick_csv(step.placement, takes).encode("utf-8")
        record = first if number == 1 else PlanDocument.of(step, **sheet_record(sheet.named())).plain()
        folders.append(PlanFolder(out if number == 1 else out / f"step-{number}", "plan.json", record, files))
    written: list[Path] = []
    with gathered(problems):
        written = write_folders(folders, force=force)
    return written, problems
