"""What a sheet has to tell, gathered once: the state of each slot, figures, findings and the order of installing."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import groupby
from typing import ClassVar, NamedTuple

from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module
from dimmplan.model.placement import Finding, Placement, board_of, dead_slots, why_dead
from dimmplan.model.request import Mode
from dimmplan.rules import Rule, install_order, of_kind, rules_of
from dimmplan.units import Gib, cleaned, listed, trimmed, watts_words
from dimmplan.wording.placement import blank_slots, label_short, placement_findings


class State(StrEnum):
    """What a slot is, for the person who stands before it."""

    FILLED = "filled"
    EMPTY = "empty"
    BLANK = "blank"
    DEAD = "dead"
    HOLD = "hold"
    PULL = "pull"
    """On a change sheet: what sits there comes out, and nothing goes in."""


class SlotFact(NamedTuple):
    """One slot: ``words`` say in short what goes in, ``step`` is its place in the order of installing.

    ``short`` is what must be said even where the legend says the rest. On a change sheet ``out`` is the number of the
    taking out before something goes in, and ``kept`` says that what sits there stays; where a module moves, ``goes_to``
    is the step at which what comes out goes in again, and ``came_at`` the one at which what goes in came out.
    """

    state: State
    slot: str = ""
    name: str = ""
    key: str = ""
    step: int = 0
    words: str = ""
    needs_blank: bool = False
    hover: str = ""
    short: str = ""
    out: int = 0
    kept: bool = False
    goes_to: int = 0
    came_at: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class TypeFact:
    """One module type: its key letter, its label, and the slots that get it, in words."""

    key: str
    label: str
    count: int
    slots: str
    part: str = ""
    """Part number and watts, where the board file has them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftFact:
    """Modules of one type that a change leaves over, and the numbers of the steps that take them out."""

    module: Module
    count: int
    steps: tuple[int, ...]


_DEAD = {"processor": "no processor", "tray": "no tray", "channel": "not served"}
"""Why a slot is dead, in words, in the order of the legend."""

NOT_OBEYED = "DOES NOT OBEY THE BOARD"
_NOT_OBEYED_BANNER = f"{NOT_OBEYED}: a rule is broken. Place nothing by this map; plan again."
_DRAFTED_BANNER = "DRAFTED BOARD FILE, not checked: compare every slot name before you insert."


def clean(text: str, *, most: int = 400) -> str:
    """Foreign text fit to print: sheet_of, on one line, nothing invisible in it."""
    return cleaned(" ".join(unicodedata.normalize("NFC", text).split()), most=most)


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Board and placement with everything that follows from them. ``figures`` is ``None`` where none can be given."""

    doing: ClassVar[str] = "Install"
    """What the steps are steps of."""

    board: Board
    placement: Placement
    figures: PlacementFigures | None
    findings: tuple[Finding, ...]

    @property
    def broken(self) -> bool:
        """True where the placement breaks an error row of its board."""
        return any(finding.severity == "error" for finding in self.findings)

    @property
    def banner(self) -> str:
        """What every page shouts first: a placement that its board does not allow, a board that nobody has checked."""
        if self.broken:
            return _NOT_OBEYED_BANNER
        return _DRAFTED_BANNER if self.board.trust == "drafted" else ""

    @cached_property
    def dead(self) -> frozenset[str]:
        """Slots whose processor is absent."""
        return frozenset(dead_slots(self.board, self.placement))

    @cached_property
    def order(self) -> tuple[str, ...]:
        """Filled slots in the order of installing; slots on hold are not among them."""
        return tuple(slot for slot in install_order(self.board, self.placement) if slot not in self.placement.hold)

    @cached_property
    def blanks(self) -> frozenset[str]:
        """Empty slots that the board wants closed by a blank, those of absent processors among them."""
        return frozenset(blank_slots(self.board, self.placement))

    @cached_property
    def slots(self) -> dict[str, SlotFact]:
        """Every slot of the board, in board order."""
        step = {slot: number for number, slot in enumerate(self.order, 1)}
        return {slot: self._slot(slot, module, step.get(slot, 0)) for slot, module in self._content}

    @property
    def _content(self) -> list[tuple[str, Module | None]]:
        content = self.placement.content
        return [(slot, content.get(slot)) for slot in self.board.slots]

    @cached_property
    def shorts(self) -> dict[Module, str]:
        """Short words for each type; the whole label where two types would read alike."""
        short = {module: clean(label_short(module)) for module in self.placement.types}
        alike = Counter(short.values())
        return {module: text if alike[text] == 1 else clean(module.label) for module, text in short.items()}

    def _slot(self, slot: str, module: Module | None, step: int) -> SlotFact:
        state = self._state(slot, module)
        channel = self.board.channel_of[slot]
        filled = state is State.FILLED and module is not None
        words = {
            State.FILLED: self.shorts[module] if module else "",
            State.EMPTY: "empty",
            State.BLANK: "BLANK",
            State.DEAD: self._dead_words(slot),
            State.HOLD: "HOLD – do not touch",
            State.PULL: "",
        }[state]
        said = f"step {step}, {module.label}, type {self.placement.keys[module]}" if filled and module else words
        if state is State.DEAD and slot in self.blanks:
            said += ", blank"
        return SlotFact(
            slot=slot,
            name=clean(slot, most=80),
            state=state,
            key=self.placement.keys[module] if filled and module else "",
            step=step if filled else 0,
            words=words,
            needs_blank=slot in self.blanks,
            short="HOLD" if state is State.HOLD else "",
            hover=clean(
                f"{slot}: {said}. Socket {channel.socket}, controller {channel.controller}, channel {channel.id}"
            ),
        )

    def _state(self, slot: str, module: Module | None) -> State:
        if slot in self.placement.hold:
            return State.HOLD
        if slot in self.dead:
            return State.DEAD
        if module is not None:
            return State.FILLED
        return State.BLANK if slot in self.blanks else State.EMPTY

    @cached_property
    def counts(self) -> Counter[State]:
        """How many slots are in each state."""
        return Counter(fact.state for fact in self.slots.values())

    @cached_property
    def types(self) -> tuple[TypeFact, ...]:
        """Module types, key letter ``a`` first."""
        return tuple(self._type(module) for module in self.placement.types if self._held(module))

    def _held(self, module: Module) -> list[str]:
        return [slot for slot in self.order if self.placement.content[slot] == module]

    def _type(self, module: Module) -> TypeFact:
        held = self._held(module)
        return TypeFact(
            key=self.placement.keys[module],
            label=clean(module.label),
            count=len(held),
            slots=self.slots_in_words(held),
            part=clean(self._part(module)),
        )

    def _part(self, module: Module) -> str:
        """Part number and watts as the board file has them; empty where it has none."""
        facts = self.board.facts_of(module)
        watts = [] if facts.watts is None else [watts_words(facts.watts)]
        return ", ".join([*([facts.part] if facts.part else []), *watts])

    def slots_in_words(self, slots: Sequence[str]) -> str:
        """Slots as a list; a socket that is meant whole is named as a whole."""
        meant = frozenset(slots)
        sockets = self.board.every_socket
        whole = [clean(socket.id) for socket in sockets if meant.issuperset(socket.slots)]
        parts = [f"every slot of {listed(whole)}"] if whole else []
        for socket in sockets:
            rest = [clean(slot, most=80) for slot in socket.slots if slot in meant]
            if rest and len(rest) < len(socket.slots):
                parts.append(", ".join(rest))
        return "; ".join(parts)

    @cached_property
    def steps(self) -> tuple[tuple[str, tuple[SlotFact, ...]], ...]:
        """The order of installing in batches: socket by socket, the first slot of each channel, then the second."""
        found = []
        for (socket, which), slots in groupby(self.order, key=self._batch):
            said = socket_words(socket) if which == "its slots" else f"{socket_words(socket)}, {which}"
            found.append((said, tuple(self.slots[slot] for slot in slots)))
        return tuple(found)

    def _batch(self, slot: str) -> tuple[str, str]:
        """The socket of a slot, and which of its slots go in together."""
        channel = self.board.channel_of[slot]
        which = ("first slots", "second slots", "third slots", "fourth slots")[channel.slots.index(slot)]
        return channel.socket, self._together[channel.socket] or which

    @cached_property
    def _together(self) -> dict[str, str]:
        """What to say of all slots of a socket that go in one after another; empty where the first ones go in first."""
        rows, fitted, mode = of_kind(self.board.rules, Rule), self.placement.fitted, self.placement.mode
        found = {}
        for socket in self.board.sockets:
            own = any(row.populations(each, fitted, mode) is not None for row in rows for each in (socket.id, None))
            one = all(len(channel.slots) == 1 for channel in socket.channels)
            found[socket.id] = "in the board's own order" if own else "its slots" if one else ""
        return found

    @property
    def worked_on(self) -> frozenset[str]:
        """Slots in which something is done."""
        return frozenset(self.order)

    @property
    def amount(self) -> str:
        """What the sheet comes to, for its head: usable capacity, the mode with what it takes, the rate."""
        rate = f" · {self.figures.rate_mts} MT/s" if self.figures else ""
        mode = self.placement.mode
        named = f" {mode.words.upper()}" if mode is not Mode.INDEPENDENT else ""
        named += f" ({self.capacity_gib} GiB installed)" if self.mode_takes else ""
        return f"{gib_words(self.usable_gib)} GiB{named}{rate}"

    @property
    def mode_takes(self) -> bool:
        """True where the machine shows less in the mode than without it."""
        return self.placement.mode is not Mode.INDEPENDENT and self.usable_gib != self.capacity_gib

    @property
    def band(self) -> str:
        """What is special about the sheet, across every page; empty for a plain one."""
        return ""

    @property
    def state_words(self) -> dict[State, str]:
        """What the states of slots mean, for the legend, in its order."""
        return {
            State.PULL: "take out",
            State.EMPTY: "stays empty",
            State.BLANK: "empty",
            State.DEAD: self.dead_words,
            State.HOLD: "hold: do not touch",
        }

    @property
    def dead_words(self) -> str:
        """Why slots are dead: their processor or tray is absent, or their channel is not served."""
        words = {self._dead_words(slot) for slot in self.dead}
        return ", or ".join(text for text in _DEAD.values() if text in words) or _DEAD["processor"]

    def _dead_words(self, slot: str) -> str:
        return _DEAD.get(why_dead(self.board, self.placement, slot), "")

    @cached_property
    def picked(self) -> tuple[TypeFact, ...]:
        """What to fetch."""
        return self.types

    @cached_property
    def left_over(self) -> tuple[LeftFact, ...]:
        """The modules that a change leaves over; none where everything is new."""
        return ()

    @cached_property
    def expected(self) -> str:
        """What the machine should show in the end, with its mode."""
        mode = self.placement.mode
        return self.shown + (f", mode {mode.words}" if mode is not Mode.INDEPENDENT else "")

    @property
    def shown(self) -> str:
        """What the machine should show in the end."""
        return f"{gib_words(self.usable_gib)} GiB" + (f", {self.figures.rate_mts} MT/s" if self.figures else "")

    @property
    def slower(self) -> str:
        """What keeps the machine below the rate of its fastest modules; empty where nothing does."""
        labelled = max((module.rate_mts for module in self.placement.types), default=0)
        if self.figures is None or labelled <= self.figures.rate_mts:
            return ""
        slowest = min((its.rate for its in self.figures.sockets if its.modules), key=lambda rate: rate.rate_mts)
        kind = slowest.row.partition(":")[0]
        by = {"processor": "the processor", "module": "the slowest module"}.get(kind, "the board")
        return f"Modules rated {labelled} MT/s: limited by {by}."

    @property
    def capacity_gib(self) -> int:
        """Capacity of all modules placed."""
        content = self.placement.content
        return sum(module.capacity_gib for slot in self.order if (module := content[slot]))

    @property
    def usable_gib(self) -> Gib:
        """Usable capacity; all of it where no figures can be given."""
        return self.figures.usable_gib if self.figures else self.capacity_gib

    @cached_property
    def chassis_findings(self) -> tuple[Finding, ...]:
        """What the person at the open chassis must know: broken rules, cooling, and the board's own notes."""
        told = {row.id for row in rules_of(self.board) if not row.scopes}
        return tuple(f for f in self.findings if f.severity != "note" or f.rule in told and f.source != "MODEL")


def socket_words(socket_id: str) -> str:
    """A socket's name, with the word before it where the name alone would read as a number."""
    name = clean(socket_id)
    return name if name[:1].isalpha() else f"socket {name}"


def gib_words(gib: Gib) -> str:
    """GiB as a number: what a machine shows at first boot, so never in TiB."""
    return trimmed(Fraction(gib), 3)


def channel_told(channel: Channel) -> bool:
    """False where the slots' own names already say the channel, as a word of theirs."""
    return not all(channel.id in re.split(r"[\W_]+", slot) for slot in channel.slots)


def gather(board: Board, placement: Placement) -> Facts:
    """Everything that follows from a placement on its board. Raises ``ValueError`` for another board's placement."""
    if placement.board != board.id:
        raise ValueError(f"the placement is for {placement.board}, not for {board.id}")
    option, board = board.processor(placement.processor), board_of(board, placement)
    content = {slot: module for slot, module in placement.slots if slot not in placement.hold}
    try:
        figures = placement_figures(board, option, placement.fitted, content, mode=placement.mode)
    except ValueError:
        figures = None
    findings = placement_findings(board, placement, figures)
    return Facts(board=board, placement=placement, figures=figures, findings=tuple(findings))
