"""Shapes to SVG: one self-contained document per page. The only user of svgwrite; it knows nothing of memory."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import svgwrite
from svgwrite.base import BaseElement
from svgwrite.etree import etree
from svgwrite.params import Parameter

from dimmplan.sheet.shapes import Group, Line, Page, Polygon, Rect, Shape, Strokes, Text

MARK = "made by dimmplan"
"""Stands in every document this tool wrote; a file without it is not ours to overwrite."""

_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_MARKED = re.compile(rf"<metadata>\s*{MARK}\s*</metadata>")


class _Plain(BaseElement):  # type: ignore[misc]  # svgwrite has no types
    """An element by name, without the checks and lookups that svgwrite's own classes spend most of their time on."""

    _shared = Parameter(debug=False)

    def __init__(self, name: str, attributes: dict[str, str], text: str = "") -> None:
        self.elementname = name
        self._parameter = self._shared
        self.attribs = attributes
        self.elements: list[BaseElement] = []
        self._text = text

    def get_xml(self) -> Any:
        """The element with its attributes, its text and what is in it."""
        xml = etree.Element(self.elementname, self.attribs)
        if self._text:
            xml.text = self._text
        for element in self.elements:
            xml.append(element.get_xml())
        return xml


def render_svg(page: Page) -> str:
    """One page as an SVG document. Same page, same text."""
    width, height = _number(page.width_mm), _number(page.height_mm)
    drawing = svgwrite.Drawing(size=(f"{width}mm", f"{height}mm"), viewBox=f"0 0 {width} {height}", debug=False)
    drawing.elements.insert(0, _Plain("metadata", {}, MARK))  # before the stylesheet: found without reading on
    drawing.set_desc(title=_inert(page.title), desc=_inert(page.desc))
    drawing.defs.add(drawing.style(page.stylesheet))
    drawing.add(_Plain("rect", {"class": "paper", "width": width, "height": height}))
    for element in _elements(page.shapes):
        drawing.add(element)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{etree.tostring(drawing.get_xml(), encoding="unicode")}\n'


Link = tuple[str, str]
"""Where something leads, and how it is named to a person who does not see it."""


def inline_svg(page: Page, links: Mapping[str, Link]) -> str:
    """One page as an SVG element inside another document, which has its stylesheet.

    Groups whose ``id`` is among the ``links`` lead there.
    """
    width, height = _number(page.width_mm), _number(page.height_mm)
    whole = _Plain(
        "svg",
        {"xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {width} {height}", "role": "group"}
        | {"aria-label": _inert(f"{page.title}: {page.name}")},
    )
    whole.add(_Plain("rect", {"class": "paper", "width": width, "height": height}))
    for element in _elements(page.shapes, links):
        whole.add(element)
    return str(etree.tostring(whole.get_xml(), encoding="unicode"))


def is_own(text: str) -> bool:
    """True for a document that ``render_svg`` wrote."""
    return _MARKED.search(text[:4000]) is not None


def _number(value: float) -> str:
    """A coordinate as written: the one place where coordinates are rounded, to a hundredth of a millimetre."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _inert(text: str) -> str:
    """Text without what XML cannot carry; mark-up in it is escaped on writing."""
    return _NOT_XML.sub("\ufffd", text)


_NO_LINKS: Mapping[str, Link] = {}


def _elements(shapes: Iterable[Shape], links: Mapping[str, Link] = _NO_LINKS) -> list[BaseElement]:
    return [_element(shape, links) for shape in shapes]


def _element(shape: Shape, links: Mapping[str, Link]) -> BaseElement:
    if isinstance(shape, Group):
        return _group(shape, links)
    if isinstance(shape, Text):
        return _text(shape)
    look = {"class": shape.look} if shape.look else {}
    if isinstance(shape, Rect):
        sides = {"x": shape.x, "y": shape.y, "width": shape.width, "height": shape.height}
        sides |= {"rx": shape.radius} if shape.radius else {}
        return _Plain("rect", look | {name: _number(value) for name, value in sides.items()})
    if isinstance(shape, Line):
        ends = {"x1": shape.x1, "y1": shape.y1, "x2": shape.x2, "y2": shape.y2}
        return _Plain("line", look | {name: _number(value) for name, value in ends.items()})
    if isinstance(shape, Polygon):
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
        return _Plain("polygon", look | {"points": points})
    return _Plain("path", look | {"d": _path(shape)})


def _path(shape: Strokes) -> str:
    return "".join(f"M{_number(a)} {_number(b)}L{_number(c)} {_number(d)}" for a, b, c, d in shape.segments)


def _text(shape: Text) -> BaseElement:
    x, y = _number(shape.x), _number(shape.y)
    attributes = {"x": x, "y": y, "font-size": _number(shape.size)}
    if shape.look:
        attributes["class"] = shape.look
    if shape.anchor != "start":
        attributes["text-anchor"] = shape.anchor
    if shape.turn:
        attributes["transform"] = f"rotate({shape.turn} {x} {y})"
    if not shape.spans:
        return _Plain("text", attributes, _inert(shape.text))
    whole = _Plain("text", attributes | {"xml:space": "preserve"})
    for text, look in shape.spans:
        whole.add(_Plain("tspan", {"class": look} if look else {}, _inert(text)))
    return whole


def _group(shape: Group, links: Mapping[str, Link]) -> BaseElement:
    attributes = {"class": shape.look} if shape.look else {}
    if shape.id:
        attributes["id"] = shape.id
    group = _Plain("g", attributes)
    if shape.title:
        group.add(_Plain("title", {}, _inert(shape.title)))
    for element in _elements(shape.children, links):
        group.add(element)
    if shape.id not in links:
        return group
    target, name = links[shape.id]
    link = _Plain("a", {"class": "slot-link", "href": target, "aria-label": _inert(name)})
    link.add(group)
    return link
