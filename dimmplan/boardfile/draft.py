"""A first board file from what a machine says of itself: every guess marked, and a list of what a person must see to.

The draft passes the check at once and can be planned on; its trust is ``drafted``, and every sheet says so loudly.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.match import folded, place_of
from dimmplan.model.found import Found, FoundSlot
from dimmplan.model.label import VOLTAGES_MV, LabelParts, format_label, parse_label
from dimmplan.model.module import DIE_GBIT, RATES_MTS, Generation, Kind, Module
from dimmplan.units import cleaned

MOST_SLOTS = 256
MOST_SOCKETS = 16
_CHANNEL_COUNTS = {
    Generation.DDR3: (4, 3, 2, 1),
    Generation.DDR4: (8, 6, 4, 2, 1),
    Generation.DDR5: (12, 8, 6, 4, 2, 1),
}
"""Channels of a socket that a machine of that generation usually has, most first (common practice, no source)."""

_BY_LIKELIHOOD = (Generation.DDR4, Generation.DDR5, Generation.DDR3)
_WAYS = (1, 2, 3, 4, 6, 8, 10, 12)
_FALLBACK = {
    Generation.DDR3: "8GB 2Rx4 PC3-12800R",
    Generation.DDR4: "32GB 2Rx4 PC4-2933Y-R",
    Generation.DDR5: "32GB 2Rx8 PC5-4800B-R",
}
_PITCH_MM, _LENGTH_MM, _SOCKET_MM, _GAP_MM = 10.0, 142.0, 76.0, 24.0
_ROW = 32


@dataclass(frozen=True, kw_only=True, slots=True)
class Draft:
    """The text of a board file, and what its author must still see to."""

    text: str
    to_do: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Channel:
    name: str
    slots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Socket:
    name: str
    channels: tuple[_Channel, ...]

    @property
    def slots(self) -> list[str]:
        return [slot for channel in self.channels for slot in channel.slots]


def draft_board(found: Found, *, board_id: str, title: str) -> Draft:
    """Draft a board file. Raises ``InputError`` where the inventory lists no place for memory."""
    memory = found.memory
    if not 0 < len(memory) <= MOST_SLOTS:
        number = f"{len(memory)} memory slots"
        raise InputError(Problem(file="inventory", place="", found=number, allowed=f"1 to {MOST_SLOTS} of them"))
    to_do: list[str] = []
    generation = _generation(memory, to_do)
    names = _names(memory)
    sockets = _filled_first(_sockets(found, memory, names, generation, to_do), memory, names, to_do)
    labels = _labels(memory, generation, to_do)
    rates = _rates(memory, generation)
    kinds = sorted({_kind(slot) for slot in memory if slot.state == "filled"} or {Kind.RDIMM})
    to_do += [
        "interleave: which sets of channels work together; the draft guesses any",
        "rules: what may be mixed, ranks on a channel, capacity ceiling, sockets that may be fitted",
        "rates: MT/s for each number of modules on a channel",
        "physical: the drawing is schematic and not to scale; measure the places, add landmarks and access steps",
    ]
    lines = [
        "# Drafted from a machine's inventory. GUESS marks what the machine does not say.",
        *(f"# To do: {item}" for item in to_do),
        "format = 1",
        f"id = {_quoted(board_id)}",
        f"title = {_quoted(title)}",
        'trust = "drafted"',
        f"modules = {_array(labels)}",
        "",
        "[electrical]",
        f"generation = {_quoted(generation.value)}",
        f"rates_mts = [{', '.join(map(str, rates))}]",
        *_electrical(sockets),
        *_aliases(memory, names),
        *_rules(sockets, kinds, rates, _seen_rates(memory, names, sockets, rates)),
        *_physical(sockets),
    ]
    return Draft(text="\n".join(lines) + "\n", to_do=tuple(to_do))


# -- what the machine says -----------------------------------------------------------------------------------------


def _generation(memory: Sequence[FoundSlot], to_do: list[str]) -> Generation:
    seen = [slot.generation for slot in memory if slot.generation]
    if seen:
        return max(set(seen), key=lambda each: (seen.count(each), each.value))
    said = max(_rates_said(memory), default=0)
    fitting = (each for each in _BY_LIKELIHOOD if RATES_MTS[each][0] <= said <= RATES_MTS[each][-1])
    guess = next(fitting, None)
    by = "DDR4" if guess is None else f"{guess} by the rates"
    to_do.append(f"generation: no module says one; the draft guesses {by}")
    return guess or Generation.DDR4


def _rates_said(memory: Sequence[FoundSlot]) -> list[int]:
    return [rate for slot in memory for rate in (slot.rated_mts, slot.configured_mts) if rate]


def _names(memory: Sequence[FoundSlot]) -> list[str]:
    """A slot name for each device: its locator, with its bank or a number where that is not enough."""
    found: list[str] = []
    seen: set[str] = set()
    locators = [folded(slot.locator) for slot in memory]
    for number, slot in enumerate(memory, start=1):
        base = slot.locator if locators.count(folded(slot.locator)) == 1 else f"{slot.bank} {slot.locator}"
        name = _allowed(base) or f"slot-{number}"
        if folded(name) in seen or "".join(name.split()).casefold() in seen:
            name = f"{name[:30]} #{number}"
        seen |= {folded(name), "".join(name.split()).casefold()}
        found.append(name)
    return found


def _allowed(text: str) -> str:
    """Text as a name that the check accepts."""
    plain = re.sub(r"[=,;{}]", " ", cleaned(text, most=60))
    return re.sub(r"\s+", " ", plain).strip()[:36].strip()


def _sockets(
    found: Found, memory: Sequence[FoundSlot], names: Sequence[str], generation: Generation, to_do: list[str]
) -> list[_Socket]:
    """Sockets and channels: as locators say, or guessed from the numbers of processors and slots."""
    places = [place_of(slot) for slot in memory]
    known = [place for place in places if place is not None]
    if len(known) == len(memory) and len(set(known)) == len(known):
        groups: dict[int, dict[str, list[tuple[int, str]]]] = {}
        for place, name in zip(known, names, strict=True):
            groups.setdefault(place.socket, {}).setdefault(place.channel, []).append((place.slot, name))
        shallow = all(len(slots) <= 4 for channels in groups.values() for slots in channels.values())
        seated = sum(processor.state != "empty" for processor in found.processors)
        if shallow and len(groups) <= min(MOST_SOCKETS, max(seated, len(found.processors)) or MOST_SOCKETS):
            return [
                _Socket(
                    f"S{number}",
                    tuple(
                        _Channel(_allowed(letter), tuple(name for _, name in sorted(slots)))
                        for letter, slots in sorted(groups[key].items())
                    ),
                )
                for number, key in enumerate(sorted(groups), start=1)
            ]
    count = max(1, found.processors_said or 0, sum(p.state != "empty" for p in found.processors))
    count = count if len(names) % count == 0 and count <= MOST_SOCKETS else 1
    size = len(names) // count
    per_channel = _slots_per_channel(size, generation)
    guess = "neighbours" if per_channel > 1 else "one slot on each"
    to_do.append(f"channels: the machine does not say which slots share a channel; the draft guesses {guess}")
    sockets = []
    for number in range(count):
        mine = names[number * size : (number + 1) * size]
        channels = [
            _Channel(f"C{index + 1}", tuple(mine[place : place + per_channel]))
            for index, place in enumerate(range(0, size, per_channel))
        ]
        sockets.append(_Socket(f"S{number + 1}", tuple(channels)))
    return sockets


def _filled_first(
    sockets: list[_Socket], memory: Sequence[FoundSlot], names: Sequence[str], to_do: list[str]
) -> list[_Socket]:
    """Channels in the fill order that the machine shows: by number, or backwards where only that leaves no gap."""
    filled = {name for slot, name in zip(memory, names, strict=True) if slot.state == "filled"}
    channels = [channel.slots for socket in sockets for channel in socket.channels]
    if max(map(len, channels)) == 1:
        return sockets
    forwards = any(_has_gap(slots, filled) for slots in channels)
    backwards = any(_has_gap(slots[::-1], filled) for slots in channels)
    if forwards == backwards:
        to_do.append("fill order: slots of a channel stand in the order of their numbers; the first may be the other")
        return sockets
    to_do.append("fill order: slots of a channel stand so that those seen filled come first")
    if backwards:
        return sockets
    return [
        _Socket(socket.name, tuple(_Channel(channel.name, channel.slots[::-1]) for channel in socket.channels))
        for socket in sockets
    ]


def _has_gap(slots: Sequence[str], filled: Collection[str]) -> bool:
    """True where a slot is filled behind an empty one."""
    is_filled = [slot in filled for slot in slots]
    return is_filled != sorted(is_filled, reverse=True)


def _slots_per_channel(slots: int, generation: Generation) -> int:
    for channels in _CHANNEL_COUNTS[generation]:
        if slots % channels == 0 and slots // channels <= 3:
            return slots // channels
    return 1


def _kind(slot: FoundSlot) -> Kind:
    return slot.kind if slot.kind not in (None, Kind.OTHER) else Kind.RDIMM


def _rates(memory: Sequence[FoundSlot], generation: Generation) -> list[int]:
    """Standard rates up to the fastest that the machine speaks of."""
    said = _rates_said(memory)
    standard = RATES_MTS[generation]
    top = max((rate for rate in standard if said and rate <= max(said) + 1), default=standard[len(standard) // 2])
    return [rate for rate in standard if rate <= top][-4:]


def _labels(memory: Sequence[FoundSlot], generation: Generation, to_do: list[str]) -> list[str]:
    """Usual modules: those seen, as labels; width and ranks are guessed where they are not said."""
    labels: dict[Module, str] = {}
    guessed: set[str] = set()
    for slot in memory:
        if slot.state != "filled" or slot.generation not in (None, generation):
            continue
        said = slot.label if slot.kind is not Kind.OTHER else None
        label = said or _label_of(slot, generation)
        if label and said is None:
            guessed |= _not_said(slot)
        if label:
            labels.setdefault(parse_label(label), label)
    told = [what for what in ("kind", "ranks", "device width") if what in guessed]
    if told:
        to_do.append(f"modules: not said by the machine: {', '.join(told)}; read the labels")
    if not labels:
        to_do.append("modules: none could be told; the draft guesses a common one")
        return [_FALLBACK[generation]]
    return list(labels.values())[:16]


def _not_said(slot: FoundSlot) -> set[str]:
    """What a label says and the machine does not."""
    said = {
        "kind": slot.kind not in (None, Kind.OTHER),
        "ranks": bool(slot.ranks_said),
        "device width": bool(slot.device_width),
    }
    return {what for what, is_said in said.items() if not is_said}


def _label_of(slot: FoundSlot, generation: Generation) -> str | None:
    """A label that what a device says can stand for: the widest dies first that exist."""
    gib = slot.capacity_gib
    if not gib:
        return None
    rates = RATES_MTS[generation]
    rate = max(
        (each for each in rates if slot.rated_mts and each <= slot.rated_mts + 1), default=rates[len(rates) // 2]
    )
    kind = _kind(slot)
    for ranks in [slot.ranks_said] if slot.ranks_said in (1, 2, 4, 8) else [2, 1, 4]:
        for width in [slot.device_width] if slot.device_width else [4, 8, 16]:
            if Fraction(gib * 8 * width, 64 * int(ranks or 1)) in DIE_GBIT[generation]:
                parts = LabelParts(
                    generation=generation,
                    capacity_gib=gib,
                    kind=Kind.RDIMM if kind is Kind.RDIMM_3DS else kind,
                    package_ranks=int(ranks or 1),
                    logical_ranks=int(ranks or 1),
                    stack="",
                    device_width=width,
                    ecc_bits=None,
                    rate_mts=rate,
                    speed_bin="",
                    voltage_mv=VOLTAGES_MV[generation][""],
                )
                return format_label(parts)
    return None


# -- the file ------------------------------------------------------------------------------------------------------


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=True)


def _array(texts: Iterable[str]) -> str:
    return f"[{', '.join(_quoted(text) for text in texts)}]"


def _electrical(sockets: Sequence[_Socket]) -> list[str]:
    lines: list[str] = []
    for socket in sockets:
        lines += ["", "[[electrical.sockets]]", f"id = {_quoted(socket.name)}", ""]
        lines += ["# GUESS: one controller for all channels of a socket", "[electrical.sockets.controllers.M1]"]
        lines += [f"{_quoted(channel.name)} = {_array(channel.slots)}" for channel in socket.channels]
    most = max(len(socket.channels) for socket in sockets)
    ways = [number for number in _WAYS if number <= most]
    return [
        *lines,
        "",
        "# GUESS: any channels may work together",
        "[electrical.interleave]",
        'style = "any"',
        f"ways = [{', '.join(map(str, ways))}]",
        'source = "MEMORY"',
    ]


def _aliases(memory: Sequence[FoundSlot], names: Sequence[str]) -> list[str]:
    """Locators that the slot names do not spell out themselves."""
    lines = []
    for slot, name in zip(memory, names, strict=True):
        words = _allowed(f"{slot.bank} {slot.locator}")
        if words and folded(words) not in (folded(name), folded(slot.locator)):
            lines.append(f"{_quoted(name)} = {_array([words])}")
    spelled = [line.partition(" = ")[2] for line in lines]
    unique = [line for line, words in zip(lines, spelled, strict=True) if spelled.count(words) == 1]
    return ["", "[electrical.aliases]", *unique] if unique else []


def _seen_rates(
    memory: Sequence[FoundSlot], names: Sequence[str], sockets: Sequence[_Socket], rates: Sequence[int]
) -> dict[int, int]:
    """The rate that channels with so many modules are seen to run at, where the machine says it."""
    device = dict(zip(names, memory, strict=True))
    seen: dict[int, int] = {}
    for channel in (channel for socket in sockets for channel in socket.channels):
        filled = [device[slot] for slot in channel.slots if device[slot].state == "filled"]
        running = [slot.configured_mts for slot in filled if slot.configured_mts]
        listed = [rate for rate in rates if running and rate <= max(running) + 1]
        if listed:
            seen[len(filled)] = max(seen.get(len(filled), 0), listed[-1])
    return seen


def _rules(
    sockets: Sequence[_Socket], kinds: Sequence[Kind], rates: Sequence[int], seen: Mapping[int, int]
) -> list[str]:
    lines = ["", "[[rules]]", 'id = "kinds-seen"', 'check = "accept"', 'field = "kind"']
    lines += [f"values = {_array(kind.value for kind in kinds)}", 'source = "MEMORY"']
    factors = sorted({"SO-DIMM" if "SO-DIMM" in kind.value else "DIMM" for kind in kinds})
    if factors != ["DIMM"]:
        lines += ["", "[[rules]]", 'id = "form-factors-seen"', 'check = "accept"', 'field = "form_factor"']
        lines += [f"values = {_array(factors)}", 'source = "MEMORY"']
    deepest = max(len(channel.slots) for socket in sockets for channel in socket.channels)
    rate = rates[-1]
    for dpc in range(1, deepest + 1):
        rate = seen.get(dpc, rate)
        guess = "the fastest rate spoken of" if dpc == 1 else "as with fewer modules on a channel"
        lines += ["", "# seen running at this rate" if dpc in seen else f"# GUESS: {guess}"]
        lines += ["[[rates]]", f'id = "{dpc}-on-a-channel"', f"dpc = {dpc}", f"mts = {rate}", 'source = "MEMORY"']
    return lines


def _physical(sockets: Sequence[_Socket]) -> list[str]:
    """A schematic: two sockets beside each other, half of a socket's slots left of it, the rest right of it."""
    boxes: list[str] = []
    rows: list[str] = []
    width = 0.0
    for index, socket in enumerate(sockets):
        x = _GAP_MM if index % 2 == 0 else width
        middle = (index // 2) * (_LENGTH_MM + 60) + 40 + _LENGTH_MM / 2
        half = (len(socket.slots) + 1) // 2
        rows += _row(socket.slots[:half], x, middle)
        x += half * _PITCH_MM
        boxes.append(f"{_quoted(socket.name)} = {{ at_mm = [{x:g}, {middle - 40:g}], size_mm = [{_SOCKET_MM:g}, 80] }}")
        x += _SOCKET_MM + _PITCH_MM
        rows += _row(socket.slots[half:], x, middle)
        width = max(width, x + (len(socket.slots) - half) * _PITCH_MM + _GAP_MM)
    depth = (len(sockets) + 1) // 2 * (_LENGTH_MM + 60) + 40
    size = [f"width_mm = {width:g}", f"depth_mm = {depth:g}", "to_scale = false", "access = []"]
    return ["", "# GUESS: a schematic, not to scale", "[physical]", *size, "", "[physical.sockets]", *boxes, *rows]


def _row(slots: Sequence[str], x: float, middle: float) -> list[str]:
    lines: list[str] = []
    for first in range(0, len(slots), _ROW):
        start = f"start_mm = [{x + _PITCH_MM * (first + 0.5):g}, {middle:g}]"
        row = f"slots = {_array(slots[first : first + _ROW])}"
        lines += ["", "[[physical.rows]]", row, start, f"pitch_mm = {_PITCH_MM:g}"]
    return lines
