"""What stands in the HTML page: everything the sheet says, a reason for each slot, nothing that is loaded or run."""

from __future__ import annotations

import base64
import hashlib
import itertools
import json
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.run import run
from dimmplan.cli.sheets import sheet_files
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.sheet.stages import HOLD
from tests.page.pages import change_page, hostile_page, page, planned
from tests.sheet.placements import FILLS, Fill, make
from tests.support import sampled

VOID = {"meta", "input"}
SOME = sampled(["irregular", "small", "groups", "large"], 2)


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


@pytest.mark.parametrize(
    ("name", "options"), [*((name, {}) for name in SOME), ("small", {"page": "1"}), ("small", {"page": "2"})]
)
def test_it_is_whole_and_loads_nothing(name: str, options: dict[str, str]) -> None:
    text = page(name, **options)
    reader = Reader(text)
    assert len(reader.ids) == len(set(reader.ids))
    assert {link for link in reader.links if not link.startswith("#")} == set()
    assert {link[1:] for link in reader.links} <= set(reader.ids)
    names = {attribute for _, attribute, _ in reader.attributes}
    assert not {each for each in names if each.startswith("on") or each in {"style", "src", "srcset", "action"}}
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) == {"http://www.w3.org/2000/svg"}
    assert "url(" not in text and "@import" not in text


@pytest.mark.parametrize("name", SOME)
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


@pytest.mark.parametrize("name", SOME)
def test_every_slot_has_the_reasons_that_why_gives(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    text = page(name)
    assert run(["why", encode(*planned(name)), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    articles = dict(re.findall(r'<article id="(why-[^"]+)"[^>]*>(.*?)</article>', text, re.DOTALL))
    assert set(re.findall(r'<a class="slot-link [^"]*" href="#([^"]+)"', text)) == set(articles)
    for slot in told["slots"]:
        said = [each for tried in slot["tried"] for each in tried["said"]] + slot["said"]
        assert said
        inside = unescape(articles[f"why-{slot['slot']}"])
        assert f'<p class="title">{slot["title"]}</p>' in inside
        for each in said:
            assert f"{each['text']} <cite>[{each['rule']}, {each['source']}]</cite>" in inside
    assert len(articles) == len(told["slots"])
    rate = unescape(re.search(r'<section id="rate".*?</section>', text, re.DOTALL)[0])  # type: ignore[index]
    assert all(each["text"] in rate for why in told["rate"] for each in why["said"])


OPTIONS: dict[str, dict[str, str]] = {
    "irregular": {"tag": "QUAY-07", "title": "Lid 3", "date": "a Tuesday"},
    "small": {"paper": "a5", "ink": "mono"},
    "large": {},
    "groups": {"paper": "letter", "front": "up"},
}


@pytest.mark.parametrize("name", SOME)
def test_a_code_brings_the_same_bytes_back(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    board, placement = planned(name)
    code, options = encode(board, placement), OPTIONS[name]
    assert decode(read_head(code), board) == placement
    given = [word for key, value in options.items() for word in (f"--{key}", value)]
    assert run(["draw", code, "-o", "again.html", *given]) == 0
    assert Path("again.html").read_text(encoding="utf-8").startswith(page(name, **options))


@pytest.mark.parametrize(("board_id", "fill"), sampled([*itertools.product(["marram-4", "groyne-24"], FILLS)], 4))
def test_any_placement_has_a_page_that_its_code_brings_back(board_id: str, fill: Fill) -> None:
    board = load_board(board_id)
    placement = make(board, fill)
    again = decode(read_head(encode(board, placement)), board)
    (one,) = sheet_files(board, placement, Path("x.html")).values()
    (two,) = sheet_files(board, again, Path("x.html")).values()
    assert one == two
    text = one.decode("utf-8")
    Reader(text)
    assert (HOLD in text) == (fill == "hold")


def test_hostile_words_stay_words(tmp_path: Path) -> None:
    hostile = "</title><script>alert(1)</script>\x1b[31m\u202e\"'><svg onload=x>"
    for text in (page("small", tag=hostile, title=hostile), hostile_page(tmp_path)):
        reader = Reader(text)
        assert not {tag for tag, _, _ in reader.attributes} & {"img", "i", "b"} and "<i>" not in text
        assert not any(name.startswith("on") for _, name, _ in reader.attributes)
        assert text.count("<script>") == text.count("</script>") == text.count("</style>") == 1
        assert "\x1b" not in text and "\u202e" not in text
        assert "&lt;script&gt;" in text or "&lt;img src=x" in text


def test_a_change_has_the_steps_of_its_sheet(tmp_path: Path) -> None:
    """Numbers on the map, on the tick list and in the table are the same; what is fetched is what goes in anew."""
    text = change_page(tmp_path)
    Reader(text)
    table = re.search(r"<caption>Steps</caption>.*?</table>", text, re.DOTALL)
    assert table is not None
    steps = re.findall(r'<th scope="row">(\d+)</th><td>(\w+)</td><td>([^<]*)</td>', table[0])
    assert [number for number, _, _ in steps] == [str(number) for number in range(1, 18)]
    assert steps[:3] == [
        ("1", "K2", "take out 32GB 2Rx4 PC4-2933Y-R from K2; it goes into L1"),
        ("2", "T1", "take out 64GB 2Rx4 PC4-2933Y-R from T1"),
        ("3", "L1", "put 32GB 2Rx4 PC4-2933Y-R from K2 into L1"),
    ]
    on_map = dict(re.findall(r'aria-label="(\w+): [^"]*\. Step (\d+): ', text))
    assert on_map == {slot: number for number, slot, _ in steps[2:]}
    assert '<td class="n">10 ×</td>' in text and "do not fetch: left over, out at step 2; keep safe" in text
    for slot, found in {
        "T1": "64GB 2Rx4 PC4-2933Y-R; step 2, it comes out for good.",
        "K1": "32GB 2Rx4 PC4-2933Y-R; it stays.",
        "K2": "32GB 2Rx4 PC4-2933Y-R; step 1, it moves to L1.",
        "L1": "empty.",
    }.items():
        assert re.search(rf'<article id="why-{slot}".*?</article>', text, re.DOTALL)[0].count(
            f"Before the change: {found}"
        )  # type: ignore[index]
    assert "Before the change" not in page("irregular") and "Change, in this order" not in page("irregular")


def test_what_the_sheet_says_for_safety_stands_in_the_text() -> None:
    from dimmplan.sheet.stages import BEFORE, BOOT_CHECKS, CAUTIONS, DEFERENCE, NOTICES

    text = unescape(page("irregular"))
    main = text[text.index('<section id="before"') :]
    for said in (*BEFORE, *BOOT_CHECKS, DEFERENCE, *(words for _, words in (*CAUTIONS, *NOTICES))):
        assert said in main
    assert "17.5 kg" in main


def test_what_must_be_known_stands_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A drafted board file, and a board that changed since the map was made: before the map, as on the sheet."""
    header = re.compile(r"<header>.*?</header>", re.DOTALL)
    board, placement = planned("small")
    (drafted,) = sheet_files(replace(board, trust="drafted"), placement, Path("x.html")).values()
    assert "DRAFTED BOARD FILE" in header.search(drafted.decode("utf-8"))[0]  # type: ignore[index]
    assert 'class="alert"' not in page("irregular")
    text = Path("boards/skerry-16.toml").read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    Path("changed.toml").write_text(text.replace("mts = 2666", "mts = 2400"), encoding="utf-8")
    assert run(["draw", encode(*planned("irregular")), "--board-file", "changed.toml", "-o", "x.html"]) == 0
    changed = header.search(Path("x.html").read_text(encoding="utf-8"))
    assert changed is not None and "Do not place by this map: " in changed[0]
    assert "not proven: the board file has changed since" in changed[0]


def test_equal_sockets_share_one_picture() -> None:
    text = page("groups")
    assert text.count('class="range"') == 1
    assert "isle and shore: 320 GiB each" in text
    assert page("irregular").count('class="range"') == 2


def test_a_file_of_somebody_else_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    code = encode(*planned("small"))
    Path("x.html").write_text("<html>mine</html>")
    assert run(["draw", code, "-o", "x.html"]) == 2
    assert Path("x.html").read_text() == "<html>mine</html>"
    assert run(["draw", code, "-o", "x.html", "--force"]) == 0
    assert run(["draw", code, "-o", "x.html"]) == 0
