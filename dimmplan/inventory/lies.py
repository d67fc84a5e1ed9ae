"""Judges what was read, form by form alike: what firmware is known to get wrong becomes an oddity or a state.

The list of lies is that of the ``standards`` sheet, section 3.7, and of real listings. Nothing is repaired by a guess:
a value that can mean two things is taken out, and the raw words stay in ``words``.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from dimmplan.inventory.clean import meaningful
from dimmplan.inventory.oddities import Oddities, slot_name
from dimmplan.model.inventory import InventorySlot
from dimmplan.model.module import RATES_MTS, Generation

NEAR_MTS = 2
"""Rates are thirds of round numbers and written rounded up or down (2933 and 2934, 2666 and 2667)."""

RANK_COUNTS = (1, 2, 4, 8, 16)
LARGEST_DIE_GBIT = {Generation.DDR3: 8, Generation.DDR4: 16, Generation.DDR5: 32}
"""Dies that are made (standards, section 5); SPD contents can code larger ones."""

_MAKER_NUMBER = re.compile(r"(?:0x)?(?=[0-9a-f]*[0-9])[0-9a-f]{4,16}", re.IGNORECASE)
_HEX_TEXT = re.compile(r"(?:[0-9a-f]{2}){8,40}", re.IGNORECASE)


def judge(slots: Sequence[InventorySlot], odd: Oddities) -> tuple[InventorySlot, ...]:
    """The slots with every doubtful value taken out and every doubtful place marked; oddities go to ``odd``."""
    judged = list(slots)
    judge_places(judged, odd)
    _judge_serials(judged, odd)
    checks: tuple[Callable[[Sequence[InventorySlot], int, Oddities], InventorySlot], ...] = (
        *(_judge_capacity, _judge_rated, _judge_configured, _judge_ranks, _judge_widths, _judge_texts),
    )
    for index, slot in enumerate(judged):
        known = slot.state == "filled" or (slot.state == "hold" and slot.capacity_kib is not None)
        if known and slot.counts:
            for check in checks:
                judged[index] = check(judged, index, odd)
    return tuple(judged)


def of_two_machines(slots: Sequence[InventorySlot]) -> tuple[InventorySlot, ...]:
    """The slots of an input that holds more than one machine: none can be told, but for those on hold."""
    why = "the input holds more than one machine: give each its own file"
    return tuple(replace(each, state="cannot-tell", why=why) if each.state != "hold" else each for each in slots)


# --- places -----------------------------------------------------------------------------------------------------------


def judge_places(slots: Sequence[InventorySlot], odd: Oddities) -> None:
    """Note places that cannot be told apart by name (5 % of real listings), or only with their bank.

    This is all that needs judging in a label list, whose labels are checked where they are read.
    """
    by_locator: dict[str, list[int]] = defaultdict(list)
    by_both: dict[tuple[str, str], list[int]] = defaultdict(list)
    for index, slot in enumerate(slots):
        if slot.counts and slot.locator:
            by_locator[slot.locator].append(index)
            by_both[slot.locator, slot.bank].append(index)
    twice = {index for group in by_both.values() if len(group) > 1 for index in group}
    for group in by_both.values():
        if len(group) > 1:
            odd.note("locator-twice", slots[group[0]].name, slots=group)
    for group in by_locator.values():
        if len(group) > 1 and not twice.intersection(group):
            odd.note("locator-needs-bank", slots[group[0]].locator, slots=group)


def _judge_serials(slots: list[InventorySlot], odd: Oddities) -> None:
    """One serial number twice: at one place the same module twice, at two places most likely a copied text."""
    groups: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for index, slot in enumerate(slots):
        if slot.counts and slot.serial and slot.state in ("filled", "hold"):
            groups[slot.serial, slot.maker or "", slot.part_number or ""].append(index)
    for group in groups.values():
        if len(group) < 2:
            continue
        same_place = len({(slots[index].locator, slots[index].bank) for index in group}) == 1
        halves = all(
            slots[index].generation is Generation.DDR5 and slots[index].data_width_bits == 32 for index in group
        )
        if not same_place and not halves:
            odd.note("serial-twice", _names(slots, group), slots=group)
            continue
        odd.note("module-twice", _names(slots, group), slots=group)
        for index in group:
            if slots[index].state == "filled":
                why = "the same module is reported more than once, so its size and place are not certain"
                slots[index] = replace(slots[index], state="cannot-tell", why=why)


def _names(slots: Sequence[InventorySlot], group: Sequence[int]) -> str:
    return " and ".join(dict.fromkeys(slot_name(slots[index], index) for index in group[:3]))


# --- one module -------------------------------------------------------------------------------------------------------


def _judge_capacity(slots: Sequence[InventorySlot], index: int, odd: Oddities) -> InventorySlot:
    slot = slots[index]
    if (
        slot.generation is not None
        and slot.capacity_kib is not None
        and not _is_module_size(slot.capacity_kib, slot.generation)
    ):
        odd.note_slot("capacity-odd", slots, index)
    return slot


def _is_module_size(kib: int, generation: Generation) -> bool:
    """True for a size that modules come in: a power of two, or three times one, from 1 GiB on."""
    gib = Fraction(kib, 1 << 20)
    if gib == Fraction(1, 2):
        return generation is Generation.DDR3
    whole = gib.numerator // 3 if gib.numerator % 3 == 0 else gib.numerator
    return gib.denominator == 1 and whole & (whole - 1) == 0


def standard_rate(generation: Generation, number: int) -> int | None:
    """The standard rate that a number stands for, rounding forgiven; ``None`` where it is none."""
    return next((rate for rate in RATES_MTS[generation] if abs(rate - number) <= NEAR_MTS), None)


def _is_half(number: int, generation: Generation) -> bool:
    """True where twice the number is a standard rate, and the number is below them all."""
    return number < RATES_MTS[generation][0] - NEAR_MTS and standard_rate(generation, 2 * number) is not None


def _judge_rated(slots: Sequence[InventorySlot], index: int, odd: Oddities) -> InventorySlot:
    slot = slots[index]
    if slot.rated_mts is None:
        odd.note_slot("rate-unknown", slots, index)
        return slot
    if slot.generation is None:
        return slot
    standard = standard_rate(slot.generation, slot.rated_mts)
    if standard is not None:
        return replace(slot, rated_mts=standard)
    if _is_half(slot.rated_mts, slot.generation):
        odd.note_slot("rate-halved", slots, index)
        return replace(slot, rated_mts=None)
    odd.note_slot("rate-unusual", slots, index)
    return slot


def _judge_configured(slots: Sequence[InventorySlot], index: int, odd: Oddities) -> InventorySlot:
    """Take out a configured rate that may be the clock: half a rate is what firmware prints that counts cycles."""
    slot = slots[index]
    rate, generation = slot.configured_mts, slot.generation
    if rate is None or generation is None:
        return slot
    if _is_half(rate, generation):
        odd.note_slot("rate-halved", slots, index)
        return replace(slot, configured_mts=None)
    rate = standard_rate(generation, rate) or rate
    if slot.rated_mts is not None and abs(slot.rated_mts - 2 * rate) <= NEAR_MTS:
        odd.note_slot("configured-rate-halved", slots, index)
        return replace(slot, configured_mts=None)
    if rate not in RATES_MTS[generation]:
        odd.note_slot("rate-unusual", slots, index)
    if slot.rated_mts is not None and rate > slot.rated_mts:
        odd.note_slot("rate-above-rated", slots, index)
    return replace(slot, configured_mts=rate)


def _judge_ranks(slots: Sequence[InventorySlot], index: int, odd: Oddities) -> InventorySlot:
    slot = slots[index]
    if slot.package_ranks is not None:
        return slot
    ranks = slot.ranks_said
    if ranks is None:
        odd.note_slot("ranks-unknown", slots, index)
    elif ranks not in RANK_COUNTS:
        odd.note_slot("ranks-odd", slots, index)
    elif ranks >= 4 or _needs_stacks(slot, ranks):
        odd.note_slot("ranks-ambiguous", slots, index)
    return slot


def _needs_stacks(slot: InventorySlot, ranks: int) -> bool:
    """True where the size needs more dies than so many ranks of the narrowest devices hold (standards, section 2.2)."""
    if slot.generation is None or slot.capacity_kib is None:
        return False
    die_gbit = Fraction(slot.capacity_kib * 8 * 4, (1 << 20) * 64 * ranks)
    return die_gbit > LARGEST_DIE_GBIT[slot.generation]


def ecc_of_widths(
    generation: Generation | None, total: int | None, data: int | None
) -> tuple[bool | None, int | None, str]:
    """Error correction as the widths tell it: yes or no, its bits, and the oddity where they do not tell."""
    if total is None or data is None:
        return None, None, "width-unknown"
    if data != 64 or total not in (64, 72, 80) or (total == 80 and generation not in (Generation.DDR5, None)):
        return (True if total in (72, 80) and data in (64, 72, 80) else None), None, "width-odd"
    if total == 72 and generation is Generation.DDR5:
        return True, None, "width-doubtful"
    return total > 64, total - 64, ""


def _judge_widths(slots: Sequence[InventorySlot], index: int, odd: Oddities) -> InventorySlot:
    slot = slots[index]
    if slot.ecc_bits is not None:
        return slot
    ecc, bits, oddity = ecc_of_widths(slot.generation, slot.total_width_bits, slot.data_width_bits)
    if oddity and not (oddity == "width-unknown" and slot.ecc is not None):
        odd.note_slot(oddity, slots, index)
    if slot.ecc is None:
        return replace(slot, ecc=ecc, ecc_bits=bits)
    if ecc is not None and ecc is not slot.ecc:
        odd.note_slot("ecc-contradicts", slots, index)
        return replace(slot, ecc=None)
    return replace(slot, ecc_bits=bits)


def _judge_texts(slots: Sequence[InventorySlot], index: int, odd: Oddities) -> InventorySlot:
    slot = slots[index]
    if slot.maker is not None and _MAKER_NUMBER.fullmatch(slot.maker):
        odd.note_slot("maker-as-number", slots, index)
    part = text_of_hex(slot.part_number)
    if part is not None:
        odd.note_slot("part-number-as-hex", slots, index)
        return replace(slot, part_number=meaningful(part))
    return slot


def text_of_hex(text: str | None) -> str | None:
    """The text that hexadecimal digits spell, where they spell one; ``None`` otherwise."""
    if text is None or not _HEX_TEXT.fullmatch(text):
        return None
    spelt = bytes.fromhex(text).rstrip(b"\0\xff").decode("latin-1")
    plain = spelt.isascii() and spelt.isprintable() and any(character.isalpha() for character in spelt)
    return spelt if plain else None
