"""The long matrices of the tests whole: every seed and board, of which CI takes an even sample.

Run: python -m tests.bench matrices [-- PYTEST OPTIONS]; it takes some ten minutes on two cores.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def main(arguments: Sequence[str] = ()) -> int:
    """Run pytest over the tests that sample; its status."""
    files = sorted(
        str(path.relative_to(ROOT))
        for path in ROOT.glob("tests/**/test_*.py")
        if re.search(r"sampled\(|WHOLE", path.read_text("utf-8"))
    )
    command = [sys.executable, "-m", "pytest", "-q", *files, *arguments]
    return subprocess.run(command, cwd=ROOT, env=os.environ | {"DIMMPLAN_WHOLE_MATRICES": "1"}, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
