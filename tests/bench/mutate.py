"""Seeded damage: bytes flipped, cut and spliced, values of a record replaced, words that no name should have."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any


def _numbers(rng: random.Random) -> Any:
    return rng.choice((0, 1, 255, 256, 0x7FFF, 0xFFFF, 0x8000, (1 << 31), rng.randrange(1 << 16)))


PIECES = (
    *(
        b"\0",
        b"\0\0",
        b"\xff" * 8,
        b"\x1b[31m",
        b"\r\n",
        b"\n\n",
        b"\t",
        b":",
        b",",
        b";",
        b'"',
        b"{",
        b"[",
        b"}",
        b"]",
    ),
    *(b"999999999999999999999999 GB", b"0x", b"<OUT OF SPEC>", b"<BAD INDEX>", b"No Module Installed", b"-1", b"1e999"),
    *("\u202e\ud7ff\u200b".encode(), b"\xed\xa0\x80", b"Handle 0x1100, DMI type 17, 40 bytes\n", b"Memory Device\n"),
    *(b"_SM3_", b"PK\x03\x04", b"PK\x01\x02", b"null", b"true", b'"@odata.type"', b"PC5-9999", b"16GB", b"#"),
)


def mutate(content: bytes, other: bytes, rng: random.Random) -> bytes:
    """One mutation of ``content``, with ``other`` to splice from."""
    data = bytearray(content)
    kind = rng.randrange(8)
    at = rng.randrange(len(data)) if data else 0
    if kind == 0:
        for _ in range(rng.randrange(1, 9)):
            if data:
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    elif kind == 1:
        data = data[:at]
    elif kind == 2:
        data = data[:at] + other[rng.randrange(len(other) + 1) :]
    elif kind == 3:
        value = _numbers(rng)
        data[at : at + 2] = int(value & 0xFFFF).to_bytes(2, "little")
    elif kind == 4:
        length = rng.randrange(1, 64)
        data[at:at] = data[at : at + length] * rng.randrange(1, 5)
    elif kind == 5:
        del data[at : at + rng.randrange(1, 64)]
    elif kind == 6:
        data[at:at] = rng.choice(PIECES) * rng.choice((1, 1, 1, 3, 40))
    else:
        data[at : at + rng.randrange(1, 8)] = rng.randbytes(rng.randrange(1, 8))
    return bytes(data)


def mutate_json(value: Any, rng: random.Random, *, share: float = 0.06) -> Any:
    """A JSON value with some of its parts replaced by others of any type."""
    if rng.random() < share:
        return rng.choice(
            (
                None,
                True,
                -1,
                0,
                3.5,
                10 ** rng.randrange(300),
                "",
                "x" * 500,
                "32768",
                [],
                {},
                [None],
                {"@odata.id": 7},
                "Absent",
            )
        )
    if isinstance(value, dict):
        keys = (key if rng.random() > share / 3 else key.swapcase() for key in value)
        return {key: mutate_json(item, rng, share=share) for key, item in zip(keys, value.values(), strict=True)}
    if isinstance(value, list):
        return [mutate_json(item, rng, share=share) for item in value]
    return value


HOSTILE_WORDS = (
    *("", " ", "\t", "\n", "a\nerror: forged", "a\r\x1b[2Kforged", "\x1b[31mred\x1b[0m", "\x1b]0;title\x07", "\x9b31m"),
    *("\x00", "\x07\x08\x7f", "\u202e\u2066txt\u2069", "\u200b\u200d\ufeff", "\u2028\u2029", "\ud800", "\udcff\udc80"),
    *("[red]x[/red]", "[/]", "[link=file:///]x", "{0} {x} %s %n", "$(id) `id`", "<b>&amp;</b>", "</style><script>x"),
    *(
        '"><svg onload=x>',
        "]]>",
        "<!--",
        "&#x1b;",
        "' OR 1",
        "../up",
        "/dev/null/x",
        "\\",
        "-",
        "--",
        "-o",
        "@file",
        "~",
        "*",
    ),
    *("\u0410\u0421", "K\u0301\u0302" * 20, "e\u0301", "\U0001f4a9", "\u0661\u0662", "\uff15\uff11\uff12GiB", "\u00b2"),
    *("x" * 300, "9" * 400, "9" * 5000, "1e309", "inf", "nan", "-inf", "-1", "0", "00", "0x10", "1_000", "+5", "1e3"),
    *("0.0000001GiB", "999999999999TiB", "-5GiB", "1e3GiB", "NaNGiB", "384", "384 GHz", "384,5GiB", "384GiB384GiB"),
)
"""Words to put where a name, a number or a text is expected."""


def hostile_word(rng: random.Random, likely: Sequence[str] = ()) -> str:
    """A hostile word, two of them, or a likely word with something done to it."""
    word = rng.choice(HOSTILE_WORDS)
    if likely and rng.random() < 0.6:
        good = rng.choice(likely)
        at = rng.randrange(len(good) + 1)
        kind = rng.randrange(5)
        if kind == 0:
            return good[:at] + word + good[at:]
        if kind == 1:
            return good[:at] + good[at + 1 :]
        if kind == 2:
            return good.swapcase()
        if kind == 3:
            return good + rng.choice(likely)
        return good[:at] + rng.choice("0123456789,;=:-GRxPC \u0430\u00d7") + good[at + 1 :]
    return word if rng.random() < 0.8 else word + rng.choice(HOSTILE_WORDS)
