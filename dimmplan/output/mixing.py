"""Types together, and a board's rules: as JSON of format 1 and as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import Field

from dimmplan.model.board import Board
from dimmplan.output.columns import table
from dimmplan.output.record import BoardHead, Count, Document, FiguresEntry, FindingEntry, Label, Record, counts
from dimmplan.output.why import AnswerText, SentenceEntry, findings_of
from dimmplan.reasons.mix import Mix, MixSet, PairVerdict
from dimmplan.units import listed
from dimmplan.wording import changes
from dimmplan.wording.placement import breach_finding
from dimmplan.wording.rules import RuleGroup, RuleLine
from dimmplan.wording.statements import Statement


class RefusedLabel(FindingEntry):
    """A type that the board refuses in any company."""

    label: str = Field(description="a type that the board refuses")


class LoadEntry(Record):
    """Two types on a channel."""

    channels: list[str] = Field(description="channels that may carry them both")
    order: list[Label] = Field(validation_alias="load", description="labels in slot order")
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
    return MixDocument.of(
        mix,
        labels=[module.label for module in mix.modules],
        together="never" if mix.refused else mix.together,
        title=changes.mix_title(mix),
        refused=[RefusedLabel.of(breach_finding(mix.board, b), label=module.label) for module, b in mix.refused],
        pairs=[_pair(mix, pair) for pair in mix.pairs],
        compared_gib=mix.capacity_gib,
        mixed=_set(mix, mix.mixed),
        alone=[_set(mix, alone) for alone in mix.alone],
        said=changes.price_statements(mix),
    )


def _pair(mix: Mix, pair: PairVerdict) -> PairEntry:
    loads = [
        LoadEntry.of(load, rate_mts=load.rate and load.rate.rate_mts, broken=findings_of(mix.board, load.breaches))
        for load in pair.loads
    ]
    return PairEntry.of(
        pair,
        labels=[pair.one.label, pair.other.label],
        rules=[row.id for row in pair.rows],
        broken=findings_of(mix.board, pair.breaches),
        loads=loads,
        said=changes.pair_statements(mix, pair),
    )


def _set(mix: Mix, found: MixSet | None) -> MixSetEntry | None:
    if found is None:
        return None
    return MixSetEntry.of(found, modules=counts(found.modules), broken=findings_of(mix.board, found.breaches))


def mix_text(mix: Mix) -> str:
    """Whether labels may be mixed, where, by which rule, at what price."""
    page = AnswerText(mix.board)
    page.heading(changes.mix_title(mix))
    page.sentences(changes.refused_label_statements(mix))
    for pair in mix.pairs:
        if len(mix.pairs) > 1:
            page.heading(changes.pair_title(mix, pair))
        page.sentences(changes.pair_statements(mix, pair))
    if mix.mixed is not None:
        page.heading(changes.price_title(mix))
        page.sentences(changes.price_statements(mix))
    return page.finish()


# -- rules -------------------------------------------------------------------------------------------------------------


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
    return RulesDocument.of(
        board=board,
        groups=[
            RuleGroupEntry.of(
                group,
                rules=[RuleEntry.of(line, citation=board.citation(line.source)) for line in group.lines],
                table=[list(row) for row in group.table],
            )
            for group in groups
        ],
    )


def rules_text(board: Board, groups: Sequence[RuleGroup]) -> str:
    """A board's rules by the question that they answer, and the documents that they cite."""
    page = AnswerText(board)
    for group in groups:
        if not group.lines and not group.table:
            continue
        page.heading(group.question)
        page.sentences(_rule_statement(line) for line in group.lines)
        page.lines += [f"  {line}" for line in table(group.table)]
    page.heading("Rows marked usual are common practice; the board file does not state them.")
    page.heading("Sources")
    for source in dict.fromkeys(source for group in groups for source in group.sources):
        page.text(f"{source}: {board.citation(source)}")
    return page.finish()


def _rule_statement(line: RuleLine) -> Statement:
    marks = [word for word, is_so in (("advised", line.severity == "advised"), ("usual", line.usual)) if is_so]
    mark = f"({listed(marks)}) " if marks else ""
    return Statement(text=f"{mark}{line.text}", rule=line.rule, source=line.source)
