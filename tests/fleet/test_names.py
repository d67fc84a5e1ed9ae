"""Folder names from tags: injective on any file system, and safe as names."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dimmplan.fleet.rows import MOST_NAME_BYTES, folder_name

TAGS = st.text(
    st.one_of(st.characters(codec=None), st.sampled_from("aAbB.-_=~/\\:é%\x00 \u202e")), min_size=1, max_size=12
)
HOSTILE = [
    "..",
    ".",
    "../../etc",
    "-rf",
    "con",
    "COM1.txt",
    "a/b",
    "a\\b",
    "a:b",
    "~",
    "=2E",
    " ",
    "\x1b[2J",
    "\ud800",
    ".",
]


@given(TAGS, TAGS)
def test_two_tags_never_share_a_name(one: str, other: str) -> None:
    """Not where case is folded, and not where a file system composes characters."""

    def met(tag: str) -> str:
        return unicodedata.normalize("NFC", str(folder_name(tag))).casefold()

    assert (met(one) == met(other)) == (one == other)


@given(TAGS)
def test_a_name_is_safe(tag: str) -> None:
    name = folder_name(tag)
    assert name is not None
    assert re.fullmatch(r"[A-Za-z0-9_=][A-Za-z0-9_=.~-]*", name)
    assert not name.endswith(".")
    assert len(name) <= MOST_NAME_BYTES


@pytest.mark.parametrize("tag", HOSTILE)
def test_hostile_tags(tag: str) -> None:
    name = folder_name(tag)
    assert name is not None
    assert name not in {".", ".."}
    assert re.fullmatch(r"[A-Za-z0-9_=][A-Za-z0-9_=.~-]*", name)
    assert not re.match(r"(con|com1)(\.|$)", name, re.IGNORECASE)


def test_usual_tags_stay_readable() -> None:
    assert folder_name("QUAY-07") == "QUAY-07"
    assert folder_name("RACK_2.U14") == "RACK_2.U14"
    assert folder_name("quay-07") == "quay-07~f"
    assert folder_name("Quay") == "Quay~e"


def test_a_tag_that_is_too_long_has_no_name() -> None:
    assert folder_name("X" * MOST_NAME_BYTES) is not None
    assert folder_name("X" * (MOST_NAME_BYTES + 1)) is None
    assert folder_name("é" * 60) is None
    assert folder_name("") is None
