"""The same population with as many modules as can be left where they are: equal channels and sockets trade places."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from dimmplan.growth.stay import most_staying
from dimmplan.model.module import Module
from dimmplan.why.weigh import Case, Weighed

Held = Mapping[str, Module | None]


def settle(case: Case, stay: Held, target: Weighed, *, worth: Callable[[Weighed], object]) -> Weighed | None:
    """A population worth as much as ``target`` that leaves as many modules of ``stay`` in place as is found.

    ``stay`` itself where it is worth as much, then one move away from it, then the target with equal channels,
    controllers and sockets traded. ``None`` where all of them would fill a slot on hold.
    """
    wanted = worth(target)
    near: Iterator[Weighed] = iter(())
    if _count(stay) == _count(target.content):  # otherwise modules are taken out, and no move comes to as many
        near = itertools.chain([case.weigh(stay)], _one_move(case, stay))
    candidates = itertools.chain(near, (_traded(case, stay, target) for _ in range(1)), [target])
    for candidate in candidates:
        usable = not any(candidate.content.get(slot) for slot in case.placement.hold)
        if usable and candidate.vector is not None and worth(candidate) == wanted:
            return candidate
    return None


def _count(held: Held) -> int:
    return sum(module is not None for module in held.values())


def _one_move(case: Case, stay: Held) -> Iterator[Weighed]:
    """Every population one move away, one of each look."""
    here = Case(case.board, replace(case.placement, slots=tuple(stay.items())), extra=case.placement.types)
    seen: set[object] = set()
    for start, goal in itertools.product(here.last_filled(), here.first_empty()):
        look = here.look(start), here.look(goal, start)
        if look not in seen:
            seen.add(look)
            yield case.weigh({**stay, start: None, goal: stay[start]})


def _traded(case: Case, stay: Held, target: Weighed) -> Weighed:
    """The target with equal sockets, controllers and channels in the order that keeps most modules in place."""
    (content,) = most_staying(case.board, case.request, [target.content], stay, hold=case.placement.hold)
    return case.weigh(content)
