"""The counted effort of a search. No clock: the same effort does the same work everywhere."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from fractions import Fraction
from typing import ClassVar, NamedTuple, Protocol

from dimmplan.errors import StoppedError
from dimmplan.solve.criteria import Criterion
from dimmplan.units import counted

NODES_A_REPORT = 2000


class EffortSpent(Exception):  # noqa: N818 - a signal within the search, never an error for a caller
    """The effort limit was reached, or whoever listens wants the search to end."""


class Progress(NamedTuple):
    """How far a search is: what it decides now, the best vector so far, and the vector that nothing left can beat."""

    criteria: Sequence[Criterion]
    deciding: str
    best: Sequence[int | Fraction] | None
    possible: Sequence[int | Fraction]


class Listener(Protocol):
    """Hears from time to time how far searches are; ``stopping`` ends them with the best found."""

    stopping: bool

    def hear(self, progress: Progress) -> None:
        """Take note of how far a search is."""


class Budget:
    """Counts search nodes. The limit binds only once ``binding``: a search never ends without a first placement.

    A ``patient`` one is not stopped before that either.
    """

    listener: ClassVar[Listener | None] = None

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.spent = 0
        self.binding = self.patient = False
        self.progress: Progress | None = None
        self._heard = 0

    def spend(self, nodes: int) -> None:
        """Count ``nodes``. Raises ``EffortSpent`` when a binding budget has run out.

        Raises ``StoppedError`` where the search is to end and there is nothing to give.
        """
        self.spent += nodes
        self._heard += nodes
        if self.listener is not None and self._heard > NODES_A_REPORT:
            self._heard = 0
            if self.progress is not None:
                self.listener.hear(self.progress)
            if self.stopping and (self.binding or not self.patient):
                raise EffortSpent if self.binding else StoppedError
        if self.binding and self.spent > self.limit:
            raise EffortSpent

    @property
    def stopping(self) -> bool:
        """True where whoever listens wants searches to end."""
        return self.listener is not None and self.listener.stopping

    @property
    def over(self) -> bool:
        """True where no more is to be searched."""
        return self.spent > self.limit or self.stopping

    @property
    def reason(self) -> str | None:
        """Why a search ended before it was done; ``None`` where nothing ends it."""
        if self.stopping:
            return "Ctrl-C ended the search"
        return f"the search reached its limit of {counted(self.limit, 'node')}" if self.over else None


@contextmanager
def heard_by(listener: Listener) -> Iterator[None]:
    """All searches meanwhile are heard by a listener."""
    Budget.listener = listener
    try:
        yield
    finally:
        Budget.listener = None
