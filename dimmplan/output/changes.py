"""What a change of a plan does: what comes next, modules put, cleared and failed; and types mixed; as JSON and text."""

from __future__ import annotations

from dimmplan.figures import PlacementFigures
from dimmplan.model.request import Mode
from dimmplan.output.columns import Text, board_line, share_text
from dimmplan.output.record import (
    BoardHead,
    Counts,
    Document,
    FiguresEntry,
    FindingEntry,
    Label,
    OfPlan,
    Record,
    Slots,
    means,
)
from dimmplan.output.why import AnswerDocument, Broken, SentenceEntry, answer_head
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import ChangedPlan, NextAnswer
from dimmplan.reasons.failure import Failure, LeftSet
from dimmplan.reasons.mix import Mix
from dimmplan.units import counted, format_capacity
from dimmplan.wording import changes
from dimmplan.wording.placement import breach_finding, gb_s
from dimmplan.wording.statements import slots_phrase

MOST_SPLIT_LINES = 31
"""Steps of halving that a terminal shows; the JSON has all of them."""

# -- what comes next ---------------------------------------------------------------------------------------------------


class NextStepEntry(Record):
    """A way to add."""

    module: Label = means("label of what is added")
    slots: list[str] = means("where")
    equal: list[str] = means("slots that would do as well as that one")
    figures: FiguresEntry | None = means("how it runs then", of="change.after_figures")
    broken: Broken = means("rows that break and did not before", of="change.broken")
    said: list[SentenceEntry] = means("what changes", within=changes.next_statements)


class NextDocument(AnswerDocument, OfPlan, commands="why --next"):
    """What comes next, alone and as a group; exit status 1 where nothing can."""

    now: FiguresEntry | None = means("of the plan", of="plan.figures")
    alone: list[NextStepEntry] = means("the best single slot for each type", of="singles")
    group: list[NextStepEntry] = means("the smallest group of those that sweep highest", of="groups")
    refused: list[NextStepEntry] = means("single slots that a rule refuses")
    complete: bool = means("false where the search's effort did not suffice")
    said: list[SentenceEntry] = means(
        "why nothing comes next",
        within=lambda case, answer: [] if answer.possible else changes.no_next_statements(case, answer),
    )


def next_text(case: Case, answer: NextAnswer) -> str:
    """Which slot comes next, alone and as a group."""
    page = answer_head(case)
    if case.plan.figures is not None:
        page.note(f"Now: {changes.figures_phrase(case.plan.figures)}.", 0)
    if not answer.possible:
        page.heading("Nothing comes next")
        page.sentences(changes.no_next_statements(case, answer))
        return str(page)
    for title, steps in (
        ("Next alone", answer.singles),
        ("Next as a group: the smallest group with the highest sweep", answer.groups),
    ):
        if steps:
            page.heading(title)
        for step in steps:
            if steps is answer.groups and any(step.slots == single.slots for single in answer.singles):
                page.note(f"{slots_phrase(case.board, step.slots)}: the same as next alone.")
            else:
                page.note(changes.next_title(case, step))
                page.sentences(changes.next_statements(case, step), 4)
    if answer.refused:
        page.heading("Not here")
        page.sentences(changes.refused_statements(case, answer))
    if not answer.complete:
        page.note("The search reached its effort limit for some types; a better group may exist.")
    return str(page)


# -- put and clear -----------------------------------------------------------------------------------------------------


class ChangedSlot(Record):
    """A slot that is changed."""

    slot: str = means("the slot")
    before: Label | None = means("label, or null")
    after: Label | None = means("label, or null")


class ChangeDocument(AnswerDocument, OfPlan, commands="why --put, --clear"):
    """What a change does; exit status 1 where it is refused. `files` with `-o`."""

    changes: list[ChangedSlot] = means(
        "what is put and cleared",
        by=lambda change: [{"slot": slot, "before": old, "after": new} for slot, old, new in change.changes],
    )
    allowed: bool = means("whether the rules allow it", by=lambda change: not change.refused)
    before: FiguresEntry | None = means("of the plan", of="before_figures")
    after: FiguresEntry | None = means("after the change", of="after_figures")
    broken: Broken = means("rows that break and did not before")
    mended: Broken = means("rows that no longer break")
    still_broken: Broken = means(
        "error rows that broke before",
        by=lambda change: [breach for breach in change.after.errors if breach not in change.broken],
    )
    said: list[SentenceEntry] = means(
        "the verdict and the effects",
        within=lambda case, change: [
            *changes.verdict_statements(case.board, change),
            *changes.unbroken_effects(case.board, change),
        ],
    )
    files: list[str] = means("the change sheet; none is drawn of a refused change", default=[])


def change_text(case: Case, change: ChangedPlan) -> str:
    """What putting and clearing modules changes: before and after by socket, and what breaks."""
    page = answer_head(case)
    page.heading(changes.change_title(change))
    page.sentences(changes.verdict_statements(case.board, change))
    before, after = change.before_figures, change.after_figures
    if after is None:
        page.note("It does not run; there are no figures.")
    elif before is not None:
        pairs = zip(_rows("before", before), _rows("after", after), strict=True)
        numbers = ("capacity", "rate", "sweep", "share")
        page.rows([row for old, new in pairs for row in (old, ["", *new[1:]])], ("", "", *numbers), right=numbers)
    page.sentences(changes.unbroken_effects(case.board, change))
    return str(page)


def _rows(when: str, figures: PlacementFigures) -> list[list[str]]:
    """The figures of each socket and of the system, before or after a change."""
    rows = [(its.socket, its.usable_gib, its.rate.rate_mts, its.sweep_gb_s, its.share) for its in figures.sockets]
    system = figures.usable_gib, figures.rate_mts, figures.balanced_sweep_gb_s, figures.worst_share
    return [
        [name, when, format_capacity(usable), f"{rate} MT/s", gb_s(sweep), share_text(share)]
        for name, usable, rate, sweep, share in [*rows, ("system", *system)]
    ]


# -- after a failure ---------------------------------------------------------------------------------------------------


class StayEntry(Record):
    """The machine with nothing else moved."""

    allowed: bool = means("whether it may run with nothing else moved", by=lambda failure: not failure.stay.errors)
    figures: FiguresEntry | None = means("how it runs then", of="stay.figures")
    broken: Broken = means("rows that this breaks", of="stay.breaches")
    said: list[SentenceEntry] = means(
        "in words", within=lambda case, failure: changes.stay_statements(case.board, failure)
    )


class LeftMove(Record):
    """A module that is handled."""

    kind: str = means("`pull` or `move`")
    module: Label = means("label")
    source: str | None = means("the slot that it leaves", to="from")
    target: str | None = means("the slot that it goes to, null for `pull`", to="to")


class LeftSetEntry(Record):
    """A set of what is left."""

    proven: bool = means("first of its kind under this board file and this model")
    slots: Slots = means("label, or null", of="alternative.content")
    figures: FiguresEntry | None = means("how it runs", of="alternative.figures")
    moves: list[LeftMove] = means("how to get there", of="moves.handled")
    broken: Broken = means("advised rows that it breaks", of="alternative.breaches")
    said: list[SentenceEntry] = means("the same in words")


class HalfEntry(Record):
    """A step of looking for the bad module by halves."""

    step: int = means("number of the step", of="number")
    suspects: list[str] = means("slots among which the bad module is")
    keep: list[str] = means("those of them that stay in for the test")
    company: list[str] = means("modules known to be good that stay in too")
    out: list[str] = means("what is taken out")
    allowed: bool = means("whether the test breaks no error row", by=lambda step: not step.broken)
    broken: Broken = means("rows that it breaks")
    other_half_allowed: bool = means(
        "whether the other half could be tested instead", by=lambda step: not step.other_broken
    )
    other_half_broken: Broken = means("rows that this would break", of="other_broken")
    fault: int | str = means("next step, or the bad slot, where the fault stays", of="if_fault")
    clean: int | str = means("the same where it is not", of="if_clean")


class FailureDocument(AnswerDocument, OfPlan, commands="why --without"):
    """After failed modules; exit status 1 where no set obeys the rules in the plan's mode."""

    without: list[str] = means("slots whose modules failed", of="slots")
    failed: Counts = means("what failed")
    left: Counts = means("what is left")
    stay: StayEntry = means("with nothing else moved", by=lambda failure: failure)
    best: LeftSetEntry | None = means(
        "runs best by the plan's list; null where nothing does in its mode",
        within=lambda case, failure: _left(case, failure.best),
    )
    causes: list[SentenceEntry] = means(
        "why nothing does",
        by=lambda failure: [] if failure.best or not failure.left else changes.causes_statements(failure),
    )
    fastest: LeftSetEntry | None = means(
        "sweeps faster with less, or null", within=lambda case, failure: _left(case, failure.fastest, "bandwidth-first")
    )
    independent: LeftSetEntry | None = means(
        "runs best once the mode is set to independent, where nothing does in its own",
        within=lambda case, failure: _left(case, failure.independent),
    )
    smallest: LeftSetEntry | None = means(
        "fewest modules that boot", within=lambda case, failure: _left(case, failure.smallest, "modules")
    )
    smallest_and_halves_mode: str = means("the mode that these are for", by=lambda _: "independent")
    halves: list[HalfEntry] = means("how to find the bad module", of="split")


def _left(case: Case, left: LeftSet | None, by: str = "") -> LeftSetEntry | None:
    return None if left is None else LeftSetEntry.of(left, case, said=changes.left_statements(case, left, by=by))


def failure_text(case: Case, failure: Failure) -> str:
    """What still runs, what boots, and how to find a bad module by halves."""
    page = answer_head(case)
    page.heading(changes.failure_title(failure))
    if failure.left and (failure.best is None or failure.best.alternative.content != failure.stay.content):
        page.heading("With nothing moved")
        page.sentences(changes.stay_statements(case.board, failure))
    if failure.left and failure.best is None:
        mode = "" if failure.mode is Mode.INDEPENDENT else f" {failure.mode.words}"
        page.heading(f"No set of the remaining modules may run{mode}")
        page.sentences(changes.causes_statements(failure))
    _left_lines(page, case, "Best with what is left", failure.best)
    _left_lines(page, case, "Sweeps faster with less", failure.fastest, by="bandwidth-first")
    if failure.mode is not Mode.INDEPENDENT and (failure.smallest or failure.split):
        page.heading(f"For what follows, first set the mode from {failure.mode.words} to independent in firmware.")
    _left_lines(page, case, "Runs best in the independent mode", failure.independent)
    if failure.smallest is not None:
        page.heading(f"Smallest that boots: {counted(failure.smallest.modules, 'module')}")
        page.note(changes.stays_text(case.board, failure.smallest))
        page.sentences(changes.left_statements(case, failure.smallest, by="modules", changes=False))
    if failure.split:
        page.heading("If it still fails: test by halves, each module in its own slot")
        page.sentences([changes.split_care()])
        for step in failure.split[:MOST_SPLIT_LINES]:
            page.note(f"{step.number}. {changes.split_text(case, step)}")
        if len(failure.split) > MOST_SPLIT_LINES:
            page.note(f"{counted(len(failure.split) - MOST_SPLIT_LINES, 'more step')} with --json.")
    return str(page)


def _left_lines(page: Text, case: Case, title: str, left: LeftSet | None, *, by: str = "") -> None:
    if left is not None:
        page.heading(title if left.proven else f"{title} (best found, not proven)")
        page.sentences(changes.left_statements(case, left, by=by))


# -- types together ----------------------------------------------------------------------------------------------------


class RefusedLabel(FindingEntry):
    """A type that the board refuses in any company."""

    label: Label = means("a type that the board refuses")


class LoadEntry(Record):
    """Two types on a channel."""

    channels: list[str] = means("channels that may carry them both")
    order: list[Label] = means("labels in slot order", of="load")
    allowed: bool = means("whether the rules allow it")
    rate_mts: int | None = means("the rate then", by=lambda load: load.rate and load.rate.rate_mts)
    broken: Broken = means("rows that it breaks", of="breaches")


class PairEntry(Record):
    """Two types together."""

    labels: list[Label] = means("two of them", by=lambda pair: [pair.one, pair.other])
    together: str = means("how close they may stand")
    differ: list[str] = means("what they differ in")
    rules: list[str] = means("rows about that", by=lambda pair: [row.id for row in pair.rows])
    broken: Broken = means("rows that keep them apart", of="breaches")
    loads: list[LoadEntry] = means("channels with both")
    said: list[SentenceEntry] = means("in words", within=changes.pair_statements)


class MixSetEntry(Record):
    """A placement of some types."""

    modules: Counts = means("what it uses")
    proven: bool = means("first under this board file and this model")
    figures: FiguresEntry | None = means("how it runs")
    broken: Broken = means("advised rows that it breaks", of="breaches")


class MixDocument(Document, commands="mix"):
    """Types together; exit status 1 where they may not be."""

    board: BoardHead = means("the board")
    fitted: list[str] = means("sockets with a processor")
    labels: list[Label] = means("what is mixed", of="modules")
    allowed: bool = means("whether they may stand in one system")
    together: str = means(
        "how close: `channel`, `channels`, `sockets` or `never`",
        by=lambda mix: "never" if mix.refused else mix.together,
    )
    title: str = means("the verdict in words", by=changes.mix_title)
    refused: list[RefusedLabel] = means(
        "what the board refuses",
        by=lambda mix: [RefusedLabel.of(breach_finding(mix.board, b), label=module) for module, b in mix.refused],
    )
    pairs: list[PairEntry] = means("each two of them")
    compared_gib: int | None = means(
        "capacity at which the price is compared, null where nothing is", of="capacity_gib"
    )
    mixed: MixSetEntry | None = means("the best mixed placement")
    alone: list[MixSetEntry | None] = means("the same with one type alone")
    said: list[SentenceEntry] = means("the price in words", by=changes.price_statements)


def mix_text(mix: Mix) -> str:
    """Whether labels may be mixed, where, by which rule, at what price."""
    page = Text(board_line(mix.board))
    page.heading(changes.mix_title(mix))
    page.sentences(changes.refused_label_statements(mix))
    for pair in mix.pairs:
        if len(mix.pairs) > 1:
            page.heading(changes.pair_title(mix, pair))
        page.sentences(changes.pair_statements(mix, pair))
    if mix.mixed is not None:
        page.heading(changes.price_title(mix))
        page.sentences(changes.price_statements(mix))
    return str(page)
