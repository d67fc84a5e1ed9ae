"""The grammar of the words that firmware uses for places: processor, controller, channel, position.

A locator is read as tokens: words, single letters and numbers. A word that the grammar knows takes the value behind
it (``CPU1``, ``Channel A``, ``UMC 0``); a letter with a number and no word before them stays a pair (``A1``, ``1A``),
whose meaning only the whole machine tells. The forms are common practice; no document lists them.
"""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass, replace
from typing import Any, NamedTuple

from dimmplan.model.inventory import InventorySlot

_WORDS = {
    "processor": "CPU PROC PROCESSOR SOCKET SKT CPUSOCKET SRCID",
    "card": "BOARD CARD MEMCARD MEMBOARD RISER MEMRISER TRAY CARTRIDGE MEZZ",
    "controller": "MC IMC UMC CONTROLLER MCU DIE BOB HA",
    "node": "NODE",
    "channel": "CHANNEL CHAN CHN CH",
    "position": "DIMM DIM SODIMM SLOT XMM MODULE",
    "noise": "BANK BK DDR LPDDR VER REV",  # their number says nothing about the place
}
_ROLE = {word: role for role, words in _WORDS.items() for word in words.split()}
_SHORT = {"P": "processor", "S": "processor", "N": "node", "M": "controller", "J": "noise"}
"""Single letters that stand for a word where a number is glued to them and the rest of the locator says more."""

_GLUED = re.compile(rf"({'|'.join(sorted(_ROLE, key=len, reverse=True))})([A-Z])")
_TOKEN = re.compile(r"[A-Z]+|\d+")


@dataclass(frozen=True, kw_only=True, slots=True)
class Words:
    """What a device's words say of its place; ``None`` where they say nothing.

    ``letter`` and ``number`` are a pair without a word of its own, ``number_first`` tells ``1A`` from ``A1``.
    ``digits`` is a number of three digits (``DIMM010``), which may be socket, channel and position.
    """

    processor: str | None = None
    card: str | None = None
    controller: str | None = None
    node: str | None = None
    channel: str | None = None
    position: str | None = None
    letter: str | None = None
    number: str | None = None
    number_first: bool = False
    digits: str | None = None
    word: str = ""
    """The word that names the processor, as written: ``CPU``."""


NOTHING = Words()


class _Token(NamedTuple):
    text: str
    glued: bool
    """True where nothing stands between this token and the one before it."""

    @property
    def is_number(self) -> bool:
        return self.text.isdigit()

    @property
    def is_letter(self) -> bool:
        return len(self.text) == 1 and not self.is_number


def _tokens(text: str) -> list[_Token]:
    upper = re.sub(r"MEM(?:ORY)?\s+(?=CARD|BOARD|RISER)", "MEM", text.upper()).replace("SO-DIMM", "SODIMM")
    tokens: list[_Token] = []
    end = -1
    for match in _TOKEN.finditer(upper):
        glued = match.start() == end
        end = match.end()
        split = _GLUED.fullmatch(match[0]) if match[0] not in _ROLE else None
        parts = split.groups() if split else (match[0],)
        tokens += [_Token(part, glued or index > 0) for index, part in enumerate(parts)]
    return tokens


def plain_number(text: str) -> str:
    """A number without leading zeros; a letter as it is."""
    return str(int(text)) if text.isdigit() else text


class _Reader:
    """One pass over the tokens of a text."""

    def __init__(self, text: str, *, is_bank: bool = False) -> None:
        self.tokens = _tokens(text)
        self.is_bank = is_bank
        self.place = 0
        self.words = NOTHING
        self.values: list[_Token] = []

    def read(self) -> Words:
        while self.place < len(self.tokens):
            token = self.tokens[self.place]
            self.place += 1
            role = _ROLE.get(token.text) or self._short_role(token)
            following = self._value()
            if role is not None and following is not None:
                self._take(role, following, token.text)
            elif role is None and (token.is_letter or token.is_number):
                self._take_value(token)
        return self._with_values()

    def _value(self) -> _Token | None:
        """The value that follows here, if one does."""
        if self.place == len(self.tokens):
            return None
        token = self.tokens[self.place]
        return token if token.is_number or (token.is_letter and self._short_role(token, ahead=1) is None) else None

    def _short_role(self, token: _Token, *, ahead: int = 0) -> str | None:
        """The role of a single letter that is glued to a number, where the rest says more than it."""
        after = self.place + ahead
        number = self.tokens[after] if after < len(self.tokens) else None
        if not token.is_letter or number is None or not (number.is_number and number.glued):
            return None
        rest = self.tokens[after + 1 :]
        first = rest[0].text if rest else ""
        words = self.words
        if token.text in ("C", "D", "S") and (role := self._letter_of_place(token.text, first)):
            return role
        says_more = self.is_bank or any(each.is_number or each.is_letter for each in rest) or bool(self.values)
        role = _SHORT.get(token.text)
        if role is None or (token.text == "S" and first != "C"):
            return None
        free = role == "noise" or getattr(words, role) is None
        return role if free and (says_more or words.position or words.digits) else None

    def _letter_of_place(self, letter: str, following: str) -> str | None:
        """``C`` for a channel where a position follows, ``D`` for a position behind one, or for a die."""
        if (
            letter == "C"
            and self.words.channel is None
            and (following in ("D", "S") or _ROLE.get(following) == "position")
        ):
            return "channel"
        if letter == "D" and _ROLE.get(following) == "controller":
            return "controller"
        behind_channel = self.words.channel is not None and self.words.position is None
        return "position" if letter in ("D", "S") and behind_channel else None

    def _take(self, role: str, value: _Token, word: str) -> None:
        if role == "position":
            return  # what follows is a value like any other: DIMM A1, DIMM 1A, DIMM 3
        self.place += 1
        if role == "noise" or getattr(self.words, role) is not None:
            return
        known: dict[str, Any] = {role: plain_number(value.text)}
        self.words = replace(self.words, **known)
        if role == "processor":
            self.words = replace(self.words, word=word)

    def _take_value(self, token: _Token) -> None:
        self.values.append(token)
        if len(token.text) == 3 and token.is_number:
            self.words = replace(self.words, digits=token.text)

    def _with_values(self) -> Words:
        """The values that no word has taken: a position behind a channel, else a pair, a letter or a number."""
        words, values = self.words, [plain_number(token.text) for token in self.values]
        if not values:
            return words
        if words.channel is not None:
            return replace(words, position=words.position or values[-1])
        values = values[:2]
        if len(values) == 2 and values[0].isdigit() != values[1].isdigit():
            first_is_number = values[0].isdigit()
            number, letter = values if first_is_number else values[::-1]
            return replace(words, letter=letter, number=number, number_first=first_is_number)
        if values[0].isdigit():
            return replace(words, number=values[0])
        return replace(words, letter=values[0])


def read_words(text: str, *, is_bank: bool = False) -> Words:
    """What a locator or a bank text says of a place. In a bank ``P0`` alone names a processor, not a pair."""
    return _Reader(text[:120], is_bank=is_bank).read()


def names_place(text: str) -> bool:
    """True for a text that is the name of a slot and of nothing else: words of the grammar, letters and numbers."""
    tokens = _tokens(text[:120])
    known = all(token.is_number or token.is_letter or token.text in _ROLE for token in tokens)
    return known and any(token.is_number or token.is_letter for token in tokens)


def stated_words(device: InventorySlot) -> Words:
    """What a resource states of a device's place as numbers."""
    place = device.place
    if place is None:
        return NOTHING
    roles = ("processor", place.socket), ("controller", place.controller), ("channel", place.channel)
    known: dict[str, Any] = {role: str(n) for role, n in (*roles, ("position", place.slot)) if n is not None}
    return Words(**known)


def merged(first: Words, second: Words) -> Words:
    """The first's words, and the second's where the first says nothing."""
    theirs = asdict(second)
    return Words(**{name: value or theirs[name] for name, value in asdict(first).items()})


def natural(text: str | None) -> tuple[tuple[int, int, str], ...]:
    """A key that puts ``A2`` before ``A10``, and numbers before letters."""
    parts = re.findall(r"\d{1,18}|\D+", (text or "").casefold())
    return tuple((0, int(part), "") if part.isdecimal() and part.isascii() else (1, 0, part) for part in parts)
