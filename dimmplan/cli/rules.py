"""``dimmplan rules``, ``mix`` and ``docs``: a board's rules in words, whether labels go together, the documents."""

from __future__ import annotations

from typing import Annotated

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import NO, options, terminal
from dimmplan.docs import read_topic, topics
from dimmplan.errors import InputError, Problem, gathered
from dimmplan.output.boards import TopicDocument, TopicEntry, TopicsDocument, output_schema
from dimmplan.output.columns import Column, Part, Table
from dimmplan.output.record import to_json
from dimmplan.output.rules import MixDocument, RulesDocument, mix_text, rules_text
from dimmplan.planner import read_fitted, read_module, read_processor, read_trays
from dimmplan.reasons.mix import mix_of

MOST_LABELS = 4


def rules(board: options.Board, as_json: options.Json = False) -> None:
    """Print a board's rules in words, grouped by question, each with its source."""
    loaded = load_board(board)
    terminal.answer(lambda: RulesDocument.of(loaded), lambda: rules_text(loaded), as_json=as_json)


def mix(
    board: options.Board,
    labels: Annotated[
        list[str],
        typer.Argument(
            help="Module labels or bare sizes, two to four.", metavar="LABEL...", autocompletion=options.labels
        ),
    ],
    fitted: options.Fitted = None,
    processor: options.Processor = None,
    without_tray: options.WithoutTray = None,
    as_json: options.Json = False,
) -> None:
    """Say whether module types may be used together, in which slots, by which rule, and what it costs."""
    loaded = read_trays(load_board(board), without_tray or ())
    problems: list[Problem] = []
    if not 2 <= len(labels) <= MOST_LABELS:
        allowed = f"2 to {MOST_LABELS} labels"
        problems.append(Problem(file="LABEL", found=f"{len(labels)}", allowed=allowed))
    modules = []
    for label in labels:
        with gathered(problems):
            modules.append(read_module(loaded, label))
    if problems:
        raise InputError(problems)
    sockets = read_fitted(loaded, fitted)
    found = mix_of(loaded, modules, fitted=sockets, processor=read_processor(loaded, processor, sockets))
    terminal.answer(lambda: MixDocument.of(found), lambda: mix_text(found), as_json=as_json)
    if not found.allowed:
        raise typer.Exit(NO)


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
    """Print a document: formatted on a terminal, plain Markdown in a pipe or a file."""
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
