"""The HTML page in a real browser: keyboard alone, script off, printed, and audited for accessibility."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dimmplan.cli.draw import sheet_files
from dimmplan.cli.run import run
from tests.page.pages import change_page, page, planned

NAMES = ("irregular", "small", "large", "change")
LOOKS: dict[str, dict[str, Any]] = {
    "light": {"viewport": {"width": 1280, "height": 900}},
    "dark": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
    "zoomed": {"viewport": {"width": 640, "height": 450}, "device_scale_factor": 2},  # 1280 x 900 at 200 %
    "phone": {"viewport": {"width": 390, "height": 800}, "has_touch": True},
}

pytestmark = pytest.mark.system_tool("chromium")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        found = started.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture(scope="module")
def urls(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("pages")
    texts = {name: change_page(folder) if name == "change" else page(name) for name in NAMES}
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in NAMES}


class Opened:
    """A page opened with a look; what it says to the console or asks the network for is kept."""

    def __init__(self, browser: Any, url: str, **look: Any) -> None:
        self.context = browser.new_context(**look)
        self.page = self.context.new_page()
        self.noise: list[str] = []
        self.page.on("console", lambda message: self.noise.append(message.text))
        self.page.on("pageerror", lambda error: self.noise.append(str(error)))
        inside = (url, "data:")
        self.page.on("request", lambda to: None if to.url.startswith(inside) else self.noise.append(to.url))
        self.page.goto(url)

    def __enter__(self) -> Any:
        return self.page

    def __exit__(self, *_: object) -> None:
        self.context.close()
        assert self.noise == []


@pytest.mark.parametrize(
    ("name", "look"),
    [*(("irregular", look) for look in LOOKS), ("small", "phone"), ("change", "dark"), ("large", "zoomed")],
)
def test_an_audit_finds_nothing(browser: Any, urls: dict[str, str], name: str, look: str) -> None:
    """axe-core with a slot chosen, so that all there is to see is seen; and nothing wider than the window."""
    from axe_playwright_python.sync_playwright import Axe

    with Opened(browser, urls[name], **LOOKS[look]) as opened:
        opened.locator("a.slot-link").first.click()
        assert opened.locator("#chosen").is_visible()
        found = Axe().run(opened)
        assert found.violations_count == 0, found.generate_report()
        wide = opened.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide[0] <= wide[1]


def test_a_comparison_passes_the_audit_too(browser: Any, tmp_path: Path) -> None:
    from axe_playwright_python.sync_playwright import Axe

    path = tmp_path / "x.html"
    assert run(["compare", "marram-4", "--capacity", "32GiB", "--capacity", "64GiB", "-o", str(path)]) == 0
    with Opened(browser, path.as_uri(), **LOOKS["phone"]) as opened:
        found = Axe().run(opened)
        assert found.violations_count == 0, found.generate_report()
        assert opened.evaluate("getComputedStyle(document.querySelector('.scroll')).overflowX") == "auto"


def test_the_keyboard_alone_suffices(browser: Any, urls: dict[str, str]) -> None:
    board, _ = planned("irregular")
    with Opened(browser, urls["irregular"], **LOOKS["light"]) as opened:
        focused = "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
        opened.keyboard.press("Tab")
        assert opened.evaluate(focused) == "Skip to the slots"
        opened.keyboard.press("Tab")
        assert opened.evaluate(focused).startswith(f"{board.slots[0]}: ")
        opened.keyboard.press("Enter")
        chosen = opened.locator("#chosen-text h3")
        assert chosen.inner_text() == board.slots[0]
        seen = {board.slots[0]}
        for _ in range(len(board.slots)):
            opened.keyboard.press("ArrowRight")
            seen.add(chosen.inner_text())
        assert seen == set(board.slots), "all slots of this board stand in one row"
        last = chosen.inner_text()
        opened.keyboard.press("Enter")
        assert opened.evaluate("document.activeElement.id") == "chosen"
        opened.keyboard.press("Tab")
        assert opened.evaluate("document.activeElement.id") == "chosen-close"
        opened.keyboard.press("Escape")
        assert opened.evaluate("document.getElementById('chosen').classList.contains('closed')")
        assert opened.evaluate(focused).startswith(f"{last}: ")
        opened.keyboard.press("Tab")
        assert opened.evaluate("document.activeElement.closest('.sheet')") is None, "a map is one stop for Tab"


@pytest.mark.parametrize("name", ["irregular", "small", "large"])
def test_arrow_keys_lead_to_every_slot_of_a_map(browser: Any, urls: dict[str, str], name: str) -> None:
    walk = """(map) => {
        const seen = new Set(), todo = [map.querySelector("a.slot-link")];
        while (todo.length) {
            const link = todo.pop();
            if (seen.has(link)) continue;
            seen.add(link);
            for (const key of ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown"]) {
                link.focus();
                link.dispatchEvent(new KeyboardEvent("keydown", { key, cancelable: true }));
                todo.push(document.activeElement);
            }
        }
        return [seen.size, map.querySelectorAll("a.slot-link").length, map.querySelectorAll("a[tabindex='0']").length];
    }"""
    with Opened(browser, urls[name], **LOOKS["light"]) as opened:
        maps = [each for each in opened.query_selector_all(".sheet") if each.query_selector("a.slot-link")]
        assert len(maps) == {"large": 5}.get(name, 1)
        for each in maps:
            seen, every, stops = each.evaluate(walk)
            assert seen == every and stops == 1


@pytest.mark.parametrize("name", ["irregular", "small", "large"])
def test_a_touch_chooses_a_slot_and_leaves_it_in_sight(browser: Any, urls: dict[str, str], name: str) -> None:
    """On a phone too: slots of 24 px and more, and the panel does not lie over the slot."""
    with Opened(browser, urls[name], **LOOKS["phone"]) as opened:
        links = opened.locator("a.slot-link:not(:has([id^=overview]))")
        assert min(each.bounding_box()["width"] for each in links.all()) >= 24
        link = links.nth(1)
        link.tap()
        assert opened.locator("#chosen-text h3").inner_text() == planned(name)[0].slots[1]
        slot, panel = link.bounding_box(), opened.locator("#chosen").bounding_box()
        assert slot["y"] + slot["height"] <= panel["y"]
        opened.locator("#chosen-close").tap()
        assert opened.locator("#chosen").bounding_box()["width"] <= 1


def test_all_is_there_without_script(browser: Any, urls: dict[str, str]) -> None:
    board, _ = planned("irregular")
    with Opened(browser, urls["irregular"], **LOOKS["light"], java_script_enabled=False) as opened:
        assert opened.locator("#chosen").is_hidden()
        assert opened.locator(".slot-reason").count() == len(board.slots)
        for part in ("#map-of-slots svg", "#range svg", "#figures table", "#findings li", "#before li", "#doing table"):
            assert opened.locator(part).first.is_visible(), part
        opened.locator("a.slot-link").first.click()
        assert opened.url.endswith(f"#why-{board.slots[0]}")


@pytest.mark.parametrize("name", ["irregular", "large"])
@pytest.mark.system_tool("pdftotext")
def test_it_prints_as_the_sheet(browser: Any, urls: dict[str, str], name: str, tmp_path: Path) -> None:
    """Page for page what ``draw -o x.pdf`` writes: the same paper, the same words in the same places.

    In dark looks and with a slot chosen, too; the large board's sheet has lying and upright pages.
    """
    ((path, own),) = sheet_files(*planned(name), tmp_path / "own.pdf").items()
    path.write_bytes(own)
    with Opened(browser, urls[name], **LOOKS["dark"]) as opened:
        opened.locator("a.slot-link").first.click()
        opened.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True, print_background=True)
    one, two = _printed(path), _printed(tmp_path / "page.pdf")
    assert len(one) == len(two)
    for (size, words), (other_size, other_words) in zip(one, two, strict=True):
        assert size == pytest.approx(other_size, abs=1)
        assert Counter(word for word, _, _ in words) == Counter(word for word, _, _ in other_words)
        for word, x, y in words:
            assert any(
                other == word and abs(x - there) < 2 and abs(y - below) < 2 for other, there, below in other_words
            ), (word, x, y)


def _printed(path: Path) -> list[tuple[tuple[float, float], list[tuple[str, float, float]]]]:
    """Of each page its size and its words with their places, in points."""
    done = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True)
    pages = []
    for wide, high, inside in re.findall(r'<page width="([^"]*)" height="([^"]*)">(.*?)</page>', done.stdout, re.S):
        words = re.findall(r'<word xMin="([^"]*)" yMin="([^"]*)"[^>]*>(.*?)</word>', inside)
        pages.append(((float(wide), float(high)), [(word, float(x), float(y)) for x, y, word in words]))
    return pages
