"""HTML by small functions that escape what they are given: no text becomes mark-up by being forgotten."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from dimmplan.units import cleaned

MOST_TEXT = 4000


class Markup(str):
    """Text that is mark-up already."""

    __slots__ = ()


def safe(content: str) -> Markup:
    """Text as mark-up that shows it, its control characters taken out."""
    return content if isinstance(content, Markup) else Markup(escape(cleaned(content, most=MOST_TEXT)))


def element(name: str, *content: str, **attributes: str | None) -> Markup:
    """An element; ``class_`` is written ``class``, ``aria_label`` ``aria-label``; ``None`` leaves an attribute out."""
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{safe(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Markup(f"<{name}{said}>{''.join(safe(part) for part in content)}</{name}>")


def listed_items(items: Iterable[str], *, ordered: bool = False) -> Markup:
    """A list; nothing where there is nothing to list."""
    inside = [element("li", item) for item in items]
    return element("ol" if ordered else "ul", *inside) if inside else Markup()


def named_values(pairs: Iterable[tuple[str, str]]) -> Markup:
    """Names with their values."""
    return element("dl", *(element("div", element("dt", name), element("dd", value)) for name, value in pairs))


def section(ident: str, title: str, *content: str) -> Markup:
    """A part of the page under a heading that names it."""
    heading = element("h2", title, id=f"{ident}-head")
    return element("section", heading, *content, id=ident, aria_labelledby=f"{ident}-head")


def table(caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], *, numbers: Sequence[int] = ()) -> Markup:
    """A table whose first cells name their rows. It scrolls by itself where the window is narrow."""

    def cell(place: int, content: str) -> Markup:
        look = "n" if place in numbers else None
        return element("td", content, class_=look) if place else element("th", content, scope="row")

    titles = [element("th", title, scope="col", class_="n" if n in numbers else None) for n, title in enumerate(head)]
    body = [element("tr", *(cell(place, content) for place, content in enumerate(row))) for row in rows]
    whole = element(
        "table", element("caption", caption), element("thead", element("tr", *titles)), element("tbody", *body)
    )
    return element("div", whole, class_="scroll", tabindex="0", role="region", aria_label=caption)
