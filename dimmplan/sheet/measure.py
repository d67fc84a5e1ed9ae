"""How wide and high text is, from a table of advance widths: no font is opened, so every machine measures alike.

The table is that of Helvetica and of the faces made to its widths (Arial, Liberation Sans), in thousandths of the
font size. ``SAFETY`` is added on top, since renderers differ in rounding and kerning.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import lru_cache

CAP = 0.688
"""Cap height over font size: the lowest of the faces named, so a height asked for is reached with each of them."""

ASCENT, DESCENT = 0.74, 0.22
"""How far letters, brackets and accents of small letters reach above and below the base line, over font size."""

SAFETY = 1.04

_REGULAR = {
    191: "'",
    222: "ijl‘’",
    260: "|¦",
    278: " !,./:;I[\\]ftÌÍÎÏìíîï",
    333: "()-`r¡¨²³´·¸¹“”",
    334: "{}",
    350: "•",
    355: '"',
    365: "º",
    370: "ª",
    389: "*",
    400: "°",
    469: "^",
    500: "Jcksvxyzçýÿ",
    537: "¶",
    549: "±÷",
    552: "¯",
    556: "#$0123456789?L_abdeghnopqu¢£¤¥§«»àáâãäåèéêëðñòóôõöùúûüþ–",
    576: "µ",
    584: "+<=>~¬×",
    611: "FTZ¿ßø",
    667: "&ABEKPSVXYÀÁÂÃÄÅÈÉÊËÝÞ",
    722: "CDHNRUwÇÐÑÙÚÛÜ",
    737: "©®",
    778: "GOQÒÓÔÕÖØ",
    833: "Mm",
    834: "¼½¾",
    889: "%æ",
    944: "W",
    1000: "Æ—…",
    1015: "@",
}
_BOLD = {
    238: "'",
    278: " ,./I\\ijlÌÍÎÏìíîï‘’",
    280: "|¦",
    333: "!()-:;[]`ft¡¨²³´·¸¹",
    350: "•",
    365: "º",
    370: "ª",
    389: "*r{}",
    400: "°",
    474: '"',
    500: "z“”",
    549: "±÷",
    552: "¯",
    556: "#$0123456789J_aceksvxy¢£¤¥§«¶»àáâãäåçèéêëýÿ–",
    576: "µ",
    584: "+<=>^~¬×",
    611: "?FLTZbdghnopqu¿ßðñòóôõöøùúûüþ",
    667: "EPSVXYÈÉÊËÝÞ",
    722: "&ABCDHKNRUÀÁÂÃÄÅÇÐÑÙÚÛÜ",
    737: "©®",
    778: "GOQwÒÓÔÕÖØ",
    833: "M",
    834: "¼½¾",
    889: "%mæ",
    944: "W",
    975: "@",
    1000: "Æ—…",
}
_WIDTHS = tuple(
    {letter: thousandths / 1000 for thousandths, letters in table.items() for letter in letters}
    for table in (_REGULAR, _BOLD)
)
_WIDE, _UNKNOWN = 1.1, 0.85
_HIGH = frozenset("bdfhijklt()[]{}|/\\$@#&!?'\"")
_HANGING = frozenset("gjpqyQJ,;()[]{}|_@/\\$§¶çþýÿµ")


def font_size(cap_mm: float) -> float:
    """Font size in mm whose capitals are at least ``cap_mm`` high."""
    return cap_mm / CAP


def cap_height(size_mm: float) -> float:
    """Height of capitals at a font size, both in mm."""
    return size_mm * CAP


def line_pitch(cap_mm: float) -> float:
    """Distance of base lines in running text."""
    return font_size(cap_mm) * 1.2


def has_descender(text: str) -> bool:
    """False only where every letter surely stands on the base line."""
    return any(letter in _HANGING or not letter.isascii() for letter in text)


def has_ascender(text: str) -> bool:
    """False only where every letter is surely no higher than a capital."""
    return any(letter in _HIGH or not letter.isascii() for letter in text)


def _advance(letter: str, bold: bool) -> float:
    known = _WIDTHS[bold].get(letter)
    if known is not None:
        return known
    if unicodedata.combining(letter):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" else _UNKNOWN


@lru_cache(maxsize=20000)
def _unit_width(text: str, bold: bool) -> float:
    return sum(_advance(letter, bold) for letter in text) * SAFETY


def width(text: str, cap_mm: float, bold: bool = False) -> float:
    """Width of one line in mm at a cap height."""
    return _unit_width(text, bold) * cap_mm / CAP


def fitted(text: str, cap_mm: float, room_mm: float, bold: bool = False) -> str:
    """The text, cut with an ellipsis where it is wider than its room."""
    if width(text, cap_mm, bold) <= room_mm + 1e-6:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width(text[:middle].rstrip() + "…", cap_mm, bold) <= room_mm:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…" if low else ""


Run = tuple[str, bool]
"""A piece of text and whether it is bold."""


def _broken(word: str, cap_mm: float, room_mm: float, bold: bool) -> list[str]:
    """A word in pieces that fit: a name without blanks may be longer than a whole line."""
    pieces: list[str] = []
    while width(word, cap_mm, bold) > room_mm + 1e-6 and len(word) > 1:
        count = len(word) - 1
        while count > 1 and width(word[:count], cap_mm, bold) > room_mm + 1e-6:
            count -= 1
        pieces.append(word[:count])
        word = word[count:]
    return [*pieces, word]


@lru_cache(maxsize=4000)
def _words(text: str, bold: bool) -> tuple[tuple[str, float], ...]:
    """The words of a text and their widths at font size 1: the same text is wrapped at many widths."""
    return tuple((word, _unit_width(word, bold)) for word in text.split())


@lru_cache(maxsize=4000)
def wrap_runs(runs: tuple[Run, ...], cap_mm: float, room_mm: float) -> tuple[tuple[Run, ...], ...]:
    """Lines of running text, each as its pieces, one blank between two. Never wider than the room."""
    lines: list[list[tuple[list[str], bool]]] = [[]]
    at = 0.0
    room = room_mm + 1e-6
    for text, bold in runs:
        blank = width(" ", cap_mm, bold)
        for whole, unit in _words(text, bold):
            fits = unit * cap_mm / CAP <= room
            for word in (whole,) if fits else _broken(whole, cap_mm, room_mm, bold):
                wide = unit * cap_mm / CAP if fits else width(word, cap_mm, bold)
                if lines[-1] and at + blank + wide > room:
                    lines.append([])
                    at = 0.0
                at += wide + (blank if lines[-1] else 0.0)
                if lines[-1] and lines[-1][-1][1] == bold:
                    lines[-1][-1][0].append(word)
                else:
                    lines[-1].append(([word], bold))
    return tuple(tuple((" ".join(words), bold) for words, bold in line) for line in lines if line)


def widest(texts: Iterable[str], cap_mm: float, bold: bool = False) -> float:
    """Width of the widest of some lines; 0 for none."""
    return max((width(text, cap_mm, bold) for text in texts), default=0.0)
