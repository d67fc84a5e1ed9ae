"""Capacities as people type them, and as they are written; rounding; peaks."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dimmplan.errors import InputError
from dimmplan.units import (
    MOST_GIB,
    channel_peak_gb_s,
    cleaned,
    decimal,
    format_capacity,
    parse_capacity,
    quoted,
    trimmed,
)


@pytest.mark.parametrize(
    ("text", "gib"),
    [
        ("384GiB", 384),
        ("384 GB", 384),
        ("384gb", 384),
        ("384 gib", 384),
        ("384G", 384),
        ("  384  GiB  ", 384),
        ("0384GiB", 384),
        ("384.0GiB", 384),
        ("1.5TiB", 1536),
        ("1.5 TB", 1536),
        ("1T", 1024),
        ("0.5TiB", 512),
        ("0.75 tib", 768),
        ("1024TiB", MOST_GIB),
        ("512MiB", 1),
        ("2048MB", 2),
        ("2049MB", 3),
        ("1M", 1),
        ("0.5GiB", 1),
        ("31.5GiB", 32),
        ("32.000001GiB", 33),
        ("0.1TiB", 103),
    ],
)
def test_as_people_type_it(text: str, gib: int) -> None:
    """GB means GiB as on a module, TB means TiB; blanks and case do not count; a part of a GiB is rounded up."""
    assert parse_capacity(text) == gib


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("384", "384GiB?"),
        (" 384 ", "384GiB?"),
        ("1.5", "unit is missing"),
        ("1,5TiB", "point, not a comma"),
        ("1,024GiB", "point, not a comma"),
        ("384XB", "'XB'"),
        ("384PiB", "'PiB'"),
        ("384KiB", "'KiB'"),
        ("384 giga bytes", ""),
        ("0GiB", "more than 0"),
        ("0.0TiB", "more than 0"),
        ("0MB", "more than 0"),
        ("1025TiB", "1 PiB"),
        ("1048577GiB", "1 PiB"),
        ("999999999999TiB", "1 PiB"),
        ("9999999999999GiB", ""),
        ("-384GiB", ""),
        ("+384GiB", ""),
        ("1e3GiB", ""),
        ("0x10GiB", ""),
        (".5TiB", ""),
        ("5.TiB", ""),
        ("1.2.3GiB", ""),
        ("1/2TiB", ""),
        ("GiB", ""),
        ("", ""),
        ("   ", ""),
        ("nanGiB", ""),
        ("infGiB", ""),
        ("384GiB384GiB", ""),
        ("384\x00GiB", ""),
        ("\u202e384GiB", ""),
        ("\udcffGiB", ""),
        ("3" * 100_000, ""),
        ("3" * 100_000 + "GiB", ""),
    ],
)
def test_refused(text: str, hint: str) -> None:
    """Anything else is refused in one printable line that shows what was found, what is allowed, and what helps."""
    with pytest.raises(InputError) as caught:
        parse_capacity(text, file="--capacity")
    (problem,) = caught.value.problems
    assert problem.file == "--capacity"
    assert problem.found == quoted(text)
    assert "384GiB" in problem.allowed
    assert hint in problem.hint
    assert problem.sentence().isprintable()
    assert len(problem.sentence()) < 300


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.integers(1, MOST_GIB))
def test_what_is_written_is_read_back(gib: int) -> None:
    """Every capacity is written so that it is read as itself, with blanks or without."""
    text = format_capacity(gib)
    assert parse_capacity(text) == gib
    assert parse_capacity(text.replace(" ", "")) == gib
    assert parse_capacity(text.lower()) == gib


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    st.integers(0, 9999),
    st.text("0123456789", min_size=1, max_size=6),
    st.sampled_from(("MiB", "GB", "GiB", "TB", "TiB")),
)
def test_parts_of_a_gib_are_rounded_up(whole: int, part: str, unit: str) -> None:
    """The result is the least whole GiB that holds what was typed, by exact decimals."""
    typed = Decimal(f"{whole}.{part}") * {"M": 1, "G": 1024, "T": 1024 * 1024}[unit[0]] / 1024
    text = f"{whole}.{part}{unit}"
    if typed == 0 or typed > MOST_GIB:
        with pytest.raises(InputError):
            parse_capacity(text)
    else:
        assert typed <= parse_capacity(text) < typed + 1


@pytest.mark.parametrize(
    ("gib", "text"),
    [
        (1, "1 GiB"),
        (1000, "1000 GiB"),
        (1023, "1023 GiB"),
        (1024, "1 TiB"),
        (1536, "1.5 TiB"),
        (1280, "1.25 TiB"),
        (1234, "1234 GiB"),
        (1792, "1.75 TiB"),
        (1100, "1100 GiB"),
        (MOST_GIB, "1024 TiB"),
    ],
)
def test_as_it_is_written(gib: int, text: str) -> None:
    """GiB below 1 TiB, TiB from there on where two decimals say it exactly."""
    assert format_capacity(gib) == text


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.fractions(0, 10**6, max_denominator=10**4), st.integers(0, 4))
def test_fractions_are_rounded_half_up(value: Fraction, places: int) -> None:
    """Printed decimals are those of exact half-up rounding, never of a float."""
    exact = (Decimal(value.numerator) / Decimal(value.denominator)).quantize(
        Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP
    )
    assert f"{decimal(value, places):.{places}f}" == f"{exact:.{places}f}"
    assert Decimal(trimmed(value, places)) == exact


@settings(max_examples=50, derandomize=True, deadline=None)
@given(st.integers(400, 20_000))
def test_peak_of_a_channel(mts: int) -> None:
    """Eight bytes per transfer, exactly, in GB of 10^9 bytes."""
    assert channel_peak_gb_s(mts) * 10**9 == mts * 10**6 * 8


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.text(st.characters(), max_size=300))
def test_foreign_text_is_made_printable(text: str) -> None:
    """Cleaned text has no control, override or surrogate left and is cut; printable short text stays as it is."""
    for made in (cleaned(text, most=50), quoted(text)):
        assert made.isprintable()
    if text.isprintable() and len(text) <= 200:
        assert cleaned(text) == text
