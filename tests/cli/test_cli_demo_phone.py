"""The first screen of every report of the demo on a phone: eight whole lines, no scrolling.

360 x 740 CSS px is what a common phone of 360 x 800 leaves a page under the browser's bar
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import opened_browser
from counter_world import Told, World

pytestmark = pytest.mark.browser

WIDE, HIGH = 360, 740
LINES = """() => [...document.querySelector('.points').children].map(line => ({
  bottom: line.getBoundingClientRect().bottom,
  cut: line.scrollHeight > line.clientHeight + 1 || line.scrollWidth > line.clientWidth + 1,
  text: line.innerText,
}))"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with opened_browser() as running:
        yield running


def lines_of(browser: Any, page: Path) -> list[dict[str, Any]]:
    tab = browser.new_page(viewport={"width": WIDE, "height": HIGH})
    try:
        tab.goto(page.resolve().as_uri())
        assert tab.evaluate("document.documentElement.scrollWidth") <= WIDE
        found: list[dict[str, Any]] = tab.evaluate(LINES)
        return found
    finally:
        tab.close()


def test_every_report_of_the_demo_fits_one_phone_screen(browser: Any, played: tuple[World, Told]) -> None:
    pages = sorted(Path(played[1].json["reports"]).glob("*.html"))
    assert len(pages) == 8
    for page in pages:
        lines = lines_of(browser, page)
        assert len(lines) == 8, page.name
        assert not [line["text"] for line in lines if line["cut"]], page.name
        assert lines[-1]["bottom"] <= HIGH, f"{page.name} ends at {lines[-1]['bottom']:.0f} px"


def test_in_german_it_may_scroll_and_cuts_nothing(browser: Any, world: World) -> None:
    page = world.root / "deutsch.html"
    world.run("report", "3", "--as", "html", "--language", "de", "--out", page)
    lines = lines_of(browser, page)
    assert len(lines) == 8
    assert not [line["text"] for line in lines if line["cut"]]
