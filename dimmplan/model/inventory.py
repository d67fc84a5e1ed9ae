"""What a machine says of itself: its places for memory, its processors, and everything odd about how it says it.

An ``Inventory`` keeps what was read and what could not be understood. Nothing in it is guessed: a value that the
machine does not say, or says in a way that can mean two things, is ``None``, and an oddity tells why.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from dimmplan.model.module import Generation, Kind

State = Literal["filled", "empty", "cannot-tell", "hold"]
"""``hold``: a persistent module sits there. ``cannot-tell``: the machine's words do not settle it."""

Role = Literal["memory", "flash", "video", "cache", "non-volatile", "add-on", "soldered"]
"""What a place is for. Only ``memory`` places are slots that count; the others are listed by firmware all the same."""


class Oddity(NamedTuple):
    """Something odd about an inventory: a stable id, where it is met, and what it means, in words.

    ``where`` names slots, structures or files for a person; ``slots`` are positions in ``Inventory.slots``. Neither
    holds a serial number or an asset tag.
    """

    oddity: str
    where: str
    text: str
    slots: tuple[int, ...] = ()


class InventoryPlace(NamedTuple):
    """Where a module sits, as numbers; what they count from is the maker's choice. ``None`` where it is not said."""

    socket: int | None = None
    controller: int | None = None
    channel: int | None = None
    slot: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class InventorySlot:
    """One memory device as the machine lists it. Of an empty one only the place is kept.

    ``capacity_kib`` is exact. ``ranks_said`` is one number whose meaning (package or logical ranks) is not known;
    ``package_ranks`` and ``logical_ranks`` are set where the source tells them apart (labels, SPD). ``kind`` is as
    said: a source that only says *registered* gives RDIMM, and the module may still be a 3DS RDIMM. ``serial`` and
    ``asset_tag`` stand in no other field, so that an output can leave them out. ``why`` says why a place is on hold
    or cannot be told. ``handle`` is the SMBIOS handle, or the Id of the Redfish resource.
    """

    locator: str
    bank: str = ""
    place: InventoryPlace | None = None
    handle: str = ""
    role: Role = "memory"
    state: State
    why: str = ""
    capacity_kib: int | None = None
    generation: Generation | None = None
    kind: Kind | None = None
    ranks_said: int | None = None
    package_ranks: int | None = None
    logical_ranks: int | None = None
    device_width: int | None = None
    total_width_bits: int | None = None
    data_width_bits: int | None = None
    ecc: bool | None = None
    ecc_bits: int | None = None
    rated_mts: int | None = None
    configured_mts: int | None = None
    memory_type: str | None = None
    """The type in the source's own standard's word; also of generations that are not planned here."""
    label: str | None = None
    maker: str | None = None
    part_number: str | None = None
    serial: str | None = None
    asset_tag: str | None = None

    @property
    def counts(self) -> bool:
        """True for a place of the system's memory; false for flash, cache, soldered chips and the like."""
        return self.role == "memory"

    @property
    def persistent(self) -> bool:
        """True for a module that keeps its data without power; every place on hold is taken for one."""
        return self.state == "hold"

    @property
    def capacity_gib(self) -> int | None:
        """The capacity in GiB, where it is a whole number of them."""
        return None if self.capacity_kib is None or self.capacity_kib % (1 << 20) else self.capacity_kib >> 20

    @property
    def name(self) -> str:
        """The place in the machine's own words: locator and bank, once where they are the same, or nothing."""
        words = [word for word in dict.fromkeys((self.locator, self.bank)) if word]
        return f"{words[0]} ({words[1]})" if len(words) == 2 else "".join(words)

    def untold(self, why: str) -> InventorySlot:
        """The same with a content that cannot be told."""
        return replace(self, state="cannot-tell", why=why)


class InventoryProcessor(NamedTuple):
    """A processor socket. ``enabled`` is ``None`` where it is not said."""

    locator: str
    state: Literal["filled", "empty", "cannot-tell"]
    enabled: bool | None = None
    cores: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Inventory:
    """An inventory as read: one slot per memory device that the machine lists, in its order.

    ``edition`` is the standard and edition the source names; ``date`` is when the inventory was taken, where it says
    so itself; ``processors_said`` is a bare count from a source that lists no processors one by one.
    """

    form: str
    slots: tuple[InventorySlot, ...]
    processors: tuple[InventoryProcessor, ...] = ()
    oddities: tuple[Oddity, ...] = ()
    edition: str | None = None
    date: str | None = None
    processors_said: int | None = None

    @property
    def memory(self) -> tuple[InventorySlot, ...]:
        """The slots that count."""
        return tuple(slot for slot in self.slots if slot.counts)
