"""The one cleaning step: every text that comes in from an inventory passes here before anything else sees it.

Taken out: terminal escape sequences (ECMA-48), control characters, direction overrides and other format characters,
zero-width and invisible characters, lone surrogates, private and unassigned code points. Angle brackets become
single guillemets, so that no writer can take foreign text for markup. Runs of blanks become one, and ends are trimmed.
"""

from __future__ import annotations

import re
import unicodedata

LONGEST_VALUE = 200
"""Characters kept of one value; DSP0134 knows no limit since 2.7 and had 64 before."""

_ESCAPES = re.compile(
    r"""[\x1b]\[[0-?]{0,64}[ -/]{0,8}[@-~]?     # CSI, as ESC [
      | \x9b[0-?]{0,64}[ -/]{0,8}[@-~]?         # CSI, as one character
      | [\x1b][\]PX^_][^\x07\x1b\x9c]{0,4096}(?:\x07|\x9c|\x1b\\)?   # OSC, DCS, SOS, PM, APC with their text
      | [\x1b][ -/]{0,4}[0-~]?                  # any other escape
    """,
    re.VERBOSE,
)
_INVISIBLE = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
_MARKUP = {"<": "‹", ">": "›"}
_DROPPED = frozenset(("Cf", "Cs", "Co", "Cn"))
_BLANK = frozenset(("Cc", "Zl", "Zp", "Zs"))
_JSON = re.compile(r"\s*(?:\{|\[\s*[\[{\]])")
_PLAIN = re.compile(r"[ !-;=?-~]*")


def clean(text: str, *, most: int = LONGEST_VALUE) -> str:
    """``text`` made safe to keep and to print, on one line, at most ``most`` characters (the last an ellipsis)."""
    text = text[: 8 * most + 8192]
    if not _PLAIN.fullmatch(text):
        text = "".join(_replaced(character) for character in without_escapes(text))
    text = " ".join(text.split(" ")) if "  " not in text else " ".join(text.split())
    text = text.strip()
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def without_escapes(text: str) -> str:
    """``text`` without terminal escape sequences; line ends stay."""
    return _ESCAPES.sub("", text) if "\x1b" in text or "\x9b" in text else text


def _replaced(character: str) -> str:
    """What is kept of one character: itself, a blank, a look-alike, or nothing."""
    if character in _MARKUP:
        return _MARKUP[character]
    category = unicodedata.category(character)
    if category in _BLANK:
        return " "
    if category in _DROPPED or character in _INVISIBLE or "\ufe00" <= character <= "\ufe0f":
        return ""
    return character


def was_dirty(text: str) -> bool:
    """True where cleaning takes out more than blanks at the ends, NUL padding and line ends."""
    kept = text.strip(" \t\r\n\0")
    return any(_suspicious(character) for character in kept[: 8 * LONGEST_VALUE])


def _suspicious(character: str) -> bool:
    if not character.isascii():
        return _replaced(character) in ("", " ")
    return character in _MARKUP or not (character.isprintable() or character == "\t")


def decode_file(content: bytes) -> str | None:
    """The text of a whole file: UTF-8, or UTF-16 with its mark; ``None`` for bytes that are no text."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return content.decode("utf-16")
        except UnicodeDecodeError:
            return None
    if b"\0" in content:
        return None
    text = content.decode("utf-8-sig", errors="replace")
    return text if text.count("\ufffd") * 10 <= len(text) else None


def begins_as_json(text: str) -> bool:
    """True for an object or an array of them. A shell's prompt, ``[me@host ~]#``, is neither."""
    return _JSON.match(text) is not None


_PLACEHOLDERS = frozenset(
    {
        *("", "-", "--", "---", "n/a", "na", "none", "null", "nil", "unknown", "undefined", "not specified", "not set"),
        *("not available", "not provided", "not present", "not installed", "no dimm", "no module", "empty", "[empty]"),
        *("no module installed", "default string", "default", "to be filled", "to be filled by o.e.m.", "o.e.m."),
        *("to be filled by oem", "oem", "manufacturer not set", "part number not set", "serial number not set"),
        *("asset tag not set", "no asset tag", "no asset information", "no part number", "no serial", "unavailable"),
        *("out of spec", "bad index", "bad_index", "out_of_spec"),
        *("module not installed", "dimm not installed", "not applicable", "no dimm installed", "unpopulated"),
    }
)
_NUMBERED = re.compile(
    r"""(?:a(?:rray)?\d{0,2}_)?(?:module)?(?:manufacturer|partnumber|partnum|part_number|sernum|serialnumber|serialnum|
        assettagnum|assettag|asset_tag)_?\d{0,3}""",
    re.VERBOSE,
)
_FILLER = re.compile(r"(?:0x)?(?:0{4,}|f{4,}|x{4,}|\?{2,}|\.{2,}|-{2,}|\*{2,}|\ufffd{2,})")


def is_placeholder(text: str) -> bool:
    """True for text that firmware prints where it has nothing to say: ``NO DIMM``, ``Not Specified``, zeros."""
    folded = text.casefold().strip().strip("<>‹›[]() ")
    return folded in _PLACEHOLDERS or bool(_NUMBERED.fullmatch(folded) or _FILLER.fullmatch(folded))


def meaningful(text: str | None) -> str | None:
    """Cleaned text that says something, else ``None``."""
    if text is None:
        return None
    cleaned = clean(text)
    return None if is_placeholder(cleaned) else cleaned
