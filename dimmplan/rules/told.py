"""Rows that no placement breaks and a person must be told of: cooling, blanks, and the board's own notes."""

from __future__ import annotations

from typing import Literal

from dimmplan.model.module import Kind
from dimmplan.model.rows import CapacityGib, Name, Text
from dimmplan.rules.base import Content, Problems, Rule, Wiring, known_names, named_in_brackets
from dimmplan.units import listed


class ThermalRow(Rule):
    """Modules of ``from_gib`` or more (of ``kinds``, where given) need something for their cooling."""

    question = "care"
    scopes = ()
    judged_in_part = False
    stays_broken = False
    limits = "nothing"

    check: Literal["thermal"]
    from_gib: CapacityGib
    kinds: tuple[Kind, ...] = ()
    needs: Text

    def told_at(self, content: Content) -> tuple[str, ...] | None:
        """The slots whose modules need it."""
        hot = (
            slot
            for slot, module in content.items()
            if module and module.capacity_gib >= self.from_gib and (not self.kinds or module.kind in self.kinds)
        )
        return tuple(hot) or None

    def wording(self) -> str:
        """The standard sentence."""
        kinds = f"{listed([kind.value for kind in self.kinds], last='or')} modules" if self.kinds else "Modules"
        return f"{kinds} of {self.from_gib} GiB or more need {self.needs}."


class NoteRow(Rule):
    """Something a person must know: firmware settings that change regions, parts that differ between sockets."""

    question = "care"
    scopes = ()
    judged_in_part = False
    stays_broken = False
    limits = "nothing"

    check: Literal["note"]
    about: Literal["firmware", "parts", "care"]
    text: Text

    def answers(self, question: str) -> bool:
        """Notes on firmware have a question of their own."""
        return question == ("firmware" if self.about == "firmware" else "care")

    def told_at(self, content: Content) -> tuple[str, ...]:
        """Always, for the whole board."""
        return ()

    def wording(self) -> str:
        """The note itself."""
        return self.text


class BlanksRow(Rule):
    """Empty slots that must carry a blank for the air flow; no slots named means all."""

    question = "care"
    scopes = ()
    judged_in_part = False
    stays_broken = False
    limits = "nothing"

    check: Literal["blanks"]
    slots: tuple[Name, ...] = ()

    def wording(self) -> str:
        """The standard sentence."""
        return f"Empty slots{named_in_brackets(self.slots)} take a blank."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The slots are there."""
        yield from known_names(self.slots, wiring.slots, f"{place}.slots", "slots of the board")
