"""``dimmplan draw``: the sheet of a plan, the format by the name of the file; with ``--prove`` it is searched again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dimmplan.cli import NO, options, terminal
from dimmplan.cli.files import SHEET_FORMATS, check_ending, write_files
from dimmplan.cli.options import InventoryOptions, SheetOptions, option
from dimmplan.cli.plans import read_judged, tell, with_judgement
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import ImpossibleError, InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Placement
from dimmplan.model.request import Request, Supply
from dimmplan.output.reading import FilesDocument, JudgedPlan
from dimmplan.output.record import to_json
from dimmplan.units import quoted

if TYPE_CHECKING:
    from dimmplan.reasons.case import Separation


@options.grouped
def draw(
    *,
    plan: options.Plan,
    output: Annotated[Path, option("File to write: .svg, .png, .pdf or .html.", "FILE", "-o", "--output")],
    board_file: options.BoardFile = None,
    origin: Annotated[
        str | None,
        option(
            "A machine's inventory: draw the change sheet, from what is in the machine to the plan.",
            "INVENTORY",
            "--from",
            panel=options.MACHINE,
        ),
    ] = None,
    found: InventoryOptions,
    prove: Annotated[
        bool, option("Search again for a better placement. The sheet and the answer say the result.", None, "--prove")
    ] = False,
    page: Annotated[
        str | None, option("Draw one page only: its number, or chassis for page 1.", "N", panel=options.SHEET)
    ] = None,
    sheet: SheetOptions,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Draw the sheet of a plan. Page 1 is taped inside the chassis; page 2 has figures and findings."""
    sheet.check()
    check_ending(output, SHEET_FORMATS)
    judged = read_judged(plan, board_file)
    tell(judged)
    proof = proof_of(judged) if prove and judged.good else None
    board, placement = judged.board, proof.placement if proof else judged.placement
    given = sheet.named()
    given |= {name: words for name, words in judged.sheet if words is not None and given[name] is None}
    if origin is not None:
        from dimmplan.cli.machine import change_from  # brings the audit, which a plain sheet needs not

        placement, given["change"] = change_from(origin, found, board, placement)
    files = sheet_files(board, placement, output, page=page, **given)
    write_files(files, force=force)
    if as_json:
        document = FilesDocument.of(files=list(map(str, files)), **({"proof": proof} if proof else {}))
        typer.echo(to_json(with_judgement(document, judged)), nl=False)
    else:
        for path in files:
            terminal.wrote(path)
        if proof is not None:
            terminal.say(proof.text)
    if not judged.good or (proof is not None and proof.separation):
        raise typer.Exit(NO)


# -- proving again -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Proof:
    """A plan searched again: ``placement`` carries its new status, ``separation`` what a better one has more of.

    ``slots`` are those that a better placement fills.
    """

    placement: Placement
    separation: Separation | None = None
    slots: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The proof as a sentence."""
        its = self.separation
        if its is None:
            if self.placement.status == "proven":
                return "proven: no better placement of these modules\n"
            return "not proven: the search reached its effort limit\n"
        values = f": {its.alternative}, not {its.plan}" if its.plan is not None else ""
        return f"a better placement exists: {its.name}{values}, with modules in {', '.join(self.slots)}\n"


def proof_of(judged: JudgedPlan) -> Proof:
    """Search for a plan's request again, with the modules that its file says, or those that its code holds.

    Raises ``InputError`` for a plan that was made from more than that: a machine, a shelf, a chain of steps.
    """
    from dimmplan.planner import plan as plan_again  # brings the search, which a plain sheet needs not
    from dimmplan.reasons.case import Case

    board, placement = judged.board, judged.placement
    beside = judged.beside or (("kept",) if placement.prefer == "upgrade" else ())
    if beside:
        found = f"a plan with {' and '.join(map(quoted, beside))}"
        hint = "Plan again as it was planned."
        raise InputError(
            Problem(file="--prove", found=found, allowed="a plan that used nothing but modules", hint=hint)
        )
    case = Case(board, placement)
    unproven = replace(placement, status="best-found")
    try:
        planned = plan_again(board, _request(judged, board, case.request), alternatives=False)
    except ImpossibleError:
        return Proof(placement=unproven)
    if planned.placement.slots == placement.slots:
        return Proof(placement=replace(placement, status=planned.placement.status))
    separation = case.part(case.weigh(planned.placement.content))
    filled = tuple(slot for slot, module in planned.placement.slots if module)
    return Proof(placement=unproven, separation=separation, slots=filled)


def _request(judged: JudgedPlan, board: Board, request: Request) -> Request:
    """The request of a plan as its file says it; else as it follows from its slots."""
    asked = judged.request
    if asked is None or not asked.modules:
        return request
    modules = [parse_label(label, file="plan", place="request.modules", usual=board.modules) for label in asked.modules]
    return replace(
        request,
        supplies=tuple(Supply(module=module) for module in dict.fromkeys((*judged.placement.types, *modules))),
        over_gib=asked.over_gib,
        max_types=asked.max_types or request.max_types,
    )
