"""PNG and PDF of SVG pages. The only place that knows cairo; without the system's libcairo it says what to install."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence
from typing import Any

from dimmplan.errors import InputError, Problem

DOTS_PER_INCH = 300
_CSS_DOTS_PER_INCH = 96
_DOTS_PER_METRE = round(DOTS_PER_INCH / 0.0254)
_POINTS_PER_MM = 72 / 25.4
_MADE_BY = "dimmplan"
_MADE_ON = "1970-01-01T00:00:00Z"
"""A fixed date, so that the same plan gives the same bytes."""


def _cairosvg() -> Any:
    """The renderer. Raises ``InputError`` where libcairo is missing."""
    try:
        import cairosvg.surface  # noqa: PLC0415 - only where a PNG or PDF is asked for
    except (ImportError, OSError) as error:
        raise InputError(
            Problem(
                file="PNG and PDF",
                place="",
                found=f"no usable cairo library ({type(error).__name__})",
                allowed="",
                hint="Install libcairo2 (Debian: apt install libcairo2; macOS: brew install cairo). SVG works without.",
            )
        ) from None
    return cairosvg


def png_bytes(svg: str) -> bytes:
    """A page as PNG at 300 dots per inch, the density recorded in the file."""
    scale = DOTS_PER_INCH / _CSS_DOTS_PER_INCH
    drawn: bytes = _cairosvg().svg2png(bytestring=svg.encode("utf-8"), scale=scale, background_color="#ffffff")
    return _with_marks(drawn)


def _with_marks(png: bytes) -> bytes:
    """The PNG with its density (pHYs) and its maker (tEXt) right behind the header chunk."""
    header_end = 8 + 25  # signature, then IHDR of 13 bytes with length, name and checksum
    density = struct.pack(">IIB", _DOTS_PER_METRE, _DOTS_PER_METRE, 1)
    marks = _chunk(b"pHYs", density) + _chunk(b"tEXt", b"Software\0" + _MADE_BY.encode("ascii"))
    return png[:header_end] + marks + png[header_end:]


def _chunk(name: bytes, content: bytes) -> bytes:
    checksum = zlib.crc32(name + content)
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", checksum)


def pdf_bytes(pages: Sequence[tuple[str, float, float]], *, title: str) -> bytes:
    """Pages (SVG, width and height in mm) as one PDF of exact page sizes; the same input gives the same bytes."""
    cairosvg = _cairosvg()
    import cairocffi  # noqa: PLC0415 - comes with cairosvg, and needs libcairo as it does

    output = io.BytesIO()
    document = cairocffi.PDFSurface(output, 1, 1)
    document.set_metadata(cairocffi.PDF_METADATA_CREATOR, _MADE_BY)
    document.set_metadata(cairocffi.PDF_METADATA_TITLE, title)
    document.set_metadata(cairocffi.PDF_METADATA_CREATE_DATE, _MADE_ON)

    class _Page(cairosvg.surface.Surface):  # type: ignore[misc,name-defined,unused-ignore]
        """Draws one SVG onto the shared document."""

        device_units_per_user_units = 72 / _CSS_DOTS_PER_INCH

        def _create_surface(self, width: float, height: float) -> tuple[Any, float, float]:
            return document, width, height

    for svg, width_mm, height_mm in pages:
        document.set_size(width_mm * _POINTS_PER_MM, height_mm * _POINTS_PER_MM)
        tree = cairosvg.surface.Tree(bytestring=svg.encode("utf-8"))
        _Page(tree, None, _CSS_DOTS_PER_INCH)
        document.show_page()
    document.finish()
    return output.getvalue() + f"% {_MADE_BY}\n".encode("ascii")  # cairo may pack its own words on the maker
