"""Properties of a Redfish resource read by type, noting what has another type, spelling or value than the schema."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Final

from dimmplan.inventory.clean import clean, is_placeholder, was_dirty
from dimmplan.inventory.oddities import Oddities

MEMORY_PROPERTIES: Final[dict[str, str]] = {  # DSP8010, Memory v1; types as in the schema
    "CapacityMiB": "integer",
    "MemoryType": "word",
    "MemoryDeviceType": "word",
    "BaseModuleType": "word",
    "RankCount": "integer",
    "DataWidthBits": "integer",
    "BusWidthBits": "integer",
    "ErrorCorrection": "word",
    "DeviceLocator": "text",
    "MemoryLocation": "object",
    "Location": "object",
    "OperatingSpeedMhz": "integer",
    "AllowedSpeedsMHz": "integers",
    "Manufacturer": "text",
    "PartNumber": "text",
    "SerialNumber": "text",
    "Model": "text",
    "SparePartNumber": "text",
    "ModuleManufacturerID": "text",
    "OperatingMemoryModes": "words",
    "MemoryMedia": "words",
    "VolatileSizeMiB": "integer",
    "NonVolatileSizeMiB": "integer",
    "LogicalSizeMiB": "integer",
    "IsRankSpareEnabled": "truth",
    "Enabled": "truth",
    "Status": "object",
    "AssetTag": "text",
}
"""The properties of a Memory resource that are read here, with their JSON types."""

_BY_FOLDED = {name.casefold(): name for name in MEMORY_PROPERTIES}
_KEPT_APART = frozenset(("SerialNumber", "AssetTag"))
MOST_NUMBER = 1 << 40


class Resource:
    """One resource or one object inside it. Getters give ``None`` for what is absent, null or of another type."""

    def __init__(self, value: dict[str, Any], odd: Oddities, where: str, *, slot: int | None = None) -> None:
        self._value = value
        self._odd = odd
        self._slots = () if slot is None else (slot,)
        self.where = where

    def take_spelling(self) -> None:
        """Accept properties that differ from the schema's only in case (``AllowedSpeedsMhz``), and note them."""
        for name in list(self._value)[:500]:
            right = _BY_FOLDED.get(name.casefold())
            if right is not None and right != name and right not in self._value:
                self.note("property-misspelt", text=f"{clean(name, most=40)} is read as {right}")
                self._value = {**self._value, right: self._value[name]}

    def _wrong(self, name: str) -> None:
        self.note("wrong-type", text=f"{name} has another type than the schema gives it")

    def note(self, oddity: str, *, text: str = "") -> None:
        """Note an oddity of the catalogue for this resource."""
        self._odd.note(oddity, self.where, text=text, slots=self._slots)

    def unknown(self, name: str, value: str) -> None:
        """Note a value that the schema does not list."""
        self.note("value-unknown", text=f"{name}: '{clean(value, most=40)}' is not in the schema's list")

    def text(self, name: str) -> str | None:
        """A string, cleaned; ``None`` for one that says nothing."""
        value = self._value.get(name)
        if value is None:
            return None
        if not isinstance(value, str):
            self._wrong(name)
            return None
        if was_dirty(value):
            self.note("text-cleaned")
        cleaned = clean(value)
        if not is_placeholder(cleaned):
            return cleaned
        if cleaned and name in ("Manufacturer", "PartNumber", "DeviceLocator"):
            self.note("placeholder-text")
        return None

    def word(self, name: str) -> str | None:
        """A word of an enumeration, as it stands."""
        value = self._value.get(name)
        if value is None or isinstance(value, str):
            return clean(value, most=60) or None if value is not None else None
        self._wrong(name)
        return None

    def words(self, name: str) -> tuple[str, ...]:
        """The words of an array."""
        return tuple(clean(item, most=60) for item in self._array(name) if isinstance(item, str))

    def _array(self, name: str) -> list[object]:
        """The first hundred items of an array."""
        value = self._value.get(name)
        if isinstance(value, list):
            return value[:100]
        if value is not None:
            self._wrong(name)
        return []

    def integer(self, name: str) -> int | None:
        """A whole number from 0 to 2^40. One written as text or with a fraction of zero is read, and noted."""
        value = self._value.get(name)
        return None if value is None else self._integer(name, value)

    def _integer(self, name: str, value: object) -> int | None:
        if isinstance(value, int) and not isinstance(value, bool):
            number: int | None = value
        else:
            self._wrong(name)
            number = _meant(value)
        if number is None:
            return None
        if 0 <= number <= MOST_NUMBER:
            return number
        self.note("field-unreadable", text=f"{name} is an impossible number")
        return None

    def number(self, name: str) -> Fraction | None:
        """A number, whole or not, from 0 to 2^40."""
        value = self._value.get(name)
        if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= MOST_NUMBER:
            return Fraction(value)
        if value is not None:
            self._wrong(name)
        return None

    def integers(self, name: str) -> tuple[int, ...]:
        """The whole numbers of an array."""
        numbers = [self._integer(name, item) for item in self._array(name) if item is not None]
        return tuple(number for number in numbers if number is not None)

    def truth(self, name: str) -> bool | None:
        """A boolean."""
        value = self._value.get(name)
        if value is None or isinstance(value, bool):
            return value
        self._wrong(name)
        return None

    def inside(self, name: str) -> Resource | None:
        """An object inside, or ``None``."""
        value = self._value.get(name)
        if value is None:
            return None
        if isinstance(value, dict):
            return Resource(value, self._odd, self.where, slot=self._slots[0] if self._slots else None)
        self._wrong(name)
        return None

    def raw_words(self) -> dict[str, str]:
        """The plain values of the properties read here, cleaned; serial number and asset tag left out."""
        words: dict[str, str] = {}
        for name, kind in MEMORY_PROPERTIES.items():
            value = self._value.get(name)
            if name in _KEPT_APART or value is None or kind == "object":
                continue
            text = ", ".join(_plain(item) for item in value[:20]) if isinstance(value, list) else _plain(value)
            if clean(text):
                words[name] = clean(text)
        return words


def _meant(value: object) -> int | None:
    """The whole number that a value of another type spells."""
    if isinstance(value, float) and value.is_integer() and abs(value) < MOST_NUMBER:
        return int(value)
    if isinstance(value, str) and len(value) <= 12 and value.isascii() and value.isdecimal():
        return int(value)
    return None


def _plain(value: object) -> str:
    """A JSON value as short text; huge numbers and nested values are not written out."""
    if isinstance(value, str):
        return value[:1000]
    if isinstance(value, bool | float):
        return str(value)
    if isinstance(value, int):
        return str(value) if abs(value) <= MOST_NUMBER else "a huge number"
    return ""
