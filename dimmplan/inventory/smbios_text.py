"""The text listing that Linux tools print of SMBIOS tables (DMTF DSP0134), in the wordings of all their versions.

A listing is lines: a handle, a title, fields. Forgiven: CRLF, doubled line ends, lost or changed indentation, quoting
marks, terminal colours, a missing head, listings without handles or of chosen lines alone, a beginning in the middle of
a device, prose before and after, several listings of one machine after another.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import begins_as_json, decode_file, without_escapes
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import MOST_TEXT_BYTES, Piece, Reader, check_devices, check_size, too_much
from dimmplan.inventory.smbios import inventory_of, note_twice
from dimmplan.inventory.smbios_fields import (
    BIOS,
    KINDS,
    MOST_STRUCTURES,
    Array,
    Device,
    Processor,
    Structure,
    handle_text,
)
from dimmplan.model.inventory import Inventory

_HANDLE = re.compile(
    r"\s{0,40}Handle 0x([0-9A-F]{1,8})(?:,?\s{1,4}DMI type (\d{1,3}))?(?:,\s{0,4}(\d{1,6}) bytes)?\.?\s*", re.IGNORECASE
)
_TYPE = re.compile(r"\s{0,40}DMI type (\d{1,3}),\s{0,4}(\d{1,6}) bytes\.?\s*", re.IGNORECASE)
_LONGEST_NAME = 60
MOST_LINES = 150_000
"""Lines of a listing; a machine of 1536 slots has some 60 000, blank ones counted."""
_TRUNCATED = "<truncated>"
_EVERY_DEVICE = frozenset(("size", "locator", "form factor", "type"))
_VERSION = re.compile(r"\s{0,40}SMBIOS (\d{1,3})\.(\d{1,3})(?:\.\d{1,3})? present\.?.*", re.IGNORECASE)
_TABLE_AT = re.compile(r"\s{0,40}Table at (0x[0-9A-F]{1,16})\.?\s*", re.IGNORECASE)
_HEAD = re.compile(r"\s{0,40}# dmidecode \d.*")
_COMPLAINTS = ("Wrong DMI structures", "Invalid entry length", "DMI table is broken", "Table is unreachable")
_ANY_HANDLE = re.compile(r"^[ \t>]{0,40}Handle 0x", re.MULTILINE | re.IGNORECASE)
_VIRTUAL = "system is a virtual machine"
_TITLES = {  # first line of a structure, DSP0134 7.1, 7.5, 7.17, 7.18; the short ones are of early versions
    "bios information": BIOS,
    "processor information": Processor.number,
    "processor": Processor.number,
    "physical memory array": Array.number,
    "memory device": Device.number,
}
_OF_DEVICES = frozenset(  # fields that no other structure has
    (
        *("array handle", "total width", "data width", "locator", "bank locator", "form factor", "type detail", "rank"),
        *("configured memory speed", "configured clock speed"),
    )
)
_COUNT_OF_DEVICES = "number of devices"
_CHOSEN_LINES = tuple(re.compile(rf"^[ \t>]{{0,40}}{name}:[ \t]*\S", re.MULTILINE) for name in ("Locator", "Size"))
"""Lines of devices as they are left when only some lines of a listing are kept."""
_LOOKS_LIKE = re.compile(
    r"^[ \t>]{0,40}(?:# dmidecode \d|Handle 0x[0-9A-F]{1,8}\b|SMBIOS \d{1,3}\.\d{1,3}[.\d]{0,4} present"
    r"|Physical Memory Array\s*$|Memory Device\s*$|DMI type \d{1,3}, \d{1,6} bytes)",
    re.IGNORECASE | re.MULTILINE,
)


@dataclass(slots=True)
class Block:
    """One structure of a listing; ``flags`` are lines that are no fields.

    ``again`` are a device's fields from the first one on that it has already: another device's whose head is lost, or
    values that contradict.
    """

    section: int
    handle: int | None = None
    type: int | None = None
    title: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    flags: set[str] = field(default_factory=set)
    again: list[tuple[str, str]] = field(default_factory=list)

    def take(self, name: str, value: str) -> None:
        """Take a field; a line that stands twice in a row is one."""
        if self.type != Device.number:
            self.fields.setdefault(name, value)
        elif self.again:
            self.again.append((name, value))
        elif name not in self.fields:
            self.fields[name] = value
        elif (name, value) != next(reversed(self.fields.items())):
            self.again.append((name, value))

    @property
    def structure(self) -> Structure:
        """Its fields, where its type is one of those that are read; a device may be cut off, or lack what all have."""
        assert self.type is not None
        damage = ""
        if self.type == Device.number and _TRUNCATED in self.flags:
            damage = "structure-truncated"
        elif self.type == Device.number and not _EVERY_DEVICE & self.fields.keys():
            damage = "structure-short"
        return KINDS[self.type](self.handle, damage, lambda field: field.of_lines(self.fields))


class ListingReader(Reader):
    """A listing of a machine's structures."""

    form = "smbios-text"
    name = "a text listing of SMBIOS tables"
    given = "a text listing of SMBIOS tables"

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Text with a line that only such a listing has."""
        del content
        if text is None or begins_as_json(text):
            return False
        text = text[:MOST_TEXT_BYTES]
        return _LOOKS_LIKE.search(text) is not None or all(line.search(text) for line in _CHOSEN_LINES)

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """Read a listing. Raises ``InputError`` where it holds no structure at all."""
        text = decode_file(pieces[0].content) or ""
        check_size(len(text), MOST_TEXT_BYTES, file=file, what="a text listing")
        plain = without_escapes(text)
        if plain != text:
            odd.note("text-cleaned", "terminal escape sequences in the listing")
        listing = Listing(plain, odd, file=file)
        blocks = listing.blocks
        if not blocks:
            found = "a listing of SMBIOS tables without a single structure"
            raise InputError(Problem(file=file, found=found, allowed="a listing with its memory devices"))
        mixed = _are_two_machines(listing)
        if mixed:
            odd.note("two-machines", "the listing")
        else:
            blocks = _without_repeats(blocks, odd)
        _note_handles(blocks, odd, mixed=mixed)
        check_devices(sum(block.type == Device.number for block in blocks), file=file)
        return inventory_of(
            [block.structure for block in blocks if block.type in KINDS],
            odd,
            form=self.form,
            edition=next(iter(listing.versions.values()), None),
            virtual=any(block.type == BIOS and _VIRTUAL in block.flags for block in blocks),
            mixed=mixed,
        )


# --- lines to blocks --------------------------------------------------------------------------------------------------


class Listing:
    """The structures of one text, and what the head of each listing in it says, by the listing's number.

    Raises ``InputError`` for more than any machine has.
    """

    def __init__(self, text: str, odd: Oddities, *, file: str = "") -> None:
        self.blocks: list[Block] = []
        self.versions: dict[int, tuple[int, int]] = {}
        self.addresses: dict[int, str] = {}
        self._section, self._started = 0, False
        self._odd = odd
        self._has_handles = _ANY_HANDLE.search(text) is not None
        self._chosen_lines = _LOOKS_LIKE.search(text) is None
        self._after_blank = True
        self._indented = False
        self._ended = not self._chosen_lines
        lines = text.splitlines()
        if len(lines) > MOST_LINES:
            raise too_much(file, f"more than {MOST_LINES} lines", f"at most {MOST_LINES} lines")
        for line in lines:
            self.take(line)
            self._check_count(file)
        self.blocks = [each for block in self.blocks for each in self._settled(block)]
        self._check_count(file)

    def _check_count(self, file: str) -> None:
        if len(self.blocks) > MOST_STRUCTURES:
            raise too_much(file, f"more than {MOST_STRUCTURES} structures", f"at most {MOST_STRUCTURES}")

    def _settled(self, block: Block) -> Iterator[Block]:
        """A block, and the devices in it whose first lines are lost: each begins where a field comes again.

        Without a locator they are no devices but values that contradict, and none of these is true.
        """
        parts: list[dict[str, str]] = []
        before: tuple[str, str] | None = None
        for name, value in block.again:
            if not parts or (name in parts[-1] and (name, value) != before):
                parts.append({})
            parts[-1][name] = value
            before = name, value
        for part in parts:
            if "locator" in part:
                if not self._chosen_lines:
                    text = "the first lines of a device are missing: it begins where a line comes again"
                    self._odd.note("listing-cut", text=text)
                yield block
                block = Block(section=block.section, type=block.type, fields=part)
                continue
            for name, value in part.items():
                if block.fields.setdefault(name, value) != value:
                    self._odd.note("field-twice", f"device {handle_text(block.handle)}: {name}")
                    block.fields[name] = ""
        yield block

    def take(self, line: str) -> None:
        """Take one line, told by its first characters."""
        if line[:1] == ">":
            line = line.lstrip("> ")
        if not line or line.isspace():
            self._after_blank = True
            return
        start = line.lstrip()[:8].casefold()
        if start[:3] == "```" or (self._after_blank and self._indented and line[:1].strip() and ":" in line):
            self._ended = True  # prose after the listing; a line of the next structure begins it below
        if start[:1] == "#":
            if _HEAD.fullmatch(line):
                self._new_section()
        elif start[:6] == "smbios" and (match := _VERSION.fullmatch(line)):
            if self._section in self.versions:
                self._new_section()
            self.versions[self._section] = (int(match[1]), int(match[2]))
        elif start == "table at" and (match := _TABLE_AT.fullmatch(line)):
            self.addresses[self._section] = match[1].casefold()
        elif line.startswith(_COMPLAINTS):
            self._odd.note("listing-complains", line.strip())
        elif start[:6] == "handle" and (match := _HANDLE.fullmatch(line)):
            self._begin(handle=int(match[1], 16), type=int(match[2]) if match[2] else None)
        elif start == "dmi type" and self._is_untyped and (match := _TYPE.fullmatch(line)):
            self.blocks[-1].type = int(match[1])
        elif ":" in line or not self._take_title(line):
            self._take_content(line)
        self._after_blank = False

    @property
    def _is_untyped(self) -> bool:
        return bool(self.blocks) and self.blocks[-1].type is None

    def _new_section(self) -> None:
        if self._started or self._section in self.versions:
            self._section, self._started = self._section + 1, False

    def _begin(self, **known: Any) -> None:
        self.blocks.append(Block(section=self._section, **known))
        self._started, self._indented, self._ended = True, False, False

    def _take_title(self, line: str) -> bool:
        """A structure's title: the first line after a handle that is no field; without handles it begins one."""
        title = " ".join(line[:_LONGEST_NAME].split()).casefold()
        kind = _TITLES.get(title)
        if title == _TRUNCATED:
            return False
        if self._chosen_lines:
            return False
        if not self._has_handles:
            begins = kind is not None or (self._after_blank and not line[:1].isspace())
            if begins:
                self._begin(title=title, type=kind)
            return begins
        if not self.blocks or self.blocks[-1].title:
            return False
        self.blocks[-1].title = title
        if self._is_untyped:
            self.blocks[-1].type = kind
        return True

    def _take_content(self, line: str) -> None:
        name, colon, value = line.partition(":")
        name = " ".join(name[: 2 * _LONGEST_NAME].split()).casefold()
        if not self.blocks or self._chosen_lines:
            self._begin_by_name(name, value)
        if not self.blocks or self._ended:
            return
        block = self.blocks[-1]
        if not colon or not name or len(name) > _LONGEST_NAME:
            block.flags.add(line.strip()[:80].casefold())
            return
        self._indented = line[:1].isspace()
        block.take(name, value.strip())

    def _begin_by_name(self, name: str, value: str) -> None:
        """A structure of which no first line is there: it is told by a field that only it has."""
        kind = self.blocks[-1].type if self.blocks else None
        if name in _OF_DEVICES or (self._chosen_lines and name == "size"):
            begun = Device.number
        elif self._chosen_lines and name == _COUNT_OF_DEVICES:
            begun = Array.number
        else:
            return
        if value.strip() and kind != begun:
            self._begin(type=begun)
            if not self._chosen_lines:
                self._odd.note("listing-cut")


# --- several listings in one text -------------------------------------------------------------------------------------


def _are_two_machines(listing: Listing) -> bool:
    """True where heads differ, or where one handle stands for different structures in two listings.

    Several listings of one machine, one per type of structure, are usual and are no lie.
    """
    if len(set(listing.versions.values())) > 1 or len(set(listing.addresses.values())) > 1:
        return True
    repeats = list(_repeats(listing.blocks))
    if any(each.type in KINDS and each.section != first.section and not same for each, first, same in repeats):
        return True
    handles = [each.handle for each in listing.blocks if each.type == Device.number and each.handle is not None]
    devices = Counter(handles)
    all_repeat = len(devices) >= 2 and min(devices.values()) > 1
    return all_repeat and not all(same for _, _, same in repeats)


def _repeats(blocks: list[Block]) -> Iterator[tuple[Block, Block, bool]]:
    """Each structure whose handle and type stood before, the first one with them, and whether both say the same."""
    first: dict[tuple[int, int | None], Block] = {}
    for block in blocks:
        if block.handle is not None:
            other = first.setdefault((block.handle, block.type), block)
            if other is not block:
                yield block, other, other.fields == block.fields


def _without_repeats(blocks: list[Block], odd: Oddities) -> list[Block]:
    """The blocks with structures left out that a later listing of the same machine says again."""
    again = {id(each) for each, first, same in _repeats(blocks) if same and each.section != first.section}
    for block in blocks:
        if id(block) in again:
            odd.note("structure-twice", f"handle {handle_text(block.handle)}")
    return [block for block in blocks if id(block) not in again]


def _note_handles(blocks: list[Block], odd: Oddities, *, mixed: bool) -> None:
    devices = [block for block in blocks if block.type == Device.number]
    if devices and all(block.handle is None for block in devices):
        odd.note("no-handles")
    if not mixed:
        note_twice((block.handle for block in blocks if block.handle is not None), odd)


READER = ListingReader()
