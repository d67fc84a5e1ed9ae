"""``dimmplan rules`` and ``mix``: a board's rules in words, and whether labels may be used together on it."""

from __future__ import annotations

from typing import Annotated

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import options, terminal
from dimmplan.errors import InputError, Problem, gathered
from dimmplan.output.mixing import mix_record, mix_text, rules_record, rules_text
from dimmplan.output.record import to_json
from dimmplan.planner import read_fitted, read_module, read_processor, read_trays
from dimmplan.reasons.mix import mix_of
from dimmplan.wording.rules import rule_groups

MOST_LABELS = 4


def rules(board: options.Board, as_json: options.Json = False) -> None:
    """Say a board's rules in words, by the question that they answer, each with its source."""
    loaded = load_board(board)
    groups = rule_groups(loaded)
    if as_json:
        typer.echo(to_json(rules_record(loaded, groups)), nl=False)
    else:
        terminal.say(rules_text(loaded, groups))


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
    if as_json:
        typer.echo(to_json(mix_record(found)), nl=False)
    else:
        terminal.say(mix_text(found))
    if not found.allowed:
        raise typer.Exit(1)
