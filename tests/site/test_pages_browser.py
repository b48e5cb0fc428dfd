"""The pages in a real browser: phone to desk, dark and light, on paper; and what Unicode says there."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import made_bundle as made
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from browser import DESK, OUT, PHONE, TABLET, look, opened_browser, printed

from specctl.report.clean import visible
from specctl.report.page import _style
from specctl.report.paper import css_string
from specctl.site.pages import Times, make_pages, write_pages

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with opened_browser() as running:
        yield running


@pytest.fixture(scope="module")
def folder() -> Path:
    fresh = make_pages(made.bundle_bytes(), Times(made.NOW, made.CONFIRMED))
    stale = make_pages(made.bundle_bytes(lapsed=True), Times(made.NOW, made.CONFIRMED - timedelta(days=4)))
    write_pages(OUT / "scoops", fresh)
    write_pages(OUT / "stale", stale)
    return OUT


@pytest.mark.parametrize("name", ["index", "cards", "preps", "allergens", "changed"])
@pytest.mark.parametrize("width", [PHONE, TABLET, DESK])
def test_a_page_fits_its_screen_and_asks_for_nothing(
    browser: Any, folder: Path, name: str, width: int
) -> None:
    for state in ("scoops", "stale"):
        seen = look(browser, folder / state / f"{name}.html", width)
        assert seen.errors == () and seen.requests == ()
        assert seen.overflow == 0, seen.widest
        assert seen.screenshot.stat().st_size > 5000


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_words_of_a_cell_are_there_at_every_width(browser: Any, folder: Path, width: int) -> None:
    text = look(browser, folder / "scoops" / "allergens.html", width).text
    assert "Sesame: UNKNOWN — ask before answering" in text
    assert "Tree nuts: may contain" in text


def test_on_a_phone_what_is_not_named_is_listed_in_words(browser: Any, folder: Path) -> None:
    text = look(browser, folder / "scoops" / "allergens.html", PHONE).text
    assert "Not in its documents: Gluten, Milk, Sesame, Soya, Tree nuts" in text
    for width, drawn in ((PHONE, True), (DESK, False)):
        tab = browser.new_page(viewport={"width": width, "height": 900})
        tab.goto((folder / "scoops" / "allergens.html").resolve().as_uri())
        box = tab.locator(".matrix tr.standard .words").first.bounding_box()
        assert (box["width"] > 100) is drawn  # the words on a phone, the letters on a desk
        tab.close()


def test_the_cover_is_the_first_thing_seen(browser: Any, folder: Path) -> None:
    for width in (PHONE, DESK):
        tab = browser.new_page(viewport={"width": width, "height": 700})
        tab.goto((folder / "stale" / "allergens.html").resolve().as_uri())
        box = tab.locator(".cover .shout").bounding_box()
        assert box["y"] + box["height"] < 700 and box["width"] > width * 0.5
        assert tab.inner_text("body").startswith("ASK BEFORE ANSWERING")
        tab.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints(browser: Any, folder: Path, paper: str) -> None:
    target = printed(browser, folder / "scoops" / "cards.html", paper)
    data = target.read_bytes()
    pages = len(re.findall(rb"/Type\s*/Page\b", data))
    assert data.startswith(b"%PDF") and 2 <= pages <= 8


def test_an_alarm_keeps_its_box_on_paper(browser: Any, folder: Path) -> None:
    tab = browser.new_page()
    tab.goto((folder / "scoops" / "cards.html").resolve().as_uri())
    tab.emulate_media(media="print")
    widths = tab.evaluate("[...document.querySelectorAll('.alarm')].map(e => getComputedStyle(e).borderTopWidth)")
    tab.close()
    assert widths and set(widths) == {"3px"}


def _colours(css: str) -> dict[str, str]:
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6});", css))


def _luminance(colour: str) -> float:
    # WCAG 2.2, definition of relative luminance.
    digits = colour.lstrip("#")
    digits = "".join(c * 2 for c in digits) if len(digits) == 3 else digits
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_every_ink_meets_the_contrast_of_level_aa() -> None:
    assert _contrast("#000", "#fff") == pytest.approx(21)  # WCAG 2.2: the largest ratio is 21:1
    light, rest = _style().split("@media (prefers-color-scheme: dark)", 1)
    dark, paper = rest.split("* {", 1)[0], rest.split("@media print", 1)[1]
    for colours in (_colours(light), _colours(dark), _colours(paper)):
        for ink in ("ink", "quiet", "alarm", "link"):
            for ground in ("paper", "panel"):
                # WCAG 2.2, success criterion 1.4.3: 4.5:1 for text.
                assert _contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)


def test_a_footer_reads_in_a_style_sheet_as_it_was_written(browser: Any) -> None:
    text = 'Quay, 06:00 · "a"\\ } </style> \u202e 1 2f'
    tab = browser.new_page()
    tab.set_content(f"<style>p::after{{content:{css_string(text)}}}</style><p>x</p>")
    shown = tab.evaluate("getComputedStyle(document.querySelector('p'), '::after').content")
    tab.close()
    assert shown[1:-1].replace('\\"', '"').replace("\\\\", "\\") == visible(text)


def test_everything_the_browser_draws_as_nothing_is_made_visible(browser: Any) -> None:
    # The browser's own Unicode data (ECMA-262 property escapes) against ours.
    tab = browser.new_page()
    ranges = tab.evaluate(
        r"""() => { const found = []; let start = -1;
          const hidden = /^[\p{Default_Ignorable_Code_Point}\p{C}\p{Zl}\p{Zp}]$/u;
          for (let n = 0; n <= 0x110000; n++) {
            const yes = n < 0x110000 && hidden.test(String.fromCodePoint(n));
            if (yes && start < 0) start = n;
            if (!yes && start >= 0) { found.push([start, n - 1]); start = -1; }
          } return found; }"""
    )
    tab.close()
    missed = [
        hex(number)
        for first, last in ranges
        for number in range(first, last + 1)
        if not 0xD800 <= number <= 0xDFFF and visible(f"a{chr(number)}") != f"a⟨U+{number:04X}⟩"
    ]
    assert sum(last - first + 1 for first, last in ranges) > 900_000
    assert missed == []
