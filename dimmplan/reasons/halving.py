"""An order to find a bad module by halves: each test is a population that the rules allow, where there is one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from dimmplan.model.module import Module
from dimmplan.reasons.case import Case
from dimmplan.rules import Breach

_MOST_CUTS = 5
"""How many ways to cut the suspects in two are tried, the most even ones first."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SplitStep:
    """One step of halving. ``suspects`` hold the fault; ``keep`` are the half that stays in for the test.

    ``company`` are modules known to be good that stay in beside them because the rules want it; ``out`` is all that
    is taken out. ``broken`` are error rows that the test breaks, ``other_broken`` those that the other half breaks:
    empty where that half can be tested as well. ``if_fault`` and ``if_clean`` name the next step by its number, or
    the slot whose module is bad.
    """

    number: int
    suspects: tuple[str, ...]
    keep: tuple[str, ...]
    company: tuple[str, ...]
    out: tuple[str, ...]
    broken: tuple[Breach, ...]
    other_broken: tuple[Breach, ...]
    if_fault: int | str
    if_clean: int | str


@dataclass(frozen=True, slots=True)
class _Test:
    """A half with its company, and the error rows that it breaks."""

    keep: tuple[str, ...]
    company: tuple[str, ...]
    broken: tuple[Breach, ...]


def split_steps(case: Case, content: Mapping[str, Module | None]) -> tuple[SplitStep, ...]:
    """Steps of halving over the modules of a content, each module in its own slot; step 1 comes first.

    One module is taken to be bad: what a test leaves out is then known to be good where the test shows the fault.
    """
    filled = tuple(slot for slot in case.board.slots if content.get(slot))
    return tuple(_Splitter(case, content).run(filled))


class _Splitter:
    def __init__(self, case: Case, content: Mapping[str, Module | None]) -> None:
        self.case, self.content = case, content
        self.filled = tuple(slot for slot in case.board.slots if content.get(slot))
        self.place = {slot: case.board.channel_of[slot].slots.index(slot) for slot in self.filled}
        self.steps: list[SplitStep] = []
        self.count = 0

    def run(self, suspects: tuple[str, ...]) -> list[SplitStep]:
        if len(suspects) > 1:
            self._step(suspects)
        return sorted(self.steps, key=lambda step: step.number)

    def _step(self, suspects: tuple[str, ...]) -> int | str:
        """Make the step for these suspects and those after it; its number, or the slot where one is left."""
        if len(suspects) == 1:
            return suspects[0]
        self.count += 1
        number = self.count
        test, other = self._halved(suspects)
        stays = {*test.keep, *test.company}
        if_fault = self._step(test.keep)
        if_clean = self._step(other.keep)
        self.steps.append(
            SplitStep(
                number=number,
                suspects=suspects,
                keep=test.keep,
                company=test.company,
                out=tuple(slot for slot in self.filled if slot not in stays),
                broken=test.broken,
                other_broken=other.broken,
                if_fault=if_fault,
                if_clean=if_clean,
            )
        )
        return number

    def _halved(self, suspects: tuple[str, ...]) -> tuple[_Test, _Test]:
        """The most even cut whose halves both break no rule, or whose first does, or the most even one."""
        good = tuple(slot for slot in self.filled if slot not in suspects)
        tried: list[tuple[_Test, _Test]] = []
        for first, second in self._cuts(suspects):
            pair = self._test(first, good), self._test(second, good)
            if not pair[0].broken and not pair[1].broken:
                return pair
            if pair[0].broken and not pair[1].broken:
                pair = pair[1], pair[0]
            tried.append(pair)
        return next((pair for pair in tried if not pair[0].broken), tried[0])

    def _cuts(self, suspects: tuple[str, ...]) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
        """Ways to cut in two, most even first: whole channels, taken from the sockets in turn, or within a channel."""
        units = self._units(suspects)
        if len(units) == 1:
            units = [(slot,) for slot in units[0]]
        sizes = [sum(len(unit) for unit in units[:cut]) for cut in range(1, len(units))]
        even = sorted(range(len(sizes)), key=lambda index: abs(2 * sizes[index] - len(suspects)))
        found = []
        for index in even[:_MOST_CUTS]:
            first = {slot for unit in units[: index + 1] for slot in unit}
            found.append(
                (
                    tuple(slot for slot in suspects if slot in first),
                    tuple(slot for slot in suspects if slot not in first),
                )
            )
        return found

    def _units(self, suspects: tuple[str, ...]) -> list[tuple[str, ...]]:
        """The suspects by channel, one channel of each socket in turn."""
        found: list[tuple[tuple[int, int], tuple[str, ...]]] = []
        for place, socket in enumerate(self.case.sockets()):
            channels = [tuple(slot for slot in channel.slots if slot in suspects) for channel in socket.channels]
            found += [((turn, place), slots) for turn, slots in enumerate(slots for slots in channels if slots)]
        return [slots for _, slots in sorted(found)]

    def _test(self, keep: tuple[str, ...], good: Sequence[str]) -> _Test:
        """The half with the least company that makes it a population that breaks no error row."""
        broken: tuple[Breach, ...] = ()
        for company in self._companies(keep, good):
            stays = {*keep, *company}
            content = {slot: self.content[slot] if slot in stays else None for slot in self.filled}
            broken = tuple(b for b in self.case.judge_content(content) if b.severity == "error")
            if not broken:
                return _Test(keep, tuple(slot for slot in self.filled if slot in company), ())
        return _Test(keep, tuple(slot for slot in self.filled if slot in good), broken)

    def _companies(self, keep: tuple[str, ...], good: Sequence[str]) -> Iterator[set[str]]:
        """Known good modules to stay beside a half: ever more of them, all at last."""
        before = {
            slot
            for kept in keep
            for slot in self.case.board.channel_of[kept].slots
            if slot in good and self.place[slot] < self.place[kept]
        }
        yield before
        by_socket = {
            socket.id: sorted((s for s in socket.slots if s in good and s not in before), key=lambda s: self.place[s])
            for socket in self.case.sockets()
        }
        held = {
            socket.id: sum(slot in keep or slot in before for slot in socket.slots) for socket in self.case.sockets()
        }
        yield before | {slots[0] for name, slots in by_socket.items() if slots and not held[name]}
        most = max(held.values())
        yield before | {slot for name, slots in by_socket.items() for slot in slots[: most - held[name]]}
        yield set(good)
