"""What a machine says that cannot be so: the catalogue, the collector, and what is judged alike in every form.

Ids are stable; texts may be reworded. An oddity never decides anything: what follows from it is a slot's state. The
list of lies is that of the ``standards`` sheet, section 3.7, and of real listings. Nothing is repaired by a guess: a
value that can mean two things is taken out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import Any

from dimmplan.inventory.clean import clean, meaningful
from dimmplan.model.inventory import InventorySlot, Oddity
from dimmplan.model.module import RATES_MTS, Generation
from dimmplan.units import by_key

CATALOGUE: dict[str, str] = {
    # names of places
    "locator-missing": "no locator is given",
    "locator-placeholder": "the locator is a filler text, not a place",
    "locator-twice": "more than one device has the same locator and bank",
    "locator-needs-bank": "the locator repeats; only together with the bank does it name one place",
    "locators-differ": "two different names are given for one place",
    # modules
    "module-twice": "one module is reported as more than one device",
    "serial-twice": "the same serial number is reported for different places",
    "capacity-unknown": "a module is there, its size is not known",
    "capacity-odd": "no module has this size",
    "rate-unknown": "no rate is given",
    "rate-halved": "the rate is half of a standard one: most likely the clock in MHz",
    "configured-rate-halved": "the configured rate is half of the rated one: it may be the clock in MHz",
    "rate-unusual": "the rate is not a standard rate of the generation",
    "rate-above-rated": "the configured rate is above the rated one",
    "ranks-unknown": "no rank count is given",
    "ranks-ambiguous": "the rank count may mean package ranks or logical ranks",
    "ranks-odd": "no module has this rank count",
    "width-unknown": "no width is given",
    "width-odd": "total and data width do not belong together",
    "width-doubtful": "72 bits may be a 72-bit module or an 80-bit one reported short",
    "ecc-contradicts": "width and error correction contradict each other",
    "generation-unknown": "the memory type names no generation",
    "generation-foreign": "dimmplan does not plan this memory type",
    "kind-contradicts": "the module is given two kinds",
    "maker-as-number": "the maker is given as a number",
    "part-number-as-hex": "the part number was given as hexadecimal text and is read as such",
    "placeholder-text": "a filler text stands where a value should be",
    "module-disabled": "a module is there and is not in use",
    # hold
    "persistent-module": "a persistent module: data survives power-off in it",
    "persistent-signs": "some fields speak of persistent memory, others do not",
    "empty-but-persistent": "reported empty, but persistent memory is reported for the same place",
    # texts and values
    "out-of-spec": "a value outside the standard's list",
    "bad-string-index": "the table refers to a text that it does not hold",
    "text-cleaned": "control or format characters, or markup, were taken out of a text",
    "text-not-utf8": "bytes that are not UTF-8 were replaced in a text",
    "field-unreadable": "a value is not understood",
    "field-twice": "one field is given twice with different values",
    # arrays and places that are no slots
    "not-a-slot": "not system memory, or not in a slot: not counted",
    "memory-behind-cxl": "memory behind CXL: the system counts it, dimmplan does not place it",
    "array-count": "the array's number of slots is not the number of devices listed for it",
    "array-missing": "the array that the device names is not listed",
    "array-use-unknown": "the array does not say what it is used for",
    "array-use-contradicts": "the device is system memory, its array is not",
    "no-arrays": "memory devices are listed without any array",
    "no-devices": "no memory device is listed",
    "virtual-machine": "the inventory is a virtual machine's: its slots are not places in a chassis",
    "phantom-slots": "dozens of empty slots without a name of a maker or a generation, as virtual machines list them",
    # the shape of a binary table
    "checksum-wrong": "the entry point's checksum is wrong",
    "entry-length": "the entry point has an unusual length",
    "table-address": "the table does not lie where the entry point says",
    "table-cut": "the table ends before its announced length",
    "no-end-marker": "the table has no end marker (type 127)",
    "length-differs": "the table is shorter than announced",
    "count-differs": "the number of entries is not the announced one",
    "structure-broken": "a structure with an impossible length; reading stopped there",
    "structure-truncated": "a structure is cut off",
    "structure-short": "a structure is too short for the fields it must have",
    "version-odd": "the version number is one that firmware is known to write wrongly",
    "handle-twice": "one handle stands for different structures",
    "structure-twice": "the same structure is listed again; it is read once",
    "two-machines": "the input holds more than one machine",
    "trailing-bytes": "bytes follow the end of the table",
    # a text listing
    "no-handles": "the listing has no handles: which array a device belongs to is not known",
    "listing-cut": "the listing begins in the middle of a device: what stood above is not known",
    "listing-complains": "the program that made the listing reported a broken table",
    # objects of Windows
    "empty-unlisted": "only filled slots are listed: which other slots the machine has is not known",
    # Redfish
    "member-missing": "a member is only referred to; its resource is not in the input",
    "more-pages": "the collection goes on in a page that is not in the input",
    "resource-twice": "the same resource stands in the input twice",
    "wrong-type": "a property has another type than the schema gives it",
    "value-unknown": "a value is not in the schema's list",
    "property-misspelt": "a property is spelt differently from the schema",
    "absent-with-capacity": "reported absent, but a capacity is reported for the same place",
    "state-unknown": "neither a state nor a capacity is given",
    "total-differs": "the system reports more memory than its modules have",
    # label lists
    "label-blank": "no label is given; write 'empty' where nothing is fitted",
    "label-unreadable": "the label is not understood",
    "label-incomplete": "the label is not complete: it fits more than one module type",
    "label-hybrid": "the label may be one of a persistent module",
    "row-unreadable": "a row without a slot name",
    "column-ignored": "more columns than slot and label",
    # SPD images
    "spd-unknown": "not a module this tool knows",
    "spd-cut": "the image is shorter than its generation's",
    "spd-contradicts": "the fields describe a module that does not exist",
    "spd-asymmetric": "ranks of different size or width: the image does not give capacity and ranks",
    "crc-wrong": "the checksum of the module data is wrong",
    "crc-module-part-wrong": "the checksum of the module-specific part is wrong",
    # files
    "file-ignored": "a file that is not part of an inventory",
    "file-unreadable": "a file that cannot be read",
}
"""Every oddity id with its plain meaning."""

MOST_NAMED = 6
"""Places named in one entry before the rest is counted."""


Note = Callable[..., None]
"""Notes an oddity of the catalogue at a place that is known, with ``text`` in place of its meaning where given."""


class Oddities:
    """Collects oddities; equal ones (same id, same text) become one entry with all places."""

    def __init__(self) -> None:
        self._met: dict[tuple[str, str], tuple[dict[str, None], dict[int, None]]] = {}

    def note(self, oddity: str, where: str = "", *, text: str = "", slots: Iterable[int] = ()) -> None:
        """Note an oddity of the catalogue at ``where``, with ``text`` in place of its plain meaning where given."""
        places, indices = self._met.setdefault((oddity, text or CATALOGUE[oddity]), ({}, {}))
        if where:
            places.setdefault(clean(where, most=80))
        indices.update(dict.fromkeys(slots))

    def at(self, slot: InventorySlot, index: int) -> Note:
        """Notes for one slot, named as the machine names it."""
        return partial(self.note, where=slot_name(slot, index), slots=(index,))

    def count(self, oddity: str) -> int:
        """How many entries of one kind there are."""
        return sum(met == oddity for met, _ in self._met)

    def __contains__(self, oddity: str) -> bool:
        return self.count(oddity) > 0

    def found(self) -> tuple[Oddity, ...]:
        """Every entry, in the order first met."""
        return tuple(
            Oddity(oddity=oddity, where=_joined(list(places)), text=text, slots=tuple(sorted(indices)))
            for (oddity, text), (places, indices) in self._met.items()
        )


def slot_name(slot: InventorySlot, index: int) -> str:
    """A slot named for a person; its handle or its position where it has no name."""
    return slot.name or (f"device {slot.handle}" if slot.handle else f"device {index + 1}")


def _joined(places: list[str]) -> str:
    rest = len(places) - MOST_NAMED
    named = ", ".join(places[:MOST_NAMED])
    return f"{named} and {rest} more" if rest > 0 else named


# --- what is judged alike in every form -------------------------------------------------------------------------------


def judge(slots: Sequence[InventorySlot], odd: Oddities) -> tuple[InventorySlot, ...]:
    """The slots with every doubtful value taken out and every doubtful place marked; oddities go to ``odd``."""
    judge_places(slots, odd)
    judged = _without_twins(slots, odd)
    for index, slot in enumerate(judged):
        known = slot.state == "filled" or (slot.state == "hold" and slot.capacity_kib is not None)
        if known and slot.counts:
            note, right = odd.at(slot, index), slot
            for check in (_of_rates, _of_ranks, _of_widths, _of_texts):
                for oddity, changes in check(right):
                    right = replace(right, **changes) if changes else right
                    if oddity:
                        note(oddity)
            judged[index] = right
    return tuple(judged)


def of_two_machines(slots: Sequence[InventorySlot]) -> tuple[InventorySlot, ...]:
    """The slots of an input that holds more than one machine: none can be told, but for those on hold."""
    why = "the input holds more than one machine: give each its own file"
    return tuple(each.untold(why) if each.state != "hold" else each for each in slots)


def alike(keys: Iterable[Hashable]) -> list[list[int]]:
    """The positions of keys that are the same; ``None`` is shared by none."""
    by = dict(enumerate(keys))
    groups = by_key((index for index, key in by.items() if key is not None), by.__getitem__)
    return [group for group in groups.values() if len(group) > 1]


def judge_places(slots: Sequence[InventorySlot], odd: Oddities) -> None:
    """Note places that cannot be told apart by name (5 % of real listings), or only with their bank.

    This is all that needs judging in a label list, whose labels are checked where they are read.
    """
    named = [slot if slot.counts and slot.locator else None for slot in slots]
    twice: set[int] = set()
    for group in alike([slot and (slot.locator, slot.bank) for slot in named]):
        odd.note("locator-twice", slots[group[0]].name, slots=group)
        twice.update(group)
    for group in alike([slot and slot.locator for slot in named]):
        if not twice.intersection(group):
            odd.note("locator-needs-bank", slots[group[0]].locator, slots=group)


def _without_twins(slots: Sequence[InventorySlot], odd: Oddities) -> list[InventorySlot]:
    """One serial number twice: at one place the same module twice, at two places most likely a copied text."""
    told = list(slots)
    keys = [
        (slot.serial, slot.maker or "", slot.part_number or "")
        if slot.counts and slot.serial and slot.state in ("filled", "hold")
        else None
        for slot in slots
    ]
    for group in alike(keys):
        same_place = len({(slots[index].locator, slots[index].bank) for index in group}) == 1
        halves = all(
            slots[index].generation is Generation.DDR5 and slots[index].data_width_bits == 32 for index in group
        )
        names = " and ".join(dict.fromkeys(slot_name(slots[index], index) for index in group[:3]))
        odd.note("module-twice" if same_place or halves else "serial-twice", names, slots=group)
        for index in group if same_place or halves else ():
            if slots[index].state == "filled":
                why = "the same module is reported more than once, so its size and place are not certain"
                told[index] = slots[index].untold(why)
    return told


# --- one module: each check gives oddities, and what each of them takes out of the slot -------------------------------

Doubts = Iterator[tuple[str, dict[str, Any]]]

NEAR_MTS = 2
"""Rates are thirds of round numbers and written rounded up or down (2933 and 2934, 2666 and 2667)."""
_RANK_COUNTS = (1, 2, 4, 8, 16)
_LARGEST_DIE_GBIT = {Generation.DDR3: 8, Generation.DDR4: 16, Generation.DDR5: 32}
"""Dies that are made (standards, section 5); SPD contents can code larger ones."""
_MAKER_NUMBER = re.compile(r"(?:0x)?(?=[0-9a-f]*[0-9])[0-9a-f]{4,16}", re.IGNORECASE)
_HEX_TEXT = re.compile(r"(?:[0-9a-f]{2}){8,40}", re.IGNORECASE)


def is_module_size(kib: int, generation: Generation | None = None) -> bool:
    """True for a size that modules come in: a power of two, or three times one, from 1 GiB on."""
    gib = Fraction(kib, 1 << 20)
    if gib == Fraction(1, 2):
        return generation is Generation.DDR3
    whole = gib.numerator // 3 if gib.numerator % 3 == 0 else gib.numerator
    return gib.denominator == 1 and whole > 0 and whole & (whole - 1) == 0


def _standard_rate(generation: Generation, number: int) -> int | None:
    """The standard rate that a number stands for, rounding forgiven; ``None`` where it is none."""
    return next((rate for rate in RATES_MTS[generation] if abs(rate - number) <= NEAR_MTS), None)


def _of_rates(slot: InventorySlot) -> Doubts:
    """Size and rates. Half a rate is what firmware prints that counts cycles."""
    generation, rated, configured = slot.generation, slot.rated_mts, slot.configured_mts
    if generation is not None and slot.capacity_kib is not None and not is_module_size(slot.capacity_kib, generation):
        yield "capacity-odd", {}
    if rated is None:
        yield "rate-unknown", {}
    if generation is None:
        return
    rates = RATES_MTS[generation]

    def is_clock(number: int) -> bool:
        return number < rates[0] - NEAR_MTS and _standard_rate(generation, 2 * number) is not None

    if rated is not None:
        standard = _standard_rate(generation, rated)
        halved = standard is None and is_clock(rated)
        rated = None if halved else standard or rated
        yield "rate-halved" if halved else "" if standard else "rate-unusual", {"rated_mts": rated}
    if configured is None:
        return
    if is_clock(configured):
        yield "rate-halved", {"configured_mts": None}
        return
    configured = _standard_rate(generation, configured) or configured
    if rated is not None and abs(rated - 2 * configured) <= NEAR_MTS:
        yield "configured-rate-halved", {"configured_mts": None}
        return
    yield "" if configured in rates else "rate-unusual", {"configured_mts": configured}
    if rated is not None and configured > rated:
        yield "rate-above-rated", {}


def _of_ranks(slot: InventorySlot) -> Doubts:
    ranks = slot.ranks_said
    if slot.package_ranks is not None:
        return
    if ranks is None:
        yield "ranks-unknown", {}
    elif ranks not in _RANK_COUNTS:
        yield "ranks-odd", {}
    elif ranks >= 4 or _needs_stacks(slot, ranks):
        yield "ranks-ambiguous", {}


def _needs_stacks(slot: InventorySlot, ranks: int) -> bool:
    """True where the size needs more dies than so many ranks of the narrowest devices hold (standards, section 2.2)."""
    if slot.generation is None or slot.capacity_kib is None:
        return False
    die_gbit = Fraction(slot.capacity_kib * 8 * 4, (1 << 20) * 64 * ranks)
    return die_gbit > _LARGEST_DIE_GBIT[slot.generation]


def ecc_of_widths(generation: Generation | None, total: int | None, data: int | None) -> tuple[bool | None, str]:
    """Error correction as the widths tell it, and the oddity where they do not tell all of it."""
    if total is None or data is None:
        return None, "width-unknown"
    if data != 64 or total not in (64, 72, 80) or (total == 80 and generation not in (Generation.DDR5, None)):
        return (True if total in (72, 80) and data in (64, 72, 80) else None), "width-odd"
    if total == 72 and generation is Generation.DDR5:
        return True, "width-doubtful"
    return total > 64, ""


def _of_widths(slot: InventorySlot) -> Doubts:
    if slot.ecc_bits is not None:
        return
    ecc, oddity = ecc_of_widths(slot.generation, slot.total_width_bits, slot.data_width_bits)
    if not (oddity == "width-unknown" and slot.ecc is not None):
        yield oddity, {}
    if slot.ecc is None:
        yield "", {"ecc": ecc}
    elif ecc is not None and ecc is not slot.ecc:
        yield "ecc-contradicts", {"ecc": None}


def _of_texts(slot: InventorySlot) -> Doubts:
    if slot.maker is not None and _MAKER_NUMBER.fullmatch(slot.maker):
        yield "maker-as-number", {}
    part = text_of_hex(slot.part_number)
    if part is not None:
        yield "part-number-as-hex", {"part_number": meaningful(part)}


def text_of_hex(text: str | None) -> str | None:
    """The text that hexadecimal digits spell, where they spell one; ``None`` otherwise."""
    if text is None or not _HEX_TEXT.fullmatch(text):
        return None
    spelt = bytes.fromhex(text).rstrip(b"\0\xff").decode("latin-1")
    plain = spelt.isascii() and spelt.isprintable() and any(character.isalpha() for character in spelt)
    return spelt if plain else None
