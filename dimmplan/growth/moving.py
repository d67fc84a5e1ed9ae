"""The best chain of placements in which modules may move from step to step but none is discarded.

Steps then meet in their counts alone: no step has fewer of a type than the one before. Which counts each step can have
is asked without figures. Its best sweep for one set of counts after another comes from the exact search, highest
first, until no set of counts that has not been looked at could belong to a chain as good as the best one found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from dimmplan.growth.adding import Adding, Tell
from dimmplan.growth.pins import PinnedSpace, Pins
from dimmplan.growth.steps import Chain, Content, Steps, Window, board_order, chain_of, over_of, whole_gib, window_of
from dimmplan.growth.system import System
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.units import Gib

CRITERIA = ("advised_broken", "system_sweep")


@dataclass(frozen=True, slots=True)
class Node:
    """One set of counts at one step: its best sweep, and the placement that has it and is first in board order."""

    code: int
    sweep: Fraction
    content: Content


@dataclass(slots=True)
class _Listed:
    """What is known of a step: counts by falling sweep, and whether that is all of them."""

    wanted: set[int]
    nodes: list[Node] = field(default_factory=list)
    whole: bool = False


class Moving:
    """Chains for some requests; ``pins`` are those of each step."""

    def __init__(
        self,
        board: Board,
        requests: Sequence[Request],
        limits: Sequence[Window],
        *,
        pins: Sequence[Pins],
        budget: Budget,
        tell: Tell,
    ) -> None:
        self.board = board
        self.requests = requests
        self.limits = limits
        self.pins = pins
        self.budget = budget
        self.tell = tell
        self.steps = Steps(board, requests)
        self.space = PinnedSpace(board, requests[0], pins[0])
        self._reached: dict[int, set[int]] = {}

    def best(self, incumbent: Chain | None) -> Chain | None:
        """The best chain where it comes before ``incumbent``, else ``None``. Raises ``EffortSpent``."""
        if not self.space.types or not self.space.fitted_allowed():
            return None
        only_adds = Adding(
            self.board, self.requests, self.limits, pins=self.pins[0], budget=self.budget, tell=self.tell
        )
        rival = min(filter(None, (incumbent, only_adds.quick(self.limits))), key=lambda chain: chain.key, default=None)
        if rival is not None:
            self.tell("incumbent", rival)
        self.tell("over_gib_1", 0)
        wanted = self._wanted()
        if wanted is None:
            return None
        path = min(self._leading(wanted), key=self._rank)
        found = chain_of(self.board, self.requests, [node.content for node in path])
        return found if rival is None or found.key <= rival.key else None

    def last_capacities(self) -> Iterator[Gib]:
        """Capacities within the limits that the last step of some chain has."""
        for code in self._linked([self._reach(step) for step in range(len(self.requests))])[-1]:
            yield whole_gib(self.space.gib(code), self.space.scale)

    def _rank(self, path: Sequence[Node]) -> tuple[Any, ...]:
        """Fewest bought, then least cost, then board order step by step."""
        pairs = list(zip(self.space.supplies, self.space.counts(path[-1].code), strict=True))
        priced = all(supply.priced for supply in self.requests[0].supplies)
        cost = sum((supply.cost(count) for supply, count in pairs), Fraction(0)) if priced else Fraction(0)
        bought = sum(max(0, count - supply.kept) for supply, count in pairs)
        return bought, cost, tuple(board_order(self.board, node.content) for node in path)

    # -- capacities and discarded modules --------------------------------------------------------------------------

    def _wanted(self) -> list[set[int]] | None:
        """The counts of each step that chains of the least capacities with the fewest discarded go through."""
        reached = [self._reach(step) for step in range(len(self.requests))]
        kept = self._linked(reached)
        for step in range(len(kept)):
            if not kept[0]:
                return None
            least = min(self._over(step, code) for code in kept[step])
            kept[step] = {code for code in kept[step] if self._over(step, code) == least}
            kept = self._linked(kept)
        fewest = min(map(self._left_out, kept[0]))
        kept[0] = {code for code in kept[0] if self._left_out(code) == fewest}
        return self._linked(kept)

    def _reach(self, step: int) -> set[int]:
        if step in self._reached:
            return self._reached[step]
        space = PinnedSpace(self.board, self.requests[step], self.pins[step])
        found = {code for _, code in System(space, [self.limits[step]], self.budget).reach()}
        self._reached[step] = found
        return found

    def _over(self, step: int, code: int) -> Gib:
        return over_of(self.requests[step], whole_gib(self.space.gib(code), self.space.scale))

    def _left_out(self, code: int) -> int:
        pairs = zip(self.space.supplies, self.space.counts(code), strict=True)
        return self.space.refused_kept + sum(max(0, supply.kept - count) for supply, count in pairs)

    def _linked(self, steps: Sequence[set[int]]) -> list[set[int]]:
        """The counts that some whole chain goes through: those that follow, and can be followed."""
        kept = list(steps)
        for step in range(1, len(kept)):
            before = self._minimal(kept[step - 1])
            kept[step] = {code for code in kept[step] if any(self._grows(each, code) for each in before)}
        for step in reversed(range(len(kept) - 1)):
            self.budget.spend(len(kept[step]))
            after = [self.space.counts(code) for code in kept[step + 1]]
            kept[step] = {code for code in kept[step] if any(_within(self.space.counts(code), each) for each in after)}
        return kept

    def _minimal(self, codes: set[int]) -> list[int]:
        """Codes of which none holds another: whatever follows any code follows one of these."""
        found: list[int] = []
        for code in sorted(codes, key=lambda code: sum(self.space.counts(code))):
            if not any(self._grows(each, code) for each in found):
                found.append(code)
        return found

    def _grows(self, before: int, after: int) -> bool:
        return _within(self.space.counts(before), self.space.counts(after))

    # -- sweeps ----------------------------------------------------------------------------------------------------

    def _leading(self, wanted: Sequence[set[int]]) -> list[tuple[Node, ...]]:
        """Every chain of the highest smallest sweep, then the highest sum."""
        lists = [_Listed(set(codes)) for codes in wanted]
        for step in range(len(lists)):
            self._extend(step, lists[step])
        while True:
            best = self._best_sweeps(lists)
            open_steps = [step for step, listed in enumerate(lists) if not listed.whole]
            bounds = {step: self._bound(lists, step) for step in open_steps}
            if best is not None:
                bounds = {step: bound for step, bound in bounds.items() if bound >= best}
            if not bounds:
                break
            hopeful = max(bounds, key=lambda step: (bounds[step], -step))
            self.tell("smallest_sweep", bounds[hopeful][0])
            self._extend(hopeful, lists[hopeful])
        if best is None:
            return []
        return list(self._paths(lists, *best))

    def _extend(self, step: int, listed: _Listed) -> None:
        """Look for the counts of the next lower sweep."""
        left = listed.wanted - {node.code for node in listed.nodes}
        window = self._window(step, listed.wanted)
        others = frozenset(self._reach(step) - left)
        alone = self.steps.best(step, self.pins[step], window, CRITERIA, without=others) if left else None
        if alone is None:
            listed.whole = True
            return
        self.budget.spend(self.steps.spent)
        if not alone.proven:
            raise EffortSpent
        content: Content = dict.fromkeys(self.board.slots)
        listed.nodes.append(Node(alone.code, Fraction(alone.vector[1]), content | alone.content))

    def _window(self, step: int, wanted: set[int]) -> Window:
        overs = {self._over(step, code) for code in wanted}
        return window_of(self.requests[step], overs.pop())

    @staticmethod
    def _bound(lists: Sequence[_Listed], step: int) -> tuple[Fraction, Fraction]:
        """Smallest sweep and sum that no chain beats which goes through counts of a step not looked at yet."""
        tops = [listed.nodes[-1 if place == step else 0].sweep for place, listed in enumerate(lists)]
        return min(tops), sum(tops, Fraction(0))

    def _best_sweeps(self, lists: Sequence[_Listed]) -> tuple[Fraction, Fraction] | None:
        """The best that chains of the counts looked at so far reach."""
        for smallest in sorted({node.sweep for listed in lists for node in listed.nodes}, reverse=True):
            totals = {node.code: node.sweep for node in lists[0].nodes if node.sweep >= smallest}
            for listed in lists[1:]:
                self.budget.spend(len(totals) + len(listed.nodes))
                reached: dict[int, Fraction] = {}
                for node in listed.nodes:
                    before = [total for code, total in totals.items() if self._grows(code, node.code)]
                    if node.sweep >= smallest and before:
                        reached[node.code] = node.sweep + max(before)
                totals = reached
            if totals:
                return smallest, max(totals.values())
        return None

    def _paths(self, lists: Sequence[_Listed], smallest: Fraction, total: Fraction) -> Iterator[tuple[Node, ...]]:
        """Every chain of that smallest sweep and that sum."""
        fast = [[node for node in listed.nodes if node.sweep >= smallest] for listed in lists]
        tops = [max(node.sweep for node in nodes) for nodes in fast]
        rest = [sum(tops[step:], Fraction(0)) for step in range(len(fast) + 1)]

        def extend(path: tuple[Node, ...], left: Fraction) -> Iterator[tuple[Node, ...]]:
            if len(path) == len(fast):
                if not left:
                    yield path
                return
            for node in fast[len(path)]:
                if left - node.sweep <= rest[len(path) + 1] and (not path or self._grows(path[-1].code, node.code)):
                    yield from extend((*path, node), left - node.sweep)

        yield from extend((), total)


def _within(before: Sequence[int], after: Sequence[int]) -> bool:
    return all(a <= b for a, b in zip(before, after, strict=True))
