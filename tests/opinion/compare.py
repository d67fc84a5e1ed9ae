"""One instance answered by the search and by the second solver."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from dimmplan.errors import ImpossibleError
from dimmplan.solve.answer import solve
from tests.opinion.cases import Case
from tests.opinion.model import opinion
from tests.opinion.tables import Tables

Vector = list[tuple[str, Any]] | None


@dataclass(frozen=True, slots=True)
class Compared:
    """Both vectors, by criterion, ``None`` where nothing fits; seconds of processor time."""

    case: Case
    mine: Vector
    theirs: Vector
    mine_outside: bool
    theirs_outside: bool
    answering: float
    building: float
    solving: float
    rows: int

    def difference(self) -> str | None:
        """What differs, in words; ``None`` where nothing does."""
        if (self.mine, self.mine_outside) == (self.theirs, self.theirs_outside):
            return None
        if self.mine is None or self.theirs is None:
            return f"{self.case.name}: the search says {self.mine}, the solver {self.theirs}"
        apart = [(one, other) for one, other in zip(self.mine, self.theirs, strict=True) if one != other]
        return f"{self.case.name}: the search says {apart[0][0]}, the solver {apart[0][1]}" if apart else "window"


def answered(case: Case, *, alternatives: bool = False) -> tuple[Vector, bool, float]:
    """The search's vector, whether it lies above the window, and its seconds; it must be proven."""
    began = time.process_time()
    try:
        answer = solve(case.board, case.request, alternatives=alternatives)
    except ImpossibleError:
        return None, False, time.process_time() - began
    seconds = time.process_time() - began
    assert answer.proven, f"{case.name}: not proven"
    names = [criterion.name for criterion in answer.criteria]
    return list(zip(names, answer.best.vector, strict=True)), answer.outside_window, seconds


def compared(case: Case, tables: Tables | None = None) -> Compared:
    """Solve by both, once each."""
    theirs = opinion(case.board, case.request, tables)
    mine, outside, seconds = answered(case)
    return Compared(
        case,
        mine,
        theirs.vector,
        outside,
        theirs.outside_window,
        seconds,
        theirs.building,
        theirs.solving,
        theirs.rows,
    )
