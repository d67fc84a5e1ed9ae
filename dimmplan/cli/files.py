"""Files written whole or not at all, and never over one that this tool did not make."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.units import cleaned, quoted

MARKS = (b"dimmplan", b'"electrical_digest"', b"# Drafted from a machine", b"key,count,label,serves_as,place,note")
"""Each format carries one of these near its beginning, a PDF at its end."""
MARK_WITHIN = 4096


def ending_problem(path: Path, formats: Sequence[str], *, file: str = "") -> Problem | None:
    """What is wrong with a file name whose ending is none of some formats; ``file`` names the option instead."""
    if path.suffix.lower() in formats:
        return None
    return Problem(
        file=file or cleaned(str(path)),
        place="",
        found=f"the ending {quoted(path.suffix)}",
        allowed=", ".join(formats),
        hint=did_you_mean(path.suffix, formats),
    )


def check_ending(path: Path, formats: Sequence[str]) -> None:
    """Raise ``InputError`` for a file name whose ending is none of some formats."""
    problem = ending_problem(path, formats)
    if problem is not None:
        raise InputError(problem)


def write_files(files: dict[Path, bytes], *, force: bool = False) -> None:
    """Write several files; all are checked before the first is written. Raises ``InputError``."""
    problems = [problem for path in files if (problem := _obstacle(path, force)) is not None]
    if problems:
        raise InputError(problems)
    for path, content in files.items():
        write_stream(path, (content,))


def _obstacle(path: Path, force: bool) -> Problem | None:
    """What speaks against writing there, or ``None``."""

    def problem(found: str, allowed: str, hint: str = "") -> Problem:
        return Problem(file=cleaned(str(path)), place="", found=found, allowed=allowed, hint=hint)

    try:
        if not _is_there(path):
            return None if path.parent.is_dir() else problem("no such folder", "a folder that is there")
        if path.is_dir():
            return problem("a folder", "the name of a file")
        if not path.is_file() or force:
            return None
        with path.open("rb") as handle:
            begin = handle.read(MARK_WITHIN)
            if begin.startswith(b"%PDF"):
                handle.seek(-min(MARK_WITHIN, path.stat().st_size), os.SEEK_END)
                begin = handle.read(MARK_WITHIN)
    except (OSError, ValueError) as error:
        return problem((getattr(error, "strerror", None) or "not a usable name").lower(), "a file that can be written")
    if not begin or any(mark in begin for mark in MARKS):
        return None
    return problem("a file that dimmplan did not make", "a new name", "Overwrite it with --force.")


def _is_there(path: Path) -> bool:
    """False for nothing and for a link to nothing. Raises ``OSError`` for links in a circle and names too long."""
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


def write_stream(path: Path, parts: Iterable[bytes]) -> None:
    """Write piece by piece to a neighbour file that takes the place of the old one at once; devices directly.

    Raises ``InputError``.
    """
    try:
        if path.exists() and not path.is_file():
            with path.open("wb") as handle:
                handle.writelines(parts)
        else:
            _replace(path.resolve(), parts)
    except (OSError, ValueError) as error:
        found = (getattr(error, "strerror", None) or "cannot be written").lower()
        allowed = "a file that can be written"
        raise InputError(Problem(file=cleaned(str(path)), place="", found=found, allowed=allowed)) from None


def _replace(target: Path, parts: Iterable[bytes]) -> None:
    """Write a neighbour file, then let it take the place of the target."""
    handle_number, name = tempfile.mkstemp(dir=target.parent, prefix=".dimmplan-", suffix=".tmp")
    try:
        with os.fdopen(handle_number, "wb") as handle:
            handle.writelines(parts)
            handle.flush()
            os.fsync(handle.fileno())
        Path(name).chmod(_mode(target))
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _mode(target: Path) -> int:
    """The mode of the file that is replaced, or what a new file would get."""
    if target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def make_folder(folder: Path) -> None:
    """Make an output folder where it is not there yet. Raises ``InputError``."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a usable name"
        raise InputError(
            Problem(file=cleaned(str(folder)), place="", found=reason.lower(), allowed="a folder")
        ) from None


def page_path(path: Path, page: int) -> Path:
    """``x.svg`` for page 1, ``x-2.svg`` for page 2."""
    return path if page == 1 else path.with_name(f"{path.stem}-{page}{path.suffix}")
