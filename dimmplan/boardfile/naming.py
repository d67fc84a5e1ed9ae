"""Names that a board file uses: known ones, and ones that stay apart. What the checks of meaning share."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence

from dimmplan.errors import did_you_mean
from dimmplan.units import quoted

Found = Iterator[tuple[str, str, str, str]]
"""Place, what was found, what is allowed, hint."""


def folded(name: str) -> str:
    """A name as the eye may confuse it: case and blanks do not count."""
    return "".join(name.split()).casefold()


def apart(place: str, what: str, names: Sequence[str], where: Callable[[str], str] | None = None) -> Found:
    """No two names are the same to the eye; ``where`` says which places of the file hold a name."""
    for name, group in itertools.groupby(sorted(names, key=folded), key=folded):
        same = list(group)
        if len(same) > 1:
            listed = ", ".join(quoted(each) for each in dict.fromkeys(same))
            at = f" ({', '.join(where(each) for each in dict.fromkeys(same))})" if where else ""
            yield place, f"{what} {listed} {len(same)} times{at}", "names that differ in more than case and blanks", ""
        if not name:
            yield place, f"an empty {what}", "a name", ""


def known(names: Iterable[str], among: Sequence[str], place: str, allowed: str) -> Found:
    """Every name is one of those that may stand there."""
    for name in names:
        if name not in among:
            yield place, quoted(name), allowed, did_you_mean(name, among)
