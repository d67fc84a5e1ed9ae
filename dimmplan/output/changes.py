"""What a change of a plan does: what comes next, modules put and cleared, modules that failed; as JSON and text."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from pydantic import Field

from dimmplan.figures import PlacementFigures
from dimmplan.model.request import Mode
from dimmplan.output.columns import Column, lines_of
from dimmplan.output.record import Count, FiguresEntry, FindingEntry, Label, OfPlan, Record, Slots, counts
from dimmplan.output.why import AnswerDocument, AnswerText, SentenceEntry, findings_of, head_of
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import ChangedPlan, NextAnswer, NextStep
from dimmplan.reasons.failure import Failure, LeftSet, SplitStep
from dimmplan.units import Gib, counted, decimal, format_capacity
from dimmplan.wording import changes
from dimmplan.wording.placement import gb_s
from dimmplan.wording.statements import slots_phrase

MOST_SPLIT_LINES = 31
"""Steps of halving that a terminal shows; the JSON has all of them."""

# -- what comes next ---------------------------------------------------------------------------------------------------


class NextStepEntry(Record):
    """A way to add."""

    module: Label = Field(description="label of what is added")
    slots: list[str] = Field(description="where")
    equal: list[str] = Field(description="slots that would do as well as that one")
    figures: FiguresEntry | None = Field(description="how it runs then")
    broken: list[FindingEntry] = Field(description="rows that break and did not before")
    said: list[SentenceEntry] = Field(description="what changes")


class NextDocument(AnswerDocument, OfPlan):
    """What comes next."""

    commands = "why --next"
    about = "What comes next, alone and as a group; exit status 1 where nothing can."

    now: FiguresEntry | None = Field(description="of the plan")
    alone: list[NextStepEntry] = Field(description="the best single slot for each type")
    group: list[NextStepEntry] = Field(description="the smallest group of those that sweep highest")
    refused: list[NextStepEntry] = Field(description="single slots that a rule refuses")
    complete: bool = Field(description="false where the search's effort did not suffice")
    said: list[SentenceEntry] = Field(description="why nothing comes next")


def next_record(case: Case, answer: NextAnswer) -> NextDocument:
    """What comes next, alone and as a group."""
    return NextDocument.of(
        **head_of(case),
        now=case.plan.figures,
        alone=[_step(case, step) for step in answer.singles],
        group=[_step(case, step) for step in answer.groups],
        refused=[_step(case, step) for step in answer.refused],
        complete=answer.complete,
        said=[] if answer.possible else changes.no_next_statements(case, answer),
    )


def _step(case: Case, step: NextStep) -> NextStepEntry:
    change = step.change
    broken = findings_of(case.board, change.broken)
    return NextStepEntry.of(step, figures=change.after_figures, broken=broken, said=changes.next_statements(case, step))


def next_text(case: Case, answer: NextAnswer) -> str:
    """Which slot comes next, alone and as a group."""
    page = AnswerText(case.board, case)
    if case.plan.figures is not None:
        page.text(f"Now: {changes.figures_phrase(case.plan.figures)}.", deep=0)
    if not answer.possible:
        page.heading("Nothing comes next")
        page.sentences(changes.no_next_statements(case, answer))
        return page.finish()
    for title, steps in (
        ("Next alone", answer.singles),
        ("Next as a group: the smallest group with the highest sweep", answer.groups),
    ):
        if steps:
            page.heading(title)
        for step in steps:
            if steps is answer.groups and any(step.slots == single.slots for single in answer.singles):
                page.text(f"{slots_phrase(case.board, step.slots)}: the same as next alone.")
            else:
                page.text(changes.next_title(case, step))
                page.sentences(changes.next_statements(case, step), deep=2)
    if answer.refused:
        page.heading("Not here")
        page.sentences(changes.refused_statements(case, answer))
    if not answer.complete:
        page.text("The search reached its effort limit for some types; a better group may exist.")
    return page.finish()


# -- put and clear -----------------------------------------------------------------------------------------------------


class ChangedSlot(Record):
    """A slot that is changed."""

    slot: str = Field(description="the slot")
    before: Label | None = Field(description="label, or null")
    after: Label | None = Field(description="label, or null")


class ChangeDocument(AnswerDocument, OfPlan):
    """What a change does."""

    commands = "why --put, --clear"
    about = "What a change does; exit status 1 where it is refused. `files` with `-o`."

    changes: list[ChangedSlot] = Field(description="what is put and cleared")
    allowed: bool = Field(description="whether the rules allow it")
    before: FiguresEntry | None = Field(description="of the plan")
    after: FiguresEntry | None = Field(description="after the change")
    broken: list[FindingEntry] = Field(description="rows that break and did not before")
    mended: list[FindingEntry] = Field(description="rows that no longer break")
    still_broken: list[FindingEntry] = Field(description="error rows that broke before")
    said: list[SentenceEntry] = Field(description="the verdict and the effects")
    files: list[str] = Field(default=[], description="the change sheet; none is drawn of a refused change")


def change_record(case: Case, change: ChangedPlan, files: Sequence[str] | None = None) -> ChangeDocument:
    """What putting and clearing modules changes; ``files`` are those of the sheet, where one was asked for."""
    board = case.board
    return ChangeDocument.of(
        **head_of(case),
        changes=[{"slot": slot, "before": old, "after": new} for slot, old, new in change.changes],
        allowed=not change.refused,
        before=change.before_figures,
        after=change.after_figures,
        broken=findings_of(board, change.broken),
        mended=findings_of(board, change.mended),
        still_broken=findings_of(board, (b for b in change.after.errors if b not in change.broken)),
        said=[*changes.verdict_statements(board, change), *changes.unbroken_effects(board, change)],
        **({} if files is None else {"files": files}),
    )


def change_text(case: Case, change: ChangedPlan) -> str:
    """What putting and clearing modules changes: before and after by socket, and what breaks."""
    page = AnswerText(case.board, case)
    page.heading(changes.change_title(change))
    page.sentences(changes.verdict_statements(case.board, change))
    before, after = change.before_figures, change.after_figures
    if after is None:
        page.text("It does not run; there are no figures.")
    elif before is not None:
        page.lines += [f"  {line}" for line in _before_after(before, after)]
    page.sentences(changes.unbroken_effects(case.board, change))
    return page.finish()


class _Side(NamedTuple):
    """A socket, or the system, before or after a change."""

    name: str
    when: str
    usable_gib: Gib
    rate_mts: int
    sweep: Fraction
    share: Fraction


_SIDES = (
    Column[_Side](short="", text=lambda side: side.name),
    Column[_Side](short="", text=lambda side: side.when),
    Column[_Side](title="capacity", text=lambda side: format_capacity(side.usable_gib), align="right"),
    Column[_Side](title="rate", text=lambda side: f"{side.rate_mts} MT/s", align="right"),
    Column[_Side](title="sweep", text=lambda side: gb_s(side.sweep), align="right"),
    Column[_Side](title="share", text=lambda side: f"{decimal(side.share, 4):.4f}", align="right"),
)


def _before_after(before: PlacementFigures, after: PlacementFigures) -> list[str]:
    sides: list[list[_Side]] = []
    for when, its in (("before", before), ("after", after)):
        sockets = [
            _Side(each.socket, when, each.usable_gib, each.rate.rate_mts, each.sweep_gb_s, each.share)
            for each in its.sockets
        ]
        system = _Side("system", when, its.usable_gib, its.rate_mts, its.balanced_sweep_gb_s, its.worst_share)
        sides.append([*sockets, system])
    rows = [side for old, new in zip(*sides, strict=True) for side in (old, new._replace(name=""))]
    return lines_of(_SIDES, rows)


# -- after a failure ---------------------------------------------------------------------------------------------------


class StayEntry(Record):
    """The machine with nothing else moved."""

    allowed: bool = Field(description="whether it may run with nothing else moved")
    figures: FiguresEntry | None = Field(description="how it runs then")
    broken: list[FindingEntry] = Field(description="rows that this breaks")
    said: list[SentenceEntry] = Field(description="in words")


class LeftMove(Record):
    """A module that is handled."""

    kind: str = Field(description="`pull` or `move`")
    module: Label = Field(description="label")
    source: str | None = Field(serialization_alias="from", description="the slot that it leaves")
    target: str | None = Field(serialization_alias="to", description="the slot that it goes to, null for `pull`")


class LeftSetEntry(Record):
    """A set of what is left."""

    proven: bool = Field(description="first of its kind under this board file and this model")
    slots: Slots = Field(description="label, or null")
    figures: FiguresEntry | None = Field(description="how it runs")
    moves: list[LeftMove] = Field(description="how to get there")
    broken: list[FindingEntry] = Field(description="advised rows that it breaks")
    said: list[SentenceEntry] = Field(description="the same in words")


class HalfEntry(Record):
    """A step of looking for the bad module by halves."""

    step: int = Field(validation_alias="number", description="number of the step")
    suspects: list[str] = Field(description="slots among which the bad module is")
    keep: list[str] = Field(description="those of them that stay in for the test")
    company: list[str] = Field(description="modules known to be good that stay in too")
    out: list[str] = Field(description="what is taken out")
    allowed: bool = Field(description="whether the test breaks no error row")
    broken: list[FindingEntry] = Field(description="rows that it breaks")
    other_half_allowed: bool = Field(description="whether the other half could be tested instead")
    other_half_broken: list[FindingEntry] = Field(description="rows that this would break")
    fault: int | str = Field(
        validation_alias="if_fault", description="next step, or the bad slot, where the fault stays"
    )
    clean: int | str = Field(validation_alias="if_clean", description="the same where it is not")


class FailureDocument(AnswerDocument, OfPlan):
    """What is left after modules failed."""

    commands = "why --without"
    about = "After failed modules; exit status 1 where no set obeys the rules in the plan's mode."

    without: list[str] = Field(description="slots whose modules failed")
    failed: list[Count] = Field(description="what failed")
    left: list[Count] = Field(description="what is left")
    stay: StayEntry = Field(description="with nothing else moved")
    best: LeftSetEntry | None = Field(description="runs best by the plan's list; null where nothing does in its mode")
    causes: list[SentenceEntry] = Field(description="why nothing does")
    fastest: LeftSetEntry | None = Field(description="sweeps faster with less, or null")
    independent: LeftSetEntry | None = Field(
        description="runs best once the mode is set to independent, where nothing does in its own"
    )
    smallest: LeftSetEntry | None = Field(description="fewest modules that boot")
    smallest_and_halves_mode: str = Field(description="the mode that these are for")
    halves: list[HalfEntry] = Field(description="how to find the bad module")


def failure_record(case: Case, failure: Failure) -> FailureDocument:
    """What is left after modules failed."""
    stay = failure.stay
    return FailureDocument.of(
        **head_of(case),
        without=failure.slots,
        failed=counts(failure.failed),
        left=counts(failure.left),
        stay={
            "allowed": not stay.errors,
            "figures": stay.figures,
            "broken": findings_of(case.board, stay.breaches),
            "said": changes.stay_statements(case.board, failure),
        },
        best=_left(case, failure.best),
        causes=[] if failure.best or not failure.left else changes.causes_statements(failure),
        fastest=_left(case, failure.fastest, by="bandwidth-first"),
        independent=_left(case, failure.independent),
        smallest=_left(case, failure.smallest, by="modules"),
        smallest_and_halves_mode="independent",
        halves=[_half(case, step) for step in failure.split],
    )


def _left(case: Case, left: LeftSet | None, *, by: str = "") -> LeftSetEntry | None:
    if left is None:
        return None
    return LeftSetEntry.of(
        proven=left.proven,
        slots=left.alternative.content,
        figures=left.alternative.figures,
        moves=left.moves.handled,
        broken=findings_of(case.board, left.alternative.breaches),
        said=changes.left_statements(case, left, by=by),
    )


def _half(case: Case, step: SplitStep) -> HalfEntry:
    return HalfEntry.of(
        step,
        allowed=not step.broken,
        broken=findings_of(case.board, step.broken),
        other_half_allowed=not step.other_broken,
        other_half_broken=findings_of(case.board, step.other_broken),
    )


def failure_text(case: Case, failure: Failure) -> str:
    """What still runs, what boots, and how to find a bad module by halves."""
    page = AnswerText(case.board, case)
    page.heading(changes.failure_title(failure))
    if failure.left and (failure.best is None or failure.best.alternative.content != failure.stay.content):
        page.heading("With nothing moved")
        page.sentences(changes.stay_statements(case.board, failure))
    if failure.best is not None:
        _left_lines(page, case, "Best with what is left", failure.best)
    elif failure.left:
        mode = "" if failure.mode is Mode.INDEPENDENT else f" {failure.mode.words}"
        page.heading(f"No set of the remaining modules may run{mode}")
        page.sentences(changes.causes_statements(failure))
    if failure.fastest is not None:
        _left_lines(page, case, "Sweeps faster with less", failure.fastest, by="bandwidth-first")
    if failure.mode is not Mode.INDEPENDENT and (failure.smallest or failure.split):
        page.heading(f"For what follows, first set the mode from {failure.mode.words} to independent in firmware.")
    if failure.independent is not None:
        _left_lines(page, case, "Runs best in the independent mode", failure.independent)
    if failure.smallest is not None:
        page.heading(f"Smallest that boots: {counted(failure.smallest.modules, 'module')}")
        page.text(changes.stays_text(case.board, failure.smallest))
        page.sentences(changes.left_statements(case, failure.smallest, by="modules", changes=False))
    if failure.split:
        page.heading("If it still fails: test by halves, each module in its own slot")
        page.sentences([changes.split_care()])
        for step in failure.split[:MOST_SPLIT_LINES]:
            page.text(f"{step.number}. {changes.split_text(case, step)}")
        if len(failure.split) > MOST_SPLIT_LINES:
            page.text(f"{counted(len(failure.split) - MOST_SPLIT_LINES, 'more step')} with --json.")
    return page.finish()


def _left_lines(page: AnswerText, case: Case, title: str, found: LeftSet, *, by: str = "") -> None:
    status = "" if found.proven else " (best found, not proven)"
    page.heading(f"{title}{status}")
    page.sentences(changes.left_statements(case, found, by=by))
