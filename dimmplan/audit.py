"""What is in a machine held against what should be: slot by slot, then the rules, then the figures.

Three answers for a slot: as planned, different, *cannot tell*. Nothing here chooses; the judging is the same that the
search prunes with.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from dimmplan.errors import InputError
from dimmplan.figures import PlacementFigures, figures_if_any
from dimmplan.inventory.match import Matching
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement, dead_slots
from dimmplan.model.request import Mode
from dimmplan.model.rows import ProcessorOption
from dimmplan.rules import Breach, judge
from dimmplan.supply import in_types_of
from dimmplan.units import format_kib

AnswerKind = Literal["as-planned", "different", "cannot-tell"]
DifferenceKind = Literal[
    "empty",
    "extra",
    "generation",
    "size",
    "kind",
    "rank",
    "width",
    "rate",
    "swapped",
    "misplaced",
    "elsewhere",
    "hold",
    "not-listed",
    "not-said",
]
"""``elsewhere``: empty, its module is in ``other``. ``misplaced``: it holds the module planned for ``other``."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """One typed difference at a slot: what was planned and found, in words; ``other`` is the slot that it goes with."""

    kind: DifferenceKind
    planned: str = ""
    found: str = ""
    other: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class SlotAnswer:
    """The answer for one slot, with every difference, and the module type found there where it can be told."""

    slot: str
    differences: tuple[Difference, ...]
    module: Module | None
    known: bool
    """True where the content is known: ``module``, or nothing."""

    @property
    def answer(self) -> AnswerKind:
        """The three answers: what cannot be told goes before what differs."""
        if any(difference.kind in ("hold", "not-listed", "not-said") for difference in self.differences):
            return "cannot-tell"
        return "different" if self.differences else "as-planned"


Fault = Literal[
    "not-seated",
    "missing",
    "swapped",
    "misplaced",
    "another-plan",
    "not-upgraded",
    "half-done",
    "wrong-module",
    "extra",
    "channel",
    "socket",
    "slow",
    "cannot-tell",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Suspect:
    """The fault that a person would look for first."""

    fault: Fault
    slots: tuple[str, ...]
    found: str = ""
    expected: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Audit:
    """The whole audit. Without a plan ``planned`` is missing, and figures where the content is not known whole.

    ``doubtful`` are rows that the machine seems to break on a drafted board whose wiring is still guessed: a fault of
    the draft as likely as one of the machine.
    """

    board: Board
    planned: Placement | None
    fitted: tuple[str, ...]
    slots: tuple[SlotAnswer, ...]
    breaches: tuple[Breach, ...]
    doubtful: tuple[Breach, ...]
    figures_found: PlacementFigures | None
    figures_planned: PlacementFigures | None
    suspect: Suspect | None
    date: str | None
    processor: str | None = None
    """The processor that the rules are judged by."""
    fitting: tuple[str, ...] = ()
    """Without a plan: the processor options by which the machine breaks no rule; of these, where the
    machine shows its rate, those that run at it."""

    @property
    def good(self) -> bool:
        """True where every slot is as planned and no error row is broken."""
        return all(slot.answer == "as-planned" for slot in self.slots) and not _any_error(self.breaches)

    @property
    def content(self) -> dict[str, Module | None]:
        """What the slots hold, those that are known."""
        return {answer.slot: answer.module for answer in self.slots if answer.known}

    @property
    def untouchable(self) -> tuple[str, ...]:
        """Slots on hold, and slots that cannot be told: nothing is pulled, moved or inserted there."""
        return tuple(
            answer.slot
            for answer in self.slots
            if not answer.known or any(d.kind == "hold" for d in answer.differences)
        )


def audit(
    board: Board,
    found: Inventory,
    matching: Matching,
    planned: Placement | None,
    *,
    data_saved: Iterable[str] = (),
    processor: str | None = None,
) -> Audit:
    """Hold an inventory against a plan, or against only the board's rules.

    ``data_saved`` names slots on hold whose data the person says is saved: they are judged as any other. Without a plan
    the rules are judged by ``processor``, or by the first option that fits what is seen, or by the board's first.
    """
    released = set(data_saved)
    index_of = matching.index_of
    answers = [
        _answer(board, slot, found.slots[index_of[slot]] if slot in index_of else None, planned, slot in released)
        for slot in board.slots
    ]
    fitted = planned.fitted if planned else _fitted(board, answers)
    if planned is not None:
        answers = list(_with_places(board, answers, planned))
    content = {answer.slot: answer.module for answer in answers if answer.known}
    whole = all(a.known for a in answers if planned is None or board.channel_of[a.slot].socket in fitted)
    mode = planned.mode if planned else Mode.INDEPENDENT
    unknown = {answer.slot for answer in answers if not answer.known}

    def judged(option: ProcessorOption | None) -> tuple[Breach, ...]:
        return judge(board, option, fitted, content, mode=mode, unknown=unknown) if fitted else ()

    def runs(option: ProcessorOption | None) -> PlacementFigures | None:
        return figures_if_any(board, option, fitted, content, mode=mode) if whole and fitted else None

    configured = _configured(found, matching)
    fitting = [each for each in (() if planned else board.processors) if not _any_error(judged(each))]
    as_fast = [each for each in fitting if _runs_at(runs(each), configured)]
    fitting = as_fast or fitting
    asked = planned.processor if planned else processor
    option = board.processor(asked) if asked or not fitting else fitting[0]
    breaches, figures_found = judged(option), runs(option)
    figures_planned = figures_if_any(board, option, planned.fitted, planned.content, mode=mode) if planned else None
    return Audit(
        board=board,
        planned=planned,
        fitted=fitted,
        slots=tuple(answers),
        breaches=tuple(breach for breach in breaches if not _is_doubtful(board, breach)),
        doubtful=tuple(breach for breach in breaches if _is_doubtful(board, breach)),
        figures_found=figures_found,
        figures_planned=figures_planned,
        suspect=_suspect(board, answers, planned, configured, figures_planned),
        date=found.date,
        processor=option.id if option is not None else None,
        fitting=tuple(each.id for each in fitting),
    )


def _any_error(breaches: Iterable[Breach]) -> bool:
    return any(breach.severity == "error" for breach in breaches)


def _runs_at(figures: PlacementFigures | None, configured: Mapping[str, int]) -> bool:
    """True where the memory runs at the lowest rate that the machine shows, give or take its rounding."""
    return figures is not None and bool(configured) and abs(figures.rate_mts - min(configured.values())) <= 1


def _is_doubtful(board: Board, breach: Breach) -> bool:
    """True where a row is broken only if guesses of a draft, which nobody has seen to, are right."""
    guessed = any(about in ("sockets", "channels", "fill-order") for about, _ in board.guesses)
    return guessed and breach.kind is not None and not {"channel", "socket"}.isdisjoint(breach.kind.scopes)


def _fitted(board: Board, answers: Sequence[SlotAnswer]) -> tuple[str, ...]:
    """Without a plan: the sockets that have a module."""
    filled = {answer.slot for answer in answers if answer.module}
    return tuple(socket.id for socket in board.sockets if filled & set(socket.slots))


# -- one slot ------------------------------------------------------------------------------------------------------


def _answer(
    board: Board, slot: str, device: InventorySlot | None, planned: Placement | None, released: bool
) -> SlotAnswer:
    want = planned.content.get(slot) if planned else None
    unclear = _unclear(board, slot, device, planned, released)
    if unclear is not None:
        return SlotAnswer(slot=slot, differences=(unclear,), module=None, known=False)
    if device is None or device.state == "empty":
        missing = (Difference(kind="empty", planned=want.label),) if want else ()
        return SlotAnswer(slot=slot, differences=missing, module=None, known=True)
    module = module_like(board, device, [want] if want else [])
    differences: tuple[Difference, ...] = ()
    if want is not None:
        differences = tuple(differences_between(want, device))
    elif planned is not None:
        differences = (Difference(kind="extra", found=_said(device)),)
    elif module is None:
        differences = (Difference(kind="not-said", found=_said(device)),)
    return SlotAnswer(slot=slot, differences=differences, module=module, known=module is not None)


def _unclear(
    board: Board, slot: str, device: InventorySlot | None, planned: Placement | None, released: bool
) -> Difference | None:
    """Why a slot cannot be told; ``None`` where it can. A slot of an absent processor need not be listed."""
    want = planned.content.get(slot) if planned else None
    if device is None:
        dead = planned is not None and slot in dead_slots(board, planned) or board.tray_of.get(slot) in board.absent
        return None if dead else Difference(kind="not-listed", planned=_words(want) if planned else "")
    if device.state == "hold" and not released:
        return Difference(kind="hold", found=_said(device))
    if device.state == "cannot-tell" or (device.state != "empty" and device.capacity_kib is None):
        return Difference(kind="not-said", planned=_words(want), found=device.why or _said(device))
    return None


def _words(module: Module | None) -> str:
    return module.label if module else "empty"


def _said(device: InventorySlot) -> str:
    """What a device says of its module, short."""
    if device.label:
        return device.label
    parts = [
        format_kib(device.capacity_kib) if device.capacity_kib else "",
        device.generation.value if device.generation else "",
        device.kind.value if device.kind else "",
        f"{device.ranks_said} ranks" if device.ranks_said else "",
        f"{device.rated_mts} MT/s" if device.rated_mts else "",
    ]
    return " ".join(part for part in parts if part) or "a module"


def differences_between(want: Module, device: InventorySlot) -> Iterator[Difference]:
    """Typed differences between a planned module and what a device says; what it does not say is no difference.

    Ranks may be package or logical ranks (standards, section 3.7); a rate above the planned one is no fault.
    """
    if device.generation is not None and device.generation != want.generation:
        yield Difference(kind="generation", planned=want.generation.value, found=device.generation.value)
    if device.capacity_gib != want.capacity_gib:
        yield Difference(kind="size", planned=f"{want.capacity_gib} GiB", found=format_kib(device.capacity_kib or 0))
    if device.kind is not None and device.kind.unstacked != want.kind.unstacked:
        yield Difference(kind="kind", planned=want.kind.value, found=device.kind.value)
    ranks = device.package_ranks or device.ranks_said
    if ranks is not None and ranks not in (want.package_ranks, want.logical_ranks):
        yield Difference(kind="rank", planned=str(want.package_ranks), found=str(ranks))
    if device.device_width is not None and device.device_width != want.device_width:
        yield Difference(kind="width", planned=f"x{want.device_width}", found=f"x{device.device_width}")
    if device.rated_mts is not None and device.rated_mts < want.rate_mts - 1:
        yield Difference(kind="rate", planned=f"{want.rate_mts} MT/s", found=f"{device.rated_mts} MT/s")


def module_like(board: Board, device: InventorySlot, likely: Sequence[Module]) -> Module | None:
    """The module type of a device: by its label, a likely one that nothing contradicts, or the only usual one.

    ``None`` where more than one type fits or none does.
    """
    if device.label:
        try:
            return parse_label(device.label, usual=board.modules)
        except InputError:
            return None
    for module in likely:
        if not any(differences_between(module, device)):
            return module
    fitting = [
        module
        for module in board.modules
        if not any(differences_between(module, device)) and (device.rated_mts or 0) <= module.rate_mts + 1
    ]
    return fitting[0] if len(fitting) == 1 else None


# -- the whole -----------------------------------------------------------------------------------------------------


def _with_places(board: Board, answers: Sequence[SlotAnswer], planned: Placement) -> Iterator[SlotAnswer]:
    """Mark pairs of slots: two that hold each other's module, and an empty one whose module is in another."""
    held = in_types_of(board, {answer.slot: answer.module for answer in answers}, planned.types)
    told = _swapped(answers, held, planned.content) | _misplaced(board, answers, held, planned.content)
    for answer in answers:
        its = told.get(answer.slot)
        yield replace(answer, differences=(its, *answer.differences)) if its else answer


def _swapped(
    answers: Sequence[SlotAnswer], held: Mapping[str, Module | None], wanted: Mapping[str, Module | None]
) -> dict[str, Difference]:
    told: dict[str, Difference] = {}
    filled = [answer for answer in answers if answer.answer == "different" and answer.module and wanted[answer.slot]]
    for index, one in enumerate(filled):
        for other in filled[index + 1 :]:
            free = one.slot not in told and other.slot not in told
            if free and held[one.slot] == wanted[other.slot] and held[other.slot] == wanted[one.slot]:
                told[one.slot] = Difference(kind="swapped", other=other.slot)
                told[other.slot] = Difference(kind="swapped", other=one.slot)
    return told


def _misplaced(
    board: Board,
    answers: Sequence[SlotAnswer],
    held: Mapping[str, Module | None],
    wanted: Mapping[str, Module | None],
) -> dict[str, Difference]:
    """Empty slots whose module is in a slot planned empty: the nearest by channel, then socket, then board order."""
    told: dict[str, Difference] = {}
    channel_of = board.channel_of
    for answer in answers:
        want = wanted[answer.slot]
        if answer.module or not answer.known or want is None:
            continue
        here = channel_of[answer.slot]
        others = [
            other.slot
            for other in answers
            if held[other.slot] == want and wanted[other.slot] is None and other.slot not in told
        ]
        nearest = min(
            others,
            key=lambda slot: (
                channel_of[slot] != here,
                channel_of[slot].socket != here.socket,
                board.slots.index(slot),
            ),
            default=None,
        )
        if nearest is not None:
            told[answer.slot] = Difference(kind="elsewhere", planned=want.label, other=nearest)
            told[nearest] = Difference(kind="misplaced", found=want.label, other=answer.slot)
    return told


def _configured(found: Inventory, matching: Matching) -> dict[str, int]:
    """Configured rate of each filled slot that says one."""
    devices = {slot: found.slots[index] for slot, index in matching.index_of.items()}
    return {slot: d.configured_mts for slot, d in devices.items() if d.state == "filled" and d.configured_mts}


def _suspect(
    board: Board,
    answers: Sequence[SlotAnswer],
    planned: Placement | None,
    configured: Mapping[str, int],
    figures: PlacementFigures | None,
) -> Suspect | None:
    """The fault to look for first: the plainest that explains what differs."""
    by_kind: dict[str, list[SlotAnswer]] = {}
    for answer in answers:
        for difference in answer.differences[:1]:
            by_kind.setdefault(difference.kind, []).append(answer)
    happened = _what_happened(by_kind, answers, planned)
    if happened is not None:
        return happened
    if "empty" in by_kind:
        return _about_empty(board, by_kind["empty"], planned)
    for kind in ("generation", "size", "kind", "rank", "width", "rate", "extra"):
        for first in by_kind.get(kind, ())[:1]:
            fault: Fault = "extra" if kind == "extra" else "wrong-module"
            its = first.differences[0]
            return Suspect(fault=fault, slots=(first.slot,), found=its.found, expected=its.planned)
    slow = _slow(configured, figures)
    if slow is not None:
        return slow
    unsure = [answer.slot for answer in answers if answer.answer == "cannot-tell"]
    return Suspect(fault="cannot-tell", slots=tuple(unsure)) if unsure else None


MOST_LOOSE = 2
"""More missing modules than this are not taken for badly seated ones."""


def _what_happened(
    by_kind: Mapping[str, Sequence[SlotAnswer]], answers: Sequence[SlotAnswer], planned: Placement | None
) -> Suspect | None:
    """One module in the wrong slot, two exchanged, another plan, an upgrade that is not done, or half of it is."""
    if planned is None:
        return None
    pairs = [*by_kind.get("swapped", ())[::2], *by_kind.get("elsewhere", ())]
    others = sum(map(len, by_kind.values())) - 2 * len(pairs)
    unsure = len(by_kind.get("not-said", ())) + len(by_kind.get("not-listed", ())) + len(by_kind.get("hold", ()))
    if pairs and others == unsure:
        first, difference = pairs[0], pairs[0].differences[0]
        if len(pairs) > 1:
            return Suspect(fault="another-plan", slots=tuple(each.slot for each in pairs), found=str(len(pairs)))
        fault: Fault = "swapped" if difference.kind == "swapped" else "misplaced"
        return Suspect(fault=fault, slots=(first.slot, difference.other))
    wanted = Counter(module for _, module in planned.slots if module)
    held = Counter(answer.module for answer in answers if answer.module)
    missing = wanted - held
    odd = [a for a in answers if a.answer == "different" and (not a.known or (a.module and a.module not in wanted))]
    if len(odd) <= MOST_LOOSE or not missing:
        return None
    fresh = sum(held[module] for module in missing)
    slots = tuple(answer.slot for answer in odd)
    wanting = f"{fresh} of {sum(wanted[module] for module in missing)}"
    return Suspect(fault="half-done" if fresh else "not-upgraded", slots=slots, found=str(len(odd)), expected=wanting)


def _about_empty(board: Board, empty: Sequence[SlotAnswer], planned: Placement | None) -> Suspect:
    """Missing modules: a whole socket, a whole channel, or one that is not seated."""
    missing = {answer.slot for answer in empty}
    wanted = {slot for slot, module in planned.slots if module} if planned else set()
    places: list[tuple[Fault, str, tuple[str, ...]]] = [("socket", each.id, each.slots) for each in board.sockets]
    places += [("channel", each.name, each.slots) for each in board.channels]
    for fault, name, slots in places:
        if len(wanted.intersection(slots)) > 1 and wanted.intersection(slots) <= missing:
            return Suspect(fault=fault, slots=tuple(slot for slot in slots if slot in missing), found=name)
    first = empty[0]
    if len(empty) > MOST_LOOSE:
        return Suspect(fault="missing", slots=tuple(answer.slot for answer in empty), found=str(len(empty)))
    return Suspect(fault="not-seated", slots=(first.slot,), expected=first.differences[0].planned)


def _slow(configured: Mapping[str, int], figures: PlacementFigures | None) -> Suspect | None:
    """A configured rate below the planned one: the machine runs slower than it should."""
    if figures is None or not configured:
        return None
    rate, count = Counter(configured.values()).most_common(1)[0]
    if rate < figures.rate_mts - 1:
        slots = tuple(slot for slot, each in configured.items() if each == rate)
        return Suspect(fault="slow", slots=slots[:count], found=f"{rate} MT/s", expected=f"{figures.rate_mts} MT/s")
    return None
