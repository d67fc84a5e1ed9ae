"""Figures of the interleave loop over amounts alone, remembered from what each region leaves.

At one rate for all channels: what the loop does next depends on the amounts left (for exclusive groups also on what
was filled at the start) and on nothing else, so many populations share their tails. ``dimmplan.interleave`` says which
channels; this says only how deep, how many and how wide, and tests hold the two to each other.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from dimmplan.interleave import Group, Permitted

State = tuple[tuple[int, ...], ...]
"""GiB left per channel, a falling list for each controller, the lists falling; one list in all for the style any."""

Flat = tuple[int, ...]
"""GiB left per channel in board order."""

UNLIMITED = 1 << 80
"""A depth that nothing has."""

Tops = tuple[tuple[int, int], ...]
"""Controllers that take part, each with the place of its first member; the others of a set follow it."""


class Depths(NamedTuple):
    """Sum of region depths, number of regions, fewest ways of a region."""

    depth: int
    regions: int
    narrowest: int


class _Width(NamedTuple):
    """A number of ways, and its forms: channels of a controller, and how many controllers."""

    ways: int
    forms: list[tuple[int, int]]


class _Set(NamedTuple):
    """A set of channels, compared as the loop does: depth, sum, then what it leaves."""

    depth: int
    total: int
    left: State
    each: int
    tops: Tops


def state_of(controllers: Iterable[Sequence[int]], *, pooled: bool) -> State:
    """The state of amounts per controller; ``pooled`` where the style lets any channels work together."""
    if pooled:
        return (tuple(sorted(itertools.chain(*controllers), reverse=True)),)
    return tuple(sorted((tuple(sorted(amounts, reverse=True)) for amounts in controllers), reverse=True))


class DepthTable:
    """The figures of every state asked for, each worked out once, and only as far as a depth that is of use."""

    def __init__(self, permitted: Permitted) -> None:
        self.excess = permitted.excess
        self.pooled = permitted.style == "any"
        self.forms = [(ways, [(ways, 1)] if self.pooled else _even_forms(ways)) for ways in permitted.ways]
        """For each number of ways: channels of a controller, and how many controllers."""
        self._known: dict[State, Depths] = {}
        self._least: dict[State, int] = {}
        """What the depth of other states is at least."""
        self._fitting: dict[tuple[int, ...], list[_Width]] = {}

    def __call__(self, state: State) -> Depths:
        """The figures of a state with something left."""
        found = self.within(state, UNLIMITED)
        if not isinstance(found, Depths):
            raise AssertionError("no state is deeper than that")
        return found

    def within(self, state: State, most: int) -> Depths | int:
        """The figures of a state with something left; of one deeper than ``most`` perhaps only its depth at least."""
        known = self._known.get(state)
        if known is not None:
            return known
        least = self._least.get(state, 0)
        if least > most:
            return least
        found = self._work_out(state, most)
        if isinstance(found, Depths):
            self._known[state] = found
        else:
            self._least[state] = found
        return found

    def _work_out(self, state: State, most: int) -> Depths | int:
        """As asked: no region is wider than the widest now, and every channel waits for its own amount."""
        filled = tuple([len(amounts) - amounts.count(0) for amounts in state])
        total = sum(map(sum, state))
        fitting = self.fitting(filled)
        least = max(state[0][0], -(-total // fitting[0].ways))
        if least > most:
            return least
        for ways, forms in fitting:
            if ways == 1:
                break
            if ways == sum(filled) and self.excess != "none":
                return self._with_tail(state, ways, _everything(state, filled, total), most)
            sets = [found for each, count in forms for found in self._sets(state, each, count)]
            if sets:
                return self._with_tail(state, ways, max(sets, key=lambda found: found[:3]), most)
        return Depths(total, sum(filled), 1)

    def fitting(self, filled: tuple[int, ...]) -> list[_Width]:
        """What fits so many filled channels of each controller, widest first; a channel alone comes last."""
        found = self._fitting.get(filled)
        if found is None:
            fit = _fit(filled)
            open_now = [
                _Width(ways, [(each, count) for each, count in forms if each < len(fit) and fit[each] >= count])
                for ways, forms in self.forms
            ]
            found = self._fitting[filled] = [*(width for width in open_now if width.forms), _Width(1, [(1, 1)])]
        return found

    def _with_tail(self, state: State, ways: int, chosen: _Set, most: int) -> Depths | int:
        """The figures of a set, of what its members serve alone, and of all that follows."""
        depth, regions, narrowest, rest = chosen.depth, 1, ways, chosen.left
        if self.excess == "alone":
            members = [state[c][place + n] for c, place in chosen.tops for n in range(chosen.each)]
            alone = [amount - chosen.depth for amount in members if amount > chosen.depth]
            if alone:
                depth, regions, narrowest = depth + sum(alone), 1 + len(alone), 1
                rest = _less(state, chosen.each, chosen.tops, members)
        if not any(controller[0] for controller in rest):
            return Depths(depth, regions, narrowest)
        tail = self.within(rest, most - depth)
        if not isinstance(tail, Depths):
            return depth + tail
        return Depths(depth + tail.depth, regions + tail.regions, min(narrowest, tail.narrowest))

    def _sets(self, state: State, each: int, count: int) -> Iterator[_Set]:
        """The best sets of ``each`` channels on ``count`` controllers, ties all given."""
        if self.excess == "none":
            for amount in {amount for controller in state for amount in controller if amount}:
                tops = [(c, amounts.index(amount)) for c, amounts in enumerate(state) if amounts.count(amount) >= each]
                for chosen in itertools.combinations(tops, count):
                    yield _set(state, each, chosen, amount)
            return
        tops = [(c, 0) for c, amounts in enumerate(state) if len(amounts) >= each and amounts[each - 1]]
        depth = sorted([state[c][each - 1] for c, _ in tops])[-count]
        sums = {c: sum(state[c][:each]) for c, _ in tops if state[c][each - 1] >= depth}
        least = sorted(sums.values())[-count]
        sure = tuple((c, 0) for c, total in sums.items() if total > least)
        tied = [(c, 0) for c, total in sums.items() if total == least]
        for more in itertools.combinations(tied, count - len(sure)):
            yield _set(state, each, sure + more, depth)


class GroupTable:
    """As ``DepthTable`` for listed groups, where it counts which channel holds what."""

    def __init__(self, permitted: Permitted) -> None:
        self.groups = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.exclusive = any(group.exclusive for group in permitted.groups)
        self._known: dict[tuple[Flat, frozenset[int]], Depths] = {}

    def __call__(self, amounts: Sequence[Sequence[int]]) -> Depths:
        """The figures of amounts per channel, a list for each controller; something must be left."""
        left = tuple(itertools.chain(*amounts))
        filled = frozenset(channel for channel, amount in enumerate(left) if amount) if self.exclusive else frozenset()
        return self._of(left, filled, [len(controller) for controller in amounts])

    def _of(self, left: Flat, filled: frozenset[int], spans: Sequence[int]) -> Depths:
        known = self._known.get((left, filled))
        if known is None:
            known = self._known[left, filled] = self._work_out(left, filled, spans)
        return known

    def _work_out(self, left: Flat, filled: frozenset[int], spans: Sequence[int]) -> Depths:
        group = self._chosen(left, filled, spans)
        if group is None:
            singles = [amount for amount in left if amount]
            return Depths(sum(singles), len(singles), 1)
        depth = min([left[channel] for channel in group.channels])
        after = _served(left, group, depth)
        alone = [after[channel] for channel in group.channels if after[channel]] if group.excess == "alone" else []
        if alone:
            after = [0 if channel in group.channels else amount for channel, amount in enumerate(after)]
        found = Depths(depth + sum(alone), 1 + len(alone), 1 if alone else len(group.channels))
        if not any(after):
            return found
        tail = self._of(tuple(after), filled, spans)
        return Depths(found.depth + tail.depth, found.regions + tail.regions, min(found.narrowest, tail.narrowest))

    def _chosen(self, left: Flat, filled: frozenset[int], spans: Sequence[int]) -> Group | None:
        """The group that the loop takes next; ``None`` where only single channels are left."""
        widest: list[tuple[int, int, Group]] = []
        for group in self.groups:
            if widest and len(group.channels) < len(widest[0][2].channels):
                break
            amounts = [left[channel] for channel in group.channels]
            depth = min(amounts)
            equal = group.excess != "none" or depth == max(amounts)
            if depth and equal and not (group.exclusive and filled - set(group.channels)):
                widest.append((depth, sum(amounts), group))
        if not widest:
            return None
        most = max([(depth, total) for depth, total, _ in widest])
        tied = [group for depth, total, group in widest if (depth, total) == most]
        if len(tied) == 1:
            return tied[0]
        return max(tied, key=lambda group: _by_controller(_served(left, group, most[0]), spans))


def _served(left: Flat, group: Group, depth: int) -> list[int]:
    return [amount - depth if channel in group.channels else amount for channel, amount in enumerate(left)]


def _by_controller(left: Sequence[int], spans: Sequence[int]) -> list[list[int]]:
    """One falling list for each controller, the lists falling."""
    each = iter(left)
    return sorted((sorted(itertools.islice(each, span), reverse=True) for span in spans), reverse=True)


def _even_forms(ways: int) -> list[tuple[int, int]]:
    return [(each, ways // each) for each in range(1, ways + 1) if ways % each == 0]


def _everything(state: State, filled: Sequence[int], total: int) -> _Set:
    """The set of all channels with something left; as many of each controller that has any."""
    tops = tuple((c, 0) for c, count in enumerate(filled) if count)
    each = max(filled)
    depth = min([state[c][each - 1] for c, _ in tops])
    left = tuple([tuple([amount - depth if amount else 0 for amount in amounts]) for amounts in state])
    return _Set(depth, total, left, each, tops)


def _fit(filled: Sequence[int]) -> list[int]:
    """How many controllers have at least so many channels with something left."""
    return [sum([n >= each for n in filled]) for each in range(max(filled) + 1)]


def _set(state: State, each: int, tops: Tops, depth: int) -> _Set:
    total = sum([sum(state[c][place : place + each]) for c, place in tops])
    return _Set(depth, total, _less(state, each, tops, [depth] * (each * len(tops))), each, tops)


def _less(state: State, each: int, tops: Tops, taken: Sequence[int]) -> State:
    """The state less what is taken from each member of a set, in their order."""
    after = [list(controller) for controller in state]
    amounts = iter(taken)
    for c, place in tops:
        for n in range(place, place + each):
            after[c][n] -= next(amounts)
        after[c].sort(reverse=True)
    return tuple(sorted(map(tuple, after), reverse=True))
