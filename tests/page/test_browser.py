"""The HTML page in a real browser: keyboard alone, script off, printed, and audited for accessibility."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dimmplan.cli.run import run
from dimmplan.cli.sheets import sheet_files
from tests.page.browsing import LOOKS, Opened, assert_audited, assert_prints_as, assert_walked, started
from tests.page.pages import change_page, page, planned
from tests.support import WHOLE, sampled

NAMES = ("irregular", "small", "change", *(["large"] if WHOLE else []))
pytestmark = pytest.mark.system_tool("chromium")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with started() as found:
        yield found


@pytest.fixture(scope="module")
def urls(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("pages")
    texts = {name: change_page(folder) if name == "change" else page(name) for name in NAMES}
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in NAMES}


@pytest.mark.parametrize(
    ("name", "look"),
    sampled(
        [
            ("irregular", "light"),
            ("irregular", "dark phone"),
            ("small", "phone"),
            ("change", "dark"),
            ("change", "phone"),
            ("large", "zoomed"),
            ("large", "phone"),
        ],
        1,
    ),
)
def test_an_audit_finds_nothing(browser: Any, urls: dict[str, str], name: str, look: str) -> None:
    """With a slot chosen, so that all there is to see is seen; ``tests.bench.pages`` has every board and look."""
    with Opened(browser, urls[name], **LOOKS[look]) as opened:
        opened.locator("a.slot-link").first.click()
        assert opened.locator("#chosen").is_visible()
        assert_audited(opened)


def test_a_comparison_passes_the_audit_too(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "x.html"
    assert run(["compare", "marram-4", "--capacity", "32GiB", "--capacity", "64GiB", "-o", str(path)]) == 0
    with Opened(browser, path.as_uri(), **LOOKS["phone"]) as opened:
        assert_audited(opened)
        assert opened.evaluate("getComputedStyle(document.querySelector('.scroll')).overflowX") == "auto"


def test_the_keyboard_alone_suffices(browser: Any, urls: dict[str, str]) -> None:
    board, _ = planned("irregular")
    with Opened(browser, urls["irregular"], **LOOKS["light"]) as opened:
        focused = "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
        opened.keyboard.press("Tab")
        assert opened.evaluate(focused) == "Skip to the map"
        opened.keyboard.press("Tab")
        assert opened.evaluate(focused).startswith(f"{board.slots[0]}: ")
        opened.keyboard.press("Enter")
        chosen = opened.locator("#chosen-text h3")
        assert chosen.inner_text() == board.slots[0]
        seen = {board.slots[0]}
        for _ in range(len(board.socket("NEAR").slots)):
            opened.keyboard.press("ArrowRight")
            seen.add(chosen.inner_text())
        assert seen == set(board.socket("NEAR").slots), "its slots stand in one row"
        last = chosen.inner_text()
        opened.keyboard.press("Enter")
        assert opened.evaluate("document.activeElement.id") == "chosen"
        opened.keyboard.press("Tab")
        assert opened.evaluate("document.activeElement.id") == "chosen-close"
        opened.keyboard.press("Escape")
        assert opened.evaluate("document.getElementById('chosen').classList.contains('closed')")
        assert opened.evaluate(focused).startswith(f"{last}: ")
        opened.keyboard.press("Tab")
        assert opened.evaluate("document.activeElement.closest('.plate')") is None, "a map is one stop for Tab"


@pytest.mark.parametrize("name", sampled(["irregular", "small", "large"], 1))
def test_arrow_keys_lead_to_every_slot_of_a_map(browser: Any, urls: dict[str, str], name: str) -> None:
    with Opened(browser, urls[name], **LOOKS["light"]) as opened:
        assert assert_walked(opened) == len(planned(name)[0].slots)


@pytest.mark.parametrize("name", sampled(["irregular", "small", "large"], 1))
def test_a_touch_chooses_a_slot_and_leaves_it_in_sight(browser: Any, urls: dict[str, str], name: str) -> None:
    """On a phone: slots of 44 px and more, all within the width, and the panel does not lie over the slot."""
    with Opened(browser, urls[name], **LOOKS["phone"]) as opened:
        links = opened.locator("a.slot-link")
        boxes = [each.bounding_box() for each in links.all()]
        assert min(min(box["width"], box["height"]) for box in boxes) >= 44
        assert max(box["x"] + box["width"] for box in boxes) <= 390
        link = links.nth(1)
        name_of = link.locator("b").inner_text()
        link.tap()
        assert opened.locator("#chosen-text h3").inner_text() == name_of
        slot, panel = link.bounding_box(), opened.locator("#chosen").bounding_box()
        assert slot["y"] + slot["height"] <= panel["y"]
        opened.locator("#chosen-close").tap()
        assert opened.locator("#chosen").bounding_box()["width"] <= 1


def test_all_is_there_without_script(browser: Any, urls: dict[str, str]) -> None:
    board, _ = planned("irregular")
    with Opened(browser, urls["irregular"], **LOOKS["light"], java_script_enabled=False) as opened:
        assert opened.locator("#chosen").is_hidden()
        assert opened.locator(".slot-reason").count() == len(board.slots)
        for part in ("#touch-map .plate", "#range svg", "#figures table", "#findings li", "#before li", "#doing table"):
            assert opened.locator(part).first.is_visible(), part
        opened.locator("a.slot-link").first.click()
        assert opened.url.endswith(f"#why-{board.slots[0]}")


def test_the_reason_stands_beside_the_map(browser: Any, urls: dict[str, str]) -> None:
    """On a desk: to the right of it, level with it, and nothing but the sheet stands on paper."""
    with Opened(browser, urls["irregular"], **LOOKS["light"]) as opened:
        opened.locator("a.slot-link").nth(2).click()
        board, panel = opened.locator(".plate").bounding_box(), opened.locator("#chosen").bounding_box()
        assert panel["x"] >= board["x"] + board["width"] and panel["y"] < board["y"] + board["height"]
        figures = opened.locator(".headline").bounding_box()
        assert figures["y"] + figures["height"] < 300 and opened.locator(".printed").is_hidden()


def test_a_change_shows_the_machine_before_and_after(browser: Any, urls: dict[str, str]) -> None:
    """By a switch that works without script: what each slot holds, and the figures of both."""
    with Opened(browser, urls["change"], **LOOKS["phone"], java_script_enabled=False) as opened:

        def shown() -> dict[str, str]:
            links = opened.locator("a.slot-link").all()
            return {each.locator("b").inner_text(): each.locator("span:visible").inner_text() for each in links}

        after = shown()
        opened.get_by_label("before it").check()
        before = shown()
        assert (before["T1"], before["K1"], before["M1"]) == ("64 GB", "32 GB", "empty")
        assert (after["T1"], after["K1"], after["M1"]) == ("a 32 GB", "a 32 GB", "a 32 GB")
        assert "before: 128 GiB" in opened.locator(".headline").inner_text()


@pytest.mark.parametrize("name", sampled(["small", "irregular", "large"], 1))
@pytest.mark.system_tool("pdftotext")
def test_it_prints_as_the_sheet(browser: Any, urls: dict[str, str], name: str, tmp_path: Path) -> None:
    """Page for page what ``draw -o x.pdf`` writes: the same paper, the same words in the same places.

    In dark looks and with a slot chosen, too; the large board's sheet has lying and upright pages.
    """
    (own,) = sheet_files(*planned(name), Path("x.pdf")).values()
    with Opened(browser, urls[name], **LOOKS["dark"]) as opened:
        opened.locator("a.slot-link").first.click()
        assert_prints_as(opened, own, tmp_path)
