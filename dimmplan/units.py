"""Capacities and rates: read from text, written as text. All arithmetic is exact.

Capacities are whole GiB (IEC 80000-13; the trade writes GB on a module and means GiB), bandwidths are exact
fractions of decimal GB/s (10^9 bytes per second).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Sequence
from fractions import Fraction
from typing import TypeVar

from dimmplan.errors import InputError, Problem, did_you_mean

K = TypeVar("K", bound=Hashable)
T = TypeVar("T")

BYTES_PER_TRANSFER = 8
"""Data bytes a channel moves per transfer: 64 bits, ECC bits not counted (standards, section 1.6)."""

MOST_GIB = 1 << 20
"""No request and no module above 1 PiB is taken for meant."""

_CAPACITY = re.compile(r"\s*(\d{1,12})(?:\.(\d{1,6}))?\s*([a-z]*)\s*", re.IGNORECASE | re.ASCII)
_UNIT_MIB = {"m": 1, "mb": 1, "mib": 1, "g": 1024, "gb": 1024, "gib": 1024, "t": 1 << 20, "tb": 1 << 20, "tib": 1 << 20}
_ALLOWED = "a number with its unit, such as 384GiB, 384 GB or 1.5TiB"


def parse_capacity(text: str, *, file: str = "capacity", place: str = "") -> int:
    """Read a capacity as people type it and return whole GiB, rounded up.

    ``GB`` and ``TB`` are taken as GiB and TiB, as on module labels. Raises ``InputError`` for anything that is
    not a positive number with a unit, or is larger than 1 PiB.
    """

    def refuse(hint: str) -> InputError:
        return InputError(Problem(file=file, place=place, found=quoted(text), allowed=_ALLOWED, hint=hint))

    match = _CAPACITY.fullmatch(text)
    if match is None:
        comma = re.fullmatch(r"\s*\d+,\d+\s*[a-z]+\s*", text, re.IGNORECASE)
        raise refuse("Write a point, not a comma." if comma else "")
    whole, part, unit = match.groups()
    if not unit:
        raise refuse(f"The unit is missing: {whole}GiB?")
    if unit.lower() not in _UNIT_MIB:
        raise refuse(f"{quoted(unit)} is not a unit of capacity.")
    mib = Fraction(f"{whole}.{part or 0}") * _UNIT_MIB[unit.lower()]
    gib = -(-mib.numerator // (mib.denominator * 1024))
    if gib == 0:
        raise refuse("A capacity is more than 0.")
    if gib > MOST_GIB:
        raise refuse("At most 1 PiB.")
    return gib


Gib = int | Fraction
"""A capacity in GiB: whole, or an exact fraction where a mode halves an odd one."""


def whole(value: Fraction) -> Gib:
    """The fraction as an integer where it is one."""
    return value.numerator if value.denominator == 1 else value


def format_capacity(gib: Gib) -> str:
    """GiB as text: ``384 GiB``, ``1.5 TiB`` from 1024 GiB on where two decimals say it exactly."""
    if isinstance(gib, Fraction):
        return f"{trimmed(gib, 3)} GiB"
    if gib >= 1024 and (gib * 100) % 1024 == 0:
        return f"{trimmed(Fraction(gib, 1024), 2)} TiB"
    return f"{gib} GiB"


def format_kib(kib: int) -> str:
    """KiB as text: GiB where they are whole or many, MiB below, KiB where they are no whole MiB."""
    if kib % (1 << 20) == 0:
        return format_capacity(kib >> 20)
    if kib >= 10 << 20:
        return f"{trimmed(Fraction(kib, 1 << 20), 1)} GiB"
    return f"{trimmed(Fraction(kib, 1 << 10), 1)} MiB" if kib >= 1 << 10 else f"{kib} KiB"


def channel_peak_gb_s(rate_mts: int) -> Fraction:
    """Peak of one channel in GB/s: MT/s times 8 bytes; a DDR5 module's two halves together give this figure."""
    return Fraction(rate_mts * BYTES_PER_TRANSFER, 1000)


def decimal(value: Fraction, places: int) -> float:
    """An exact fraction rounded half up to ``places`` decimals, for printing and for JSON only."""
    scale: int = 10**places
    return ((value.numerator * scale * 2 + value.denominator) // (value.denominator * 2)) / scale


def trimmed(value: Fraction, places: int) -> str:
    """An exact fraction as the shortest text with at most ``places`` decimals."""
    text = f"{decimal(value, places):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


NUMBER_ALONE = "Write the number alone, without quotes and unit."
"""What to do where a number was written as a text."""


def by_key(items: Iterable[T], key: Callable[[T], K]) -> dict[K, list[T]]:
    """Items that share a key together, keys and items in the order in which they are met."""
    found: dict[K, list[T]] = {}
    for item in items:
        found.setdefault(key(item), []).append(item)
    return found


def listed(words: Sequence[str], *, last: str = "and") -> str:
    """Words as a list in a sentence: ``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def watts_words(watts: Fraction) -> str:
    """Watts to one decimal: ``5.5 W``."""
    return f"{decimal(watts, 1):g} W"


def counted(number: int, noun: str) -> str:
    """A number with its noun: ``1 module``, ``2 modules``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def quoted(text: str, *, most: int = 60) -> str:
    """Foreign text made safe to print: control, format and lone surrogate characters escaped, cut to length."""
    return f"'{cleaned(text, most=most)}'"


def cleaned(text: str, *, most: int = 200) -> str:
    """Foreign text with everything unprintable (controls, direction overrides, surrogates) written as escapes."""
    cut = text if len(text) <= most else text[: most - 1] + "…"
    if cut.isprintable():
        return cut
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in cut)


def unknown_word(text: str, known: Sequence[str], *, file: str, place: str = "", none: str = "") -> Problem:
    """The problem of a word that is none of those known, with the nearest of them; ``none`` says that none is known."""
    allowed = ", ".join(known) or none
    return Problem(file=file, place=place, found=quoted(text), allowed=allowed, hint=did_you_mean(text, known))


MOST_WORDS = 200


def words_problem(text: str | None, *, file: str, place: str = "") -> Problem | None:
    """What is wrong with words that are to be printed on a sheet: one line, nothing that steers a printer."""
    if text is None or (text.isprintable() and len(text) <= MOST_WORDS):
        return None
    allowed = f"one line of at most {MOST_WORDS} characters that can be printed"
    return Problem(file=file, place=place, found=quoted(text), allowed=allowed)
