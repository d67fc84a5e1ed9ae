"""HTML from the templates beside this file: what is filled in is escaped; a page loads nothing, and runs its own."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from dimmplan.output.svg import MARK
from dimmplan.units import cleaned

FOLDER = Path(__file__).with_name("templates")
MOST_TEXT = 4000


def page_of(
    template: str,
    *,
    styles: tuple[str, ...],
    script: str = "",
    more_style: str = "",
    images: bool = False,
    **content: Any,
) -> str:
    """A whole HTML document from a template, its style sheets and its script; ``content`` is what stands in it.

    Same arguments, same text.
    """
    style = "".join(_file(name) for name in styles) + more_style
    code = _file(script) if script else ""
    rules = ["default-src 'none'", f"style-src {_hash_source(style)}"]
    rules += [f"script-src {_hash_source(code)}"] if code else []
    rules += ["img-src data:"] if images else []
    policy = "; ".join([*rules, "base-uri 'none'", "form-action 'none'"])
    own = {"mark": MARK, "policy": policy, "style": style, "script": code}
    return _environment().get_template(template).render(own, **content)


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_printable,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _printable(value: Any) -> Any:
    """Foreign text without its control characters; mark-up made here stays as it is."""
    if isinstance(value, str) and not hasattr(value, "__html__"):
        return cleaned(value, most=MOST_TEXT)
    return value


@cache
def _file(name: str) -> str:
    return (FOLDER / name).read_text(encoding="utf-8")


def _hash_source(text: str) -> str:
    """The source expression that allows this inline style or script and no other (CSP level 2)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"
