"""Runs the command tree and turns every error into one clear message and its exit status."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Any

from dimmplan.cli import DONE, NO, STOPPED, WRONG, terminal
from dimmplan.errors import Cause, ImpossibleError, InputError, Problem, RefusedError, StoppedError
from dimmplan.units import cleaned, quoted


def run(arguments: list[str]) -> int:
    """Run the command line and return its exit status."""
    terminal.open_streams()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # what else is installed has no say in our files
    try:
        from dimmplan.cli.app import command_of

        result = command_of(arguments)(args=arguments, prog_name="dimmplan", standalone_mode=False)
        sys.stdout.flush()
    except BrokenPipeError:
        _drop(sys.stdout)
        return DONE
    except SystemExit:  # typer leaves so when the reader of a pipe has gone
        _drop(sys.stdout)
        return DONE
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        return STOPPED
    except StoppedError:
        return _nothing_found(as_json="--json" in arguments)
    except Exception as error:
        return _told(error, as_json="--json" in arguments)
    return result if isinstance(result, int) else DONE


def _nothing_found(*, as_json: bool) -> int:
    """Say that a search was ended before it found anything."""
    if as_json:
        from dimmplan.output.record import to_json

        sys.stdout.write(to_json({"format": 1, "status": "stopped"}))
    terminal.complain("stopped: nothing was found so far")
    return STOPPED


def _told(error: Exception, *, as_json: bool) -> int:
    """Report an error as far as the streams can be written to; the status says it anyway."""
    try:
        status = _report(error, as_json=as_json)
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        _drop(sys.stdout)
        if as_json:  # standard error may still take what standard output did not
            return _told(error, as_json=False)
        _drop(sys.stderr)
        return WRONG
    return status


def _drop(stream: Any) -> None:
    """Let what is still to be written to a stream go nowhere."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError, AttributeError):
        return


def _report(error: Exception, *, as_json: bool) -> int:
    """Say what an error says and return its exit status. ``DIMMPLAN_DEBUG`` shows where a fault of ours lies."""
    if isinstance(error, InputError):
        return _wrong(error.problems, as_json=as_json)
    if isinstance(error, ImpossibleError):
        return _impossible(error, as_json=as_json)
    if isinstance(error, RefusedError):
        return _refused(error, as_json=as_json)
    if isinstance(error, OSError):
        return _wrong([_os_problem(error)], as_json=as_json)
    if hasattr(error, "format_message"):
        return _wrong([_usage_problem(error)], as_json=as_json)
    if os.environ.get("DIMMPLAN_DEBUG"):
        raise error
    found = f"an internal fault ({type(error).__name__}: {cleaned(str(error))})"
    hint = "Please report it with the input that led here."
    return _wrong([Problem(file="dimmplan", found=found, hint=hint)], as_json=as_json)


def _usage_problem(error: Any) -> Problem:
    context = getattr(error, "ctx", None)
    command = getattr(context, "command_path", "dimmplan")
    option = getattr(error, "option_name", None)
    if option and hasattr(error, "possibilities"):
        near = f"Did you mean {' or '.join(error.possibilities)}? " if error.possibilities else ""
        if option in _BEFORE_THE_COMMAND and context is not None and context.parent is not None:
            near = f"It stands before the command: dimmplan {option} {command.partition(' ')[2]}. "
        hint = f"{near}See: {command} --help"
        return Problem(file=command, found=quoted(option), allowed="an option of this command", hint=hint)
    message = " ".join(str(error.format_message()).split()).rstrip(".")
    return Problem(file=command, found=message, hint=f"See: {command} --help")


def _os_problem(error: OSError) -> Problem:
    reason = (error.strerror or "cannot be read or written").lower()
    return Problem(file=str(error.filename or "a file"), found=reason)


_BEFORE_THE_COMMAND = ("-q", "--quiet", "-v", "--verbose", "--version")


def _wrong(problems: Sequence[Problem], *, as_json: bool) -> int:
    if as_json:
        from dimmplan.output.record import ErrorsDocument, to_json

        sys.stdout.write(to_json(ErrorsDocument.of(errors=problems)))
    else:
        for problem in problems:
            terminal.complain(f"error: {cleaned(problem.sentence(), most=2000)}")
    return WRONG


def _cause_text(cause: Cause) -> str:
    return f"{cleaned(cause.text, most=2000)} [{cause.rule}{', ' + cause.source if cause.source else ''}]"


def _refused(error: RefusedError, *, as_json: bool) -> int:
    if as_json:
        from dimmplan.output.record import RefusedDocument, to_json

        sys.stdout.write(to_json(RefusedDocument.of(status="refused", causes=error.causes)))
    else:
        for cause in error.causes:
            terminal.complain(f"no: {_cause_text(cause)}")
    return NO


def _impossible(error: ImpossibleError, *, as_json: bool) -> int:
    from dimmplan.output.record import to_json
    from dimmplan.output.stock import impossible_record
    from dimmplan.units import format_capacity

    if as_json:
        sys.stdout.write(to_json(impossible_record(error)))
        return NO
    terminal.complain("no: nothing fits this request")
    for cause in error.causes:
        terminal.complain(_cause_text(cause), indent="  ")
    near = [(error.below_gib, "below"), (error.above_gib, "above")]
    said = [f"{format_capacity(gib)} {side}" for gib, side in near if gib is not None]
    terminal.complain(f"nearest capacities that fit: {', '.join(said) or 'none'}", indent="  ")
    if error.shortfall is not None:
        from dimmplan.output.stock import shortfall_lines

        for line in shortfall_lines(error.shortfall):
            terminal.complain(line, indent="  ")
    return NO
