"""The page of outside values is what the command makes, and no published value is left out of it."""

from __future__ import annotations

from tests.published.outside import AGREES, DIFFERS, DISPUTED, PAGE, lines, page
from tests.published.test_interleave import IN_PAIRS, SIX_CHANNELS
from tests.published.test_peaks import NOMINAL, WHOLE_SYSTEMS
from tests.published.test_rates import PRINTED


def test_the_page_is_what_the_command_makes() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_it_differs_where_it_is_known_to_and_nowhere_else() -> None:
    differing = {(line.source, line.published) for _, part in lines() for line in part if line.verdict == DIFFERS}
    measured = {("report-01", "28 %"), ("report-01", "54 %"), ("PRACTICE", "about 97 % of the full board")}
    assert differing == measured | {("MEMORY", f"{row[4]} %") for row in DISPUTED}


def test_nothing_is_left_out() -> None:
    """Every value of the tests' tables is a line, beside those that are no numbers."""
    found = dict(lines())
    sources = [line.source for line in found["Bandwidth against population"]]
    assert (sources.count("report-01"), sources.count("guide-01")) == (len(IN_PAIRS), len(SIX_CHANNELS) + 2)
    assert len(found["Data rate by modules on a channel"]) == len(PRINTED)
    assert len(found["Peaks"]) == len(NOMINAL) + len(WHOLE_SYSTEMS) + 1
    for part in found.values():
        assert all(line.note for line in part if line.verdict not in (AGREES, "a board row"))
