"""``dimmplan rules``: a board's rules in plain words, each with its source."""

from __future__ import annotations

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import options, terminal
from dimmplan.output.mixing import rules_record, rules_text
from dimmplan.output.record import to_json
from dimmplan.wording.rules import rule_groups


def rules(board: options.Board, as_json: options.Json = False) -> None:
    """Say a board's rules in words, by the question that they answer, each with its source."""

    loaded = load_board(board)
    groups = rule_groups(loaded)
    if as_json:
        typer.echo(to_json(rules_record(loaded, groups)), nl=False)
    else:
        terminal.say(rules_text(loaded, groups))
