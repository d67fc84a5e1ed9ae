"""What stands in the HTML page: everything the sheet says, a reason for each slot, nothing that is loaded or run."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dimmplan.cli.run import run
from dimmplan.plancode import decode, encode, read_head
from tests.page.pages import PLANS, change_page, page, planned

VOID = {"meta"}


class Reader(HTMLParser):
    """Collects ids, links and text, and holds that every element is closed in its order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attrs:
            self.attributes.append((tag, name, value or ""))
            if name == "id":
                self.ids.append(value or "")
            if name == "href":
                self.links.append(value or "")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("name", PLANS)
def test_it_is_whole_and_loads_nothing(name: str) -> None:
    text = page(name)
    reader = Reader(text)
    assert len(reader.ids) == len(set(reader.ids))
    assert {link for link in reader.links if not link.startswith("#")} == set()
    assert {link[1:] for link in reader.links} <= set(reader.ids)
    names = {attribute for _, attribute, _ in reader.attributes}
    assert not {each for each in names if each.startswith("on") or each in {"style", "src", "srcset", "action"}}
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) == {"http://www.w3.org/2000/svg"}
    assert "url(" not in text and "@import" not in text


@pytest.mark.parametrize("name", PLANS)
def test_the_policy_allows_this_style_and_this_script_alone(name: str) -> None:
    text = page(name)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    parts = dict(part.strip().split(" ", 1) for part in policy[1].split(";"))
    assert parts["default-src"] == "'none'" and "unsafe" not in policy[1]
    for element, directive in (("style", "style-src"), ("script", "script-src")):
        (inside,) = re.findall(rf"<{element}>(.*?)</{element}>", text, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert parts[directive] == f"'sha256-{digest}'"


@pytest.mark.parametrize("name", PLANS)
def test_every_slot_has_its_reason_and_is_linked_to_it(name: str) -> None:
    board, _ = planned(name)
    text = page(name)
    reasons = re.findall(r'<article id="(why-[^"]+)" class="slot-reason">(.*?)</article>|', text, re.DOTALL)
    articles = re.findall(r'<article[^>]*id="(why-[^"]+)"[^>]*>(.*?)</article>', text, re.DOTALL)
    assert len(articles) == len(board.slots), reasons
    for _, inside in articles:
        assert re.search(r'<p class="title">[^<]{6,}</p>', inside)
        assert "<cite>[" in inside
    linked = set(re.findall(r'<a class="slot-link" href="#(why-[^"]+)"', text))
    assert linked == {ident for ident, _ in articles}


def test_a_code_brings_the_same_bytes_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    board, placement = planned("irregular")
    code = encode(board, placement)
    assert decode(read_head(code), board) == placement
    assert run(["draw", code, "-o", "again.html", "--tag", "QUAY-07"]) == 0
    assert Path("again.html").read_text(encoding="utf-8") == page("irregular")


def test_hostile_words_stay_words() -> None:
    hostile = "</title><script>alert(1)</script>\x1b[31m\u202e\"'><svg onload=x>"
    text = page("small", tag=hostile, title=hostile)
    Reader(text)
    assert text.count("<script>") == 1 and "<svg onload" not in text and "\x1b" not in text and "\u202e" not in text
    assert "&lt;script&gt;" in text


def test_a_change_is_listed_and_marked(tmp_path: Path) -> None:
    text = change_page(tmp_path)
    Reader(text)
    assert "pull 64GB 2Rx4 PC4-2933Y-R from T1" in text
    assert "As found: 64GB 2Rx4 PC4-2933Y-R; it comes out for good." in text
    assert "As found: 32GB 2Rx4 PC4-2933Y-R; it stays." in text
    assert "What to do, in order" not in page("irregular")


def test_a_file_of_somebody_else_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    code = encode(*planned("small"))
    Path("x.html").write_text("<html>mine</html>")
    assert run(["draw", code, "-o", "x.html"]) == 2
    assert Path("x.html").read_text() == "<html>mine</html>"
    assert run(["draw", code, "-o", "x.html", "--force"]) == 0
    assert run(["draw", code, "-o", "x.html"]) == 0
