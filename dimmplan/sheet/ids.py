"""Ids made from names: readable where a name is plain, and never the same for two names."""

from __future__ import annotations

_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.")


def ident(kind: str, name: str) -> str:
    """``kind-name``; a letter that is not plain becomes its number between underscores, the underscore too."""
    return f"{kind}-" + "".join(c if c in _PLAIN else f"_{ord(c):x}_" for c in name)
