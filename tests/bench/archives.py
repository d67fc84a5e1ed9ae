"""Wheel and source archive built twice at different times: the same bytes, and what they have to carry.

``pip install build && python -m tests.bench.archives``
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
import time
import zipfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
IN_WHEEL = (
    "dimmplan/py.typed",
    "dimmplan/boards/skerry-16.toml",
    "dimmplan/docs/words.md",
    "data/share/man/man1/dimmplan.1",
)
IN_SOURCE = ("boards/skerry-16.toml", "tests/docs/shell.py", "out/demo/map.svg", "CHANGELOG.md", "LICENSE")
SOURCE_DATE_EPOCH = "1700000000"


def built(folder: Path) -> dict[str, str]:
    """Both archives, built from the clone: name to digest."""
    command = [sys.executable, "-m", "build", "--outdir", str(folder), str(ROOT)]
    subprocess.run(command, check=True, capture_output=True, env=os.environ | {"SOURCE_DATE_EPOCH": SOURCE_DATE_EPOCH})
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def lacking(archive: Path) -> list[str]:
    """What an archive should carry and does not."""
    if archive.suffix == ".whl":
        wanted, names = IN_WHEEL, zipfile.ZipFile(archive).namelist()
    else:
        with tarfile.open(archive) as opened:
            wanted, names = IN_SOURCE, opened.getnames()
    return [end for end in wanted if not any(name.endswith(end) for name in names)]


def main(_argv: Sequence[str] = ()) -> int:
    """Build twice and compare; 0 where all is well."""
    with tempfile.TemporaryDirectory() as first, tempfile.TemporaryDirectory() as second:
        one = built(Path(first))
        time.sleep(2)  # archives count in steps of two seconds
        other = built(Path(second))
        missing = {name: lacking(Path(first) / name) for name in one}
    for name, digest in one.items():
        same = "same" if other.get(name) == digest else "DIFFERENT"
        sys.stdout.write(f"{name} {digest[:16]} {same}; lacks: {', '.join(missing[name]) or 'nothing'}\n")
    return 0 if one == other and not any(missing.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
