"""Content security policies of HTML files: what stands in the file may look and run, and nothing else."""

from __future__ import annotations

import base64
import hashlib


def hash_source(text: str) -> str:
    """The source expression that allows this inline style or script and no other (CSP level 2)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"
