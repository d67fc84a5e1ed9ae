"""Shapes to PDF: all pages in one file, text as text.

The letters that the sheet brings along travel in the file as fonts of type 3, each glyph an outline that knows which
letters it stands for. So the picture needs no font of the machine, and its words can be searched and copied.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Sequence

from dimmplan.errors import InputError
from dimmplan.output.raster import Looks, Paint, Step, letter_path, path_of, system_outline
from dimmplan.sheet.letters import Line, face, typeset
from dimmplan.sheet.shapes import Group, Page, Text, walk

MARK = b"% dimmplan\n"
"""Ends every document this tool wrote."""

_POINTS_PER_MM = 72 / 25.4
_MADE_ON = "D:19700101000000Z"
"""A fixed date, so that the same plan gives the same bytes."""

_FONT_SIZE = 255
"""Glyphs of a font: a letter is one byte."""


def pdf_bytes(pages: Sequence[Page], *, title: str) -> bytes:
    """Pages as one PDF of exact page sizes; the same input gives the same bytes."""
    file = _File()
    fonts = _Fonts()
    streams = [_content(page, fonts) for page in pages]
    named = " ".join(f"/{name} {file.font(glyphs)} 0 R" for name, glyphs in fonts.glyphs.items())
    resources = file.add(f"<</Font<<{named}>>>>")
    tree = file.reserve()
    kids = []
    for page, stream in zip(pages, streams, strict=True):
        box = f"0 0 {_number(page.width_mm * _POINTS_PER_MM)} {_number(page.height_mm * _POINTS_PER_MM)}"
        content = file.stream(stream)
        kids.append(
            file.add(
                f"<</Type/Page/Parent {tree} 0 R/MediaBox[{box}]/Resources {resources} 0 R/Contents {content} 0 R>>"
            )
        )
    references = " ".join(f"{kid} 0 R" for kid in kids)
    file.add(f"<</Type/Pages/Count {len(kids)}/Kids[{references}]>>", tree)
    viewer = "/ViewerPreferences<</PrintScaling/None/DisplayDocTitle true>>"
    root = file.add(f"<</Type/Catalog/Pages {tree} 0 R/Lang(en){viewer}>>")
    about = file.add(f"<</Title{_text_string(title)}/Creator(dimmplan)/CreationDate({_MADE_ON})>>")
    return file.whole(root, about)


class _File:
    """Numbered objects, and the table of where each begins."""

    def __init__(self) -> None:
        self._objects: list[bytes] = []

    def reserve(self) -> int:
        """The number of an object that is given later."""
        self._objects.append(b"")
        return len(self._objects)

    def add(self, content: str | bytes, number: int = 0) -> int:
        """An object; returns its number."""
        number = number or self.reserve()
        self._objects[number - 1] = content.encode("ascii") if isinstance(content, str) else content
        return number

    def stream(self, content: str) -> int:
        """A packed stream."""
        packed = zlib.compress(content.encode("ascii"), 9)
        head = f"<</Filter/FlateDecode/Length {len(packed)}>>\nstream\n".encode("ascii")
        return self.add(head + packed + b"\nendstream")

    def font(self, glyphs: Sequence[tuple[str, int, str]]) -> int:
        """A font with the glyphs that the pages use."""
        procedures = " ".join(f"/g{code} {self.stream(drawn)} 0 R" for code, (_, _, drawn) in enumerate(glyphs, 1))
        names = " ".join(f"/g{code}" for code in range(1, len(glyphs) + 1))
        widths = " ".join(str(wide) for _, wide, _ in glyphs)
        unicode = self.stream(_to_unicode([letters for letters, _, _ in glyphs]))
        return self.add(
            "<</Type/Font/Subtype/Type3/FontMatrix[.001 0 0 .001 0 0]/FontBBox[0 -300 1200 1000]/Resources<<>>"
            f"/FirstChar 1/LastChar {len(glyphs)}/Widths[{widths}]/Encoding<</Type/Encoding/Differences[1 {names}]>>"
            f"/CharProcs<<{procedures}>>/ToUnicode {unicode} 0 R>>"
        )

    def whole(self, root: int, about: int) -> bytes:
        """The file."""
        parts = [b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n"]
        starts = []
        for number, content in enumerate(self._objects, 1):
            starts.append(sum(map(len, parts)))
            parts.append(b"%d 0 obj\n%b\nendobj\n" % (number, content))
        table = sum(map(len, parts))
        parts.append(b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1))
        parts += [b"%010d 00000 n \n" % start for start in starts]
        parts.append(b"trailer\n<</Size %d/Root %d 0 R/Info %d 0 R>>\n" % (len(starts) + 1, root, about))
        parts.append(b"startxref\n%d\n%%%%EOF\n%b" % (table, MARK))
        return b"".join(parts)


class _Fonts:
    """Which letters the pages use: each has a font and a code there, given when it is first met.

    ``glyphs`` are those of each font by their codes from 1: the letters it stands for, its width, how it is drawn.
    """

    def __init__(self) -> None:
        self._codes: dict[tuple[str, bool, int], tuple[str, int]] = {}
        self.glyphs: dict[str, list[tuple[str, int, str]]] = {}

    def code(self, letters: str, bold: bool, wide: int) -> tuple[str, int]:
        """Font and code of a letter, or of a piece of letters that the sheet does not bring along."""
        key = (letters, bold, wide)
        if key not in self._codes:
            weight = "B" if bold else "R"
            last = next((name for name in reversed(self.glyphs) if name[0] == weight), "")
            if not last or len(self.glyphs[last]) == _FONT_SIZE:
                last = f"{weight}{len(self.glyphs)}"
                self.glyphs[last] = []
            self.glyphs[last].append((letters, wide, _glyph(letters, bold, wide)))
            self._codes[key] = last, len(self.glyphs[last])
        return self._codes[key]


def _glyph(letters: str, bold: bool, wide: int) -> str:
    """How a glyph is drawn, y upwards; a box where there is neither an outline nor a library that finds one."""
    steps: Sequence[Step]
    if letters in face(bold).glyphs:
        steps = letter_path(letters, bold)
    else:
        try:
            steps = system_outline(letters, bold, wide)
        except InputError:
            corners = [(60.0, 0.0), (wide - 60.0, 0.0), (wide - 60.0, -700.0), (60.0, -700.0)]
            steps = [("l" if number else "m", corner) for number, corner in enumerate(corners)] + [("h", ())]
    return f"{wide} 0 0 -300 {max(wide, 1)} 1000 d1\n1 0 0 -1 0 0 cm\n{_path(steps, places=0)}f"


def _to_unicode(glyphs: Sequence[str]) -> str:
    lines = [f"<{code:02x}> <{text.encode('utf-16-be').hex()}>" for code, text in enumerate(glyphs, 1)]
    blocks = [lines[at : at + 100] for at in range(0, len(lines), 100)]
    chars = "\n".join(f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar" for block in blocks)
    return (
        "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n/CMapName /letters def\n/CMapType 2 def\n"
        f"1 begincodespacerange\n<00> <ff>\nendcodespacerange\n{chars}\n"
        "endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n"
    )


def _text_string(text: str) -> str:
    return f"<feff{text.encode('utf-16-be', 'replace').hex()}>"


def _number(value: float, places: int = 3) -> str:
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if places else text
    return "0" if text == "-0" else text


def _numbers(values: Iterable[float], places: int = 3) -> str:
    return " ".join(_number(value, places) for value in values)


def _path(steps: Iterable[Step], places: int = 3) -> str:
    return "".join(f"{_numbers(numbers, places)} {word}\n" if numbers else f"{word}\n" for word, numbers in steps)


def _content(page: Page, fonts: _Fonts) -> str:
    """The marks of a page. Units are mm with y downwards, as the shapes have it."""
    looks = Looks(page.stylesheet)
    scale = _POINTS_PER_MM
    parts = [f"{scale:.8f} 0 0 {-scale:.8f} 0 {page.height_mm * scale:.4f} cm\n4 M\n"]
    now: Paint | None = None
    for shape in walk(page.shapes):
        if isinstance(shape, Group):
            continue
        is_text = isinstance(shape, Text)
        paint = looks[f"t {shape.look}" if is_text else shape.look]
        if paint != now:
            parts.append("".join(_state(paint)))
            now = paint
        if isinstance(shape, Text):
            parts.append(_line(shape, fonts))
        else:
            end = "B" if paint.fill and paint.stroke else "f" if paint.fill else "S" if paint.stroke else "n"
            parts.append(f"{_path(path_of(shape))}{end}\n")
    return "".join(parts)


def _state(paint: Paint) -> Iterator[str]:
    if paint.fill is not None:
        yield f"{_numbers(paint.fill)} rg\n"
    if paint.stroke is not None:
        yield f"{_numbers(paint.stroke)} RG\n{_number(paint.width)} w\n[{_numbers(paint.dashes)}] 0 d\n"
        yield f"{int(paint.round_caps)} J\n{int(paint.round_joins)} j\n"


def _line(line: Text, fonts: _Fonts) -> str:
    x, y = line.start
    across = f"0 -1 -1 0 {_numbers((x, y))}" if line.turn else f"1 0 0 -1 {_numbers((x, y))}"
    shown = "".join(_shown(typeset(text, bold), bold, line.size, fonts) for text, bold in line.runs)
    return f"BT\n{across} Tm\n{shown}ET\n"


def _shown(stands: Line, bold: bool, size: float, fonts: _Fonts) -> str:
    """Words that show a piece of a line: letters by their codes, with a step between two where they are kerned."""
    pieces = {start: (piece, wide) for piece, start, wide in stands.others}
    own = face(bold).glyphs
    shown, font, row, at = "", "", "", 0
    for letter, start in zip(stands.text, stands.starts, strict=True):
        if letter in own and start not in pieces:
            letters, wide = letter, own[letter][0]
        elif start in pieces:
            letters, wide = pieces.pop(start)
        else:
            continue
        name, code = fonts.code(letters, bold, wide)
        if name != font:
            shown += f"[{row}]TJ\n" if row else ""
            shown += f"/{name} {_number(size, 4)} Tf\n"
            font, row = name, ""
        row += (f"{at - start}" if start != at else "") + f"<{code:02x}>"
        at = start + wide
    tail = f"{at - stands.width}" if at != stands.width else ""
    return shown + (f"[{row}{tail}]TJ\n" if row else "")
