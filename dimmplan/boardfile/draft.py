"""A first board file from what a machine says of itself: every guess marked, asked, and kept until it is answered.

The draft passes the check at once and can be planned on; its trust is ``drafted``, and every sheet says so loudly.
Open guesses stand in the table ``[guesses]`` of the file and are findings of every plan, sheet and audit on that board.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from dimmplan.boardfile.draft_sockets import MOST_SOCKETS, Guess, Questions
from dimmplan.boardfile.draft_wiring import WiredChannel, WiredSocket, wire
from dimmplan.boardfile.expand import schematic, usual_ways
from dimmplan.errors import InputError, Problem
from dimmplan.inventory.match import folded
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.label import VOLTAGES_MV, LabelParts, format_label, parse_label, usual_width
from dimmplan.model.module import RATES_MTS, Generation, Kind, Module
from dimmplan.units import cleaned

MOST_SLOTS = 256
_BY_LIKELIHOOD = (Generation.DDR4, Generation.DDR5, Generation.DDR3)
_FALLBACK = {
    Generation.DDR3: "8GB 2Rx4 PC3-12800R",
    Generation.DDR4: "32GB 2Rx4 PC4-2933Y-R",
    Generation.DDR5: "32GB 2Rx8 PC5-4800B-R",
}
_SAYS_NOTHING = frozenset(("", "unknown", "other", "dram", "ram", "edram", "reserved", "out of spec"))
_INCOMPLETE = ("empty-unlisted", "listing-cut", "array-count", "member-missing", "more-pages", "table-cut")
"""Oddities of an inventory that may leave slots out."""
_VIRTUAL = ("virtual-machine", "phantom-slots")
_TO_DO = (
    "rules: what may be mixed, ranks on a channel, capacity ceiling, sockets that may be fitted",
    "rates: MT/s for each number of modules on a channel",
    "physical: the drawing is schematic and not to scale; measure the places, add landmarks and access steps",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Draft:
    """The text of a board file, its open guesses, and what its author must still see to.

    ``fitted`` names the sockets whose processors are seated, where the machine says that others are not.
    """

    text: str
    guesses: tuple[Guess, ...]
    to_do: tuple[str, ...]
    fitted: tuple[str, ...] = ()


def draft_board(found: Inventory, *, board_id: str, title: str, answers: Mapping[str, str] | None = None) -> Draft:
    """Draft a board file. ``answers`` maps what a guess is about to one of its candidates.

    Raises ``InputError`` where the inventory lists no place for memory of a generation that is planned here, and for
    an answer to no guess.
    """
    _refuse_unplanned(found)
    return _Drafter(found, Questions(answers or {})).drafted(board_id, title)


class _Drafter:
    """One inventory on its way to a board file."""

    def __init__(self, found: Inventory, questions: Questions) -> None:
        self.found = found
        self.memory = found.memory
        self.questions = questions

    def drafted(self, board_id: str, title: str) -> Draft:
        memory = self.memory
        self._ask_of_slots()
        generation = self._generation()
        names = _names(memory)
        wired = wire(self.found, names, generation, self.questions)
        if len(wired) > MOST_SOCKETS:
            raise InputError(Problem("inventory", found=f"{len(wired)} sockets", allowed=f"at most {MOST_SOCKETS}"))
        sockets = self._in_fill_order(wired, names)
        labels = self._labels(generation)
        style = self._style(sockets)
        self.questions.check_answers()
        rates = _rates(memory, generation)
        kinds = sorted({_kind(slot) for slot in memory if slot.state == "filled"} or {Kind.RDIMM})
        seated = tuple(socket.name for socket in sockets if socket.seated is not False)
        fitted = seated if 0 < len(seated) < len(sockets) else ()
        guesses = self.questions.guesses
        lines = [
            "# Drafted from a machine's inventory. GUESS marks what the machine does not say.",
            *_fitted_lines(sockets, fitted),
            *(line for guess in guesses for line in _guess_lines(guess)),
            *(f"# To do: {item}" for item in _TO_DO),
            "format = 1",
            f"id = {_quoted(board_id)}",
            f"title = {_quoted(title)}",
            'trust = "drafted"',
            f"modules = {_array(labels)}",
            *_guess_table(guesses),
            "",
            "[electrical]",
            f"generation = {_quoted(generation.value)}",
            f"rates_mts = [{', '.join(map(str, rates))}]",
            *_electrical(sockets, names, style),
            *_aliases(memory, names),
            *_rules(sockets, kinds, rates, _seen_rates(memory, sockets, rates)),
            *_physical(sockets, names),
        ]
        to_do = (*(f"{guess.about}: {guess.text}" for guess in guesses), *_TO_DO)
        return Draft(text="\n".join(lines) + "\n", guesses=guesses, to_do=to_do, fitted=fitted)

    def _ask_of_slots(self) -> None:
        """Whether these are all slots, where the inventory may leave some out; one that it lists is never dropped."""
        odd = {each.oddity: each.text for each in self.found.oddities}
        reason = next((odd[oddity] for oddity in _INCOMPLETE if oddity in odd), None)
        if reason:
            self.questions.ask("slots", f"{reason}; add the slots that are missing")

    def _generation(self) -> Generation:
        seen = [slot.generation for slot in self.memory if slot.generation]
        if seen:
            return max(set(seen), key=lambda each: (seen.count(each), each.value))
        rate = max(_rates_said(self.memory), default=0)
        fitting = next((each for each in _BY_LIKELIHOOD if RATES_MTS[each][0] <= rate <= RATES_MTS[each][-1]), None)
        guess = fitting or Generation.DDR4
        by = f"the draft guesses {guess}" + (" by the rates" if fitting else "")
        layouts = {each.value: f"{each} modules" for each in (guess, *(g for g in _BY_LIKELIHOOD if g is not guess))}
        return Generation(self.questions.ask("generation", f"no module says one; {by}", layouts))

    def _in_fill_order(self, sockets: tuple[WiredSocket, ...], names: Sequence[str]) -> tuple[WiredSocket, ...]:
        """Channels in the fill order that the machine shows: by number, or backwards where only that leaves no gap."""
        filled = {index for index, slot in enumerate(self.memory) if slot.state == "filled"}
        channels = [channel.slots for socket in sockets for channel in socket.channels]
        deepest = max(channels, key=len)
        if len(deepest) == 1:
            return sockets
        forwards = any(_has_gap(slots, filled) for slots in channels)
        backwards = any(_has_gap(slots[::-1], filled) for slots in channels)
        drawn = [names[index] for index in deepest]
        layouts = {"by-number": " then ".join(drawn), "backwards": " then ".join(drawn[::-1])}
        if forwards and not backwards:
            layouts = dict(reversed(layouts.items()))
        text = "slots of a channel stand in the order of their numbers; the first to fill may be the other end"
        if forwards != backwards:
            text = "slots of a channel stand so that those seen filled come first"
        if self.questions.ask("fill-order", text, layouts) == "by-number":
            return sockets
        return tuple(
            replace(socket, channels=tuple(replace(each, slots=each.slots[::-1]) for each in socket.channels))
            for socket in sockets
        )

    def _labels(self, generation: Generation) -> list[str]:
        """Usual modules: those seen, as labels. What is not said is guessed, a device width is left open (``x?``)."""
        labels: dict[Module, str] = {}
        guessed: set[str] = set()
        for slot in self.memory:
            if slot.state != "filled" or slot.generation not in (None, generation):
                continue
            own = slot.label if slot.kind is not Kind.OTHER else None
            label = own or _label_of(slot, generation)
            if label and own is None:
                guessed |= _not_said(slot)
            if label:
                labels.setdefault(parse_label(label), label)
        if not labels:
            self.questions.ask("modules", "none could be told; the draft guesses a common one")
            return [_FALLBACK[generation]]
        told = [what for what in ("kind", "ranks") if what in guessed]
        if told:
            self.questions.ask(
                "modules", f"the machine does not say {' and '.join(told)}; read the labels of the modules"
            )
        if "device width" in guessed:
            text = "x? marks a width that is not known; the usual one of that size is reckoned with; read the labels"
            self.questions.ask("width", text)
        return list(labels.values())[:16]

    def _style(self, sockets: Sequence[WiredSocket]) -> str:
        """How channels may work together: evenly over the controllers that the machine names, or any."""
        named = [len({channel.controller for channel in socket.channels}) for socket in sockets]
        even = {"even": "as many channels on each controller"} if max(named) > 1 else {}
        text = "the machine does not say which channels work together"
        return self.questions.ask("interleave", text, even | {"any": "any channels, in usual numbers"})


def _refuse_unplanned(found: Inventory) -> None:
    """Refuse virtual machines, those without memory slots, and memory of a generation that is not planned here."""
    memory = found.memory
    if any(each.oddity in _VIRTUAL for each in found.oddities):
        what = "a virtual machine, whose slots are no places in a chassis"
        raise InputError(Problem(file="inventory", found=what, allowed="the inventory of the machine it runs on"))
    filled = [slot for slot in memory if slot.state == "filled"]
    others = [slot for slot in found.slots if not slot.counts and slot.role == "soldered"]
    words = sorted({word for slot in filled or others if (word := _foreign(slot))})
    planned = ", ".join(generation.value for generation in Generation)
    if words and not any(slot.generation for slot in filled):
        number = f"{', '.join(words)} memory, which is not planned here"
        raise InputError(Problem(file="inventory", found=number, allowed=f"slots of {planned} modules"))
    if not 0 < len(memory) <= MOST_SLOTS:
        number = f"{len(memory)} memory slots"
        raise InputError(Problem(file="inventory", found=number, allowed=f"1 to {MOST_SLOTS} of them"))


def _foreign(slot: InventorySlot) -> str:
    """The word for a memory type that is not planned here; empty where none is said.

    Firmware writes SDRAM for anything; with a rate of a later generation beside it the word says nothing.
    """
    if slot.generation is not None:
        return ""
    word = slot.memory_type or ""
    if word.casefold() in _SAYS_NOTHING:
        return ""
    fastest = max((rate for rate in (slot.rated_mts, slot.configured_mts) if rate), default=0)
    return "" if word.casefold() == "sdram" and fastest >= RATES_MTS[Generation.DDR3][0] else word


# -- what the machine says -----------------------------------------------------------------------------------------


def _rates_said(memory: Sequence[InventorySlot]) -> list[int]:
    return [rate for slot in memory for rate in (slot.rated_mts, slot.configured_mts) if rate]


def _names(memory: Sequence[InventorySlot]) -> list[str]:
    """A slot name for each device: its locator, with its bank or a number where that is not enough.

    Of a path (``Main Board/CPU 0 DIMM A1``) the end is the name where that is enough; the whole stays an alias.
    """
    found: list[str] = []
    seen: set[str] = set()
    written = [slot.locator for slot in memory]
    ends = [locator.rpartition("/")[2] for locator in written]
    written = ends if all(ends) and len(set(map(folded, ends))) == len(ends) else written
    locators = [folded(locator) for locator in written]
    for number, (slot, locator) in enumerate(zip(memory, written, strict=True), start=1):
        base = locator if locators.count(folded(locator)) == 1 else f"{slot.bank} {locator}"
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


def _has_gap(slots: Sequence[int], filled: Collection[int]) -> bool:
    """True where a slot is filled behind an empty one."""
    is_filled = [slot in filled for slot in slots]
    return is_filled != sorted(is_filled, reverse=True)


def _kind(slot: InventorySlot) -> Kind:
    return slot.kind if slot.kind not in (None, Kind.OTHER) else Kind.RDIMM


def _rates(memory: Sequence[InventorySlot], generation: Generation) -> list[int]:
    """Standard rates up to the fastest that the machine speaks of."""
    rates = _rates_said(memory)
    standard = RATES_MTS[generation]
    top = max((rate for rate in standard if rates and rate <= max(rates) + 1), default=standard[len(standard) // 2])
    return [rate for rate in standard if rate <= top][-4:]


def _not_said(slot: InventorySlot) -> set[str]:
    """What a label says and the machine does not."""
    known = {
        "kind": slot.kind not in (None, Kind.OTHER),
        "ranks": bool(slot.ranks_said),
        "device width": bool(slot.device_width),
    }
    return {what for what, is_known in known.items() if not is_known}


def _label_of(slot: InventorySlot, generation: Generation) -> str | None:
    """A label that what a device says can stand for; its width stays open where the device does not say it."""
    gib = slot.capacity_gib
    if not gib:
        return None
    rates = RATES_MTS[generation]
    rate = max(
        (each for each in rates if slot.rated_mts and each <= slot.rated_mts + 1), default=rates[len(rates) // 2]
    )
    usual = usual_width(generation, gib, slot.ranks_said if slot.ranks_said in (1, 2, 4, 8) else None)
    if usual is None:
        return None
    package_ranks, width = usual
    parts = LabelParts(
        generation=generation,
        capacity_gib=gib,
        kind=_kind(slot).unstacked,
        package_ranks=package_ranks,
        logical_ranks=package_ranks,
        stack="",
        device_width=slot.device_width or width,
        ecc_bits=None,
        rate_mts=rate,
        speed_bin="",
        voltage_mv=VOLTAGES_MV[generation][""],
        width_known=slot.device_width is not None,
    )
    return format_label(parts)


# -- the file ------------------------------------------------------------------------------------------------------


def _quoted(text: str) -> str:
    """A TOML text that a board may hold: any letter as it is, what cannot be printed as its escape in plain words."""
    return json.dumps(cleaned(text, most=10_000), ensure_ascii=False)


def _array(texts: Iterable[str]) -> str:
    return f"[{', '.join(_quoted(text) for text in texts)}]"


def _fitted_lines(sockets: Sequence[WiredSocket], fitted: Sequence[str]) -> list[str]:
    absent = [socket.name for socket in sockets if socket.name not in fitted]
    if not fitted:
        return []
    return [f"# No processor in {', '.join(absent)}: plan with --fitted {','.join(fitted)}"]


def _guess_lines(guess: Guess) -> list[str]:
    """A guess as a question in the file, its candidate layouts below it."""
    lines = [f"# To do: {guess.about}: {guess.text}"]
    if guess.layouts:
        width = max(map(len, guess.layouts)) + 2
        mark = {guess.chosen: "drafted"}
        lines += [f"#   {name:<{width}}{drawn}  {mark.get(name, '')}".rstrip() for name, drawn in guess.layouts.items()]
    return lines


def _guess_table(guesses: Sequence[Guess]) -> list[str]:
    if not guesses:
        return []
    lines = [
        "",
        "# Open guesses: delete a line when you have seen to it. Until then every plan and sheet tells it.",
        "[guesses]",
    ]
    return [*lines, *(f"{guess.about} = {_quoted(guess.text[:400])}" for guess in guesses)]


def _electrical(sockets: Sequence[WiredSocket], names: Sequence[str], style: str) -> list[str]:
    lines: list[str] = []
    for socket in sockets:
        controllers: dict[str, list[WiredChannel]] = {}
        for channel in socket.channels:
            controllers.setdefault(channel.controller, []).append(channel)
        lines += ["", "[[electrical.sockets]]", f"id = {_quoted(socket.name)}"]
        if len(controllers) == 1:
            lines += ["", "# GUESS: one controller for all channels of a socket"]
        for name, channels in sorted(controllers.items()):
            lines += [*([""] if len(controllers) > 1 else []), f"[electrical.sockets.controllers.{name}]"]
            lines += [
                f"{_quoted(channel.name)} = {_array(names[index] for index in channel.slots)}" for channel in channels
            ]
    ways = usual_ways([[*Counter(each.controller for each in socket.channels).values()] for socket in sockets], style)
    return [
        *lines,
        "",
        f"# GUESS: {'as many channels on each controller' if style == 'even' else 'any channels may work together'}",
        "[electrical.interleave]",
        f"style = {_quoted(style)}",
        f"ways = [{', '.join(map(str, ways))}]",
        'source = "MEMORY"',
    ]


def _aliases(memory: Sequence[InventorySlot], names: Sequence[str]) -> list[str]:
    """Locators that the slot names do not spell out themselves."""
    lines = []
    for slot, name in zip(memory, names, strict=True):
        words = _allowed(f"{slot.bank} {slot.locator}")
        if words and folded(words) != folded(name):
            lines.append(f"{_quoted(name)} = {_array([words])}")
    spelled = [line.partition(" = ")[2] for line in lines]
    unique = [line for line, words in zip(lines, spelled, strict=True) if spelled.count(words) == 1]
    return ["", "[electrical.aliases]", *unique] if unique else []


def _seen_rates(
    memory: Sequence[InventorySlot], sockets: Sequence[WiredSocket], rates: Sequence[int]
) -> dict[int, int]:
    """The rate that channels with so many modules are seen to run at, where the machine says it."""
    seen: dict[int, int] = {}
    for channel in (channel for socket in sockets for channel in socket.channels):
        filled = [memory[index] for index in channel.slots if memory[index].state == "filled"]
        running = [slot.configured_mts for slot in filled if slot.configured_mts]
        listed = [rate for rate in rates if running and rate <= max(running) + 1]
        if listed:
            seen[len(filled)] = max(seen.get(len(filled), 0), listed[-1])
    return seen


def _rules(
    sockets: Sequence[WiredSocket], kinds: Sequence[Kind], rates: Sequence[int], seen: Mapping[int, int]
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


def _physical(sockets: Sequence[WiredSocket], names: Sequence[str]) -> list[str]:
    """The schematic that the tool draws itself, written down so that places can be put right."""
    blocks = [(s.name, [names[index] for channel in s.channels for index in channel.slots], ()) for s in sockets]
    drawn = schematic(blocks)
    lines = ["", "# GUESS: a schematic, not to scale", "[physical]", f"width_mm = {drawn.width_mm:g}"]
    lines += [f"depth_mm = {drawn.depth_mm:g}", "to_scale = false", "access = []", "", "[physical.sockets]"]
    for socket, box in drawn.sockets.items():
        lines.append(f"{_quoted(socket)} = {{ at_mm = {_point(box.at_mm)}, size_mm = {_point(box.size_mm)} }}")
    for row in drawn.rows:
        lines += ["", "[[physical.rows]]", f"slots = {_array(row.slots)}", f"start_mm = {_point(row.start_mm)}"]
        lines += [f"pitch_mm = {row.pitch_mm:g}"]
    return lines


def _point(numbers: Iterable[object]) -> str:
    return f"[{', '.join(f'{number:g}' for number in numbers)}]"
