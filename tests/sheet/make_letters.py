"""Makes ``dimmplan/sheet/letters.json``: outlines, widths and kerning of the face that the sheet is drawn with.

Run: python -m tests.sheet.make_letters FOLDER, where FOLDER is the unpacked npm package
``@fontsource/atkinson-hyperlegible-next`` (5.3.0). Needs fontTools; neither a user nor CI does.

Figures are those of equal width. Signs that the face lacks are drawn here, from its own strokes.
"""

from __future__ import annotations

import json
import sys
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fontTools.pens.basePen import BasePen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.transformPen import TransformPen
from fontTools.ttLib import TTFont

TARGET = Path(__file__).parents[2] / "dimmplan" / "sheet" / "letters.json"
WEIGHTS = {"regular": 400, "bold": 700}
SIGNS = "–—‘’‚“”„•…‹›⁄€™−Œœ\u2009"
LATIN_1 = "".join(chr(code) for code in [*range(0x20, 0x7F), *range(0xA0, 0x100)])
SAME = {"\xad": "-", "\u00a0": " "}
"""Drawn as another letter is: the soft hyphen as a hyphen, the fixed blank as a blank."""

Glyph = list[Any]
"""Advance, bottom, top, and the outline as an SVG path of m, l, h, v, q and z; y downwards, 1000 units an em."""


class ShortPath(BasePen):
    """A path in whole units, every step from the point before: half as long as one of absolute points."""

    def __init__(self, glyphs: Any) -> None:
        super().__init__(glyphs)
        self.words = ""
        self.at = self.start = (0, 0)

    def _step(self, *points: tuple[float, float]) -> list[int]:
        x, y = self.at
        whole = [(round(a), round(b)) for a, b in points]
        self.at = whole[-1]
        return [n for a, b in whole for n in (a - x, b - y)]

    def _add(self, word: str, numbers: Sequence[int]) -> None:
        text = " ".join(map(str, numbers)).replace(" -", "-")
        again = word if word in "qlhv" and self.words.rstrip("-0123456789 ")[-1:] == word else ""
        self.words += ("" if text[0] == "-" else " ") + text if again else word + text

    def _moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802 - as fontTools calls it
        self._add("m", self._step(point))
        self.start = self.at

    def _lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802 - as fontTools calls it
        x, y = self._step(point)
        if x and y:
            self._add("l", (x, y))
        elif x or y:
            self._add("h" if x else "v", (x or y,))

    def _qCurveToOne(self, control: tuple[float, float], point: tuple[float, float]) -> None:  # noqa: N802 - as fontTools calls it
        self._add("q", self._step(control, point))

    def _closePath(self) -> None:  # noqa: N802 - as fontTools calls it
        self.words += "z"
        self.at = self.start


class Face:
    """One weight, from the two files that the package holds for it."""

    def __init__(self, folder: Path, weight: int) -> None:
        name = "atkinson-hyperlegible-next-{}-{}-normal.woff"
        self.latin, self.extended = (
            TTFont(folder / "files" / name.format(part, weight)) for part in ("latin", "latin-ext")
        )
        self.copyright = self.latin["name"].getDebugName(0)
        self.figures = _substitutes(self.latin, "tnum")

    def source(self, letter: str) -> tuple[TTFont, str] | None:
        """The file and the glyph of a letter."""
        for font in (self.latin, self.extended):
            name = font.getBestCmap().get(ord(letter))
            if name is not None:
                return font, self.figures.get(name, name) if font is self.latin else name
        return None

    def glyph(self, letter: str, dx: float = 0, dy: float = 0) -> Glyph:
        """A letter of the face, shifted."""
        found = self.source(letter)
        assert found is not None, letter
        font, name = found
        glyphs = font.getGlyphSet()
        pen, bounds, flat = ShortPath(glyphs), BoundsPen(glyphs), DecomposingRecordingPen(glyphs)
        glyphs[name].draw(flat)
        flat.replay(TransformPen(pen, (1, 0, 0, -1, dx, -dy)))
        flat.replay(TransformPen(bounds, (1, 0, 0, 1, dx, dy)))
        _, low, _, high = bounds.bounds or (0, 0, 0, 0)
        return [round(glyphs[name].width), round(low), round(high), pen.words]

    def box(self, letter: str) -> tuple[int, int, int, int]:
        """Left, bottom, right and top of a letter's ink."""
        font, name = self.source(letter)  # type: ignore[misc]
        bounds = BoundsPen(font.getGlyphSet())
        font.getGlyphSet()[name].draw(bounds)
        return tuple(round(side) for side in bounds.bounds)  # type: ignore[return-value]

    def letters(self) -> dict[str, Glyph]:
        """Every letter and sign by itself."""
        extended = {chr(code) for code in self.extended.getBestCmap() if unicodedata.category(chr(code))[0] == "L"}
        wanted = sorted({*LATIN_1, *SIGNS, *extended} - set(SAME))
        found = {letter: self.glyph(letter) for letter in wanted if self.source(letter)}
        found |= {letter: found[like] for letter, like in SAME.items()} | self._own_signs()
        missing = set(LATIN_1 + SIGNS) - set(found)
        assert not missing, missing
        return dict(sorted(found.items()))

    def _own_signs(self) -> dict[str, Glyph]:
        left, low, right, high = self.box("−")
        stroke, axis = high - low, (high + low) // 2
        wide = self.glyph("−")[0]
        reach, half = (right - left) // 2 + 30, 2 * stroke + 60
        middle = (left + right) // 2
        across = _polygons(
            [(-reach, stroke / 2), (reach - half, stroke / 2), (reach - half, half), (reach, 0)], mirror=True
        )
        signs = {}
        for sign, turn in {"→": (1, 0), "↑": (0, 1), "←": (-1, 0), "↓": (0, -1)}.items():
            a, b = turn
            signs[sign] = _drawn(wide, [[(middle + x * a - y * b, axis + x * b + y * a) for x, y in across]])
        for sign, over in {"≥": ">", "≤": "<"}.items():
            x0, bottom, x1, _ = self.box(over)
            shift = round(1.4 * stroke)
            lifted = self.glyph(over, 0, shift)
            bar = _drawn(wide, [[(x0, bottom), (x1, bottom), (x1, bottom + stroke), (x0, bottom + stroke)]])
            signs[sign] = [lifted[0], bar[1], lifted[2], lifted[3] + bar[3].replace("m", "M", 1)]
        x0, bottom, x1, top = self.box("=")
        lean, out = (x1 - x0) // 5, 110
        slash = [(-lean, bottom - out), (-lean + stroke, bottom - out), (lean, top + out), (lean - stroke, top + out)]
        struck = _drawn(wide, [[(x + middle, y) for x, y in slash]])
        equals = self.glyph("=")
        signs["≠"] = [equals[0], struck[1], struck[2], equals[3] + struck[3].replace("m", "M", 1)]
        s = 1.25 * stroke
        tick = [(40, 300), (40 + s, 300 + s * 0.75), (215, 60 + s * 1.5), (500, 640), (500 + s, 600), (225, -10)]
        signs["✓"] = _drawn(round(540 + s), [tick])
        x0, _, _, top = self.box("u")
        edge = sorted(x for x, y in _points(self.latin, "u") if y == top)
        tail = _drawn(0, [[(x0, 60), (edge[1], 60), (edge[1], -190), (x0, -190)]])
        u = self.glyph("u")
        signs["µ"] = [u[0], -190, u[2], u[3] + tail[3].replace("m", "M", 1)]
        return signs

    def kerning(self, letters: Sequence[str]) -> dict[str, Any]:
        """Pairs by classes: letters on the right that kern alike, and for each class on the left its row of values."""
        names = {letter: found[1] for letter in letters if (found := self.source(letter)) and found[0] is self.latin}
        fixed = {" ", "\u00a0", "\u2009", *"0123456789"}
        kerned = [letter for letter in names if letter not in fixed]
        tables = _pair_tables(self.latin)
        rows = {a: [_pair(tables, names[a], names[b]) for b in kerned] for a in kerned}
        columns: dict[tuple[int, ...], str] = {}
        for number, letter in enumerate(kerned):
            column = tuple(rows[a][number] for a in kerned)
            if any(column):
                columns[column] = columns.get(column, "") + letter
        order = list(columns.values())
        left: dict[tuple[int, ...], str] = {}
        for letter in kerned:
            row = tuple(rows[letter][kerned.index(each[0])] for each in order)
            if any(row):
                left[row] = left.get(row, "") + letter
        return {"right": order, "left": {letters: list(row) for row, letters in left.items()}}


def _polygons(upper: list[tuple[float, float]], *, mirror: bool) -> list[tuple[float, float]]:
    """A polygon from its upper half."""
    lower = [(x, -y) for x, y in reversed(upper) if y] if mirror else []
    return [*upper, *lower]


def _drawn(advance: int, contours: list[list[tuple[float, float]]]) -> Glyph:
    # all contours run the same way round as the face's own, so that ink over ink stays ink
    pen, heights = ShortPath(None), []
    for contour in contours:
        area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(contour, [*contour[1:], contour[0]], strict=True))
        points = contour if area < 0 else contour[::-1]
        pen.moveTo((points[0][0], -points[0][1]))
        for x, y in points[1:]:
            pen.lineTo((x, -y))
        pen.closePath()
        heights += [round(y) for _, y in points]
    return [advance, min(heights), max(heights), pen.words]


def _points(font: TTFont, letter: str) -> list[tuple[int, int]]:
    glyph = font["glyf"][font.getBestCmap()[ord(letter)]]
    return list(glyph.getCoordinates(font["glyf"])[0])


def _substitutes(font: TTFont, feature: str) -> dict[str, str]:
    table = font["GSUB"].table
    lookups = {
        index
        for record in table.FeatureList.FeatureRecord
        if record.FeatureTag == feature
        for index in record.Feature.LookupListIndex
    }
    found: dict[str, str] = {}
    for index in lookups:
        for each in table.LookupList.Lookup[index].SubTable:
            found |= getattr(each, "ExtSubTable", each).mapping
    return found


def _pair_tables(font: TTFont) -> list[Any]:
    table = font["GPOS"].table
    lookups = {
        index
        for record in table.FeatureList.FeatureRecord
        if record.FeatureTag == "kern"
        for index in record.Feature.LookupListIndex
    }
    return [
        [getattr(each, "ExtSubTable", each) for each in table.LookupList.Lookup[index].SubTable]
        for index in sorted(lookups)
    ]


def _pair(tables: list[Any], first: str, second: str) -> int:
    """What is added to the advance of ``first`` before ``second``: the first subtable that knows the pair decides."""
    total = 0
    for subtables in tables:
        for each in subtables:
            if first not in each.Coverage.glyphs:
                continue
            if each.Format == 1:
                pairs = each.PairSet[each.Coverage.glyphs.index(first)].PairValueRecord
                value = next((pair.Value1 for pair in pairs if pair.SecondGlyph == second), None)
                if value is None:
                    continue
            else:
                row = each.Class1Record[each.ClassDef1.classDefs.get(first, 0)]
                value = row.Class2Record[each.ClassDef2.classDefs.get(second, 0)].Value1
            total += getattr(value, "XAdvance", 0) or 0
            break
    return total


def main(argv: Sequence[str]) -> int:
    """Write the file."""
    faces = {name: Face(Path(argv[0]), weight) for name, weight in WEIGHTS.items()}
    lines = [f'"copyright": {json.dumps(faces["regular"].copyright)}', '"licence": "SIL Open Font License 1.1"']
    capital = {face.box("E")[3] for face in faces.values()}
    assert len(capital) == 1
    lines.append(f'"cap": {capital.pop()}')
    for name, face in faces.items():
        letters = face.letters()
        rows = ",\n".join(f"{json.dumps(a, ensure_ascii=False)}: {json.dumps(g)}" for a, g in letters.items())
        kerning = face.kerning(list(letters))
        pairs = ",\n".join(f"{json.dumps(k, ensure_ascii=False)}: {json.dumps(v)}" for k, v in kerning["left"].items())
        right = json.dumps(kerning["right"], ensure_ascii=False)
        lines.append(f'"{name}": {{"letters": {{\n{rows}}},\n"right": {right},\n"left": {{\n{pairs}}}}}')
    TARGET.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    (TARGET.parent / "letters-OFL.txt").write_bytes((Path(argv[0]) / "LICENSE").read_bytes())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
