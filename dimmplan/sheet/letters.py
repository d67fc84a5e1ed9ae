"""The letters that the sheet is drawn with, how wide text is in them, and where lines break.

Outlines, widths and kerning of one face come from a file of the package, so the sheet is the same picture on every
machine, and measuring is exact. ``letters.json`` holds Latin letters and signs in two weights; its licence stands
beside it. Lengths of letters are in thousandths of the font size, those of text in mm.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable
from functools import cache, lru_cache
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any, NamedTuple

_WIDE, _UNKNOWN = 1100, 850
_TOP, _BOTTOM = 900, -250
"""Room for a letter that is not here and is shown in a font of the machine; wide ones are those of East Asia."""


class Line(NamedTuple):
    """A line of text as it stands: where each letter begins; those to draw; pieces of letters that are not here.

    Such a piece has its text, where it begins and how wide it may be.
    """

    text: str
    starts: tuple[int, ...]
    letters: tuple[tuple[str, int], ...]
    others: tuple[tuple[str, int, int], ...]
    width: int


class Face(dict[tuple[str, str], int]):
    """One weight. As a mapping: how far a second letter stands from a first, each pair found when it is first asked.

    ``glyphs`` holds of each letter how far the next one stands, its ink below and above the base line, and its outline:
    an SVG path of m, l, h, v, q and z with y downwards; M begins an outline that was added to a letter.
    """

    def __init__(self, bold: bool) -> None:
        found = _file()["bold" if bold else "regular"]
        self.glyphs: dict[str, tuple[int, int, int, str]] = found["letters"]
        self._right = {letter: number for number, letters in enumerate(found["right"]) for letter in letters}
        self._left = {letter: values for letters, values in found["left"].items() for letter in letters}

    def __missing__(self, pair: tuple[str, str]) -> int:
        first, second = pair
        if first in self.glyphs:
            step = self.glyphs[first][0]
            if first in self._left and second in self._right:
                step += self._left[first][self._right[second]]
        elif unicodedata.combining(first):
            step = 0
        else:
            step = _WIDE if unicodedata.east_asian_width(first) in "WF" else _UNKNOWN
        self[pair] = step
        return step

    def path(self, letter: str) -> str:
        """The outline of a letter that is among ``glyphs``."""
        return self.glyphs[letter][3]


@cache
def _file() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(Path(__file__).with_name("letters.json").read_text(encoding="utf-8"))
    return found


@cache
def face(bold: bool) -> Face:
    """The face in one weight; its file is read when a first text is measured."""
    return Face(bold)


def _composed(text: str) -> str:
    """A text with each accent in its letter, where such a letter is."""
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _steps(text: str, bold: bool) -> Iterable[int]:
    """How far each letter moves the next. Words and figures are not kerned, so lines are as wide as their words."""
    return map(face(bold).__getitem__, zip(text, text[1:] + " ", strict=False))


@lru_cache(maxsize=20000)
def width_of(text: str, bold: bool) -> int:
    """Width of one line."""
    return sum(_steps(_composed(text), bold))


@lru_cache(maxsize=4000)
def typeset(text: str, bold: bool) -> Line:
    """One line, letter by letter. A letter that is here but bears an accent that is not goes with its accent."""
    text = _composed(text)
    glyphs = face(bold).glyphs
    letters: list[tuple[str, int]] = []
    others: list[tuple[str, int, int]] = []
    places = [*accumulate(_steps(text, bold), initial=0)]
    for letter, (at, after) in zip(text, pairwise(places), strict=True):
        if letter in glyphs:
            letters.append((letter, at))
        elif letters and unicodedata.combining(letter) and (not others or others[-1][1] < letters[-1][1]):
            base, begins = letters.pop()
            others.append((base + letter, begins, at - begins))
        elif others and sum(others[-1][1:]) == at:
            piece, begins, _ = others.pop()
            others.append((piece + letter, begins, after - begins))
        else:
            others.append((letter, at, after - at))
    return Line(text, tuple(places[:-1]), tuple((a, x) for a, x in letters if glyphs[a][3]), tuple(others), places[-1])


def missing_letters(texts: Iterable[str]) -> str:
    """The letters of some texts that are not here, each once, in order of their code."""
    known = face(False).glyphs
    return "".join(sorted({a for text in texts if not text.isascii() for a in _composed(text) if a not in known}))


CAP = 0.668
"""Cap height over font size."""

DESCENT = 0.21
"""How far letters reach below the base line, over font size."""


def font_size(cap_mm: float) -> float:
    """Font size in mm whose capitals are at least ``cap_mm`` high."""
    return cap_mm / CAP


def line_pitch(cap_mm: float) -> float:
    """Distance of base lines in running text."""
    return font_size(cap_mm) * 1.14


def beyond(texts: Iterable[str], bold: bool = False) -> tuple[float, float]:
    """How far the ink of some texts reaches above their capitals and below the base line, over font size."""
    glyphs = face(bold).glyphs
    ends = [glyphs[a][1:3] if a in glyphs else (_BOTTOM, _TOP) for text in texts for a in _composed(text)]
    bottom, top = min((low for low, _ in ends), default=0), max((high for _, high in ends), default=0)
    return max(0.0, top / 1000 - CAP), max(0.0, -bottom / 1000)


def width(text: str, cap_mm: float, bold: bool = False) -> float:
    """Width of one line in mm at a cap height."""
    return width_of(text, bold) / 1000 * cap_mm / CAP


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
    return tuple((word, width_of(word, bold) / 1000) for word in text.split())


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
