"""The command tree, and the options that several commands share."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Annotated

import typer

import dimmplan
from dimmplan.cli import groups, options

COMMANDS = {
    "demo": "demo",
    "plan": "plan",
    "compare": "compare",
    "draw": "draw",
    "found": "machine",
    "audit": "machine",
    "moves": "machine",
    "why": "why",
    "locate": "locate",
    "mix": "mix",
    "rules": "rules",
    "docs": "docs",
    "boards": "boards",
}
"""Every command and the module of ``dimmplan.cli`` that adds it, in the order of the help."""


def application(arguments: Sequence[str] = ()) -> typer.Typer:
    """The command tree: of the one command that the arguments name, so that a start pays for no other; or of all."""
    app = typer.Typer(
        name="dimmplan",
        cls=groups.Group,
        help="Plan which memory module goes into which slot of a server board, and draw the slot map.",
        epilog="Start with: dimmplan demo. Read on with: dimmplan docs",
        rich_markup_mode=None,
        no_args_is_help=False,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback(invoke_without_command=True)(_root)
    word = next((argument for argument in arguments if not argument.startswith("-")), "")
    for name in dict.fromkeys([COMMANDS[word]] if word in COMMANDS else COMMANDS.values()):
        import_module(f"dimmplan.cli.{name}").register(app)
    return app


def _version(wanted: bool) -> None:
    if wanted:
        from dimmplan.boardfile.schema import FORMAT
        from dimmplan.plancode.code import VERSION

        formats = f"board file format {FORMAT}, plan format 1, plan code {VERSION}"
        typer.echo(f"dimmplan {dimmplan.__version__} ({formats})")
        raise typer.Exit


def _root(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
    quiet: Annotated[bool, typer.Option("-q", "--quiet", help="Do not name the files written.")] = False,
    verbose: Annotated[bool, typer.Option("-v", "--verbose", help="Say how far the search went.")] = False,
) -> None:
    """Plan which memory module goes into which slot of a server board, and draw the slot map."""
    options.Volume.quiet, options.Volume.verbose = quiet, verbose
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
