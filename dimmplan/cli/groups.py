"""Help in groups: options and commands under the head that they belong to, in plain text at any width."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from typer.core import TyperCommand, TyperGroup

OPTIONS, COMMANDS = "Options", "Commands"
PLANNING, MACHINES, ANSWERS, BOARDS = "Plan and draw", "Machines as they are", "Questions", "Boards"
"""Heads of the help under which commands stand together."""


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
                    getattr(command, "rich_help_panel", None) or COMMANDS,
                    (command.name or "", command.get_short_help_str(limit)),
                )
                for command in commands
                if not command.hidden
            ),
        )
