"""``dimmplan rules``: a board's rules in plain words, each with its source."""

from __future__ import annotations

import typer

from dimmplan.cli import groups, options, terminal

EPILOG = "Example: dimmplan rules skerry-16"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(
        name="rules",
        cls=groups.Command,
        short_help="A board's rules in words, with sources.",
        rich_help_panel=groups.ANSWERS,
        epilog=EPILOG,
    )(rules)


def rules(board: options.Board, as_json: options.Json = False) -> None:
    """Say a board's rules in words, by the question that they answer, each with its source."""
    from dimmplan.answers.rulebook import rule_groups
    from dimmplan.boardfile.read import load_board
    from dimmplan.output.answer_records import rules_record
    from dimmplan.output.answers import rules_text
    from dimmplan.output.values import to_json

    loaded = load_board(board)
    groups = rule_groups(loaded)
    if as_json:
        typer.echo(to_json(rules_record(loaded, groups)), nl=False)
    else:
        terminal.say(rules_text(loaded, groups))
