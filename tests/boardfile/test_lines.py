"""Problems of a board file name the line: that of the key, else of the row or table that should hold it."""

from __future__ import annotations

import pytest

from dimmplan.boardfile.read import examine_text, line_of, lines_of, shipped_folder

TEXT = (shipped_folder() / "saltern-24.toml").read_text(encoding="utf-8")


def line(wanted: str, *, after: str = "") -> int:
    """The number of the first line with those words behind the first one with those of ``after``."""
    start = TEXT.index(after)
    return TEXT[: TEXT.index(wanted, start)].count("\n") + 1


@pytest.mark.parametrize(
    ("old", "new", "after", "told"),
    [
        ('trust = "example"', 'trust = "exampel"', "", "trust"),
        ('sluice]\ngate = ["{socket}-gate-1"', 'sluice]\ngate = ["{socke}-gate-1"', "", "gate = "),
        ('apart = "channel"', 'apart = "chanel"', "x4-with-x8", "apart"),
        ('source = "guide-07"\n', "", "equal-counts", '[[rules]]\nid = "equal-counts"'),
        ("mts = 2666", "mts = 26660000", "two-per-channel", "mts"),
        ('"{socket}-crust-2"', '"{socket}-crust-3"', "physical.rows", "slots = ["),
        ('kind = "battery"', 'kind = "cell"', "", "landmarks = ["),
        ("low = { at_mm = [77", "low = { at_mm = [-77", "", "low = {"),
    ],
)
def test_a_fault_is_told_with_its_line(old: str, new: str, after: str, told: str) -> None:
    """Keys, keys of later rows, missing keys, items of lists over several lines, inline tables."""
    start = TEXT.index(after)
    spoilt = TEXT[:start] + TEXT[start:].replace(old, new, 1)
    assert spoilt != TEXT
    problems = examine_text(spoilt.encode(), file="mine.toml")[1]
    expected = line(told, after="" if told.startswith("[[") else after)
    lines = [problem.line for problem in problems]
    assert expected in lines and lines == sorted(lines, key=lambda each: each or 0), problems
    assert problems[lines.index(expected)].sentence().startswith(f"mine.toml:{expected}: ")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('generation = "DDR4"', 'generation = "DDR4', "quote"),
        ('generation = "DDR4"', "generation = DDR4", "straight quotes"),
        ('trust = "example"', 'trust = "example"\ntrust = "manual"', "twice"),
        ('[[rates]]\nid = "two', '[rates]\nid = "two', "[[rates]]"),
        ("brine = ", "brïne = ", "needs quotes"),
        ("brine = ", "brine: ", "key = value"),
    ],
)
def test_what_is_not_toml_is_told_with_line_and_advice(old: str, new: str, told: str) -> None:
    """The line is that of the fault; the advice says what to look for."""
    (problem,) = examine_text(TEXT.replace(old, new, 1).encode(), file="mine.toml")[1]
    expected = line(old) + ("\ntrust" in new)
    assert problem.line == expected
    assert told in problem.hint


def test_bytes_of_another_encoding_are_told_with_their_line() -> None:
    spoilt = TEXT.encode("latin-1", "replace").replace(b"Saltern 24, two", b"Saltern \xe4 two", 1)
    (problem,) = examine_text(spoilt, file="mine.toml")[1]
    assert problem.line == line("title = ")
    assert "UTF-8" in problem.hint


def test_keys_in_texts_and_lists_are_no_lines_of_their_own() -> None:
    """What looks like a key inside a list or behind a hash is none; a text over several lines makes all uncertain."""
    text = 'a = [\n  ["x"],\n  "b = 1",\n]\n# c = 1\n[[r]]\n"d e".f = 1\n[r.s]\nt = "["\nu = 2\n[[r]]\nv = 3\n'
    assert lines_of(text) == {
        "a": 1,
        "r": 6,
        "r[1]": 6,
        "r[1].d e.f": 7,
        "r[1].s": 8,
        "r[1].s.t": 9,
        "r[1].s.u": 10,
    } | {
        "r[2]": 11,
        "r[2].v": 12,
    }
    assert lines_of('a = """\nb = 1\n"""\n') == {}


@pytest.mark.parametrize("place", ["", ".", "rules and rates", "x[", "a]b", "[3]", "nobody.knows[2].this"])
def test_places_that_stand_nowhere_have_no_line(place: str) -> None:
    assert line_of(place, lines_of(TEXT)) is None
