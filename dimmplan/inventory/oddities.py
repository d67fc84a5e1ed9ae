"""The catalogue of everything odd that the readers know, and the collector that keeps one entry per kind and cause.

Ids are stable; texts may be reworded. An oddity never decides anything: what follows from it is a slot's state.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dimmplan.inventory.clean import clean
from dimmplan.model.inventory import InventorySlot, Oddity

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
    "listing-complains": "the program that made the listing reported a broken table",
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

    def note_slot(self, oddity: str, slots: Sequence[InventorySlot], index: int, *, text: str = "") -> None:
        """Note an oddity of one slot, named as the machine names it."""
        self.note(oddity, slot_name(slots[index], index), text=text, slots=(index,))

    def count(self, oddity: str) -> int:
        """How many entries of one kind there are."""
        return sum(met == oddity for met, _ in self._met)

    def __contains__(self, oddity: str) -> bool:
        return any(met == oddity for met, _ in self._met)

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
