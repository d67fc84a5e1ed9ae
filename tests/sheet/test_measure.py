"""Widths of lines, and laws of breaking them."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dimmplan.sheet.letters import CAP, fitted, width, wrap_runs

letters = st.text(alphabet="abc XYZ-19.fiWmé語", max_size=40)


def test_known_widths_in_thousandths() -> None:
    """Advances as the face's own table has them: A 626, W 856, blank 280, bold A 678; V stands 40 nearer to A."""
    unit = 1.0 / CAP / 1000
    assert width("A", 1.0) == pytest.approx(626 * unit)
    assert width(" W", 1.0) == pytest.approx((280 + 856) * unit)
    assert width("A", 1.0, bold=True) == pytest.approx(678 * unit)
    assert width("AV", 1.0) == pytest.approx(width("A", 1.0) + width("V", 1.0) - 40 * unit)


@given(letters, st.floats(1.0, 60.0))
def test_fitted_text_fits_and_is_cut_only_where_it_must(text: str, room: float) -> None:
    cut = fitted(text, 2.5, room)
    assert width(cut, 2.5) <= room + 1e-6
    assert cut == text or width(text, 2.5) > room
    assert cut in (text, "") or text.startswith(cut.removesuffix("…").rstrip())


@given(st.lists(st.tuples(letters, st.booleans()), max_size=4), st.floats(12.0, 80.0))
def test_wrapped_lines_fit_and_lose_nothing(runs: list[tuple[str, bool]], room: float) -> None:
    lines = wrap_runs(tuple(runs), 2.5, room)
    for line in lines:
        drawn = sum(width(f" {text}" if n else text, 2.5, bold) for n, (text, bold) in enumerate(line))
        assert drawn <= room + 1e-6
        assert all(one[1] != other[1] for one, other in itertools.pairwise(line))
    said = "".join(text for line in lines for text, _ in line)
    assert said.replace(" ", "") == "".join("".join(text.split()) for text, _ in runs)
