"""The documents that travel with the package, one Markdown file for each topic; ``sources`` is made of the list."""

from __future__ import annotations

from pathlib import Path

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.sources import SOURCES
from dimmplan.units import quoted

FOLDER = Path(__file__).resolve().parent
SOURCE_LIST = "sources"
"""The topic that has no file: it is made of the source list."""


def topics() -> dict[str, str]:
    """Every topic with its title, which is the first heading of its file; in the order of names."""
    found = {path.stem: _title(path) for path in FOLDER.glob("*.md")}
    return dict(sorted((found | {SOURCE_LIST: "Sources"}).items()))


def _title(path: Path) -> str:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next((line.removeprefix("# ").strip() for line in lines if line.startswith("# ")), path.stem)


def read_topic(topic: str) -> str:
    """The Markdown of a topic. Raises ``InputError`` with the nearest names."""
    known = list(topics())
    if topic not in known:
        hint = did_you_mean(topic, known) or "List them with: dimmplan docs"
        raise InputError(
            Problem(file="TOPIC", place="", found=quoted(topic), allowed="a topic of the documents", hint=hint)
        )
    return _sources() if topic == SOURCE_LIST else (FOLDER / f"{topic}.md").read_text(encoding="utf-8")


def _sources() -> str:
    """The source list as Markdown: every id with its document."""
    rows = (f"| {source.id} | {source.citation()} |" for source in SOURCES.values())
    head = "Rules, figures and findings name a source by its id. These are the documents."
    return "\n".join(["# Sources", "", head, "", "| id | document |", "|---|---|", *rows, ""])
