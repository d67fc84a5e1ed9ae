"""The exception tree and the records that errors carry."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from typing import Any, NamedTuple


class Problem(NamedTuple):
    """One thing wrong with an input.

    ``file`` names the file or the option, ``place`` is a dotted path inside it, ``found`` and ``allowed``
    say what stands there and what may, ``hint`` is the nearest right spelling or the next thing to do. ``line`` is
    counted from one, ``None`` where the input has no lines or the place is on none.
    """

    file: str
    place: str = ""
    found: str = ""
    allowed: str = ""
    hint: str = ""
    line: int | None = None

    def sentence(self) -> str:
        """The problem as one line for a person."""
        file = self.file if self.line is None else f"{self.file}:{self.line}"
        where = ": ".join(part for part in (file, self.place) if part)
        text = f"{where}: found {self.found}" if self.found else where
        if self.allowed:
            text += f"; allowed: {self.allowed}"
        if not self.found and not self.allowed:
            return f"{where}: {self.hint}"
        return f"{text}. {self.hint}" if self.hint else text


MOST_PROBLEMS = 100
"""Problems of one input that are told; the rest is counted."""


def first_problems(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """The first hundred problems, and one that counts the others."""
    found = tuple(problems)
    if len(found) <= MOST_PROBLEMS + 1:
        return found
    more = f"{len(found) - MOST_PROBLEMS} more problems."
    return *found[:MOST_PROBLEMS], Problem(file=found[0].file, place="", found="", allowed="", hint=more)


class DimmplanError(Exception):
    """Everything this package raises on purpose."""


class InputError(DimmplanError):
    """The call or an input is wrong (exit status 2); carries every problem that was found, up to the first hundred."""

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        found = (problems,) if isinstance(problems, Problem) else problems
        self.problems: tuple[Problem, ...] = first_problems(found)
        super().__init__("\n".join(problem.sentence() for problem in self.problems))


class RefusedError(DimmplanError):
    """The input can be read, and the answer is no (exit status 1): a module that the board refuses, say."""

    def __init__(self, causes: Iterable[Cause]) -> None:
        self.causes: tuple[Cause, ...] = tuple(causes)
        super().__init__("\n".join(cause.text for cause in self.causes))


class Cause(NamedTuple):
    """A rule that stands in the way, in words."""

    rule: str
    text: str
    source: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Purchase:
    """Modules to buy so that a shelf would serve. ``substitutes`` are labels that would do as well on that board.

    ``watts`` are the most that one takes, where the shelf or the board file says it.
    """

    label: str
    count: int
    cost: Fraction | None
    substitutes: tuple[str, ...] = ()
    part: str = ""
    watts: Fraction | None = None


class Shortfall(NamedTuple):
    """What a shelf lacks: the shortest list to buy, ``None`` where no list would do; false where it is not proven."""

    buy: tuple[Purchase, ...] | None
    proven: bool
    currency: str | None


class StoppedError(DimmplanError):
    """A search was ended from outside before it found anything."""


class ImpossibleError(RefusedError):
    """No placement obeys the rules. ``below_gib`` and ``above_gib`` are the nearest capacities that do.

    ``shortfall`` is set where a shelf alone was to serve.
    """

    def __init__(
        self,
        causes: Iterable[Cause],
        *,
        below_gib: Fraction | int | None,
        above_gib: Fraction | int | None,
        shortfall: Shortfall | None = None,
    ) -> None:
        super().__init__(causes)
        self.below_gib = below_gib
        self.above_gib = above_gib
        self.shortfall = shortfall

    def __reduce__(self) -> tuple[Any, ...]:
        """What another process makes it from."""
        made = partial(type(self), below_gib=self.below_gib, above_gib=self.above_gib, shortfall=self.shortfall)
        return made, (self.causes,)


SHORT_WORD = 3
"""One wrong character in two or three still is a near miss."""


@contextmanager
def gathered(problems: list[Problem]) -> Iterator[None]:
    """What is wrong within is added to the problems, so that all are told at once."""
    try:
        yield
    except InputError as error:
        problems += error.problems


def nearest(word: str, choices: Iterable[str], *, most: int = 3) -> list[str]:
    """The choices that look most like ``word``, best first; at most ``most`` of them."""
    folded: dict[str, str] = {}
    for choice in choices:
        folded.setdefault(choice.casefold(), choice)
    cutoff = 0.5 if len(word) <= SHORT_WORD else 0.55
    import difflib  # noqa: PLC0415 - only a wrong word needs it, and every start would pay

    found = difflib.get_close_matches(word.casefold()[:80], list(folded), n=most, cutoff=cutoff)
    return [folded[key] for key in found]


def did_you_mean(word: str, choices: Sequence[str]) -> str:
    """A hint sentence naming the nearest right spellings, or the empty string."""
    close = nearest(word, choices)
    return f"Did you mean {' or '.join(close)}?" if close else ""
