"""What one socket takes for a sweep at one step, remembered from one set of types and one step to the next."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from dimmplan.interleave import Amounts, Permitted, regions
from dimmplan.model.board import Board
from dimmplan.solve.profiles import Evaluator
from dimmplan.solve.space import Load

NO_RATE = 1 << 20
"""Rate of an empty socket, and of any where the system does not run at one rate: it never is the slowest."""


class Measure:
    """Rate and time of a socket's loads. ``unit`` over a rate in MT/s is the time that a GiB takes on one channel.

    Where one rate holds for the system, the time is the sum of region depths, and the rate the socket's own slowest
    one; elsewhere it is the sweep time, and the rate ``NO_RATE``.
    """

    def __init__(self, board: Board, unit: int) -> None:
        self.scope = board.rate_scope
        self.unit = unit
        self._evaluators: dict[Permitted, Evaluator] = {}
        self._times: dict[Permitted, dict[tuple[Amounts, Amounts], int]] = {}

    def __call__(self, permitted: Permitted, controllers: Sequence[Sequence[Load]]) -> tuple[int, int]:
        """Rate and time; nothing takes no time."""
        amounts = tuple(tuple([load.gib for load in controller]) for controller in controllers)
        if not any(map(any, amounts)):
            return NO_RATE, 0
        slowest = min([load.rate for controller in controllers for load in controller if load.gib])
        if self.scope == "channel":
            rates = tuple(tuple([load.rate or slowest for load in controller]) for controller in controllers)
            return NO_RATE, self._by_channel(permitted, amounts, rates)
        if permitted not in self._evaluators:
            self._evaluators[permitted] = Evaluator(permitted)
        depth = self._evaluators[permitted](amounts)[0]
        return (slowest, depth) if self.scope == "system" else (NO_RATE, depth * (self.unit // slowest))

    def _by_channel(self, permitted: Permitted, amounts: Amounts, rates: Amounts) -> int:
        """Sweep time where each region runs at its slowest channel."""
        known = self._times.setdefault(permitted, {})
        key = (amounts, rates)
        if key not in known:
            flat = list(itertools.chain(*rates))
            found = regions(amounts, permitted, rates)
            known[key] = sum(r.depth * (self.unit // min(flat[channel] for channel in r.channels)) for r in found)
        return known[key]
