"""What the words of a machine's slots say, all together, and the questions that they leave open."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from dimmplan.inventory.locators import Words, natural, read_words, stated_words
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Generation

MOST_SOCKETS = 16
MOST_DEEP = 4
"""Slots that a channel of a board file may have."""
USUAL_DEEP = 3

Answers = Mapping[str, str]


@dataclass(frozen=True, kw_only=True, slots=True)
class Guess:
    """Something that the machine does not say: what it is about, the question, what was chosen, what else it can be.

    ``layouts`` maps each choice to a small drawing in text.
    """

    about: str
    text: str
    chosen: str
    layouts: Mapping[str, str] = field(default_factory=dict)

    @property
    def candidates(self) -> tuple[str, ...]:
        """The choices that an answer can name; with no other layout only what was drafted."""
        return tuple(self.layouts) or (self.chosen,)


@dataclass(frozen=True, slots=True)
class Sharing:
    """One way to share the slots out over sockets, or those of a socket over channels: a key for each slot."""

    choice: str
    keys: tuple[str, ...]


class Evidence:
    """The machine's processors and memory devices, and their words as read by the grammar."""

    def __init__(self, found: Inventory, names: Sequence[str], generation: Generation, answers: Answers) -> None:
        self.memory = found.memory
        self.names = names
        self.generation = generation
        self.answers = answers
        self.asked: list[Guess] = []
        self.count = range(len(self.memory))
        self.processors = sorted(
            (each for each in found.processors if each.state != "cannot-tell"), key=lambda each: natural(each.locator)
        )
        listed = max(len(self.processors), found.processors_said or 0)
        self.listed = listed if listed <= MOST_SOCKETS else 0  # a virtual machine's
        self.stated = [stated_words(slot) for slot in self.memory]
        self.locator = [read_words(slot.locator) for slot in self.memory]
        self.bank = [read_words(slot.bank, is_bank=True) if not slot.place else Words() for slot in self.memory]
        self.both = list(zip(self.locator, self.bank, strict=True))
        self.filled = [slot.state in ("filled", "hold") for slot in self.memory]

    def ask(self, about: str, text: str, choices: Sequence[Sharing], draw: Callable[[Sharing], str]) -> Sharing:
        """The choice that is taken: the first, or the one that was answered; a guess stays open till it is."""
        self.asked.append(
            Guess(about=about, text=text, chosen=choices[0].choice, layouts={c.choice: draw(c) for c in choices})
        )
        return next((each for each in choices if each.choice == self.answers.get(about)), choices[0])

    def position(self, index: int) -> tuple[object, ...]:
        for words in (self.stated[index], self.locator[index], self.bank[index]):
            position = words.position or (words.letter if words.number_first and words.number else words.number)
            if position is not None:
                return (natural(words.number), natural(position), index)
        return (natural(None), natural(None), index)

    def all_of(self, values: Iterable[str | None]) -> tuple[str, ...] | None:
        """The values where every slot has one."""
        known = tuple(values)
        return tuple(str(value) for value in known) if None not in known else None

    def draw(self, keys: Sequence[str], wanted: Sequence[int] | None = None) -> str:
        """A layout in text: ``A: A1 A7 | B: A2 A8``."""
        groups: dict[str, list[str]] = {}
        for index, key in zip(wanted if wanted is not None else self.count, keys, strict=True):
            groups.setdefault(key, []).append(self.names[index])
        parts = [
            f"{key}: {' '.join(names[:4])}{' ... ' + names[-1] if len(names) > 4 else ''}"
            for key, names in sorted(groups.items(), key=lambda each: natural(each[0]))
        ]
        return " | ".join(parts[:12]) + (" | ..." if len(parts) > 12 else "")

    def filling_letters(self) -> bool:
        """True where a letter behind the number is the order of filling: each number has one letter (``3A``)."""
        pairs = {(words.number, words.letter) for words in self.locator if words.number_first}
        return bool(pairs) and len(pairs) == len({number for number, _ in pairs}) and len(pairs) > 2

    def processors_told(self) -> str:
        return "1 processor" if self.listed == 1 else f"{self.listed or 'no'} processors"

    def numbered(self, indexes: Iterable[int]) -> list[int]:
        """Slots in the order of their numbers; those without one in the order of the list."""
        mine = list(indexes)
        numbers = [self.locator[index].number or self.locator[index].position for index in mine]
        if None in numbers or len(set(numbers)) < len(numbers):
            return mine
        return sorted(mine, key=lambda index: natural(self.locator[index].number or self.locator[index].position))
