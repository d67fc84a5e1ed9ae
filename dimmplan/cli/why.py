"""``dimmplan why``: answers about a plan, from its file or the code that a caller reads out."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from dimmplan.cli import NO, options, terminal
from dimmplan.cli.files import SHEET_FORMATS, check_ending, write_files
from dimmplan.cli.options import SheetOptions, option
from dimmplan.cli.plans import read_judged, tell, with_judgement
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import InputError, Problem, RefusedError, gathered
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement
from dimmplan.output.changes import (
    ChangeDocument,
    FailureDocument,
    NextDocument,
    change_text,
    failure_text,
    next_text,
)
from dimmplan.output.record import Document
from dimmplan.output.why import ExpectDocument, WhyDocument, expectation_text, slot_text, why_text
from dimmplan.planner import read_module
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import ChangedPlan, change_of, drawn_change, expectation, next_answer
from dimmplan.reasons.failure import failure_of
from dimmplan.reasons.rate import rate_reasons
from dimmplan.reasons.slots import read_slot, read_slots, require_usable, slot_reason, slot_reasons
from dimmplan.units import quoted


@options.grouped
def why(
    *,
    plan: options.Plan,
    slot: Annotated[
        str | None,
        typer.Argument(
            help="One slot. Without it: the rate and every slot.", metavar="SLOT", autocompletion=options.slots
        ),
    ] = None,
    comes_next: Annotated[bool, option("Which slot comes next, and which group of slots.", None, "--next")] = False,
    module: Annotated[
        list[str] | None,
        option(
            "With --next: a label or a size to add; may be repeated. Without it: the plan's.",
            "M",
            offers=options.labels,
        ),
    ] = None,
    put: Annotated[
        list[str] | None,
        option("What if this module went into this slot; may be repeated.", "SLOT=M", offers=options.puts),
    ] = None,
    clear: Annotated[
        list[str] | None,
        option("What if this slot were empty; may be repeated.", "SLOT", offers=options.slots),
    ] = None,
    without: Annotated[
        list[str] | None,
        option("What still runs if the module in this slot failed; may be repeated.", "SLOT", offers=options.slots),
    ] = None,
    expect: Annotated[str | None, option("Why not exactly these slots?", "SLOT,SLOT,...", offers=options.slots)] = None,
    output: Annotated[
        Path | None,
        option(
            "With --put and --clear: the change sheet, .svg, .png, .pdf or .html.",
            "FILE",
            "-o",
            "--output",
            panel=options.SHEET,
        ),
    ] = None,
    sheet: SheetOptions,
    board_file: options.BoardFile = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Say why a plan is as it is, slot by slot, and what a change of it would do."""
    asked = {
        "SLOT": slot is not None,
        "--next": comes_next,
        "--put or --clear": bool(put or clear),
        "--without": bool(without),
        "--expect": expect is not None,
    }
    _check_question([name for name, is_so in asked.items() if is_so], module, comes_next=comes_next)
    _check_sheet(output, sheet, changes=bool(put or clear))

    judged = read_judged(plan, board_file)
    if judged.broken and not put and not clear:  # nothing can be measured against it, but a change may mend it
        raise RefusedError(judged.causes)
    tell(judged)
    board, placement = judged.board, judged.placement
    if comes_next:
        record, text, good = _next(board, placement, module or [])
    elif put or clear:
        draw = None if output is None else partial(_draw, path=output, sheet=sheet, force=force)
        record, text, good = _change(board, placement, put or [], clear or [], draw)
    elif without:
        record, text, good = _without(board, placement, without)
    elif expect is not None:
        record, text, good = _expect(board, placement, expect)
    else:
        record, text, good = _why(board, placement, slot)
    terminal.answer(lambda: with_judgement(record(), judged), text, as_json=as_json)
    if not good or not judged.good:
        raise typer.Exit(NO)


_Answer = tuple[Callable[[], Document], Callable[[], str], bool]
"""What makes the answer as a record and as text, and whether it is a yes."""


def _check_question(asked: list[str], module: list[str] | None, *, comes_next: bool) -> None:
    """Raise ``InputError`` for more than one question at once, or a module without ``--next``."""
    problems: list[Problem] = []
    if len(asked) > 1:
        problems.append(Problem(file="dimmplan why", found=" and ".join(asked), allowed="one question at a time"))
    if module and not comes_next:
        hint = "A module for one slot goes in as --put SLOT=M."
        problems.append(Problem(file="--module", found="no --next", allowed="together with --next", hint=hint))
    if problems:
        raise InputError(problems)


def _check_sheet(output: Path | None, sheet: SheetOptions, *, changes: bool) -> None:
    """Raise ``InputError`` for a sheet without a change, sheet options without a sheet, or wrong ones."""
    if output is None:
        usual = SheetOptions().named()
        given = [f"--{name}" for name, value in sheet.named().items() if value != usual[name]]
        if given:
            raise InputError(Problem(file=given[0], found="no -o FILE", allowed="together with -o FILE"))
        return

    if not changes:
        hint = "The sheet of the plan itself is drawn with: dimmplan draw"
        allowed = "together with --put or --clear"
        raise InputError(Problem(file="-o", found="no change", allowed=allowed, hint=hint))
    sheet.check()
    check_ending(output, SHEET_FORMATS)


def _why(board: Board, placement: Placement, slot: str | None) -> _Answer:
    named = read_slot(board, slot, file="SLOT") if slot is not None else None
    case = Case(board, placement)
    if named is not None:
        reason = slot_reason(case, named)
        return lambda: WhyDocument.of(None, case, rate=(), slots=(reason,)), lambda: slot_text(case, reason), True
    rates, reasons = rate_reasons(case), slot_reasons(case)
    record = partial(WhyDocument.of, None, case, rate=rates, slots=reasons)
    return record, lambda: why_text(case, rates, reasons), True


def _next(board: Board, placement: Placement, labels: list[str]) -> _Answer:
    problems: list[Problem] = []
    found: dict[Module, None] = {}
    for label in labels:
        with gathered(problems):
            found[read_module(board, label)] = None
    if problems:
        raise InputError(problems)
    modules = list(found)
    case = Case(board, placement, extra=modules)
    answer = next_answer(case, modules)
    return lambda: NextDocument.of(answer, case), lambda: next_text(case, answer), answer.possible


_Draw = Callable[[Case, ChangedPlan], list[str]]


def _change(board: Board, placement: Placement, put: list[str], clear: list[str], draw: _Draw | None) -> _Answer:
    changes = _read_changes(board, put, clear)
    case = Case(board, placement, extra=[module for module in changes.values() if module])
    require_usable(case, list(changes))
    change = change_of(case, changes)
    files = {} if draw is None else {"files": draw(case, change)}
    return partial(ChangeDocument.of, change, case, **files), lambda: change_text(case, change), not change.refused


def _draw(case: Case, change: ChangedPlan, *, path: Path, sheet: SheetOptions, force: bool) -> list[str]:
    """Draw the change sheet; the files written. A change that is refused is never drawn."""
    found = drawn_change(case, change)
    if found is None:
        typer.echo("nothing is drawn: this change is refused", err=True)
        return []
    placement, moves = found
    files = sheet_files(case.board, placement, path, change=moves, **sheet.named())
    write_files(files, force=force)
    for written in files:
        terminal.wrote(written)
    return list(map(str, files))


def _read_changes(board: Board, put: list[str], clear: list[str]) -> dict[str, Module | None]:
    """Slot to module, ``None`` for a cleared one. Raises ``InputError`` with every problem."""
    problems: list[Problem] = []
    changes: dict[str, Module | None] = {}

    def note(option: str, slot: str, module: Module | None) -> None:
        if slot in changes:
            allowed = "each slot once"
            problems.append(Problem(file=option, found=f"{slot} a second time", allowed=allowed))
        changes[slot] = module

    for text in put:
        name, equals, label = text.partition("=")
        if not equals:
            problems.append(Problem(file="--put", found=quoted(text), allowed="SLOT=M, such as K2=32GiB"))
            continue
        with gathered(problems):
            note("--put", read_slot(board, name, file="--put"), read_module(board, label))
    for name in clear:
        with gathered(problems):
            note("--clear", read_slot(board, name, file="--clear"), None)
    if problems:
        raise InputError(problems)
    return changes


def _without(board: Board, placement: Placement, names: list[str]) -> _Answer:
    case = Case(board, placement)
    failure = failure_of(case, read_slots(case, ",".join(names), file="--without"))
    record = partial(FailureDocument.of, failure, case)
    return record, lambda: failure_text(case, failure), failure.best is not None


def _expect(board: Board, placement: Placement, text: str) -> _Answer:
    case = Case(board, placement)
    expected = expectation(case, read_slots(case, text, file="--expect"))
    record = partial(ExpectDocument.of, expected, case)
    return record, lambda: expectation_text(case, expected), expected.separation.by != "rule"
