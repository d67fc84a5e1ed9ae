"""What the words of a machine's slots say, all together, and the questions that they leave open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.inventory.locators import Words, natural, read_words, stated_words
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Generation
from dimmplan.units import quoted

MOST_SOCKETS = 16
MOST_DEEP = 4
"""Slots that a channel of a board file may have."""
USUAL_DEEP = 3

AS_DRAFTED = "as-drafted"
"""The choice of a guess that has no other layout: it is right as it stands."""


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


class Questions:
    """What a machine leaves open, asked in order. ``answers`` maps what a question is about to one of its choices."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self._asked: dict[str, Guess] = {}

    def ask(self, about: str, text: str, layouts: Mapping[str, str] | None = None) -> str:
        """The choice taken: the answer, or the first; without a right answer the guess stays open."""
        guess = Guess(about=about, text=text, chosen=next(iter(layouts or {}), AS_DRAFTED), layouts=layouts or {})
        self._asked[about] = guess
        return guess.chosen if self._is_open(guess) else self.answers[about]

    def _is_open(self, guess: Guess) -> bool:
        return self.answers.get(guess.about) not in guess.candidates

    @property
    def guesses(self) -> tuple[Guess, ...]:
        """What is not answered."""
        return tuple(filter(self._is_open, self._asked.values()))

    def check_answers(self) -> None:
        """Raise ``InputError`` for an answer to what was not asked, and for one that is no candidate."""
        problems = []
        for about, choice in self.answers.items():
            place, found, candidates = "", about, tuple(self._asked)
            if about in self._asked:
                place, found, candidates = about, choice, self._asked[about].candidates
                if found in candidates:
                    continue
            allowed = (
                " or ".join(candidates) if place else f"what this draft guesses: {', '.join(candidates) or 'nothing'}"
            )
            hint = did_you_mean(found, candidates)
            problems.append(Problem(file="--answer", place=place, found=quoted(found), allowed=allowed, hint=hint))
        if problems:
            raise InputError(problems)


Keys = tuple[str, ...]
"""A key for each slot: that of its socket, or of its channel."""


class Evidence:
    """The machine's processors and memory devices, and their words as read by the grammar."""

    def __init__(self, found: Inventory, names: Sequence[str], generation: Generation, questions: Questions) -> None:
        self.memory = found.memory
        self.names = names
        self.generation = generation
        self._questions = questions
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

    def ask(self, about: str, text: str, choices: Mapping[str, Keys], *, only: Sequence[int] | None = None) -> Keys:
        """The keys that are taken: those of the first choice, or of the answer. ``only`` these slots are shown."""
        shown = self.count if only is None else only
        layouts = {name: self.draw([keys[index] for index in shown], shown) for name, keys in choices.items()}
        return choices[self._questions.ask(about, text, layouts)]

    def position(self, index: int) -> tuple[object, ...]:
        """Sorts slots by their place on a channel, then as they are listed."""
        for words in (self.stated[index], self.locator[index], self.bank[index]):
            position = words.position or (words.letter if words.number_first and words.number else words.number)
            if position is not None:
                return (natural(words.number), natural(position), index)
        return (natural(None), natural(None), index)

    def all_of(self, values: Iterable[str | None]) -> Keys | None:
        """The values where every slot has one."""
        known = tuple(values)
        return tuple(str(value) for value in known) if None not in known else None

    def draw(self, keys: Sequence[str], slots: Sequence[int]) -> str:
        """A layout in text: ``A: A1 A7 | B: A2 A8``."""
        groups: dict[str, list[str]] = {}
        for index, key in zip(slots, keys, strict=True):
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
