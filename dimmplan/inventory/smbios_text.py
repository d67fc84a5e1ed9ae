"""The text listing that Linux tools print of SMBIOS tables (DMTF DSP0134), in the wordings of all their versions.

A listing is lines: a handle, a title, fields. Forgiven: CRLF, doubled line ends, lost or changed indentation, quoting
marks, terminal colours, a missing head, listings without handles, several listings of one machine after another.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from dimmplan.errors import InputError, Problem
from dimmplan.inventory import smbios_tables as tables
from dimmplan.inventory.clean import clean, decode_file, without_escapes
from dimmplan.inventory.files import (
    MOST_LINES,
    MOST_STRUCTURES,
    MOST_TEXT_BYTES,
    Piece,
    check_devices,
    check_size,
    too_much,
)
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Reader
from dimmplan.inventory.smbios import (
    BIOS,
    MEMORY_ARRAY,
    MEMORY_DEVICE,
    PROCESSOR,
    Fields,
    handle_text,
    inventory_of,
)
from dimmplan.model.inventory import Inventory

_HANDLE = re.compile(
    r"\s{0,40}Handle 0x([0-9A-F]{1,8})(?:,?\s{1,4}DMI type (\d{1,3}))?(?:,\s{0,4}(\d{1,6}) bytes)?\.?\s*", re.IGNORECASE
)
_TYPE = re.compile(r"\s{0,40}DMI type (\d{1,3}),\s{0,4}(\d{1,6}) bytes\.?\s*", re.IGNORECASE)
_LONGEST_NAME = 60
_TRUNCATED = "<truncated>"
_VERSION = re.compile(r"\s{0,40}SMBIOS (\d{1,3})\.(\d{1,3})(?:\.\d{1,3})? present\.?.*", re.IGNORECASE)
_TABLE_AT = re.compile(r"\s{0,40}Table at (0x[0-9A-F]{1,16})\.?\s*", re.IGNORECASE)
_HEAD = re.compile(r"\s{0,40}# dmidecode \d.*")
_COMPLAINTS = ("Wrong DMI structures", "Invalid entry length", "DMI table is broken", "Table is unreachable")
_ANY_HANDLE = re.compile(r"^[ \t>]{0,40}Handle 0x", re.MULTILINE | re.IGNORECASE)
_TITLES = {  # first line of a structure, DSP0134 7.1, 7.5, 7.17, 7.18; the short ones are of early versions
    "bios information": BIOS,
    "processor information": PROCESSOR,
    "processor": PROCESSOR,
    "physical memory array": MEMORY_ARRAY,
    "memory device": MEMORY_DEVICE,
}
_LOOKS_LIKE = re.compile(
    r"^[ \t>]{0,40}(?:# dmidecode \d|Handle 0x[0-9A-F]{1,8}\b|SMBIOS \d{1,3}\.\d{1,3}[.\d]{0,4} present"
    r"|Physical Memory Array\s*$|Memory Device\s*$|DMI type \d{1,3}, \d{1,6} bytes)",
    re.IGNORECASE | re.MULTILINE,
)


@dataclass(slots=True)
class Block:
    """One structure of a listing; ``fields`` has the first value of each field, ``flags`` lines that are no fields."""

    section: int
    handle: int | None = None
    type: int | None = None
    title: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    flags: set[str] = field(default_factory=set)

    @property
    def key(self) -> tuple[int | None, int | None]:
        """What names a structure: its handle and type."""
        return self.handle, self.type

    def same_as(self, other: Block) -> bool:
        """True where both say the same."""
        return self.key == other.key and self.fields == other.fields


@dataclass(slots=True)
class Section:
    """The head of one listing."""

    version: tuple[int, int] | None = None
    address: str | None = None
    started: bool = False


class ListingReader(Reader):
    """A listing of a machine's structures."""

    form = "smbios-text"
    name = "a text listing of SMBIOS tables"
    given = "a text listing of SMBIOS tables"

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Text with a line that only such a listing has."""
        del content
        if text is None or text.lstrip()[:1] in ("{", "["):
            return False
        return _LOOKS_LIKE.search(text[:MOST_TEXT_BYTES]) is not None

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """Read a listing. Raises ``InputError`` where it holds no structure at all."""
        text = decode_file(pieces[0].content) or ""
        check_size(len(text), MOST_TEXT_BYTES, file=file, what="a text listing")
        plain = without_escapes(text)
        if plain != text:
            odd.note("text-cleaned", "terminal escape sequences in the listing")
        sections, blocks = split(plain, odd, file=file)
        if not blocks:
            found = "a listing of SMBIOS tables without a single structure"
            raise InputError(Problem(file=file, place="", found=found, allowed="a listing with its memory devices"))
        mixed = _are_two_machines(sections, blocks)
        if mixed:
            odd.note("two-machines", "the listing")
        else:
            blocks = _without_repeats(blocks, odd)
        _note_handles(blocks, odd, mixed=mixed)
        by_type = {kind: [block for block in blocks if block.type == kind] for kind in set(_TITLES.values())}
        check_devices(len(by_type[MEMORY_DEVICE]), file=file)
        return inventory_of(
            {kind: [ListingFields(block) for block in some] for kind, some in by_type.items()},
            odd,
            form=self.form,
            edition=next((section.version for section in sections if section.version), None),
            virtual=any("system is a virtual machine" in block.flags for block in by_type[BIOS]),
            mixed=mixed,
        )


# --- lines to blocks --------------------------------------------------------------------------------------------------


def split(text: str, odd: Oddities, *, file: str = "") -> tuple[list[Section], list[Block]]:
    """The heads and structures of a listing, in order. Raises ``InputError`` for more than any machine has."""
    reader = _Lines(odd, has_handles=_ANY_HANDLE.search(text) is not None)
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise too_much(file, f"more than {MOST_LINES} lines", f"at most {MOST_LINES} lines")
    for line in lines:
        reader.take(line)
        if len(reader.blocks) > MOST_STRUCTURES:
            raise too_much(file, f"more than {MOST_STRUCTURES} structures", f"at most {MOST_STRUCTURES}")
    return reader.sections, reader.blocks


class _Lines:
    """Takes lines one by one and builds sections and blocks."""

    def __init__(self, odd: Oddities, *, has_handles: bool) -> None:
        self.sections = [Section()]
        self.blocks: list[Block] = []
        self._odd = odd
        self._has_handles = has_handles
        self._after_blank = True

    def take(self, line: str) -> None:
        """Take one line."""
        if line[:1] == ">":
            line = line.lstrip("> ")
        if not line or line.isspace():
            self._after_blank = True
            return
        start = line.lstrip()[:8].casefold()
        if not self._take_head(line, start) and not self._take_start(line, start):
            self._take_content(line)
        self._after_blank = False

    def _take_head(self, line: str, start: str) -> bool:
        """Take a line of a listing's head, by its first characters; true where it was one."""
        if start[:1] == "#":
            if _HEAD.fullmatch(line):
                self._new_section()
            return True
        version = _VERSION.fullmatch(line) if start[:6] == "smbios" else None
        if version:
            if self.sections[-1].version:
                self._new_section()
            self.sections[-1].version = (int(version[1]), int(version[2]))
            return True
        address = _TABLE_AT.fullmatch(line) if start == "table at" else None
        if address:
            self.sections[-1].address = address[1].casefold()
        elif line.startswith(_COMPLAINTS):
            self._odd.note("listing-complains", line.strip())
        else:
            return False
        return True

    def _new_section(self) -> None:
        if self.sections[-1].started or self.sections[-1].version:
            self.sections.append(Section())

    def _take_start(self, line: str, start: str) -> bool:
        """Take a line that begins a structure, or gives its type or title; true where it did."""
        handle = _HANDLE.fullmatch(line) if start[:6] == "handle" else None
        if handle:
            kind = int(handle[2]) if handle[2] else None
            self._begin(Block(section=len(self.sections) - 1, handle=int(handle[1], 16), type=kind))
            return True
        kind_line = _TYPE.fullmatch(line) if start == "dmi type" else None
        if kind_line and self.blocks and self.blocks[-1].type is None:
            self.blocks[-1].type = int(kind_line[1])
            return True
        if ":" in line:
            return False
        title = " ".join(line[:_LONGEST_NAME].split()).casefold()
        if title == _TRUNCATED:
            return False
        return self._take_title(title) if self._has_handles else self._take_untold(title, indented=line[:1].isspace())

    def _take_title(self, title: str) -> bool:
        """The first line after a handle that is no field is the structure's title."""
        if not self.blocks or self.blocks[-1].title:
            return False
        self.blocks[-1].title = title
        if self.blocks[-1].type is None:
            self.blocks[-1].type = _TITLES.get(title)
        return True

    def _take_untold(self, title: str, *, indented: bool) -> bool:
        """In a listing without handles, a title begins a structure."""
        if title not in _TITLES and (indented or not self._after_blank):
            return False
        self._begin(Block(section=len(self.sections) - 1, title=title, type=_TITLES.get(title)))
        return True

    def _begin(self, block: Block) -> None:
        self.blocks.append(block)
        self.sections[-1].started = True

    def _take_content(self, line: str) -> None:
        if not self.blocks:
            return
        block = self.blocks[-1]
        name, colon, value = line.partition(":")
        name = " ".join(name[: 2 * _LONGEST_NAME].split()).casefold()
        if not colon or not name or len(name) > _LONGEST_NAME:
            block.flags.add(line.strip()[:80].casefold())
            return
        value = value.strip()
        if name not in block.fields:
            block.fields[name] = value
        elif block.fields[name] != value and block.type == MEMORY_DEVICE:
            self._odd.note("field-twice", f"device {handle_text(block.handle)}: {name}")


# --- several listings in one text -------------------------------------------------------------------------------------


def _are_two_machines(sections: list[Section], blocks: list[Block]) -> bool:
    """True where heads differ, or where one handle stands for different structures in two listings.

    Several listings of one machine, one per type of structure, are usual and are no lie.
    """
    if len({section.version for section in sections if section.version}) > 1:
        return True
    if len({section.address for section in sections if section.address}) > 1:
        return True
    first: dict[tuple[int | None, int | None], Block] = {}
    for block in blocks:
        if block.handle is None or block.type not in (MEMORY_DEVICE, MEMORY_ARRAY, PROCESSOR):
            continue
        other = first.setdefault(block.key, block)
        if other.section != block.section and not other.same_as(block):
            return True
    devices = Counter(block.handle for block in blocks if block.type == MEMORY_DEVICE and block.handle is not None)
    different = [handle for handle, count in devices.items() if count > 1]
    return len(devices) >= 2 and len(different) == len(devices) and not _is_repeated(blocks)


def _is_repeated(blocks: list[Block]) -> bool:
    """True where every repeated structure says the same each time."""
    first: dict[tuple[int | None, int | None], Block] = {}
    return all(first.setdefault(block.key, block).same_as(block) for block in blocks if block.handle is not None)


def _without_repeats(blocks: list[Block], odd: Oddities) -> list[Block]:
    """The blocks with structures left out that a later listing of the same machine says again."""
    kept: list[Block] = []
    first: dict[tuple[int | None, int | None], Block] = {}
    for block in blocks:
        other = first.setdefault(block.key, block) if block.handle is not None else block
        if other is not block and other.section != block.section and other.same_as(block):
            odd.note("structure-twice", f"handle {handle_text(block.handle)}")
        else:
            kept.append(block)
    return kept


def _note_handles(blocks: list[Block], odd: Oddities, *, mixed: bool) -> None:
    devices = [block for block in blocks if block.type == MEMORY_DEVICE]
    if devices and all(block.handle is None for block in devices):
        odd.note("no-handles")
    counted = Counter(block.handle for block in blocks if block.handle is not None)
    for handle, count in counted.items():
        if count > 1 and not mixed:
            odd.note("handle-twice", f"handle {handle_text(handle)}")


# --- the fields of a block --------------------------------------------------------------------------------------------

_OUT_OF_SPEC = "<OUT OF SPEC>"
_BAD_INDEX = "<BAD INDEX>"
_EMPTY = frozenset(("no module installed", "not installed", "no module", "not present", "empty"))
_NOTHING = frozenset(("", "unknown", "not specified", "n/a", "none"))
_SIZE = re.compile(r"(\d{1,20})(?:\.(\d{1,6}))?\s{0,4}(bytes?|[kmgtp]i?b)\b.{0,80}", re.IGNORECASE)
_UNIT_BYTES = {"b": 1, "k": 1 << 10, "m": 1 << 20, "g": 1 << 30, "t": 1 << 40, "p": 1 << 50}
_NUMBER = re.compile(r"(\d{1,9})(?:\s{0,4}(?:bits?|MT/s|MHz)\b.{0,80})?", re.IGNORECASE)
_REFERENCE = re.compile(r"0x([0-9A-F]{1,8})", re.IGNORECASE)
_VOLTS = re.compile(r"(\d{1,3})(?:\.(\d{1,6}))?\s{0,4}V\b.{0,80}", re.IGNORECASE)
_KEPT_APART = ("serial number", "asset tag")
_MOST_SAID = 60
_OTHER_NAMES = {
    "speed": ("speed", "current speed"),
    "configured memory speed": ("configured memory speed", "configured clock speed", "configured speed"),
    "maximum capacity": ("maximum capacity", "maximum memory capacity"),
    "number of devices": ("number of devices", "number of slots/sockets"),
}
"""Wordings that changed over the years."""


class ListingFields(Fields):
    """One block of a listing, its fields read by type: ``MHz`` and ``MT/s``, sizes in kB, MB, GB or TB."""

    def __init__(self, block: Block) -> None:
        self.handle = block.handle
        self.bad: list[str] = []
        self._block = block
        self._fields = block.fields

    @property
    def damage(self) -> str:
        """A block of a device that is cut off, or lacks what every device has."""
        if self._block.type != MEMORY_DEVICE:
            return ""
        if _TRUNCATED in self._block.flags:
            return "structure-truncated"
        return "" if {"size", "locator", "form factor", "type"} & set(self._fields) else "structure-short"

    def _raw(self, field: str) -> str | None:
        names = _OTHER_NAMES.get(field, (field,))
        return next((self._fields[name] for name in names if name in self._fields), None)

    def text(self, field: str, short: str = "") -> str | None:
        """A text; ``None`` where the listing says that there is none, or that it refers to none."""
        raw = self._fields.get(field)
        if raw is None or raw == "Not Specified":
            return None
        if raw == _BAD_INDEX:
            self.bad.append(f"index:{short or field}")
            return None
        return raw

    def word(self, field: str, table: dict[int, str], short: str = "") -> str | None:
        """A word of a code table, or the listing's own in lower case."""
        raw = self._fields.get(field)
        if raw is None:
            return None
        if raw == _OUT_OF_SPEC:
            self.bad.append(f"spec:{short or field}")
            return tables.OUT_OF_SPEC
        return tables.fold(table, clean(raw, most=60))

    def bits(self, field: str, table: dict[int, str]) -> frozenset[str]:
        """Words in a row (DSP0134 7.18.3); *Unbuffered (Unregistered)* holds another one's letters."""
        folded = " ".join(self._fields.get(field, "").casefold().split())
        found = set()
        for word in sorted(table.values(), key=len, reverse=True):
            if word.casefold() in folded:
                found.add(word)
                folded = folded.replace(word.casefold(), " ") if "(" in word else folded
        return frozenset(found)

    def number(self, field: str, *, zero: bool = False) -> int | None:
        """A number with or without its unit; a voltage in mV."""
        raw = self._raw(field)
        if field == "configured voltage":
            match = _VOLTS.fullmatch(raw or "")
            return int(Fraction(f"{match[1]}.{match[2] or 0}") * 1000) or None if match else None
        if raw is None or raw.casefold() in _NOTHING:
            return None
        match = _NUMBER.fullmatch(raw)
        if match is None:
            self.bad.append(f"spec:{field}" if raw == _OUT_OF_SPEC else f"field:{field}")
            return None
        return int(match[1]) if zero else int(match[1]) or None

    def kib(self, field: str) -> int | None:
        """A size that may be 0."""
        return self._kib(field, zero=True)

    def _kib(self, field: str, *, zero: bool) -> int | None:
        """A size in KiB. The listing's kB, MB and GB are powers of 1024, as in the table."""
        raw = self._raw(field)
        if raw is None or raw.casefold() in _NOTHING:
            return 0 if zero and raw is not None and raw.casefold() == "none" else None
        match = _SIZE.fullmatch(raw)
        if match is None:
            self.bad.append(f"field:{field}")
            return None
        number = Fraction(f"{match[1]}.{match[2] or 0}") * _UNIT_BYTES[match[3][0].casefold()]
        kib = number.numerator // (number.denominator << 10)
        if not zero and kib == 0:
            self.bad.append(f"field:{field}")
            return None
        return kib

    def size(self) -> tuple[bool, int | None]:
        """A device's size, or a word for an empty slot."""
        empty = self._fields.get("size", "").casefold() in _EMPTY
        return empty, None if empty else self._kib("size", zero=False)

    def reference(self, field: str) -> int | None:
        """A handle as a number."""
        match = _REFERENCE.fullmatch(self._fields.get(field, ""))
        return int(match[1], 16) if match else None

    def status(self) -> tuple[bool | None, str | None]:
        """``Status: Populated, Enabled`` is bits 6 and 2:0 of offset 18h."""
        first, _, second = self._fields.get("status", "").casefold().partition(",")
        status = second.strip() or None
        if status is not None and status.startswith("disabled by") and "user" not in status:
            status = tables.PROCESSOR_STATUS[3]
        if status is not None and status not in tables.PROCESSOR_STATUS.values():
            status = tables.OUT_OF_SPEC
        return {"populated": True, "unpopulated": False}.get(first.strip()), status

    def is_central(self) -> bool:
        """By the type's word."""
        kind = self._fields.get("type", "central processor").casefold()
        return kind in ("central processor", "unknown", "other", "")

    def raw_words(self) -> dict[str, str]:
        """The block's fields as they stand."""
        words: dict[str, str] = {}
        for name, value in self._fields.items():
            if not any(word in name for word in _KEPT_APART) and value and len(words) < _MOST_SAID:
                words[clean(name, most=60)] = clean(value)
        return words


READER = ListingReader()
