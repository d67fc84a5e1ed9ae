"""Answers as JSON of format 1: the same objects as on the terminal, every sentence with its rule and source."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import AliasPath, Field

from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Board
from dimmplan.output.record import FindingEntry
from dimmplan.output.values import (
    BalancedSweep,
    Count,
    Document,
    Exact,
    GbS,
    GibNumber,
    Label,
    OfPlan,
    OwnSweep,
    Record,
    Share,
    Slots,
    SystemSweep,
    WorstShare,
    WorstSweep,
    counts,
)
from dimmplan.reasons.case import Case, Separation
from dimmplan.reasons.changes import Change, NextAnswer, NextStep
from dimmplan.reasons.expect import Expectation
from dimmplan.reasons.failure import Failure, LeftSet
from dimmplan.reasons.halving import SplitStep
from dimmplan.reasons.mix import Mix, MixSet
from dimmplan.reasons.rate import RateReason
from dimmplan.reasons.slots import Attempt, SlotReason
from dimmplan.rules import Breach
from dimmplan.wording import changes, mixing, slots
from dimmplan.wording.placement import breach_finding
from dimmplan.wording.rules import RuleGroup
from dimmplan.wording.statements import Statement

_ROW_WORDS = "what limits the rate: a rate row, `processor:ID` or `module:LABEL`"


class BoardHead(Record):
    """The board."""

    id: str = Field(description="the board")
    trust: str = Field(description="`example`, `drafted`, `manual` or `running`")


class SentenceEntry(Record):
    """What the terminal prints."""

    text: str = Field(description="what the terminal prints")
    rule: str = Field(description="the row, criterion or figure behind it")
    source: str = Field(description="id of the source")


class RegionShape(Record):
    """A region of a socket."""

    ways: int = Field(description="channels that the addresses rotate over")
    capacity_gib: GibNumber = Field(description="how much of the capacity")


class SocketShape(Record):
    """How a socket runs."""

    id: str = Field(validation_alias="socket", description="the socket")
    usable_gib: GibNumber = Field(description="its usable capacity")
    rate_mts: int = Field(validation_alias=AliasPath("rate", "rate_mts"), description="its rate")
    rate_row: str = Field(validation_alias=AliasPath("rate", "row"), description=_ROW_WORDS)
    sweep_gb_s: GbS = Field(description="every byte once, GB/s")
    share: Share = Field(description="of the peak of all its channels")
    regions: list[RegionShape] = Field(description="lowest addresses first")


class FiguresEntry(Record):
    """How a content runs."""

    usable_gib: GibNumber = Field(description="usable capacity over all fitted sockets")
    modules: int = Field(description="how many")
    rate_mts: int = Field(description="MT/s; with rates that differ by channel, the lowest")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    worst_share: WorstShare
    socket_difference_gib: GibNumber = Field(description="largest less smallest usable capacity of a socket")
    sockets: list[SocketShape] = Field(description="each socket")


class SeparationEntry(Record):
    """What separates an alternative from the plan."""

    by: str = Field(description="`rule`, `below`, `above` (the capacity asked), `criterion`, `board-order`, `same`")
    name: str = Field(description="the first rule or criterion that separates the two")
    plan: Exact | None = Field(description="its value in the plan; sweep and parallel as exact fractions of GB/s")
    alternative: Exact | None = Field(description="its value in the alternative")
    better: str | None = Field(description="`high` or `low`")
    first: str = Field(description="which of the two comes first: `plan` or `alternative`")
    broken: list[FindingEntry] = Field(description="rows that decide, where rows do")


class AnswerDocument(Document):
    """What every answer about a plan begins with."""

    board: BoardHead = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    processor: str | None = Field(description="the processor option")
    mode: str = Field(description="`independent`, `mirrored` or `sparing`")
    prefer: str = Field(description="the list of criteria")
    status: str = Field(description="`proven` or `best-found`")
    asked_gib: int = Field(description="capacity asked")


def _breaches(board: Board, breaches: Iterable[Breach]) -> list[FindingEntry]:
    return FindingEntry.all_of(breach_finding(board, breach) for breach in breaches)


def _said(said: Iterable[Statement]) -> list[SentenceEntry]:
    return SentenceEntry.all_of(said)


def _head(case: Case) -> dict[str, Any]:
    placement = case.placement
    return {
        "board": BoardHead.of(case.board),
        "fitted": list(placement.fitted),
        "processor": placement.processor,
        "mode": placement.mode.value,
        "prefer": placement.prefer,
        "status": placement.status,
        "asked_gib": placement.capacity_gib,
    }


def figures_record(figures: PlacementFigures | None) -> FiguresEntry | None:
    """Figures as JSON, by system and socket; ``None`` where a content does not run."""
    return None if figures is None else FiguresEntry.of(figures)


# -- why -------------------------------------------------------------------------------------------------------------


class RateLimitEntry(Record):
    """One limit of a rate."""

    kind: str = Field(description="`board`, `processor` or `module`")
    name: str = Field(description="row, option or label")
    rate_mts: int = Field(description="what it allows")
    source: str = Field(description="id of its source")


class LiftEntry(Record):
    """What would raise a rate."""

    kind: str = Field(description="`fewer` (slots left empty), `processor`, `type`, `label`")
    name: str = Field(description="the option, type or rate")
    slots: list[str] = Field(description="slots left empty")
    rate_mts: int = Field(description="the rate then")
    gain_mts: int = Field(description="how much more")
    usable_gib: GibNumber = Field(description="capacity then")
    balanced_sweep_gb_s: GbS = Field(description="GB/s then")
    broken: list[str] = Field(description="rows that this breaks")


class RateEntry(Record):
    """Why some sockets run at a rate."""

    sockets: list[str] = Field(description="sockets that run at this rate")
    channels: list[str] = Field(description="channels whose rate the row limits")
    rate_mts: int = Field(description="MT/s")
    row: str = Field(description=_ROW_WORDS)
    source: str = Field(description="id of its source")
    limits: list[RateLimitEntry] = Field(description="what stands side by side")
    lifts: list[LiftEntry] = Field(description="what would raise it")
    said: list[SentenceEntry] = Field(description="the same in words")


class AttemptEntry(Record):
    """An alternative to what a slot holds."""

    what: str = Field(description="the alternative: `fill`, `move-here`, `empty`, `move-away`, `exchange`")
    module: Label = Field(description="label of what is filled in, moved or taken out")
    other: str | None = Field(description="the other slot of a move or an exchange")
    weighed: int = Field(description="how many different ones it is the best of")
    slots: Slots = Field(description="slots that the alternative changes")
    parted: SeparationEntry = Field(description="what separates it from the plan")
    figures: FiguresEntry | None = Field(description="how it would run, null where it may not")
    said: list[SentenceEntry] = Field(description="the same in words")


class ReasonEntry(Record):
    """Why a slot is as it is."""

    slot: str = Field(description="the slot")
    state: str = Field(description="`filled`, `empty`, `dead` or `hold`")
    kind: str = Field(
        description="the reason: `first-in-channel`, `stacked`, `equal-share`, `needed`, `board-order`, "
        "`breaks-rule`, `lowers-rate`, `splits-range`, `exceeds-request`, `ranks-lower`, `alternative-first`, `dead`, "
        "`hold`"
    )
    title: str = Field(description="the reason in a few words")
    socket: str = Field(description="where it is")
    channel: str = Field(description="where it is")
    place: int = Field(description="1 is the first slot of its channel")
    module: Label | None = Field(description="label, or null")
    tried: list[AttemptEntry] = Field(description="alternatives")
    said: list[SentenceEntry] = Field(description="of slots without an alternative: dead ones, and those on hold")


class WhyDocument(AnswerDocument, OfPlan):
    """Reasons of a plan."""

    commands = "why, why SLOT"
    about = "Why the rate is what it is, and each slot's reason; with a slot, that slot alone."

    figures: FiguresEntry | None = Field(description="of the plan")
    rate: list[RateEntry] = Field(description="why it runs at its rate")
    slots: list[ReasonEntry] = Field(description="every slot")


def why_record(case: Case, rates: Sequence[RateReason], reasons: Sequence[SlotReason]) -> WhyDocument:
    """Every slot's reason, and why the rate is what it is."""
    return WhyDocument(
        **_head(case),
        figures=figures_record(case.plan.figures),
        rate=[_rate(case, rate) for rate in rates],
        slots=[_reason(case, reason) for reason in reasons],
    )


def _rate(case: Case, reason: RateReason) -> RateEntry:
    return RateEntry(
        sockets=list(reason.sockets),
        channels=list(reason.channels),
        rate_mts=reason.rate_mts,
        row=reason.row,
        source=reason.source,
        limits=RateLimitEntry.all_of(reason.limits),
        lifts=[
            LiftEntry(
                kind=lift.kind,
                name=lift.name,
                slots=list(lift.slots),
                rate_mts=lift.rate_mts,
                gain_mts=lift.rate_mts - reason.rate_mts,
                usable_gib=lift.usable_gib,
                balanced_sweep_gb_s=lift.sweep_gb_s,
                broken=list(lift.broken),
            )
            for lift in reason.lifts
        ],
        said=_said(slots.rate_statements(case, reason)),
    )


def _reason(case: Case, reason: SlotReason) -> ReasonEntry:
    return ReasonEntry(
        slot=reason.slot,
        state=reason.state,
        kind=reason.kind,
        title=slots.reason_title(case, reason),
        socket=reason.socket,
        channel=reason.channel,
        place=reason.place + 1,
        module=reason.module,
        tried=[_tried(case, reason, tried) for tried in reason.tried],
        said=_said(slots.reason_statements(case, reason)) if not reason.tried else [],
    )


def _tried(case: Case, reason: SlotReason, tried: Attempt) -> AttemptEntry:
    return AttemptEntry(
        what=tried.what,
        module=tried.module,
        other=tried.other,
        weighed=tried.of,
        slots={slot: m for slot, m in tried.weighed.content.items() if m != case.content.get(slot)},
        parted=_parted(case, tried.parted),
        figures=figures_record(tried.weighed.figures),
        said=_said(slots.attempt_statements(case, reason, tried)),
    )


def _parted(case: Case, parted: Separation) -> SeparationEntry:
    return SeparationEntry(
        by=parted.by,
        name=parted.name,
        plan=parted.plan,
        alternative=parted.alternative,
        better=parted.better,
        first=parted.first,
        broken=_breaches(case.board, parted.breaches),
    )


class ExpectDocument(AnswerDocument):
    """Other slots than the plan's."""

    commands = "why --expect"
    about = "Why not exactly these slots; exit status 1 where the rules refuse them."

    expected: list[str] = Field(description="the slots")
    plans_modules: bool = Field(
        description="true where they take just the plan's modules, false for its types in other numbers"
    )
    proven: bool = Field(description="the best assignment of them to the slots")
    only_plan: list[str] = Field(description="slots that only the plan fills")
    only_expected: list[str] = Field(description="slots that only this fills")
    slots: Slots = Field(description="label, or null")
    parted: SeparationEntry = Field(description="what separates it from the plan")
    plan: FiguresEntry | None = Field(description="of the plan")
    alternative: FiguresEntry | None = Field(description="of this, null where it may not run")
    said: list[SentenceEntry] = Field(description="in words")


def expectation_record(case: Case, expected: Expectation) -> ExpectDocument:
    """What comes of the slots that somebody expected."""
    return ExpectDocument(
        **_head(case),
        expected=list(expected.slots),
        plans_modules=expected.exact,
        proven=expected.proven,
        only_plan=list(expected.only_plan),
        only_expected=list(expected.only_expected),
        slots=expected.weighed.content,
        parted=_parted(case, expected.parted),
        plan=figures_record(case.plan.figures),
        alternative=figures_record(expected.weighed.figures),
        said=_said(slots.expectation_statements(case, expected)),
    )


# -- next, put and clear ---------------------------------------------------------------------------------------------


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
    return NextDocument(
        **_head(case),
        now=figures_record(case.plan.figures),
        alone=[_step(case, step) for step in answer.singles],
        group=[_step(case, step) for step in answer.groups],
        refused=[_step(case, step) for step in answer.refused],
        complete=answer.complete,
        said=[] if answer.possible else _said(changes.no_next_statements(case, answer)),
    )


def _step(case: Case, step: NextStep) -> NextStepEntry:
    return NextStepEntry(
        module=step.module,
        slots=list(step.slots),
        equal=list(step.equal),
        figures=figures_record(step.change.after_figures),
        broken=_breaches(case.board, step.change.broken),
        said=_said(changes.next_statements(case, step)),
    )


class ChangedSlot(Record):
    """A slot that is changed."""

    slot: str = Field(description="the slot")
    before: Label | None = Field(description="label, or null")
    after: Label | None = Field(description="label, or null")


class ChangeDocument(AnswerDocument, OfPlan):
    """What a change does."""

    commands = "why --put, --clear"
    about = "What a change does; exit status 1 where it is refused. `files` stands there with `-o`."

    changes: list[ChangedSlot] = Field(description="what is put and cleared")
    allowed: bool = Field(description="whether the rules allow it")
    before: FiguresEntry | None = Field(description="of the plan")
    after: FiguresEntry | None = Field(description="after the change")
    broken: list[FindingEntry] = Field(description="rows that break and did not before")
    mended: list[FindingEntry] = Field(description="rows that no longer break")
    still_broken: list[FindingEntry] = Field(description="error rows that broke before")
    said: list[SentenceEntry] = Field(description="the verdict and the effects")
    files: list[str] = Field(default=[], description="the change sheet; none is drawn of a refused change")


def change_record(case: Case, change: Change, files: Sequence[str] | None = None) -> ChangeDocument:
    """What putting and clearing modules changes; ``files`` are those of the sheet, where one was asked for."""
    return ChangeDocument(
        **_head(case),
        changes=[ChangedSlot(slot=slot, before=old, after=new) for slot, old, new in change.changes],
        allowed=not change.refused,
        before=figures_record(change.before_figures),
        after=figures_record(change.after_figures),
        broken=_breaches(case.board, change.broken),
        mended=_breaches(case.board, change.mended),
        still_broken=_breaches(case.board, (b for b in change.after.errors if b not in change.broken)),
        said=_said([*changes.verdict_statements(case.board, change), *changes.unbroken_effects(case.board, change)]),
        **({} if files is None else {"files": list(files)}),
    )


# -- after a failure -------------------------------------------------------------------------------------------------


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

    step: int = Field(description="number of the step")
    suspects: list[str] = Field(description="slots among which the bad module is")
    keep: list[str] = Field(description="those of them that stay in for the test")
    company: list[str] = Field(description="modules known to be good that stay in too")
    out: list[str] = Field(description="what is taken out")
    allowed: bool = Field(description="whether the test breaks no error row")
    broken: list[FindingEntry] = Field(description="rows that it breaks")
    other_half_allowed: bool = Field(description="whether the other half could be tested instead")
    other_half_broken: list[FindingEntry] = Field(description="rows that this would break")
    fault: int | str = Field(description="next step, or the bad slot, where the fault is still there")
    clean: int | str = Field(description="the same where it is not")


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
    return FailureDocument(
        **_head(case),
        without=list(failure.slots),
        failed=counts(failure.failed),
        left=counts(failure.left),
        stay=StayEntry(
            allowed=not failure.stay.errors,
            figures=figures_record(failure.stay.figures),
            broken=_breaches(case.board, failure.stay.breaches),
            said=_said(changes.stay_statements(case.board, failure)),
        ),
        best=_left(case, failure.best),
        causes=[] if failure.best or not failure.left else _said(changes.causes_statements(failure)),
        fastest=_left(case, failure.fastest, by="bandwidth-first"),
        independent=_left(case, failure.independent),
        smallest=_left(case, failure.smallest, by="modules"),
        smallest_and_halves_mode="independent",
        halves=[_split(case, step) for step in failure.split],
    )


def _left(case: Case, found: LeftSet | None, *, by: str = "") -> LeftSetEntry | None:
    if found is None:
        return None
    return LeftSetEntry(
        proven=found.proven,
        slots=found.weighed.content,
        figures=figures_record(found.weighed.figures),
        moves=LeftMove.all_of(found.moves.handled),
        broken=_breaches(case.board, found.weighed.breaches),
        said=_said(changes.left_statements(case, found, by=by)),
    )


def _split(case: Case, step: SplitStep) -> HalfEntry:
    return HalfEntry(
        step=step.number,
        suspects=list(step.suspects),
        keep=list(step.keep),
        company=list(step.company),
        out=list(step.out),
        allowed=not step.broken,
        broken=_breaches(case.board, step.broken),
        other_half_allowed=not step.other_broken,
        other_half_broken=_breaches(case.board, step.other_broken),
        fault=step.if_fault,
        clean=step.if_clean,
    )


# -- mix and rules ---------------------------------------------------------------------------------------------------


class RefusedLabel(Record):
    """A type that the board refuses in any company."""

    label: str = Field(description="a type that the board refuses in any company")
    rule: str = Field(description="which row says so")
    severity: str = Field(description="`error`")
    where: list[str] = Field(description="where it would break")
    text: str = Field(description="in words")
    source: str = Field(description="id of the source")


class LoadEntry(Record):
    """Two types on a channel."""

    channels: list[str] = Field(description="channels that may carry them both")
    order: list[Label] = Field(description="labels in slot order")
    allowed: bool = Field(description="whether the rules allow it")
    rate_mts: int | None = Field(description="the rate then")
    broken: list[FindingEntry] = Field(description="rows that it breaks")


class PairEntry(Record):
    """Two types together."""

    labels: list[str] = Field(description="two of them")
    together: str = Field(description="how close they may stand")
    differ: list[str] = Field(description="what they differ in")
    rules: list[str] = Field(description="rows about that")
    broken: list[FindingEntry] = Field(description="rows that keep them apart")
    loads: list[LoadEntry] = Field(description="channels with both")
    said: list[SentenceEntry] = Field(description="in words")


class MixSetEntry(Record):
    """A placement of some types."""

    modules: list[Count] = Field(description="what it uses")
    proven: bool = Field(description="first under this board file and this model")
    figures: FiguresEntry | None = Field(description="how it runs")
    broken: list[FindingEntry] = Field(description="advised rows that it breaks")


class MixDocument(Document):
    """Types together."""

    commands = "mix"
    about = "Types together; exit status 1 where they may not be."

    board: BoardHead = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    labels: list[str] = Field(description="what is mixed")
    allowed: bool = Field(description="whether they may stand in one system")
    together: str = Field(description="how close: `channel`, `channels`, `sockets` or `never`")
    title: str = Field(description="the verdict in words")
    refused: list[RefusedLabel] = Field(description="what the board refuses")
    pairs: list[PairEntry] = Field(description="each two of them")
    compared_gib: int | None = Field(description="capacity at which the price is compared, null where nothing is")
    mixed: MixSetEntry | None = Field(description="the best mixed placement")
    alone: list[MixSetEntry | None] = Field(description="the same with one type alone")
    said: list[SentenceEntry] = Field(description="the price in words")


def mix_record(mix: Mix) -> MixDocument:
    """A mix, judged and compared."""
    return MixDocument(
        board=BoardHead.of(mix.board),
        fitted=list(mix.fitted),
        labels=[module.label for module in mix.modules],
        allowed=mix.allowed,
        together=mix.together if not mix.refused else "never",
        title=mixing.mix_title(mix),
        refused=[
            RefusedLabel(label=module.label, **breach_finding(mix.board, breach)._asdict())
            for module, breach in mix.refused
        ],
        pairs=[
            PairEntry(
                labels=[pair.one.label, pair.other.label],
                together=pair.together,
                differ=list(pair.differ),
                rules=[row.id for row in pair.rows],
                broken=_breaches(mix.board, pair.breaches),
                loads=[
                    LoadEntry(
                        channels=list(load.channels),
                        order=list(load.load),
                        allowed=load.allowed,
                        rate_mts=load.rate.rate_mts if load.rate else None,
                        broken=_breaches(mix.board, load.breaches),
                    )
                    for load in pair.loads
                ],
                said=_said(mixing.pair_statements(mix, pair)),
            )
            for pair in mix.pairs
        ],
        compared_gib=mix.capacity_gib,
        mixed=_set(mix, mix.mixed),
        alone=[_set(mix, alone) for alone in mix.alone],
        said=_said(mixing.price_statements(mix)),
    )


def _set(mix: Mix, found: MixSet | None) -> MixSetEntry | None:
    if found is None:
        return None
    return MixSetEntry(
        modules=counts(found.modules),
        proven=found.proven,
        figures=figures_record(found.figures),
        broken=_breaches(mix.board, found.breaches),
    )


class RuleEntry(Record):
    """A rule of the board."""

    rule: str = Field(description="id of the row")
    severity: str = Field(description="`error`, `advised` or `note`")
    usual: bool = Field(description="a default of the trade that the file does not state itself")
    text: str = Field(description="in words")
    source: str = Field(description="id of the source")
    citation: str = Field(description="the source in full")


class RuleGroupEntry(Record):
    """The rules that answer one question."""

    id: str = Field(description="`fits`, `order`, `mixing`, `rate`, `capacity` and so on")
    question: str = Field(description="as a person asks")
    rules: list[RuleEntry] = Field(description="its rules")
    table: list[list[str]] = Field(description="rates as rows of text, the head first")


class RulesDocument(Document):
    """A board's rules."""

    commands = "rules"
    about = "A board's rules by the question that they answer."

    board: BoardHead = Field(description="the board")
    groups: list[RuleGroupEntry] = Field(description="questions in order")


def rules_record(board: Board, groups: Sequence[RuleGroup]) -> RulesDocument:
    """A board's rules by question; sources in full beside their ids."""
    return RulesDocument(
        board=BoardHead.of(board),
        groups=[
            RuleGroupEntry(
                id=group.id,
                question=group.question,
                rules=[
                    RuleEntry(
                        rule=line.rule,
                        severity=line.severity,
                        usual=line.usual,
                        text=line.text,
                        source=line.source,
                        citation=board.citation(line.source),
                    )
                    for line in group.lines
                ],
                table=[list(row) for row in group.table],
            )
            for group in groups
        ],
    )
