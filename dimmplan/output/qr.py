"""The QR symbol of a plan code (ISO/IEC 18004), as rows of dark and light modules without the quiet zone."""

from __future__ import annotations


def qr_matrix(code: str) -> tuple[tuple[bool, ...], ...]:
    """The symbol at error correction level M, never a micro symbol, which few readers know."""
    import segno  # noqa: PLC0415 - only where a sheet is drawn

    symbol = segno.make_qr(code, error="m", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in symbol.matrix)
