"""The SVG as a document: valid, self-contained, inert, with stable ids, the same bytes each time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import compose
from dimmplan.sheet.shapes import Group, Page, Text, ident, stylesheet, walk
from tests.sheet.pages import SAMPLE, board, sheet, slot_groups
from tests.sheet.placements import make, renamed

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
HOSTILE = (
    '"><script>alert(1)</script>',
    "]]></style><x/>&amp;",
    "bell\x07 null\x00 esc\x1b[31m",
    "turn\u202eround\u2066",
    "\ud800 lone \ufffe \uffff",
    "日本語のスロット名",
    "é" * 3 + "e\u0301\u0301\u0301",
    "x" * 40,
    "${jndi:ldap://x} {{7*7}} %s",
)


def one_page(name: str = "skerry-16") -> str:
    return render_svg(sheet(name).pages[0])


@pytest.mark.parametrize("name", SAMPLE)
def test_same_input_same_bytes(name: str) -> None:
    first = [render_svg(page) for page in compose(board(name), make(board(name), "mixed")).pages]
    second = [render_svg(page) for page in compose(board(name), make(board(name), "mixed")).pages]
    assert first == second


def test_same_bytes_in_another_process_with_another_hash_seed() -> None:
    code = (
        "import sys; from tests.sheet.pages import sheet; from dimmplan.output.svg import render_svg\n"
        "sys.stdout.buffer.write(b''.join(render_svg(p).encode() for p in sheet('machair-20', 'hold').pages))"
    )
    drawn = {
        subprocess.run(
            [sys.executable, "-c", code], env=os.environ | {"PYTHONHASHSEED": seed}, stdout=subprocess.PIPE, check=True
        ).stdout
        for seed in ("1", "2")
    }
    here = b"".join(render_svg(page).encode() for page in sheet("machair-20", "hold").pages)
    assert drawn == {here}


@pytest.mark.parametrize("name", SAMPLE)
@pytest.mark.parametrize("ink", ["colour", "mono"])
def test_well_formed_and_self_contained(name: str, ink: str) -> None:
    for page in sheet(name, "mixed", ink=ink).pages:
        text = render_svg(page)
        root = ET.fromstring(text.encode())
        assert root.tag == f"{SVG}svg"
        assert root.get("viewBox") == f"0 0 {page.width_mm:g} {page.height_mm:g}"
        assert root.get("width") == f"{page.width_mm:g}mm"
        assert [child.tag for child in root[:3]] == [f"{SVG}title", f"{SVG}metadata", f"{SVG}desc"]
        assert root[0].text == page.title
        assert len(list(root.iter(f"{SVG}style"))) == 1
        tags = {element.tag.removeprefix(SVG) for element in root.iter()}
        assert tags <= {
            *("svg", "title", "desc", "metadata", "defs", "style", "g", "rect", "polygon", "line", "path"),
            *("text", "use"),
        }
        attributes = {key for element in root.iter() for key in element.attrib}
        assert {key for key in attributes if "href" in key or key.startswith("on")} == {HREF}
        drawn = {f"#{path.get('id')}" for path in root.iter(f"{SVG}path") if path.get("id")}
        assert {use.get(HREF) for use in root.iter(f"{SVG}use")} == drawn, "each letter that is used, once"
        without_names = text.replace("http://www.w3.org/", "")
        assert "url(" not in without_names and "//" not in without_names and "@import" not in without_names


def test_size_of_a_sheet_of_32_slots() -> None:
    assert all(len(render_svg(page).encode()) < 300_000 for page in sheet("tombolo-32").pages)
    assert len(sheet("tombolo-32").pages) >= 2


@pytest.mark.parametrize("name", SAMPLE)
def test_ids_are_unique_on_the_whole_sheet_and_every_slot_has_one(name: str) -> None:
    drawn = sheet(name, "sparse")
    ids = [s.id for page in drawn.pages for s in walk(page.shapes) if isinstance(s, Group) and s.id]
    assert len(ids) == len(set(ids))
    assert set(slot_groups(drawn)) == {ident("slot", slot) for slot in board(name).slots}


@pytest.mark.parametrize("name", SAMPLE)
def test_every_slot_is_named_once_and_tells_more_on_hovering(name: str) -> None:
    drawn = slot_groups(sheet(name))
    for slot in board(name).slots:
        group = drawn[ident("slot", slot)]
        named = [shape for shape in walk(group.children) if isinstance(shape, Text) and shape.text == slot]
        assert len(named) == 1
        assert group.title.startswith(f"{slot}: ")
        assert board(name).channel_of[slot].id in group.title


@given(st.text(max_size=12), st.text(max_size=12))
@settings(max_examples=60)
def test_ids_are_injective_and_plain(one: str, other: str) -> None:
    assert (ident("slot", one) == ident("slot", other)) == (one == other)
    assert re.fullmatch(r"[A-Za-z][A-Za-z0-9._-]*", ident("slot", one))


def test_ids_of_tricky_names() -> None:
    names = ["A_1", "A-1", "A 1", "A1", "a1", "A_5f_1", "A__1", "Ä1", "A\u03081", "", "_", "__"]
    assert len({ident("slot", name) for name in names}) == len(names)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_inert(text: str) -> None:
    tricky = renamed(board("skerry-16"), {"K1": text[:40], "P2": text[:39] + "2"})
    tricky = replace(tricky, title=text * 2)
    drawn = compose(tricky, make(tricky, "mixed"), title=text, tag=text, date=text, code=text)
    for page in drawn.pages:
        written = render_svg(page)
        root = ET.fromstring(written.encode())
        assert not list(root.iter(f"{SVG}script")) and not list(root.iter(f"{SVG}x"))
        assert len(list(root.iter(f"{SVG}style"))) == 1
        said = "".join(root.itertext())
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\u202a-\u202e\u2066-\u2069\ufffe\uffff]", said)
    assert set(slot_groups(drawn)) == {ident("slot", slot) for slot in tricky.slots}


def test_the_writer_itself_drops_what_xml_cannot_carry() -> None:
    shapes = (Group(children=(Text(x=1, y=1, text="a\x00b<\ud800>", size=3, look=""),), title="\x1b&"),)
    page = Page(
        name="p", title="t\x00", desc="\ufffe", width_mm=10, height_mm=10, stylesheet="text{fill:#000}", shapes=shapes
    )
    root = ET.fromstring(render_svg(page).encode())
    assert root.findtext(f"{SVG}title") == "t\ufffd"
    assert root.findall(f"{SVG}g/{SVG}text")[-1].text == "a\ufffdb<\ufffd>"


@pytest.mark.parametrize("name", SAMPLE)
def test_class_names_of_groups_style_nothing(name: str) -> None:
    """A group's class says what it is; were it a look too, its lines would run into its text."""
    looks = set(re.findall(r"^\.([a-z0-9-]+)\{", stylesheet("colour"), re.MULTILINE))
    used = {
        part
        for fill in ("full", "hold", "one-socket")
        for page in sheet(name, fill).pages
        for shape in walk(page.shapes)
        if isinstance(shape, Group)
        for part in shape.look.split()
    }
    assert used and not used & looks


@pytest.mark.parametrize("ink", ["colour", "mono"])
def test_every_look_that_is_drawn_is_in_the_stylesheet(ink: str) -> None:
    css = stylesheet(ink)
    for name in SAMPLE:
        for page in sheet(name, "mixed", ink=ink).pages:
            for shape in walk(page.shapes):
                if not isinstance(shape, Group):
                    assert all(f".{part}{{" in css for part in shape.look.split()), shape
