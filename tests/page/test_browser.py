"""The HTML page in a real browser: keyboard alone, script off, printed, and audited for accessibility."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

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
        self.page.on("request", lambda request: self.noise.append(request.url) if request.url != url else None)
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
    """axe-core, all its rules, with nothing chosen and with a slot chosen; and nothing wider than the window."""
    from axe_playwright_python.sync_playwright import Axe

    with Opened(browser, urls[name], **LOOKS[look]) as opened:
        assert (found := Axe().run(opened)).violations_count == 0, found.generate_report()
        opened.locator("a.slot-link").first.click()
        assert opened.locator("#chosen").is_visible()
        assert (found := Axe().run(opened)).violations_count == 0, found.generate_report()
        wide = opened.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide[0] <= wide[1]


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
        opened.keyboard.press("Escape")
        assert not opened.locator("#chosen").is_visible()
        assert opened.evaluate("document.activeElement.className.baseVal") == "slot-link"


def test_a_touch_chooses_a_slot(browser: Any, urls: dict[str, str]) -> None:
    with Opened(browser, urls["small"], **LOOKS["phone"]) as opened:
        opened.locator("a.slot-link").nth(1).tap()
        slot = planned("small")[0].slots[1]
        assert opened.locator("#chosen-text h3").inner_text() == slot
        opened.locator("#chosen-close").tap()
        assert not opened.locator("#chosen").is_visible()


def test_all_is_there_without_script(browser: Any, urls: dict[str, str]) -> None:
    board, _ = planned("irregular")
    with Opened(browser, urls["irregular"], **LOOKS["light"], java_script_enabled=False) as opened:
        assert opened.locator("#chosen").is_hidden()
        assert opened.locator(".slot-reason").count() == len(board.slots)
        for part in ("#map-of-slots svg", "#range svg", "#figures table", "#findings li", "#installing table"):
            assert opened.locator(part).first.is_visible(), part
        opened.locator("a.slot-link").first.click()
        assert opened.url.endswith(f"#why-{board.slots[0]}")


@pytest.mark.parametrize("name", ["irregular", "large"])
@pytest.mark.system_tool("pdfinfo")
def test_it_prints_as_the_sheet(browser: Any, urls: dict[str, str], name: str, tmp_path: Path) -> None:
    """One page of paper for each page of the sheet, of its size, in dark looks too."""
    from dimmplan.sheet.compose import compose

    sheet = compose(*planned(name))
    with Opened(browser, urls[name], **LOOKS["dark"]) as opened:
        opened.pdf(path=tmp_path / "x.pdf", prefer_css_page_size=True, print_background=True)
    done = subprocess.run(["pdfinfo", tmp_path / "x.pdf"], capture_output=True, text=True, check=True)
    said = dict(line.split(":", 1) for line in done.stdout.splitlines())
    assert int(said["Pages"]) == len(sheet.pages)
    assert abs(float(said["Page size"].split()[0]) - sheet.pages[0].width_mm * 72 / 25.4) < 1
