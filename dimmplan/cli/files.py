"""Files written whole or not at all, and never over one that this tool did not make or that a person has edited since.

Each file ends with a mark that holds a digest of all the rest. Tables (CSV) carry none, since whoever reads them would
take it for a row: they are known where a file of ours beside them names their digest.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import stat
import struct
import tempfile
import zlib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

from dimmplan.bounded import open_regular
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.units import cleaned, quoted

SEAL = b"dimmplan "
_DIGITS = 32
_MOST_RECORD_BYTES = 64 << 20
_PNG_END = 12
"""Bytes of the last chunk of a PNG."""
LASTING = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EIO)
"""Errors of a disk that the next file would meet as well."""


class WriteError(InputError):
    """A file that could not be written; ``lasting`` where no other file could be either."""

    def __init__(self, problem: Problem, *, lasting: bool) -> None:
        super().__init__(problem)
        self.lasting = lasting


# -- seals -------------------------------------------------------------------------------------------------------------


def _seal(begin: bytes, digest: str) -> tuple[bytes, int] | None:
    """The mark of a file that begins so, and how many bytes of the file stand behind it; none for plain tables."""
    word = SEAL + digest.encode("ascii")
    if begin.startswith(b"<"):
        return b"<!-- " + word + b" -->\n", 0
    if begin.startswith(b"%PDF"):
        return b"% " + word + b"\n", 0
    if begin.startswith(b"#"):
        return b"# " + word + b"\n", 0
    if begin.startswith(b"\x89PNG"):
        body = b"tEXtComment\0" + word
        return struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body)), _PNG_END
    if begin.startswith(b"{"):
        return b',\n  "seal": "' + word + b'"', len(b"\n}\n")
    return None


def sealed(parts: Iterable[bytes]) -> Iterator[bytes]:
    """Content with its mark: a digest of all the rest, so that a file is known for ours while nobody has edited it."""
    digest, begin, kept = hashlib.sha256(), b"", b""
    for part in parts:
        begin = begin or part[:8]
        digest.update(part)
        whole = kept + part
        yield whole[:-_PNG_END]
        kept = whole[-_PNG_END:]
    seal = _seal(begin, digest.hexdigest()[:_DIGITS])
    if seal is None:
        yield kept
    else:
        mark, behind = seal
        cut = len(kept) - behind
        yield kept[:cut] + mark + kept[cut:]


def is_ours(file: BinaryIO) -> bool:
    """True for a file just as this tool has written it, read piece by piece."""
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    seal = _seal(file.read(8), "0" * _DIGITS)
    if seal is None:
        return False
    behind = seal[1]
    cut = size - behind - len(seal[0])
    if cut < 0:
        return False
    file.seek(0)
    digest = _digest(file, cut)
    mark = file.read(len(seal[0]))
    digest.update(file.read())
    file.seek(0)
    expected = _seal(file.read(8), digest.hexdigest()[:_DIGITS])
    return expected is not None and mark == expected[0]


def _digest(file: BinaryIO, size: int) -> hashlib._Hash:
    """The digest of the next ``size`` bytes."""
    digest = hashlib.sha256()
    while size > 0 and (part := file.read(min(size, 1 << 20))):
        digest.update(part)
        size -= len(part)
    return digest


def digest_of(path: Path) -> str | None:
    """SHA-256 of a regular file; ``None`` where there is none that can be read."""
    try:
        with open_regular(path, allowed="") as file:
            return _digest(file, 1 << 62).hexdigest()
    except InputError:
        return None


def digest_of_sealed(content: bytes) -> str:
    """SHA-256 of a file as it will be written."""
    return hashlib.sha256(b"".join(sealed((content,)))).hexdigest()


def ours_beside(path: Path, key: str = "files") -> dict[str, str]:
    """Digests by name that a record of ours has for the files beside it; none where it is not just as written."""
    try:
        with open_regular(path, allowed="") as file:
            if not is_ours(file):
                return {}
            file.seek(0)
            known = json.loads(file.read(_MOST_RECORD_BYTES)).get(key)
    except (InputError, ValueError, AttributeError, RecursionError):
        return {}
    return {str(name): str(its) for name, its in known.items()} if isinstance(known, dict) else {}


def ending_problem(path: Path, formats: Sequence[str], *, file: str = "") -> Problem | None:
    """What is wrong with a file name whose ending is none of some formats; ``file`` names the option instead."""
    if path.suffix.lower() in formats:
        return None
    return Problem(
        file=file or cleaned(str(path)),
        found=f"the ending {quoted(path.suffix)}",
        allowed=", ".join(formats),
        hint=did_you_mean(path.suffix, formats),
    )


def check_ending(path: Path, formats: Sequence[str]) -> None:
    """Raise ``InputError`` for a file name whose ending is none of some formats."""
    problem = ending_problem(path, formats)
    if problem is not None:
        raise InputError(problem)


def write_files(files: Mapping[Path, bytes], *, force: bool = False, ours: Collection[str] = ()) -> None:
    """Write several files; all are checked before the first is written. Raises ``InputError``.

    What is there already is only replaced where it is just as this tool wrote it: by its mark, or, for tables, which
    carry none, by its digest among ``ours``.
    """
    problems = [problem for path, new in files.items() if (problem := _obstacle(path, new, force, ours)) is not None]
    if problems:
        raise InputError(problems)
    for path, content in files.items():
        write_stream(path, (content,))


def obstacles_in(folder: Path, names: Iterable[str], *, force: bool, ours: Collection[str] = ()) -> list[Problem]:
    """What speaks against writing regular files of these names into a folder."""
    problems: list[Problem] = []
    for path in (folder / name for name in names):
        if path.exists() and not path.is_file() and not path.is_dir():
            allowed = "a regular file"
            problems.append(Problem(file=cleaned(str(path)), found="no regular file", allowed=allowed))
        elif (problem := _obstacle(path, None, force, ours)) is not None and path.parent.is_dir():
            problems.append(problem)
    return problems


def _obstacle(path: Path, new: bytes | None, force: bool, ours: Collection[str]) -> Problem | None:
    """What speaks against writing there, or ``None``."""

    def problem(found: str, allowed: str, hint: str = "") -> Problem:
        return Problem(file=cleaned(str(path)), found=found, allowed=allowed, hint=hint)

    try:
        if not _is_there(path):
            return None if path.parent.is_dir() else problem("no such folder", "a folder that is there")
        if path.is_dir():
            return problem("a folder", "the name of a file")
        if not path.is_file() or force:
            return None
    except (OSError, ValueError) as error:
        return problem((getattr(error, "strerror", None) or "not a usable name").lower(), "a file that can be written")
    return _not_ours(path, new, ours)


def _not_ours(path: Path, new: bytes | None, ours: Collection[str]) -> Problem | None:
    """Whose the regular file there is, where it is not this tool's; one that already is as it is to be is no matter."""
    try:
        with open_regular(path, allowed="") as file:
            size = os.fstat(file.fileno()).st_size
            if not size or is_ours(file) or (ours and digest_of(path) in ours):
                return None
            file.seek(0)
            if new is not None and size == len(new) and file.read() == new:
                return None
    except InputError as error:
        return error.problems[0]._replace(allowed="a file that can be written")
    found = "a file that dimmplan did not make, or that was edited since"
    hint = "Overwrite it with --force."
    return Problem(file=cleaned(str(path)), found=found, allowed="a new name", hint=hint)


def _is_there(path: Path) -> bool:
    """False for nothing and for a link to nothing. Raises ``OSError`` for links in a circle and names too long."""
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


def write_stream(path: Path, parts: Iterable[bytes]) -> None:
    """Write piece by piece, sealed, to a neighbour file that takes the place of the old one at once; devices directly.

    Raises ``WriteError``.
    """
    try:
        if path.exists() and not path.is_file():
            with path.open("wb") as handle:
                handle.writelines(sealed(parts))
        else:
            _replace(path.resolve(), sealed(parts))
    except (OSError, ValueError) as error:
        found = (getattr(error, "strerror", None) or "cannot be written").lower()
        allowed = "a file that can be written"
        lasting = isinstance(error, OSError) and error.errno in LASTING
        problem = Problem(file=cleaned(str(path)), found=found, allowed=allowed)
        raise WriteError(problem, lasting=lasting) from None


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
        raise InputError(Problem(file=cleaned(str(folder)), found=reason.lower(), allowed="a folder")) from None


def page_path(path: Path, page: int) -> Path:
    """``x.svg`` for page 1, ``x-2.svg`` for page 2."""
    return path if page == 1 else path.with_name(f"{path.stem}-{page}{path.suffix}")


_BESIDE = re.compile(r"plan\.json|map(-\d{1,4})?\.svg|pick\.csv")
"""All that a folder of a plan is given; a record can name no other file, no folder and nothing outside."""


def files_beside(record: Path) -> dict[str, str]:
    """The files of a plan's folder and their digests, as an intact record of ours names them."""
    return {name: its for name, its in ours_beside(record).items() if _BESIDE.fullmatch(name)}


def remove_unchanged(folder: Path, known: Mapping[str, str], names: Collection[str]) -> None:
    """Delete what an earlier run wrote into a folder and this one does not, as long as nobody has changed it since."""
    for name, its in known.items():
        if name not in names and digest_of(folder / name) == its:
            (folder / name).unlink(missing_ok=True)
