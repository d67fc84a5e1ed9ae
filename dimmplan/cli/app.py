"""The command tree, and the options that several commands share."""

import functools
import os
from collections.abc import Iterable, Sequence
from importlib import import_module
from typing import Annotated, Any, NamedTuple

import typer
from typer.completion import (  # type: ignore[attr-defined]
    Shells,
    completion_init,
    get_completion_script,
    install,
)
from typer.core import TyperCommand, TyperGroup

import dimmplan
from dimmplan.cli import terminal
from dimmplan.errors import InputError, Problem

OPTIONS, OTHERS = "Options", "Commands"
PLANNING, MACHINES, ANSWERS, BOARDS = "Plan and draw", "Machines as they are", "Questions", "Boards"
"""Heads of the help under which commands stand together."""


ASKED_BY = "_DIMMPLAN_COMPLETE"
"""Set by the shell when it asks for completions."""

_MAY_BE_EMPTY = ("--tag", "--title", "--date")


class Entry(NamedTuple):
    """A command: the module of ``dimmplan.cli`` that has it, its place and line in the help, and an example."""

    module: str
    panel: str
    help: str
    example: str = ""


COMMANDS = {
    "demo": Entry(
        "demo", PLANNING, "A plan and its sheet for a shipped board; nothing to prepare.", "dimmplan demo --out my-demo"
    ),
    "plan": Entry(
        "plan",
        PLANNING,
        "The best placement for a capacity, and how it will run.",
        "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --module 64GiB",
    ),
    "compare": Entry(
        "compare",
        PLANNING,
        "Capacities, module sizes and processors side by side.",
        "dimmplan compare skerry-16 --capacity 384GiB --capacity 512GiB -o compare.svg",
    ),
    "draw": Entry(
        "draw",
        PLANNING,
        "The sheet of a plan or a code.",
        "dimmplan plan skerry-16 --capacity 512GiB --json | dimmplan draw - -o map.svg",
    ),
    "found": Entry("machine", MACHINES, "What a machine reports of itself.", "dimmplan found listing.txt"),
    "audit": Entry(
        "machine",
        MACHINES,
        "Compare a machine with a plan, slot by slot.",
        "dimmplan audit labels.csv --against plan.json",
    ),
    "moves": Entry(
        "machine", MACHINES, "How to get from a machine to a plan.", "dimmplan moves labels.csv --to plan.json"
    ),
    "locate": Entry(
        "machine",
        MACHINES,
        "The slot that an error record means.",
        "dimmplan locate skerry-16 'CPU_SrcID#0_MC#1_Chan#0_DIMM#1'",
    ),
    "why": Entry(
        "why",
        ANSWERS,
        "Why a plan is so, and what a change would do.",
        "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --json | dimmplan why - K2",
    ),
    "mix": Entry(
        "rules", ANSWERS, "May these modules be used together?", "dimmplan mix skerry-16 32GiB '8GB 1Rx8 PC4-2933Y-R'"
    ),
    "rules": Entry("rules", ANSWERS, "A board's rules in words, with sources.", "dimmplan rules skerry-16"),
    "docs": Entry("rules", ANSWERS, "The documents; they need no network.", "dimmplan docs figures"),
    "boards": Entry("boards", BOARDS, "The board library: list, show, check, schema, draft, table."),
}
"""Every command, in the order of the help."""


def command_of(arguments: Sequence[str]) -> Any:
    """The command tree that a call needs. A program that calls often builds it once for each command."""
    word = next((argument for argument in arguments if not argument.startswith("-")), "")
    return _built(word if word in COMMANDS else "", ASKED_BY in os.environ)


@functools.cache
def _built(word: str, completing: bool) -> Any:
    if completing:
        completion_init()
    return typer.main.get_command(application(word, every=completing))


def application(word: str = "", *, every: bool = False) -> typer.Typer:
    """The command tree. Of the command of that name all is there, of others their line in the help.

    So a start loads no more than it needs. ``every`` loads all, as a shell does that asks for completions.
    """
    app = typer.Typer(
        name="dimmplan",
        cls=Group,
        help="Plan which memory module goes into which slot of a server board, and draw the slot map.",
        epilog="Start with: dimmplan demo. Read on with: dimmplan docs",
        rich_markup_mode=None,
        no_args_is_help=False,
        pretty_exceptions_enable=False,
        add_completion=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback(invoke_without_command=True)(_root)
    for name, entry in COMMANDS.items():
        if not (every or name == word):
            app.command(name, short_help=entry.help, rich_help_panel=entry.panel)(_elsewhere)
            continue
        found = getattr(import_module(f"dimmplan.cli.{entry.module}"), name)
        if isinstance(found, typer.Typer):
            app.add_typer(found, name=name, rich_help_panel=entry.panel)
        else:
            epilog = f"Example: {entry.example}"
            app.command(name, cls=Command, rich_help_panel=entry.panel, epilog=epilog)(found)
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
        script = get_completion_script(prog_name="dimmplan", complete_var=ASKED_BY, shell=shell.value)
        typer.echo(script)
        raise typer.Exit


def _install_completion(shell: Shells | None) -> None:
    if shell is not None:
        _, path = install(shell=shell.value, prog_name="dimmplan", complete_var=ASKED_BY)
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
            help="Print the completion script for bash, zsh, fish, powershell or pwsh.",
        ),
    ] = None,
    install_completion: Annotated[
        Shells | None,
        typer.Option(
            metavar="SHELL", callback=_install_completion, is_eager=True, help="Install that script for the shell."
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("-q", "--quiet", help="Do not print the names of files written.")] = False,
    verbose: Annotated[bool, typer.Option("-v", "--verbose", help="Say how far the search went.")] = False,
) -> None:
    """Plan which memory module goes into which slot of a server board, and draw the slot map."""
    terminal.Volume.quiet, terminal.Volume.verbose = quiet, verbose
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


# -- help in groups: plain text at any width ---------------------------------------------------------------------------


def _sections(formatter: Any, rows: Iterable[tuple[str, tuple[str, str]]]) -> None:
    """Write rows under their heads, heads in the order in which they first come."""
    heads: dict[str, list[tuple[str, str]]] = {}
    for head, row in rows:
        heads.setdefault(head, []).append(row)
    for head, under in heads.items():
        with formatter.section(head):
            formatter.write_dl(under)


def parameters(command: Any, context: Any) -> list[tuple[str, tuple[str, str]]]:
    """Every parameter under its head: its name as it is typed, and its help. Those of no group come last."""
    found = []
    for param in command.get_params(context):
        row = param.get_help_record(context)
        if row is None:
            continue
        is_argument = param.param_type_name == "argument"
        head = getattr(param, "rich_help_panel", None) or ("Arguments" if is_argument else OPTIONS)
        found.append((head, (argument_name(param), row[1]) if is_argument else row))
    return sorted(found, key=lambda entry: entry[0] == OPTIONS)


def argument_name(param: Any) -> str:
    """An argument as the help calls it."""
    return str(param.metavar or param.name.upper())


def usage(command: Any, context: Any) -> str:
    """What follows a command's name: options, then arguments, in brackets where they may be missing."""
    arguments = [param for param in command.get_params(context) if param.param_type_name == "argument"]
    names = [(argument_name(param), param.required) for param in arguments]
    return " ".join(["[OPTIONS]", *(name if required else f"[{name}]" for name, required in names)])


class Command(TyperCommand):
    """A command whose options stand in groups, those of no group last."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Refuse an empty word, which as a path would be the folder that the shell is in; a title may be empty."""
        for before, word in zip(["", *args], args, strict=False):
            if not word and before not in _MAY_BE_EMPTY and not ctx.resilient_parsing:
                place = before if before.startswith("-") else ctx.command_path
                raise InputError(Problem(place, "", "''", "", "Is a variable of the shell not set?"))
        return list(super().parse_args(ctx, args))

    def format_usage(self, ctx: Any, formatter: Any) -> None:
        """Write how the command is called."""
        formatter.write_usage(ctx.command_path, usage(self, ctx))

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the groups."""
        _sections(formatter, parameters(self, ctx))


class Group(TyperGroup):
    """A group of commands whose commands stand in groups."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the options, then the commands."""
        _sections(formatter, parameters(self, ctx))
        commands = [self.commands[name] for name in self.list_commands(ctx)]
        widest = max((len(command.name or "") for command in commands), default=0)
        limit = formatter.width - 6 - widest
        _sections(
            formatter,
            (
                (
                    getattr(command, "rich_help_panel", None) or OTHERS,
                    (command.name or "", command.get_short_help_str(limit)),
                )
                for command in commands
                if not command.hidden
            ),
        )
