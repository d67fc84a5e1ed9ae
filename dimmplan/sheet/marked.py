"""A map with some slots marked and nothing planned: where to look, with what every sheet carries for safety."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

from dimmplan.model.board import Board
from dimmplan.model.finding import Finding
from dimmplan.model.module import Module
from dimmplan.model.placement import for_the_map
from dimmplan.sheet.compose import Job, composed
from dimmplan.sheet.facts import Facts, SlotFact, State, clean, socket_words
from dimmplan.sheet.paper import PaperName
from dimmplan.sheet.shapes import Sheet
from dimmplan.sheet.style import Ink
from dimmplan.sheet.titleblock import Given
from dimmplan.sheet.view import Front
from dimmplan.units import counted, listed

SURE, MAYBE = "LOOK HERE", "OR HERE"


@dataclass(frozen=True, kw_only=True)
class MarkedFacts(Facts):
    """A board with some slots marked: sure (``True``), or one that may be meant."""

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

    @property
    def doing(self) -> str:
        """What the steps are steps of."""
        return "Look at"

    @cached_property
    def blanks(self) -> frozenset[str]:
        """None: nothing is filled or emptied for good."""
        return frozenset()

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
    job = Job(facts, paper, front, Given(title=title, tag=tag, date=None, code=None, matrix=None))
    about = clean(f"Marked on the map: {', '.join(marked)}.", most=2000)
    return composed(job, ink, clean(f"{title} on {board.title}", most=200), about, figures=False)
