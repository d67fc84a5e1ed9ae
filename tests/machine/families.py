"""Machines by the words of their slots, one for each family that firmware writes, and how well a draft reads them.

The forms are those of real listings (linuxhw/DMI, CC-BY-4.0, as words only); the machines are built here. A family
says for each slot which socket and channel its words mean; a channel of ``None`` is one that no word names.
"""

from __future__ import annotations

import string
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from dimmplan.boardfile.draft_sockets import Guess, Questions
from dimmplan.boardfile.draft_wiring import WiredSocket, wire
from dimmplan.model.inventory import Inventory, InventoryProcessor, InventorySlot
from dimmplan.model.module import Generation

LETTERS = string.ascii_uppercase


@dataclass(frozen=True)
class Slot:
    """A memory device: its words, whether it is filled, and what the words mean (``None``: they do not say)."""

    locator: str
    bank: str
    filled: bool
    socket: str | None
    channel: str | None


class Wired(NamedTuple):
    """The sockets of a draft, and what it guesses of them."""

    sockets: tuple[WiredSocket, ...]
    guesses: tuple[Guess, ...]


@dataclass(frozen=True)
class Machine:
    """Processors (a minus behind one that is not seated) and slots; ``asked`` is what a draft has to ask."""

    name: str
    processors: tuple[str, ...]
    slots: tuple[Slot, ...]
    asked: frozenset[str] = frozenset()
    generation: Generation = Generation.DDR4

    def found(self) -> Inventory:
        """The machine as an inventory."""
        return Inventory(
            form="smbios-text",
            slots=tuple(
                InventorySlot(
                    locator=slot.locator,
                    bank=slot.bank,
                    state="filled" if slot.filled else "empty",
                    capacity_kib=16 << 20 if slot.filled else None,
                )
                for slot in self.slots
            ),
            processors=tuple(
                InventoryProcessor(locator=name.rstrip("-"), state="empty" if name.endswith("-") else "filled")
                for name in self.processors
            ),
        )

    def wired(self, **answers: str) -> Wired:
        """The machine as a draft wires it."""
        questions = Questions(answers)
        sockets = wire(self.found(), [slot.locator for slot in self.slots], self.generation, questions)
        return Wired(sockets, questions.guesses)


@dataclass(frozen=True)
class Score:
    """What a draft made of a machine. ``None`` where the words say nothing to judge by."""

    sockets_right: bool | None
    channels_right: bool | None
    asked: frozenset[str]

    @property
    def silent(self) -> bool:
        """Wrong, and nothing asked of it."""
        sockets = self.sockets_right is False and "sockets" not in self.asked
        return sockets or (self.channels_right is False and not self.asked & {"sockets", "channels"})


def score(machine: Machine) -> Score:
    """Judge a draft by the words: the same slots together in a socket, and in a channel."""
    wiring = machine.wired()
    socket_of = {i: s.name for s in wiring.sockets for c in s.channels for i in c.slots}
    channel_of = {i: (s.name, c.name) for s in wiring.sockets for c in s.channels for i in c.slots}
    judged = [i for i, slot in enumerate(machine.slots) if slot.socket is not None]
    with_channel = [i for i in judged if machine.slots[i].channel is not None]
    return Score(
        sockets_right=_alike(judged, lambda i: machine.slots[i].socket, socket_of.get),
        channels_right=_alike(
            with_channel, lambda i: (machine.slots[i].socket, machine.slots[i].channel), channel_of.get
        ),
        asked=frozenset(guess.about for guess in wiring.guesses),
    )


def _alike(slots: Iterable[int], one: Callable[[int], Any], other: Callable[[int], Any]) -> bool | None:
    """True where both group the slots alike; ``None`` without slots."""
    pairs = [(one(i), other(i)) for i in slots]
    if not pairs:
        return None
    return len(set(pairs)) == len({a for a, _ in pairs}) == len({b for _, b in pairs})


def tally(machines: Iterable[Machine]) -> Counter[str]:
    """How many machines come out how, in the words of the bench."""
    counts: Counter[str] = Counter()
    for machine in machines:
        got = score(machine)
        for what, right, abouts in (
            ("sockets", got.sockets_right, {"sockets"}),
            ("channels", got.channels_right, {"sockets", "channels"}),
        ):
            if right is not None:
                said = "asked" if got.asked & abouts else "sure"
                counts[f"{what} {'right' if right else 'WRONG'}, {said}"] += 1
        counts["wrong and silent"] += got.silent
    return counts


# -- the families --------------------------------------------------------------------------------------------------

Words = Callable[[int, int, int], str]
"""Socket, channel and position, counted from 0, to a text."""


def built(
    name: str,
    shape: Sequence[Sequence[int]],
    locator: Words,
    bank: Words | None = None,
    *,
    processors: Sequence[str] | None = None,
    named: bool = True,
    filled: Callable[[int, int, int], bool] = lambda s, c, p: p == 0,
    asked: Iterable[str] = (),
) -> Machine:
    """A machine of sockets, channels and their depths; ``named`` says whether words name the channel."""
    slots = [
        Slot(locator(s, c, p), bank(s, c, p) if bank else "", filled(s, c, p), str(s), str(c) if named else None)
        for s, depths in enumerate(shape)
        for c, deep in enumerate(depths)
        for p in range(deep)
    ]
    sockets = tuple(processors) if processors is not None else tuple(f"CPU{s + 1}" for s in range(len(shape)))
    return Machine(name, sockets, tuple(slots), frozenset(asked))


def numbered(shape: Sequence[Sequence[int]], s: int, c: int, p: int) -> int:
    """The number of a slot counted through its socket."""
    return sum(shape[s][:c]) + p


TWO_BY_SIX = [[2] * 6] * 2
TWO_BY_EIGHT = [[1] * 8] * 2
UNEVEN = [[2, 2, 2, 2, 1, 1], [1] * 6]


def _letter(shape: Sequence[Sequence[int]], s: int, c: int) -> str:
    """A channel's letter where letters run on over the sockets."""
    return LETTERS[sum(len(each) for each in shape[:s]) + c]


def _families() -> list[Machine]:
    first_half: Callable[[int, int, int], bool] = lambda s, c, p: s == 0 and p == 0  # noqa: E731
    alternate: Callable[[int, int, int], bool] = lambda s, c, p: p == 0 and c % 2 == 0  # noqa: E731
    full: Callable[[int, int, int], bool] = lambda s, c, p: True  # noqa: E731
    channels = {"channels"}
    both = {"sockets", "channels"}
    node: Words = lambda s, c, p: f"NODE {s * 2 + c // 3}"  # noqa: E731
    structured: Words = lambda s, c, p: f"P{s}_Node{c // 3}_Channel{c % 3}_Dimm{p}"  # noqa: E731
    return [
        built("CPU1_DIMM_A1", TWO_BY_SIX, lambda s, c, p: f"CPU{s + 1}_DIMM_{LETTERS[c]}{p + 1}", node),
        built("P1-DIMMA1", TWO_BY_SIX, lambda s, c, p: f"P{s + 1}-DIMM{LETTERS[c]}{p + 1}", structured),
        built(
            "P1-DIMMA1, empty slots without a bank",
            TWO_BY_SIX,
            lambda s, c, p: f"P{s + 1}-DIMM{LETTERS[c]}{p + 1}",
            lambda s, c, p: "" if p else structured(s, c, p),
        ),
        built("CPU1_DIMM_A1, unequal", UNEVEN, lambda s, c, p: f"CPU{s + 1}_DIMM_{LETTERS[c]}{p + 1}"),
        built(
            "CPU1_DIMM_A1, one of two seated",
            TWO_BY_SIX,
            lambda s, c, p: f"CPU{s + 1}_DIMM_{LETTERS[c]}{p + 1}",
            processors=("CPU1", "CPU2-"),
            filled=first_half,
        ),
        built("CPU0_A0", TWO_BY_SIX, lambda s, c, p: f"CPU{s}_{LETTERS[c]}{p}"),
        built("CPU0_C0D0", TWO_BY_SIX, lambda s, c, p: f"CPU{s}_C{c}D{p}", node),
        built("CPU0_CH0_D0", TWO_BY_SIX, lambda s, c, p: f"CPU{s}_CH{c}_D{p}"),
        built("CPU0_DIMM_A", TWO_BY_EIGHT, lambda s, c, p: f"CPU{s}_DIMM_{LETTERS[c]}"),
        built("DIMM_P0_A0", TWO_BY_SIX, lambda s, c, p: f"DIMM_P{s}_{LETTERS[c]}{p}"),
        built(
            "DIMM_P1_P0, letters up to P",
            TWO_BY_EIGHT,
            lambda s, c, p: f"DIMM_P{s}_{_letter(TWO_BY_EIGHT, s, c)}{p}",
        ),
        built("P1-1A", [[2] * 3] * 2, lambda s, c, p: f"P{s + 1}-{c + 1}{LETTERS[p]}"),
        built("P1_DIMM1A", [[3] * 3] * 2, lambda s, c, p: f"P{s}_DIMM{c + 1}{LETTERS[p]}"),
        built("P0-ChD-DIMM0", [[2] * 3] * 2, lambda s, c, p: f"P{s}-Ch{_letter([[2] * 3] * 2, s, c)}-DIMM{p}"),
        built("DIMM000 J22", TWO_BY_SIX, lambda s, c, p: f"DIMM{s}{c}{p} J{22 + 12 * s + 2 * c + p}"),
        built(
            "DIMM 0, P0 CHANNEL A",
            TWO_BY_EIGHT,
            lambda s, c, p: f"DIMM {p}",
            lambda s, c, p: f"P{s} CHANNEL {LETTERS[c]}",
        ),
        built(
            "P0_UMC1_CH_A0",
            [[2] * 8],
            lambda s, c, p: f"P0_UMC{c ^ 1}_CH_{LETTERS[c]}{p}",
            lambda s, c, p: f"P0 CHANNEL {LETTERS[c]}",
            processors=("P0",),
        ),
        built("S0_M1_C0_D0", [[2] * 4] * 2, lambda s, c, p: f"P{s}M{c // 2}C{c % 2}D{p}"),
        built("DIMMA1 of one", [[2] * 4], lambda s, c, p: f"DIMM{LETTERS[c]}{p + 1}"),
        built(
            "SOCKET 0 CHANNEL 0 DIMM 0",
            TWO_BY_SIX,
            lambda s, c, p: f"SLOT {c}{p}",
            lambda s, c, p: f"SOCKET {s} CHANNEL {c} DIMM {p}",
        ),
        built(
            "ChannelA-DIMM0, nodes",
            TWO_BY_EIGHT,
            lambda s, c, p: f"Channel{_letter(TWO_BY_EIGHT, s, c)}-DIMM0",
            lambda s, c, p: f"NODE {s * 4 + c // 2}",
        ),
        built(
            "DIMM_A1, run on, one of two seated",
            [[1] * 6] * 2,
            lambda s, c, p: f"DIMM_{'ABCDEFGHJKLM'[6 * s + c]}1",
            lambda s, c, p: f"NODE {2 * s + c // 3 + 1}",
            processors=("CPU1", "CPU2-"),
            filled=first_half,
        ),
        built(
            "DIMM_A1, run on, halves filled alike",
            [[2] * 4] * 2,
            lambda s, c, p: f"DIMM_{_letter([[2] * 4] * 2, s, c)}{p + 1}",
            filled=alternate,
        ),
        built(
            "DIMM_A1, run on, full",
            [[2] * 2] * 2,
            lambda s, c, p: f"ONBOARD DIMM_{_letter([[2] * 2] * 2, s, c)}{p + 1}",
            filled=full,
            asked={"sockets"},
        ),
        built("A1 to A12", TWO_BY_SIX, lambda s, c, p: f"{LETTERS[s]}{6 * p + c + 1}", named=False, asked=channels),
        built(
            "A1 to A10, B1 to B6", UNEVEN, lambda s, c, p: f"{LETTERS[s]}{6 * p + c + 1}", named=False, asked=channels
        ),
        built("A1 to A16 of one", [[2] * 8], lambda s, c, p: f"A{8 * p + c + 1}", named=False, asked=channels),
        built(
            "PROC 1 DIMM 1",
            TWO_BY_SIX,
            lambda s, c, p: f"PROC {s + 1} DIMM {numbered(TWO_BY_SIX, s, c, p) + 1}",
            named=False,
            asked=channels,
        ),
        built(
            "PROC 1 DIMM 3A, letters as order of filling",
            [[3] * 3] * 2,
            lambda s, c, p: f"PROC {s + 1} DIMM {3 * c + p + 1}{LETTERS[3 * (2 - p) + c]}",
            named=False,
            asked=channels,
        ),
        built(
            "DIMM5_CPU0, one of two seated",
            [[1] * 6] * 2,
            lambda s, c, p: f"DIMM{c + 1}_CPU{s}",
            processors=("CPU0", "CPU1-"),
            named=False,
            filled=first_half,
            asked=channels,
        ),
        built(
            "DIMM 1, CPU 1",
            TWO_BY_SIX,
            lambda s, c, p: f"DIMM {12 * s + 2 * c + p + 1}",
            lambda s, c, p: f"CPU {s + 1}",
            named=False,
            asked=channels,
        ),
        built(
            "DIMM-1A, a letter for each slot",
            [[1] * 12] * 2,
            lambda s, c, p: f"DIMM-1{_letter([[1] * 12] * 2, s, c)}",
            lambda s, c, p: f"NODE {12 * s + c + 1}",
        ),
        built(
            "D0, /SYS/MB/P0",
            TWO_BY_SIX,
            lambda s, c, p: f"D{2 * c + p}",
            lambda s, c, p: f"/SYS/MB/P{s}",
            named=False,
            asked=channels,
        ),
        built(
            "DIMM_A0, CPU 0",
            [[2] * 4] * 2,
            lambda s, c, p: f"DIMM_{_letter([[2] * 4] * 2, s, c)}{p}",
            lambda s, c, p: f"CPU {s}",
        ),
        built("DIMM01", [[2] * 4] * 2, lambda s, c, p: f"DIMM{8 * s + 2 * c + p + 1:02}", named=False, asked=both),
        built(
            "Board 1, DIMM 1A",
            [[2] * 4] * 2,
            lambda s, c, p: f"Board {2 * s + c // 2 + 1}, DIMM {2 * (c % 2) + p + 1}{LETTERS[c % 2]}",
            named=False,
            asked=both,
        ),
    ]


FAMILIES = tuple(_families())
