"""How wide and high text is, by the letters that the sheet brings along: every machine measures alike, and exactly."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from dimmplan.sheet.letters import reach, width_of

CAP = 0.668
"""Cap height over font size."""

DESCENT = 0.21
"""How far letters reach below the base line, over font size."""


def font_size(cap_mm: float) -> float:
    """Font size in mm whose capitals are at least ``cap_mm`` high."""
    return cap_mm / CAP


def cap_height(size_mm: float) -> float:
    """Height of capitals at a font size, both in mm."""
    return size_mm * CAP


def line_pitch(cap_mm: float) -> float:
    """Distance of base lines in running text."""
    return font_size(cap_mm) * 1.14


def beyond(texts: Iterable[str], bold: bool = False) -> tuple[float, float]:
    """How far the ink of some texts reaches above their capitals and below the base line, over font size."""
    bottom, top = reach(texts, bold)
    return max(0.0, top / 1000 - CAP), max(0.0, -bottom / 1000)


def _unit_width(text: str, bold: bool) -> float:
    return width_of(text, bold) / 1000


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
