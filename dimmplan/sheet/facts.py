"""What a sheet has to tell, gathered once: the state of each slot, figures, findings and the order of the work.

A change sheet has the same map, with what stays, what is taken out, and what goes where. Everything that leaves a slot
comes before anything that goes into one, and each act has its number.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import groupby
from typing import ClassVar, NamedTuple

from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Change, Finding, Move, Placement, Step, board_of, dead_slots, why_dead
from dimmplan.model.request import Mode
from dimmplan.rules import Rule, install_order, of_kind, rules_of
from dimmplan.units import Gib, cleaned, listed, trimmed, watts_words
from dimmplan.wording import blank_slots, label_short, placement_findings


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


@dataclass(frozen=True, slots=True)
class TypeFact:
    """One module type: its key letter, its label, and the slots that get it, in words.

    ``part`` is its part number and watts, where the board file has them.
    """

    key: str
    label: str
    count: int
    slots: str
    part: str


@dataclass(frozen=True, slots=True)
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
        content = self.placement.content
        return {slot: self._slot(slot, content.get(slot), step.get(slot, 0)) for slot in self.board.slots}

    @cached_property
    def shorts(self) -> dict[Module, str]:
        """Short words for each type; the whole label where two types would read alike."""
        short = {module: clean(label_short(module)) for module in self.placement.types}
        alike = Counter(short.values())
        return {module: text if alike[text] == 1 else clean(module.label) for module, text in short.items()}

    def _slot(self, slot: str, module: Module | None, step: int) -> SlotFact:
        channel, needs_blank = self.board.channel_of[slot], slot in self.blanks
        state, words, key = (State.BLANK, "BLANK", "") if needs_blank else (State.EMPTY, "empty", "")
        if slot in self.placement.hold:
            state, words = State.HOLD, "HOLD – do not touch"
        elif slot in self.dead:
            state, words = State.DEAD, self._dead_words(slot)
        elif module is not None:
            state, words, key = State.FILLED, self.shorts[module], self.placement.keys[module]
        said = f"step {step}, {module.label}, type {key}" if key and module else words
        said += ", blank" if state is State.DEAD and needs_blank else ""
        where = f"Socket {channel.socket}, controller {channel.controller}, channel {channel.id}"
        return SlotFact(
            slot=slot,
            name=clean(slot, most=80),
            state=state,
            key=key,
            step=step if key else 0,
            words=words,
            needs_blank=needs_blank,
            short="HOLD" if state is State.HOLD else "",
            hover=clean(f"{slot}: {said}. {where}"),
        )

    @cached_property
    def counts(self) -> Counter[State]:
        """How many slots are in each state."""
        return Counter(fact.state for fact in self.slots.values())

    @cached_property
    def types(self) -> tuple[TypeFact, ...]:
        """Module types, key letter ``a`` first."""
        held: dict[Module, list[str]] = {}
        for slot in self.order:
            if module := self.placement.content[slot]:
                held.setdefault(module, []).append(slot)
        return tuple(self._type(module, held[module]) for module in self.placement.types if module in held)

    def _type(self, module: Module, held: Sequence[str]) -> TypeFact:
        own = self.board.facts_of(module)
        part = ", ".join([*([own.part] if own.part else []), *([] if own.watts is None else [watts_words(own.watts)])])
        key, slots = self.placement.keys[module], self.slots_in_words(held)
        return TypeFact(key, clean(module.label), len(held), slots, clean(part))

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
        rows, fitted, mode = of_kind(self.board.rules, Rule), self.placement.fitted, self.placement.mode
        together: dict[str, str] = {}  # what to say of all slots of a socket, where the first ones do not go in first
        for socket in self.board.sockets:
            own = any(row.populations(each, fitted, mode) is not None for row in rows for each in (socket.id, None))
            one = all(len(channel.slots) == 1 for channel in socket.channels)
            together[socket.id] = ", in the board's own order" if own else "" if one else "first"

        def batch(slot: str) -> str:
            channel = self.board.channel_of[slot]
            which = together[channel.socket]
            if which == "first":
                which = f", {('first', 'second', 'third', 'fourth')[channel.slots.index(slot)]} slots"
            return socket_words(channel.socket) + which

        return tuple((said, tuple(self.slots[slot] for slot in held)) for said, held in groupby(self.order, key=batch))

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

    @property
    def picked(self) -> tuple[TypeFact, ...]:
        """What to fetch."""
        return self.types

    @property
    def left_over(self) -> tuple[LeftFact, ...]:
        """The modules that a change leaves over; none where everything is new."""
        return ()

    @property
    def released(self) -> tuple[str, ...]:
        """Slots whose data is saved, which a change empties first."""
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


@dataclass(frozen=True, kw_only=True)
class ChangeFacts(Facts):
    """Facts of a placement that a machine is changed to."""

    doing: ClassVar[str] = "Change"
    change: Change

    @cached_property
    def outs(self) -> dict[str, Step]:
        """Slots that are emptied first, in board order."""
        return {step.slot: step for step in self.change.steps if step.act == "out"}

    @cached_property
    def ins(self) -> dict[str, Step]:
        """Slots that something goes into, in the order of doing it; counted on from the takings out."""
        return {step.slot: step for step in self.change.steps if step.act == "in"}

    @property
    def worked_on(self) -> frozenset[str]:
        """Slots that something goes into or comes out of."""
        return frozenset((*self.outs, *self.ins))

    def _slot(self, slot: str, module: Module | None, step: int) -> SlotFact:
        fact = super()._slot(slot, module, step)
        if fact.state is State.HOLD:
            return fact
        out, into = self.outs.get(slot), self.ins.get(slot)
        if out is not None and into is None:
            return self._emptied(fact, out)
        if fact.state is not State.FILLED:
            return fact
        if into is None:
            return fact._replace(step=0, kept=True, hover=f"{fact.hover}. Stays")
        words, hover = fact.words, f"{fact.hover}. Step {into.number}: {_act(into.move)}"
        number = goes_to = came_at = 0
        if source := into.move.source:
            words, came_at = f"{words} from {clean(source, most=80)}", self.outs[source].number
        if out is not None:
            number, hover = out.number, f"{hover}; before that, step {out.number}: {_act(out.move)}"
            if target := out.move.target:
                words, goes_to = f"old to {clean(target, most=80)}, {words}", self.ins[target].number
        arrows = [f"→{goes_to}"] * bool(goes_to) + [f"←{came_at}"] * bool(came_at)
        return fact._replace(
            step=into.number,
            out=number,
            words=words,
            short=" ".join(arrows),
            hover=clean(hover),
            goes_to=goes_to,
            came_at=came_at,
        )

    def _emptied(self, fact: SlotFact, out: Step) -> SlotFact:
        words, short, goes_to = f"OUT {clean(label_short(out.move.module))}", "OUT", 0
        if target := out.move.target:
            goes_to = self.ins[target].number
            words, short = f"OUT to {clean(target, most=80)}", f"OUT→{goes_to}"
        hover = clean(f"{fact.slot}: step {out.number}, {_act(out.move)}")
        return fact._replace(state=State.PULL, step=out.number, words=words, short=short, hover=hover, goes_to=goes_to)

    @cached_property
    def steps(self) -> tuple[tuple[str, tuple[SlotFact, ...]], ...]:
        """The change in batches: what comes out, then what goes in, socket by socket; each slot has its number."""
        found = []
        by_socket = groupby(self.change.steps, key=lambda step: (step.act, self.board.channel_of[step.slot].socket))
        for (act, socket), steps in by_socket:
            facts = tuple(self.slots[step.slot]._replace(step=step.number) for step in steps)
            found.append((f"{act}: {socket_words(socket)}", facts))
        return tuple(found)

    @cached_property
    def picked(self) -> tuple[TypeFact, ...]:
        """What to fetch from the shelf."""
        fetched = [slot for slot, step in self.ins.items() if step.move.kind == "insert"]
        held = {kind: [slot for slot in fetched if self.slots[slot].key == kind.key] for kind in self.types}
        return tuple(
            replace(kind, count=len(slots), slots=self.slots_in_words(slots)) for kind, slots in held.items() if slots
        )

    @cached_property
    def left_over(self) -> tuple[LeftFact, ...]:
        """The modules that the change leaves over."""
        pulled = [step for step in self.outs.values() if step.move.target is None]
        return tuple(
            LeftFact(each.module, each.count, tuple(s.number for s in pulled if s.move.module == each.module))
            for each in self.change.stranded
        )

    @property
    def released(self) -> tuple[str, ...]:
        """Slots whose data is saved: what lies there comes out before the first step."""
        return self.change.released

    @property
    def band(self) -> str:
        """That this sheet is a change, and its counts."""
        stays = sum(move.kind == "keep" for move in self.change.moves)
        return f"CHANGE: {len(self.outs)} out, then {len(self.ins)} in; {stays} stay"


def _act(move: Move) -> str:
    """One act in words."""
    if move.kind == "pull":
        return f"take out {move.module.label}"
    if move.kind == "move":
        return f"move {move.module.label} from {move.source} to {move.target}"
    return f"insert {move.module.label}"


def gather(board: Board, placement: Placement, change: Change | None = None) -> Facts:
    """Everything that follows from a placement on its board, and from the change to it where there is one.

    Raises ``ValueError`` for another board's placement.
    """
    if placement.board != board.id:
        raise ValueError(f"the placement is for {placement.board}, not for {board.id}")
    option, board = board.processor(placement.processor), board_of(board, placement)
    content = {slot: module for slot, module in placement.slots if slot not in placement.hold}
    try:
        figures = placement_figures(board, option, placement.fitted, content, mode=placement.mode)
    except ValueError:
        figures = None
    findings = tuple(placement_findings(board, placement, figures))
    if change is None:
        return Facts(board=board, placement=placement, figures=figures, findings=findings)
    return ChangeFacts(board=board, placement=placement, figures=figures, findings=findings, change=change)
