"""A page in a browser: opened in several looks, audited, walked by arrow keys, printed and compared with the sheet."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

LOOKS: dict[str, dict[str, Any]] = {
    "light": {"viewport": {"width": 1280, "height": 900}},
    "dark": {"viewport": {"width": 1280, "height": 900}, "color_scheme": "dark"},
    "zoomed": {"viewport": {"width": 640, "height": 450}, "device_scale_factor": 2},  # 1280 x 900 at 200 %
    "phone": {"viewport": {"width": 390, "height": 800}, "has_touch": True},
    "dark phone": {"viewport": {"width": 390, "height": 800}, "has_touch": True, "color_scheme": "dark"},
}

WALK = """(map) => {
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
"""Of a map: slots that arrow keys reach from the first, all its slots, and its stops for Tab."""


@contextmanager
def started() -> Iterator[Any]:
    """The system's Chromium, without a window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tool:
        found = tool.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield found
        found.close()


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


def assert_audited(opened: Any) -> None:
    """axe-core finds nothing, and nothing is wider than the window."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(opened)
    assert found.violations_count == 0, found.generate_report()
    wide = opened.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]


def assert_walked(opened: Any) -> int:
    """Every slot of the map is reached by arrow keys from its first, and the map is one stop for Tab; its slots."""
    seen, every, stops = opened.query_selector(".plate").evaluate(WALK)
    assert seen == every and stops == 1
    return int(seen)


BESIDE = 12
"""Points, some 4 mm."""


def assert_prints_as(opened: Any, own: bytes, folder: Path) -> None:
    """Printing gives the pages of ``own``, a PDF of the sheet: the same paper, the same words in the same places.

    The words of the page lie unpainted over their outlines, in a font of the machine and stretched to the line: inside
    a line a word may lie ``BESIDE`` points beside its outline. How far a box reaches above and below its word, the two
    fonts say differently: the middles of tall words may differ by a part of their height.
    """
    (folder / "own.pdf").write_bytes(own)
    opened.pdf(path=folder / "page.pdf", prefer_css_page_size=True, print_background=True)
    one, two = _printed(folder / "own.pdf"), _printed(folder / "page.pdf")
    assert len(one) == len(two)
    for (size, words), (other_size, other_words) in zip(one, two, strict=True):
        assert size == pytest.approx(other_size, abs=1)
        assert Counter(word for word, *_ in words) == Counter(word for word, *_ in other_words)
        for word, x, y, high in words:
            assert any(
                other == word and abs(x - there) < BESIDE and abs(y - below) < max(2, high * 0.15)
                for other, there, below, _ in other_words
            ), (word, x, y)


def _printed(path: Path) -> list[tuple[tuple[float, float], list[tuple[str, float, float, float]]]]:
    """Of each page its size, and of its words the middles and heights, in points."""
    done = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True)
    pages = []
    for wide, high, inside in re.findall(r'<page width="([^"]*)" height="([^"]*)">(.*?)</page>', done.stdout, re.S):
        words = re.findall(r'<word xMin="(.*?)" yMin="(.*?)" xMax="(.*?)" yMax="(.*?)">(.*?)</word>', inside)
        middles = [
            (word, (float(left) + float(right)) / 2, (float(top) + float(low)) / 2, float(low) - float(top))
            for left, top, right, low, word in words
        ]
        pages.append(((float(wide), float(high)), middles))
    return pages
