"""The command tree, and the options that several commands share."""

from __future__ import annotations

from typing import Annotated

import typer

import dimmplan
from dimmplan.cli import boards, compare, demo, draw, machine, mix, options, plan, rules, why

app = typer.Typer(
    name="dimmplan",
    help="Plan which memory module goes into which slot of a server board, and draw the slot map.",
    epilog="Start with: dimmplan demo",
    rich_markup_mode=None,
    no_args_is_help=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"dimmplan {dimmplan.__version__} (board file format 1, plan format 1)")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def root(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version and exit.")
    ] = False,
    quiet: Annotated[bool, typer.Option("-q", "--quiet", help="Say nothing of files written.")] = False,
    verbose: Annotated[bool, typer.Option("-v", "--verbose", help="Say how far the search went.")] = False,
) -> None:
    """Plan which memory module goes into which slot of a server board, and draw the slot map."""
    options.Volume.quiet, options.Volume.verbose = quiet, verbose
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


demo.register(app)
plan.register(app)
compare.register(app)
draw.register(app)
machine.register(app)
why.register(app)
mix.register(app)
rules.register(app)
boards.register(app)
