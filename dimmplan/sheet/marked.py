"""Maps with nothing planned: slots that an error record means, and the slots that a board's rules name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from string import ascii_uppercase
from typing import ClassVar, NamedTuple

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Finding, for_the_map
from dimmplan.rules import rules_of
from dimmplan.sheet.blocks import Block, Column, paragraph, table
from dimmplan.sheet.compose import Job, sheet_of
from dimmplan.sheet.facts import Facts, SlotFact, State, clean, socket_words
from dimmplan.sheet.paper import PaperName, TitleFields
from dimmplan.sheet.plan_view import Front
from dimmplan.sheet.shapes import TEXT_MM, Ink, Sheet
from dimmplan.sheet.stages import Stage
from dimmplan.units import counted, listed

SURE, MAYBE = "LOOK HERE", "OR HERE"


class NothingPlanned(Facts):
    """A board that is shown and not filled: no blanks, nothing to know of a placement."""

    @cached_property
    def blanks(self) -> frozenset[str]:
        """None: nothing is filled or emptied for good."""
        return frozenset()


@dataclass(frozen=True, kw_only=True)
class MarkedFacts(NothingPlanned):
    """A board with some slots marked: sure (``True``), or one that may be meant."""

    doing: ClassVar[str] = "Look at"
    marked: Mapping[str, bool]

    def _slot(self, slot: str, module: Module | None, step: int) -> SlotFact:
        fact = super()._slot(slot, module, step)
        if slot not in self.marked:
            return fact._replace(state=State.BLANK, words="", needs_blank=False)
        words = SURE if self.marked[slot] else MAYBE
        number = list(self.marked).index(slot) + 1
        hover = clean(f"{slot}: {words.lower()}")
        return fact._replace(state=State.PULL, words=words, short=words, step=number, needs_blank=False, hover=hover)

    @property
    def state_words(self) -> dict[State, str]:
        """What is marked, and all others."""
        said = "meant by the record" if all(self.marked.values()) else "meant, or one of those that can be meant"
        return {State.PULL: said, State.BLANK: "other slot"}

    @property
    def amount(self) -> str:
        """How many slots are marked."""
        return f"{counted(len(self.marked), 'slot')} marked"

    @cached_property
    def steps(self) -> tuple[tuple[str, tuple[SlotFact, ...]], ...]:
        """The marked slots, socket by socket."""
        by_socket = groupby(self.marked, key=lambda slot: self.board.channel_of[slot].socket)
        return tuple((socket_words(s), tuple(self.slots[slot] for slot in slots)) for s, slots in by_socket)

    @cached_property
    def expected(self) -> str:
        """What the machine should show."""
        return "what it showed before: less means a module that is not seated"

    @cached_property
    def chassis_findings(self) -> tuple[Finding, ...]:
        """What the sheet is for."""
        sure = [clean(slot) for slot, is_sure in self.marked.items() if is_sure]
        maybe = [clean(slot) for slot, is_sure in self.marked.items() if not is_sure]
        parts = [f"The error records mean {listed(sure)}."] if sure else []
        parts += [f"They can mean {listed(maybe)}: not sure which."] if maybe else []
        text = f"This map marks {counted(len(self.marked), 'slot')} and plans nothing. {' '.join(parts)}"
        return (Finding(rule="marked", severity="note", where=(), text=text, source="MODEL"),)


class SlotRule(NamedTuple):
    """A rule that names slots: its letter on the map, its id, what its marks mean, its sentence, the marks."""

    letter: str
    id: str
    meaning: str
    sentence: str
    marks: Mapping[str, str]


def slot_rules(board: Board) -> list[SlotRule]:
    """The rules of a board that name slots, with the sets of channels that work together where they are listed."""
    found = [(row.id, row.marks, row.brief(), row.slot_marks(board.sockets)) for row in rules_of(board)]
    row = board.interleave
    least = min((len(group.channels) for group in row.groups), default=0)
    sets = [set(group.channels) for group in row.groups if len(group.channels) == least]
    marks = {
        slot: ",".join(str(number) for number, names in enumerate(sets, 1) if channel.id in names)
        for channel in board.channels
        for slot in channel.slots
    }
    listed_sets = "; ".join(" ".join(group.channels) for group in row.groups)
    found.append(
        (row.id, "channels of one number work together", f"Listed sets: {listed_sets}.", marks if sets else {})
    )
    named = [each for each in found if each[-1]]
    return [SlotRule(letter, *each) for letter, each in zip(ascii_uppercase, named, strict=False)]


@dataclass(frozen=True, kw_only=True)
class RuledFacts(NothingPlanned):
    """A board with nothing in it: each slot says which rules name it."""

    rules: Sequence[SlotRule]

    def _slot(self, slot: str, module: Module | None, step: int) -> SlotFact:
        fact = super()._slot(slot, module, step)
        told = [(rule.letter, rule.marks[slot]) for rule in self.rules if slot in rule.marks]
        marks = " ".join(f"{letter}:{said}" if said else letter for letter, said in told)
        hover = clean(f"{slot}: {marks or 'no rule names it'}")
        return fact._replace(state=State.BLANK, words=marks, short=marks, needs_blank=False, hover=hover)

    @property
    def state_words(self) -> dict[State, str]:
        """All slots look alike."""
        return {State.BLANK: "slot, with the rules that name it"}

    @property
    def amount(self) -> str:
        """How many rules name slots."""
        return f"{counted(len(self.rules), 'rule')} by slot"


class RuleLegend(Stage, on="rules"):
    """What the marks in the slots mean, one row for each rule that names slots."""

    title = "Rules that name slots"
    by_socket = True

    def lines(self, wide: float) -> list[Block]:
        """Letter and id, what the mark means, what the rule says."""
        assert isinstance(self.facts, RuledFacts)
        if not self.facts.rules:
            return [paragraph([("No rule of this board names slots.", False)], TEXT_MM, wide)]
        columns = [Column("mark", bold=True), Column("rule", grow=1.0), Column("it says", grow=2.4)]
        rows = [[r.letter, clean(r.id), clean(f"{r.sentence} Mark: {r.meaning}.")] for r in self.facts.rules]
        return [table(columns, rows, TEXT_MM, wide)]


def compose_rules(board: Board, *, paper: PaperName = "a4", ink: Ink = "colour", front: Front = "down") -> Sheet:
    """The map of a board whose slots say which rules name them. Raises as ``compose`` does."""
    rules = slot_rules(board)
    facts = RuledFacts(board=board, placement=for_the_map(board, {}), figures=None, findings=(), rules=rules)
    title = "Board as drawn, with the slots that its rules name"
    job = Job(facts, paper, front, TitleFields(title=title), "rules", figures=False)
    about = " ".join(f"{rule.letter}: {rule.id}. {rule.sentence}" for rule in rules)
    return sheet_of(job, ink, f"{title}: {board.title}", about)


def compose_marked(
    board: Board,
    marked: Mapping[str, bool],
    *,
    paper: PaperName = "a4",
    ink: Ink = "colour",
    front: Front = "down",
    tag: str | None = None,
) -> Sheet:
    """The map of a board with slots marked, ``True`` where one is sure of a slot. Raises as ``compose`` does."""
    placement = for_the_map(board, {})
    facts = MarkedFacts(board=board, placement=placement, figures=None, findings=(), marked=marked)
    title = f"Where to look: {', '.join(marked)}" if len(marked) <= 3 else f"Where to look: {len(marked)} slots"
    job = Job(facts, paper, front, TitleFields(title=title, tag=tag), figures=False)
    return sheet_of(job, ink, f"{title} on {board.title}", f"Marked on the map: {', '.join(marked)}.")
