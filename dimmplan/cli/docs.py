"""``dimmplan docs``: the documents, read where there is no network."""

from __future__ import annotations

from typing import Annotated

import typer

from dimmplan.cli import options, terminal
from dimmplan.docs import read_topic, topics
from dimmplan.output.boards import TopicDocument, TopicEntry, TopicsDocument
from dimmplan.output.columns import Column, Part, Table
from dimmplan.output.record import to_json
from dimmplan.output.schema import output_schema

SCHEMA = "json-schema"
"""The topic that is for programs: not Markdown, but the schema itself."""


def docs(
    topic: Annotated[
        str | None,
        typer.Argument(
            help="What to read. Without it: the list of topics.",
            metavar="TOPIC",
            show_default=False,
            autocompletion=options.offer(lambda _: topics()),
        ),
    ] = None,
    as_json: options.Json = False,
) -> None:
    """Read the documents: set on a terminal, Markdown as it was written elsewhere."""
    if topic == SCHEMA:
        typer.echo(to_json(output_schema()), nl=False)
        return
    known = topics() | {SCHEMA: "The JSON Schema of what every command prints with --json"}
    text = read_topic(topic) if topic is not None else ""
    if as_json:
        listed = [TopicEntry(topic=name, title=title) for name, title in known.items()]
        one = TopicDocument(topic=topic, title=known[topic], text=text) if topic else TopicsDocument(topics=listed)
        typer.echo(to_json(one), nl=False)
    elif topic is not None:
        terminal.say_markdown(text)
    else:
        heads = (
            Column[tuple[str, str]](title="topic", text=lambda entry: entry[0]),
            Column[tuple[str, str]](title="what it says", text=lambda entry: entry[1]),
        )
        terminal.say_table(Table(heads, [Part(items=list(known.items()))]))
