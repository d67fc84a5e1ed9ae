"""SMBIOS structures as values, after reading and before judging: what the binary and the text reader have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

BAD_MARKS = {"spec": "out-of-spec", "index": "bad-string-index", "field": "field-unreadable"}
"""What the marks of a record's ``bad`` mean, as oddities."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceRecord:
    """A memory device, type 17 (DSP0134 7.18). ``None`` where the table does not say or says *unknown*.

    Words are those of ``smbios_tables``. ``bad`` names fields that are out of the standard's list (``spec:``) or refer
    to a text that is not there (``index:``) or is not understood (``field:``). ``empty`` is size 0; ``damage`` is the
    oddity of a structure of which nothing can be trusted.
    """

    handle: int | None
    array: int | None = None
    damage: str = ""
    empty: bool = False
    size_kib: int | None = None
    total_width: int | None = None
    data_width: int | None = None
    form: str | None = None
    type: str | None = None
    details: frozenset[str] = frozenset()
    locator: str | None = None
    bank: str | None = None
    speed_mts: int | None = None
    configured_mts: int | None = None
    maker: str | None = None
    serial: str | None = None
    tag: str | None = None
    part: str | None = None
    ranks: int | None = None
    voltage_mv: int | None = None
    technology: str | None = None
    modes: frozenset[str] = frozenset()
    nonvolatile_kib: int | None = None
    bad: tuple[str, ...] = ()
    said: Mapping[str, str] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, kw_only=True, slots=True)
class ArrayRecord:
    """A physical memory array, type 16 (DSP0134 7.17)."""

    handle: int | None
    location: str | None = None
    use: str | None = None
    ecc: str | None = None
    max_kib: int | None = None
    slots: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ProcessorRecord:
    """A processor, type 4 (DSP0134 7.5). ``status`` is the word of bits 2:0; ``populated`` is bit 6."""

    handle: int | None
    socket: str | None = None
    central: bool = True
    populated: bool | None = None
    status: str | None = None
    maker: str | None = None
    version: str | None = None
    cores: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class TableRecord:
    """All that one table says of memory. ``mixed`` is true where it holds more than one machine."""

    edition: tuple[int, int] | None
    devices: tuple[DeviceRecord, ...]
    arrays: tuple[ArrayRecord, ...]
    processors: tuple[ProcessorRecord, ...]
    virtual: bool = False
    mixed: bool = False
