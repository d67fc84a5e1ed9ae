"""Answers for a terminal: why, what comes next, what changes, what is left, what may be mixed, which rules."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from dimmplan.figures import PlacementFigures, SocketFigures
from dimmplan.model.board import Board, Socket
from dimmplan.model.request import Mode
from dimmplan.output.columns import Column, lines_of, table
from dimmplan.output.text import wrapped
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import Change, NextAnswer, NextStep
from dimmplan.reasons.expect import Expectation
from dimmplan.reasons.failure import Failure, LeftSet
from dimmplan.reasons.mix import Mix
from dimmplan.reasons.rate import RateReason
from dimmplan.reasons.slots import SlotReason
from dimmplan.units import counted, decimal, format_capacity, listed
from dimmplan.wording import changes, mixing, slots
from dimmplan.wording.placement import TRUST, gb_s, label_short, regions_sentence, sockets_listed
from dimmplan.wording.rules import RuleGroup, RuleLine
from dimmplan.wording.statements import Statement, sentence, slots_phrase

MOST_SPLIT_LINES = 31
"""Steps of halving that a terminal shows; the JSON has all of them."""


class _Page:
    """Lines of an answer."""

    def __init__(self, board: Board, *lines: str) -> None:
        self.lines = [*wrapped(f"{board.title} [{board.id}; {TRUST[board.trust]}]"), *lines]

    def heading(self, text: str) -> None:
        """An empty line and a heading."""
        self.lines += ["", *wrapped(text)]

    def text(self, text: str, *, deep: int = 1) -> None:
        """A paragraph without a source of its own."""
        self.lines += wrapped(text, first="  " * deep, rest="  " * (deep + 1))

    def sentences(self, said: Iterable[Statement], *, deep: int = 1) -> None:
        """Sentences, each with its rule and source id."""
        for each in said:
            self.text(f"{each.text} [{each.rule}, {each.source}]", deep=deep)

    def finish(self) -> str:
        """The whole text."""
        return "\n".join(self.lines) + "\n"


def _asked(case: Case) -> str:
    placement, figures = case.placement, case.plan.figures
    runs = f" in {counted(figures.modules, 'module')} at {figures.rate_mts} MT/s" if figures else ""
    asked, got = format_capacity(placement.capacity_gib), format_capacity(case.usable_gib)
    capacity = f"{got} as asked" if asked == got else f"{got} (asked: {asked})"
    mode = "" if placement.mode is Mode.INDEPENDENT else f", {placement.mode.value}"
    status = "proven" if placement.status == "proven" else "best found"
    reading = "; sweep is that of reading, writing is half" if placement.mode is Mode.MIRRORED else ""
    return f"{capacity}{runs}{mode}; {placement.prefer}, {status}{reading}"


# -- why -------------------------------------------------------------------------------------------------------------


def why_text(case: Case, rates: Sequence[RateReason], reasons: Sequence[SlotReason]) -> str:
    """The whole plan: why it runs at its rate, then every slot, those of one reason together."""
    page = _Page(case.board, *wrapped(_asked(case)))
    for rate in rates:
        same = [other for other in rates if set(other.sockets) & set(rate.sockets)]
        page.heading(slots.rate_title(rate, alone=len(same) == 1))
        page.sentences(slots.rate_statements(case, rate))
    for sockets in _alike_sockets(case, reasons):
        page.heading(_socket_heading(case, sockets))
        for alike in _together([reason for reason in reasons if reason.socket == sockets[0].id]):
            _reason_lines(page, case, alike)
    return page.finish()


def _alike_sockets(case: Case, reasons: Sequence[SlotReason]) -> list[list[Socket]]:
    """Sockets whose slots, one after the other, are as they are for the same reasons: told once."""
    found: dict[object, list[Socket]] = {}
    for socket in case.board.sockets:
        looks = tuple(_look(reason) for reason in reasons if reason.socket == socket.id)
        found.setdefault((socket.build, looks), []).append(socket)
    return list(found.values())


def _socket_heading(case: Case, sockets: Sequence[Socket]) -> str:
    names = sentence(sockets_listed([socket.id for socket in sockets]))
    figures = case.plan.figures.sockets if case.plan.figures else ()
    its = next((each for each in figures if each.socket == sockets[0].id), None)
    if its is None or not its.regions:
        return names
    each = " each" if len(sockets) > 1 else ""
    others = "the other is" if len(sockets) == 2 else "the others are"
    told = f" Told for {sockets_listed([sockets[0].id])}; {others} alike." if len(sockets) > 1 else ""
    return f"{names}: {format_capacity(its.usable_gib)}{each}. {regions_sentence(its)}{told}"


def slot_text(case: Case, reason: SlotReason) -> str:
    """One slot's reason, every alternative that was tried."""
    page = _Page(case.board, *wrapped(_asked(case)), "")
    _reason_lines(page, case, [reason])
    return page.finish()


def _together(reasons: Sequence[SlotReason]) -> list[list[SlotReason]]:
    """Reasons that differ in nothing but the slots they speak of."""
    found: dict[object, list[SlotReason]] = {}
    for reason in reasons:
        found.setdefault(_look(reason), []).append(reason)
    return list(found.values())


def _look(reason: SlotReason) -> object:
    """A reason without the slots that it speaks of."""
    tried = tuple(
        (each.what, each.module, each.of, each.parted.by, each.parted.name, each.parted.plan, each.parted.alternative)
        for each in reason.tried
    )
    return reason.kind, reason.module, reason.place if reason.kind == "stacked" else None, tried


def _reason_lines(page: _Page, case: Case, alike: Sequence[SlotReason]) -> None:
    first = alike[0]
    named = slots_phrase(case.board, [reason.slot for reason in alike])
    held = f" ({label_short(first.module)})" if first.module else ""
    page.text(f"{named}{held}: {slots.reason_title(case, first)}")
    said = slots.reason_statements(case, first)
    if len(alike) > 1 and first.tried:
        page.text(f"For {first.slot}:", deep=2)
    page.sentences(said, deep=2)


def expectation_text(case: Case, expected: Expectation) -> str:
    """Why not exactly these slots."""
    page = _Page(case.board, *wrapped(_asked(case)))
    page.heading(slots.expectation_title(case, expected))
    if expected.only_plan:
        page.text(f"The plan fills, this does not: {slots_phrase(case.board, expected.only_plan)}.")
    if expected.only_expected:
        page.text(f"This fills, the plan does not: {slots_phrase(case.board, expected.only_expected)}.")
    page.sentences(slots.expectation_statements(case, expected))
    if not expected.proven and expected.weighed.vector is not None:
        page.text("This assignment of the modules is the best found, not proven.")
    return page.finish()


# -- next, put and clear ---------------------------------------------------------------------------------------------


def next_text(case: Case, answer: NextAnswer) -> str:
    """Which slot comes next, alone and as a group."""
    page = _Page(case.board, *wrapped(_asked(case)))
    if case.plan.figures is not None:
        page.text(f"Now: {changes.figures_phrase(case.plan.figures)}.", deep=0)
    if not answer.possible:
        page.heading("Nothing comes next")
        page.sentences(changes.no_next_statements(case, answer))
        return page.finish()
    for title, steps in (
        ("Next alone", answer.singles),
        ("Next as a group: the smallest that sweeps highest", answer.groups),
    ):
        if steps:
            page.heading(title)
        for step in steps:
            if steps is answer.groups and any(step.slots == single.slots for single in answer.singles):
                page.text(f"{slots_phrase(case.board, step.slots)}: the slot that comes next alone.")
            else:
                _next_lines(page, case, step)
    if answer.refused:
        page.heading("Not here")
        page.sentences(changes.refused_statements(case, answer))
    if not answer.complete:
        page.text("The search's effort did not suffice for every type; a better group may exist.")
    return page.finish()


def _next_lines(page: _Page, case: Case, step: NextStep) -> None:
    page.text(changes.next_title(case, step))
    page.sentences(changes.next_statements(case, step), deep=2)


def change_text(case: Case, change: Change) -> str:
    """What putting and clearing modules changes: before and after by socket, and what breaks."""
    page = _Page(case.board, *wrapped(_asked(case)))
    page.heading(changes.change_title(change))
    page.sentences(changes.verdict_statements(case.board, change))
    before, after = change.before_figures, change.after_figures
    if after is None:
        page.text("It does not run so; there are no figures.")
    elif before is not None:
        page.lines += [f"  {line}" for line in _before_after(before, after)]
    page.sentences(changes.unbroken_effects(case.board, change))
    return page.finish()


@dataclass(frozen=True, slots=True)
class _Side:
    """A socket, or the system, before or after a change."""

    name: str
    when: str
    figures: SocketFigures | PlacementFigures

    @property
    def sweep(self) -> Fraction:
        its = self.figures
        return its.sweep_gb_s if isinstance(its, SocketFigures) else its.balanced_sweep_gb_s

    @property
    def share(self) -> Fraction:
        its = self.figures
        return its.share if isinstance(its, SocketFigures) else its.worst_share

    @property
    def rate_mts(self) -> int:
        its = self.figures
        return its.rate.rate_mts if isinstance(its, SocketFigures) else its.rate_mts


_SIDES = (
    Column[_Side](short="", text=lambda side: side.name),
    Column[_Side](short="", text=lambda side: side.when),
    Column[_Side](title="capacity", text=lambda side: format_capacity(side.figures.usable_gib), align="right"),
    Column[_Side](title="rate", text=lambda side: f"{side.rate_mts} MT/s", align="right"),
    Column[_Side](title="sweep", text=lambda side: gb_s(side.sweep), align="right"),
    Column[_Side](title="share", text=lambda side: f"{decimal(side.share, 4):.4f}", align="right"),
)


def _before_after(before: PlacementFigures, after: PlacementFigures) -> list[str]:
    sides = [
        side
        for old, new in zip(before.sockets, after.sockets, strict=True)
        for side in (_Side(old.socket, "before", old), _Side("", "after", new))
    ]
    return lines_of(_SIDES, [*sides, _Side("system", "before", before), _Side("", "after", after)])


# -- after a failure -------------------------------------------------------------------------------------------------


def failure_text(case: Case, failure: Failure) -> str:
    """What still runs, what boots, and how to find a bad module by halves."""
    page = _Page(case.board, *wrapped(_asked(case)))
    page.heading(changes.failure_title(failure))
    if failure.left and (failure.best is None or failure.best.weighed.content != failure.stay.content):
        page.heading("With nothing else moved")
        page.sentences(changes.stay_statements(case.board, failure))
    if failure.best is not None:
        _left_lines(page, case, "Still runs best", failure.best)
    elif failure.left:
        mode = "" if failure.mode is Mode.INDEPENDENT else f" {failure.mode.value}"
        page.heading(f"Nothing that is left can run{mode}")
        page.sentences(changes.causes_statements(failure))
    if failure.fastest is not None:
        _left_lines(page, case, "Sweeps faster with less", failure.fastest, by="bandwidth-first")
    if failure.mode is not Mode.INDEPENDENT and (failure.smallest or failure.split):
        page.heading(f"Set the mode from {failure.mode.value} to independent in firmware before what follows.")
    if failure.independent is not None:
        _left_lines(page, case, "Runs best in the independent mode", failure.independent)
    if failure.smallest is not None:
        page.heading(f"Smallest that boots: {counted(failure.smallest.modules, 'module')}")
        page.text(changes.stays_text(case.board, failure.smallest))
        page.sentences(changes.left_statements(case, failure.smallest, by="modules", changes=False))
    if failure.split:
        page.heading("If it still fails: halves of the set that runs best, each module in its own slot")
        page.sentences([changes.split_care()])
        for step in failure.split[:MOST_SPLIT_LINES]:
            page.text(f"{step.number}. {changes.split_text(case, step)}")
        if len(failure.split) > MOST_SPLIT_LINES:
            page.text(f"{counted(len(failure.split) - MOST_SPLIT_LINES, 'more step')} with --json.")
    return page.finish()


def _left_lines(page: _Page, case: Case, title: str, found: LeftSet, *, by: str = "") -> None:
    status = "" if found.proven else " (best found, not proven)"
    page.heading(f"{title}{status}")
    page.sentences(changes.left_statements(case, found, by=by))


# -- mix and rules ---------------------------------------------------------------------------------------------------


def mix_text(mix: Mix) -> str:
    """Whether labels may be mixed, where, by which rule, at what price."""
    page = _Page(mix.board)
    page.heading(mixing.mix_title(mix))
    page.sentences(mixing.refused_statements(mix))
    for pair in mix.pairs:
        if len(mix.pairs) > 1:
            page.heading(mixing.pair_title(mix, pair))
        page.sentences(mixing.pair_statements(mix, pair))
    if mix.mixed is not None:
        page.heading(mixing.price_title(mix))
        page.sentences(mixing.price_statements(mix))
    return page.finish()


def rules_text(board: Board, groups: Sequence[RuleGroup]) -> str:
    """A board's rules by the question that they answer, and the documents that they cite."""
    page = _Page(board)
    for group in groups:
        if not group.lines and not group.table:
            continue
        page.heading(group.question)
        page.sentences(_rule_statement(line) for line in group.lines)
        page.lines += [f"  {line}" for line in table(group.table)]
    page.heading("Rows marked usual are defaults of the trade that the board file does not state itself.")
    page.heading("Sources")
    for source in dict.fromkeys(source for group in groups for source in group.sources):
        page.text(f"{source}: {board.citation(source)}")
    return page.finish()


def _rule_statement(line: RuleLine) -> Statement:
    marks = [word for word, is_so in (("advised", line.severity == "advised"), ("usual", line.usual)) if is_so]
    mark = f"({listed(marks)}) " if marks else ""
    return Statement(text=f"{mark}{line.text}", rule=line.rule, source=line.source)
