"""The symbols that a plan code is written in: Crockford's base32, groups of four, and four check symbols.

The check symbols are those of a cyclic code over GF(32): any three wrong symbols are refused, and of a single one it is
known where it stands.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from dimmplan.errors import InputError, Problem
from dimmplan.units import quoted

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Crockford's base32: no I, L, O, U."""

CHECK_SYMBOLS = 4
GROUP = 4
LONGEST = 400
"""Symbols of a code, its checks among them."""


def looks_like_code(text: str) -> bool:
    """True for text that can only be meant as a plan code: long enough, and nothing but its symbols and blanks."""
    symbols = folded(text)
    return len(symbols) >= 12 and all(symbol in ALPHABET for symbol in symbols)


def folded(text: str) -> str:
    """Case, blanks and grouping forgiven; O reads as 0, I and L as 1."""
    plain = "".join(text.split()).replace("-", "").upper()
    return plain.translate(str.maketrans("OIL", "011"))


def grouped(symbols: str) -> str:
    """Symbols in groups for reading aloud."""
    return "-".join(symbols[i : i + GROUP] for i in range(0, len(symbols), GROUP))


def symbols_of(number: int) -> str:
    found = ""
    while number:
        number, digit = divmod(number, 32)
        found = ALPHABET[digit] + found
    return found or "0"


def number_of(symbols: str) -> int:
    number = 0
    for symbol in symbols:
        number = number * 32 + ALPHABET.index(symbol)
    return number


def unchecked(text: str) -> str:
    """The symbols of a code without its checks. Raises ``InputError`` where they do not check."""
    symbols = folded(text)
    wrong = [symbol for symbol in symbols if symbol not in ALPHABET]
    allowed = "the symbols of a plan code: digits and letters without I, L, O, U"
    if wrong or not CHECK_SYMBOLS < len(symbols) <= LONGEST:
        found = f"the character {quoted(wrong[0])}" if wrong else f"{len(symbols)} symbols"
        raise InputError(Problem(file="plan code", place="", found=found, allowed=allowed))
    values = [ALPHABET.index(symbol) for symbol in symbols]
    if checks(values):
        return symbols[:-CHECK_SYMBOLS]
    place, found, hint = _diagnosed(symbols, values)
    raise InputError(Problem(file="plan code", place=place, found=found, allowed="", hint=hint))


def _diagnosed(symbols: str, values: Sequence[int]) -> tuple[str, str, str]:
    """Where the damage is, what was found and what to do, as far as the checks can tell."""
    wrong = _single_fault(rest_of(values), len(values))
    if wrong is not None:
        return _at(symbols, wrong, f"Its character {wrong % GROUP + 1} seems wrong; read it again.")
    for place, (one, other) in enumerate(itertools.pairwise(values)):
        if one != other and checks([*values[:place], other, one, *values[place + 2 :]]):
            hint = f"{symbols[place]} and {symbols[place + 1]} seem to have traded places; read them again."
            return _at(symbols, place, hint)
    for place in range(len(values)):
        if checks([*values[:place], *values[place + 1 :]]):
            return _at(symbols, place, f"One {symbols[place]} seems to be too many; read it again.")
    for place in range(len(values) + 1):
        trial = [*values[:place], 0, *values[place:]]
        rest = rest_of(trial)
        if not any(rest) or place == _single_fault(rest, len(trial)):
            hint = f"A character seems to be missing in group {_group_of(place)}; read it again."
            return f"group {_group_of(place)}", f"{len(symbols)} characters, which do not check", hint
    return "", "a code that does not check", "Read it again, group by group."


def _at(symbols: str, place: int, hint: str) -> tuple[str, str, str]:
    return f"group {_group_of(place)}", f"{_text_at(symbols, place)}, which does not check", hint


def _group_of(place: int) -> int:
    return place // GROUP + 1


def _text_at(symbols: str, place: int) -> str:
    start = place // GROUP * GROUP
    return symbols[start : start + GROUP]


_EXP: list[int] = []
_LOG = [0] * 32
_value = 1
for _power in range(31):
    _EXP.append(_value)
    _LOG[_value] = _power
    _value <<= 1
    if _value & 32:
        _value ^= 0b100101  # x^5 + x^2 + 1, primitive over GF(2)


def _times(one: int, other: int) -> int:
    return _EXP[(_LOG[one] + _LOG[other]) % 31] if one and other else 0


Rest = tuple[int, int, int, int]

_CHECK: Rest = (15, 21, 5, 16)
"""The check polynomial below x^4, highest power first. It is primitive over GF(32), so that a wrong symbol at one place
is never like one at another place; and of 160 places no three go together: any three wrong symbols are refused."""

TURNS: tuple[Rest, ...] = tuple(
    (_times(lead, _CHECK[0]), _times(lead, _CHECK[1]), _times(lead, _CHECK[2]), _times(lead, _CHECK[3]))
    for lead in range(32)
)
"""What comes back in where a symbol is shifted out at the top."""


def _length_symbol(length: int) -> int:
    """The length of a code as the symbol that is checked before all others and never written.

    Without it a ``0`` too many at either end would do no harm to a cyclic code.
    """
    return length % 31 + 1


def with_checks(symbols: str) -> str:
    """Symbols with their check symbols behind them."""
    values = [*(ALPHABET.index(symbol) for symbol in symbols), *(0,) * CHECK_SYMBOLS]
    return symbols + "".join(ALPHABET[value] for value in rest_of(values))


def checks(values: Sequence[int]) -> bool:
    """True where the symbols of a code, as places in the alphabet, agree with the check symbols at their end."""
    return not any(rest_of(values))


def rest_of(values: Sequence[int]) -> Rest:
    """The code word, its length before it, divided by the check polynomial: all zero for a word that checks."""
    a, b, c, d = 0, 0, 0, _length_symbol(len(values))
    for value in values:
        turn = TURNS[a]
        a, b, c, d = b ^ turn[0], c ^ turn[1], d ^ turn[2], value ^ turn[3]
    return a, b, c, d


def _single_fault(rest: Rest, length: int) -> int | None:
    """The place, counted from the front, at which one wrong symbol leaves that rest; ``None`` where none does."""
    wanted, here = _direction(rest), (0, 0, 0, 1)
    for place in reversed(range(length)):
        if _direction(here) == wanted:
            return place
        turn = TURNS[here[0]]
        here = here[1] ^ turn[0], here[2] ^ turn[1], here[3] ^ turn[2], turn[3]
    return None


def _direction(rest: Rest) -> Rest | None:
    """A rest up to a factor: the same for every wrong value at one place."""
    first = next((value for value in rest if value), 0)
    if not first:
        return None
    back = _EXP[-_LOG[first] % 31]
    return _times(rest[0], back), _times(rest[1], back), _times(rest[2], back), _times(rest[3], back)
