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
import time
import zlib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from dimmplan.bounded import open_regular
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.output.record import to_json
from dimmplan.units import cleaned, quoted

SHEET_FORMATS = (".svg", ".png", ".pdf", ".html")
"""Endings of the files that a sheet is drawn as."""
SEAL = b"dimmplan "
_DIGITS = 32
_MOST_RECORD_BYTES = 64 << 20
_PNG_END = 12
"""Bytes of the last chunk of a PNG."""
LOOK_SECONDS = 0.3
"""Time between two looks at a file that is watched."""
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


def ours_beside(path: Path) -> dict[str, str]:
    """Digests by name that a record of ours has for the files beside it; none where it is not just as written."""
    try:
        with open_regular(path, allowed="") as file:
            if not is_ours(file):
                return {}
            file.seek(0)
            known = json.loads(file.read(_MOST_RECORD_BYTES)).get("files")
    except (InputError, ValueError, AttributeError, RecursionError):
        return {}
    return {str(name): str(its) for name, its in known.items()} if isinstance(known, dict) else {}


def changes(paths: Sequence[Path]) -> Iterator[None]:
    """Once at the beginning, then whenever one of some files has changed since; one that is not there is no end."""
    while True:
        seen = [_stamp(path) for path in paths]
        yield
        while seen == [_stamp(path) for path in paths]:
            time.sleep(LOOK_SECONDS)


def _stamp(path: Path) -> tuple[int, int]:
    try:
        status = path.stat()
    except (OSError, ValueError):
        return 0, 0
    return status.st_mtime_ns, status.st_size


def ending_problem(path: Path, formats: Sequence[str], *, file: str = "") -> Problem | None:
    """What is wrong with a file name whose ending is none of some formats; ``file`` names the option instead."""
    if path.suffix.lower() in formats:
        return None
    hint = did_you_mean(path.suffix, formats)
    found = f"the ending {quoted(path.suffix)}"
    return Problem(file=file or cleaned(str(path)), found=found, allowed=", ".join(formats), hint=hint)


def check_ending(path: Path, formats: Sequence[str]) -> None:
    """Raise ``InputError`` for a file name whose ending is none of some formats."""
    if problem := ending_problem(path, formats):
        raise InputError(problem)


# -- what may be written over ------------------------------------------------------------------------------------------


def obstacles(
    files: Mapping[Path, bytes | None], *, force: bool, ours: Collection[str] = (), regular: bool = False
) -> list[Problem]:
    """What speaks against writing files, where it is known with what they are to hold.

    What is there already is only replaced where it is just as this tool wrote it: by its mark, or, for tables, which
    carry none, by its digest among ``ours``. Devices and pipes are written to, unless files are to be ``regular``.
    """
    found = []
    for path, new in files.items():
        try:
            told = _obstacle(path, new, force, ours, regular)
        except (OSError, ValueError) as error:
            told = _reason(error, "not a usable name"), "a file that can be written", ""
        if told is not None:
            found.append(Problem(cleaned(str(path)), "", *told))
    return found


def _reason(error: OSError | ValueError, otherwise: str) -> str:
    return (getattr(error, "strerror", None) or otherwise).lower()


def _obstacle(
    path: Path, new: bytes | None, force: bool, ours: Collection[str], regular: bool
) -> tuple[str, str, str] | None:
    """What is found, what is allowed, what to do; ``None`` where nothing speaks against writing there."""
    if not _is_there(path):
        return None if path.parent.is_dir() else ("no such folder", "a folder that is there", "")
    if path.is_dir():
        return "a folder", "the name of a file", ""
    if not path.is_file():
        return ("no regular file", "a regular file", "") if regular else None
    return None if force else _not_ours(path, new, ours)


def _not_ours(path: Path, new: bytes | None, ours: Collection[str]) -> tuple[str, str, str] | None:
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
        return error.problems[0].found, "a file that can be written", ""
    return "a file that dimmplan did not make, or that was edited since", "a new name", "Overwrite it with --force."


def _is_there(path: Path) -> bool:
    """False for nothing and for a link to nothing. Raises ``OSError`` for links in a circle and names too long."""
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


# -- writing -----------------------------------------------------------------------------------------------------------


def write_files(files: Mapping[Path, bytes], *, force: bool = False) -> None:
    """Write several files; all are checked before the first is written. Raises ``InputError``."""
    if problems := obstacles(files, force=force):
        raise InputError(problems)
    for path, content in files.items():
        write_stream(path, (content,))


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
        allowed, lasting = "a file that can be written", isinstance(error, OSError) and error.errno in LASTING
        problem = Problem(file=cleaned(str(path)), found=_reason(error, "cannot be written"), allowed=allowed)
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
        found = _reason(error, "not a usable name")
        raise InputError(Problem(file=cleaned(str(folder)), found=found, allowed="a folder")) from None


# -- folders of ours ---------------------------------------------------------------------------------------------------

_BESIDE = re.compile(r"plan\.json|map(-\d{1,4})?\.svg|pick\.csv")
"""All that a folder of a plan is given; a record can name no other file, no folder and nothing outside."""
_LEFT_BY_A_KILL = re.compile(r"\.dimmplan-[a-z0-9_]{8}\.tmp")


@dataclass(frozen=True)
class PlanFolder:
    """A folder of ours: its files by name, and its record, a JSON document that names the digest of each of them."""

    path: Path
    record_name: str
    record: Mapping[str, Any]
    files: Mapping[str, bytes]


def write_folders(folders: Sequence[PlanFolder], *, force: bool) -> list[Path]:
    """Write folders of ours; all files are checked before the first is written, and the records are written last.

    What an earlier run wrote there, by its intact record, and this one does not, goes, as long as nobody has changed it
    since. Returns what was written, records first. Raises ``InputError``.
    """
    earlier: dict[Path, str] = {}
    records: dict[Path, bytes] = {}
    files: dict[Path, bytes] = {}
    for each in folders:
        make_folder(each.path)
        sweep(each.path)
        record = each.path / each.record_name
        earlier |= {each.path / name: its for name, its in ours_beside(record).items() if _BESIDE.fullmatch(name)}
        files |= {each.path / name: its for name, its in each.files.items()}
        digests = {name: hashlib.sha256(b"".join(sealed((its,)))).hexdigest() for name, its in each.files.items()}
        records[record] = to_json({**each.record, "files": digests}).encode("ascii")
    if problems := obstacles(records | files, force=force, ours=earlier.values(), regular=True):
        raise InputError(problems)
    for path, content in (files | records).items():
        write_stream(path, (content,))
    for path, digest in earlier.items():
        if path not in files and path not in records and digest_of(path) == digest:
            path.unlink(missing_ok=True)
    return [*records, *files]


def sweep(folder: Path) -> None:
    """Take away the half-written files of a run that was killed."""
    with suppress(OSError):
        for path in folder.glob(".dimmplan-*.tmp"):
            if _LEFT_BY_A_KILL.fullmatch(path.name) and path.is_file():
                path.unlink(missing_ok=True)
