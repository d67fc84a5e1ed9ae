"""The command tree, and the options that several commands share."""

from __future__ import annotations

import os
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, NamedTuple

import typer
from typer.completion import (  # type: ignore[attr-defined]
    Shells,
    completion_init,
    get_completion_script,
    install,
)

import dimmplan
from dimmplan.cli import complete, groups, options


class Entry(NamedTuple):
    """A command: the module of ``dimmplan.cli`` that has it, its place and line in the help, and an example."""

    module: str
    panel: str
    help: str
    example: str = ""


COMMANDS = {
    "demo": Entry(
        "demo",
        groups.PLANNING,
        "The main job on a shipped board, with nothing to prepare.",
        "dimmplan demo --out my-demo",
    ),
    "plan": Entry(
        "plan",
        groups.PLANNING,
        "The best placement for a capacity, and how it will run.",
        "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --module 64GiB",
    ),
    "compare": Entry(
        "compare",
        groups.PLANNING,
        "Capacities, module sizes and processors side by side.",
        "dimmplan compare skerry-16 --capacity 384GiB --capacity 512GiB -o compare.svg",
    ),
    "draw": Entry(
        "draw",
        groups.PLANNING,
        "The sheet of a plan or a code.",
        "dimmplan plan skerry-16 --capacity 512GiB --json | dimmplan draw - -o map.svg",
    ),
    "found": Entry(
        "machine",
        groups.MACHINES,
        "What a machine says of itself.",
        "dimmplan found listing.txt",
    ),
    "audit": Entry(
        "machine",
        groups.MACHINES,
        "A machine held against a plan, slot by slot.",
        "dimmplan audit labels.csv --against plan.json",
    ),
    "moves": Entry(
        "machine", groups.MACHINES, "How to get from a machine to a plan.", "dimmplan moves labels.csv --to plan.json"
    ),
    "locate": Entry(
        "locate",
        groups.MACHINES,
        "The slot that an error record means.",
        "dimmplan locate skerry-16 'CPU_SrcID#0_MC#1_Chan#0_DIMM#1'",
    ),
    "why": Entry(
        "why",
        groups.ANSWERS,
        "Why a plan is so, and what a change would do.",
        "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --json | dimmplan why - K2",
    ),
    "mix": Entry(
        "mix",
        groups.ANSWERS,
        "May these modules be used together?",
        "dimmplan mix skerry-16 32GiB '8GB 1Rx8 PC4-2933Y-R'",
    ),
    "rules": Entry(
        "rules",
        groups.ANSWERS,
        "A board's rules in words, with sources.",
        "dimmplan rules skerry-16",
    ),
    "docs": Entry(
        "docs",
        groups.ANSWERS,
        "The documents, without a network.",
        "dimmplan docs figures",
    ),
    "boards": Entry(
        "boards",
        groups.BOARDS,
        "The board library: list, show, check, schema, draft, table.",
    ),
}
"""Every command, in the order of the help."""


def application(arguments: Sequence[str] = (), *, every: bool = False) -> typer.Typer:
    """The command tree. Of the command that the arguments name all is there, of others their line in the help.

    So a start loads no more than it needs. ``every`` loads all, as a shell does that asks for completions.
    """
    app = typer.Typer(
        name="dimmplan",
        cls=groups.Group,
        help="Plan which memory module goes into which slot of a server board, and draw the slot map.",
        epilog="Start with: dimmplan demo. Read on with: dimmplan docs",
        rich_markup_mode=None,
        no_args_is_help=False,
        pretty_exceptions_enable=False,
        add_completion=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    completing = complete.ASKED_BY in os.environ
    if completing:
        completion_init()
    app.callback(invoke_without_command=True)(_root)
    word = next((argument for argument in arguments if not argument.startswith("-")), "")
    for name, entry in COMMANDS.items():
        if not (every or completing or name == word):
            app.command(name, short_help=entry.help, rich_help_panel=entry.panel)(_elsewhere)
            continue
        found = getattr(import_module(f"dimmplan.cli.{entry.module}"), name)
        if isinstance(found, typer.Typer):
            app.add_typer(found, name=name, rich_help_panel=entry.panel)
        else:
            epilog = f"Example: {entry.example}"
            app.command(name, cls=groups.Command, rich_help_panel=entry.panel, epilog=epilog)(found)
    return app


def _elsewhere() -> None:
    """Stands for a command that is not called."""


def _version(wanted: bool) -> None:
    if wanted:
        from dimmplan.boardfile.schema import FORMAT
        from dimmplan.plancode.code import VERSIONS

        formats = f"board file format {FORMAT}, plan format 1, plan code {VERSIONS[-1]}"
        typer.echo(f"dimmplan {dimmplan.__version__} ({formats})")
        raise typer.Exit


def _show_completion(shell: Shells | None) -> None:
    if shell is not None:
        script = get_completion_script(prog_name="dimmplan", complete_var=complete.ASKED_BY, shell=shell.value)
        typer.echo(script)
        raise typer.Exit


def _install_completion(shell: Shells | None) -> None:
    if shell is not None:
        _, path = install(shell=shell.value, prog_name="dimmplan", complete_var=complete.ASKED_BY)
        typer.echo(f"completion for {shell.value} is in {path}; it works in the next terminal")
        raise typer.Exit


def _root(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
    show_completion: Annotated[
        Shells | None,
        typer.Option(
            metavar="SHELL",
            callback=_show_completion,
            is_eager=True,
            help="Print the completion script of bash, zsh, fish, powershell or pwsh.",
        ),
    ] = None,
    install_completion: Annotated[
        Shells | None,
        typer.Option(
            metavar="SHELL", callback=_install_completion, is_eager=True, help="Put that script where the shell looks."
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("-q", "--quiet", help="Do not name the files written.")] = False,
    verbose: Annotated[bool, typer.Option("-v", "--verbose", help="Say how far the search went.")] = False,
) -> None:
    """Plan which memory module goes into which slot of a server board, and draw the slot map."""
    options.Volume.quiet, options.Volume.verbose = quiet, verbose
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
