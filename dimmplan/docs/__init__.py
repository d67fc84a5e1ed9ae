"""The documents that travel with the package, one Markdown file for each topic."""

from __future__ import annotations

from pathlib import Path

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.units import quoted

FOLDER = Path(__file__).resolve().parent


def topics() -> dict[str, str]:
    """Every topic with its title, which is the first heading of its file; in the order of names."""
    return {path.stem: _title(path) for path in sorted(FOLDER.glob("*.md"))}


def _title(path: Path) -> str:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next((line.removeprefix("# ").strip() for line in lines if line.startswith("# ")), path.stem)


def read_topic(topic: str) -> str:
    """The Markdown of a topic. Raises ``InputError`` with the nearest names."""
    known = list(topics())
    if topic not in known:
        hint = did_you_mean(topic, known) or "List them with: dimmplan docs"
        raise InputError(Problem(file="TOPIC", place="", found=quoted(topic), allowed="a topic of the docs", hint=hint))
    return (FOLDER / f"{topic}.md").read_text(encoding="utf-8")
