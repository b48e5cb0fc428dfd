"""Every kind of page in Debian's Chromium: at 360, 768 and 1440 px and on paper, light and dark, by axe-core and by hand.

Levels asked: WCAG 2.2 AA. Criteria are named beside the checks.
"""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path
from typing import Any

import pytest
from axe import RUN, TAGS, axe_source
from browser import OUT, _without
from make_impact import rich
from page_kinds import KINDS, PARTS

pytestmark = pytest.mark.browser
WIDTHS = (360, 768, 1440)
# Long pages: all that differs between widths is looked at by our own checks at each.
LONG = ("report-chain", "report-hostile", "report-released", "report-opening", "sheet-site", "sheet-market")
PAPERS = (
    ("report", "A4"), ("report", "Letter"), ("report-released", "A4"), ("report-opening", "Letter"),
    ("part-first", "A4"), ("part-allergens", "Letter"), ("part-amounts", "A4"),
)  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_it_fits_asks_for_nothing_and_has_no_violation(browser: Any, pages: dict[str, Path], kind: str) -> None:
    context = browser.new_context(bypass_csp=True)  # for axe alone: the page's own policy runs no script
    tab = context.new_page()
    heard, asked = _listen(tab)
    try:
        address = pages[kind].resolve().as_uri()
        for number, width in enumerate(WIDTHS):
            tab.set_viewport_size({"width": width, "height": 900})
            if number == 0:
                tab.goto(address)
            over, widest = tab.evaluate(_OVER)
            assert over <= 0, f"{width}: {widest}"
            if width == 360 or (width == 1440 and kind not in LONG):
                if number == 0:
                    tab.evaluate(axe_source() + "; null")
                assert tab.evaluate(RUN, list(TAGS)) == [], width
        OUT.mkdir(exist_ok=True)
        tab.set_viewport_size({"width": 360, "height": 900})
        tab.screenshot(path=OUT / f"kind-{kind}-360.png", full_page=False)
        assert heard == [] and [url for url in asked if url != address] == []
    finally:
        context.close()


@pytest.mark.parametrize("kind", KINDS)
def test_headings_tables_and_landmarks_are_in_order(browser: Any, pages: dict[str, Path], kind: str) -> None:
    tab = browser.new_page(viewport={"width": 1440, "height": 900})
    heard, asked = _listen(tab)  # here under the page's own policy
    try:
        tab.goto(pages[kind].resolve().as_uri())
        found = tab.evaluate(_STRUCTURE)
        assert heard == [] and len(asked) == 1
        levels = found["headings"]
        # 1.3.1, 2.4.6: one first heading, and no level skipped on the way down.
        assert levels.count(1) == 1 and levels[0] == 1
        assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False)), levels
        # 1.3.1, technique H63: every header cell says what it heads; every table has a name.
        assert found["unscoped"] == 0 and found["unnamed"] == 0 and found["headless"] == 0
        assert found["language"] and found["title"] and found["main"] == 1
        # 2.4.3: what can be focused is met in the order it stands, and none is pulled forward.
        assert found["tabindex"] == [] and found["order"] == sorted(found["order"])
        assert found["duplicates"] == []
    finally:
        tab.close()


@pytest.mark.parametrize("kind", ["report", "part-allergens", "site-card", "sheet-site"])
def test_at_200_per_cent_nothing_is_lost(browser: Any, pages: dict[str, Path], kind: str) -> None:
    """1.4.4 and 1.4.10: a window of 1280 px zoomed to 200 and 400 per cent is one of 640 and 320 CSS px; text alone may double too."""
    for width, size in ((640, "100%"), (320, "100%"), (768, "200%")):
        tab = browser.new_page(viewport={"width": width, "height": 900})
        try:
            tab.goto(pages[kind].resolve().as_uri())
            tab.evaluate("size => { document.documentElement.style.setProperty('font-size', size) }", size)
            over, widest = tab.evaluate(_OVER)
            assert over <= 0, f"{width}, text {size}: {widest}"
            assert tab.evaluate(_CUT) == []
        finally:
            tab.close()


@pytest.mark.parametrize("kind", ["report", "part-first", "site-changed", "site-stale", "sheet-site"])
def test_contrast_in_light_and_dark(browser: Any, pages: dict[str, Path], kind: str) -> None:
    """1.4.3: every text against what is behind it, by the formula of WCAG 2.2; nothing moves (2.3.3)."""
    for scheme in ("light", "dark"):
        tab = browser.new_page(viewport={"width": 1440, "height": 900}, color_scheme=scheme, reduced_motion="reduce")
        try:
            tab.goto(pages[kind].resolve().as_uri())
            assert tab.evaluate(_FAINT) == [], scheme
            assert tab.evaluate("document.getAnimations().length") == 0
            background = tab.evaluate("getComputedStyle(document.body).backgroundColor")
            light = sum(map(int, re.findall("[0-9]+", background)[:3])) > 3 * 128
            assert light is (scheme == "light")
        finally:
            tab.close()


def test_the_keyboard_reaches_every_link_and_shows_where_it_is(browser: Any, pages: dict[str, Path]) -> None:
    """2.1.1, 2.4.7."""
    tab = browser.new_page(viewport={"width": 768, "height": 900})
    try:
        tab.goto(pages["part-first"].resolve().as_uri())
        links = tab.evaluate("[...document.querySelectorAll('a[href], summary')].length")
        reached = []
        for _ in range(links):
            tab.keyboard.press("Tab")
            reached.append(tab.evaluate("[...document.querySelectorAll('a[href], summary')].indexOf(document.activeElement)"))
            assert tab.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        assert reached == list(range(links))
    finally:
        tab.close()


@pytest.mark.parametrize(("kind", "paper"), PAPERS)
def test_on_paper_every_page_says_what_it_belongs_to(browser: Any, pages: dict[str, Path], kind: str, paper: str) -> None:
    tab = browser.new_page()
    target = OUT / f"kind-{kind}-{paper.lower()}.pdf"
    try:
        OUT.mkdir(exist_ok=True)
        tab.goto(pages[kind].resolve().as_uri())
        tab.pdf(path=target, format=paper, prefer_css_page_size=False)
    finally:
        tab.close()
    sheets = _text_of(target)
    impact = rich()
    for number, text in enumerate(sheets, 1):
        flat = "".join(text.split())
        assert f"{number}/{len(sheets)}" in flat
        assert impact.proposal in flat and re.search("effect[0-9a-f]{64}", flat)
        if kind in PARTS:
            assert re.search("page[0-9]+of[0-9]+", flat)
    if kind == "report":
        whole = "".join("".join(sheets).split())
        for change in impact.allergens:
            assert "".join(change.name.split()) in whole


def test_the_picture_of_a_chain_stands_on_the_first_sheet(browser: Any, pages: dict[str, Path]) -> None:
    """A picture that is not parted, and too high for what is left of a sheet, leaves that sheet empty."""
    tab = browser.new_page()
    target = OUT / "kind-capability-a4.pdf"
    try:
        OUT.mkdir(exist_ok=True)
        tab.goto(pages["capability"].resolve().as_uri())
        assert tab.locator("main svg[role=img] > desc").count() == tab.locator("main table").count() == 1
        tab.pdf(path=target, format="A4", prefer_css_page_size=False)
    finally:
        tab.close()
    first = "".join(_text_of(target)[0].split())
    assert "withintolerance" in first and "moreitemsinthetable" in first


def _text_of(pdf: Path) -> list[str]:
    """The text of each sheet."""
    try:
        import pypdf
    except ImportError:
        _without("pypdf is not installed")
    # Two letters drawn as one, a ligature, are two letters again.
    return [unicodedata.normalize("NFKC", page.extract_text()) for page in pypdf.PdfReader(pdf).pages]


def _listen(tab: Any) -> tuple[list[str], list[str]]:
    heard: list[str] = []
    asked: list[str] = []
    tab.on("console", lambda message: heard.append(f"{message.type}: {message.text}"))
    tab.on("pageerror", lambda error: heard.append(str(error)))
    tab.on("request", lambda request: asked.append(request.url))
    return heard, asked


_OVER = """() => {
  const over = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  let widest = "", right = document.documentElement.clientWidth;
  if (over > 0) for (const e of document.querySelectorAll("body *")) {
    const edge = e.getBoundingClientRect().right;
    if (edge > right + 0.5) { right = edge; widest = e.tagName + "." + (e.getAttribute("class") || ""); }
  }
  return [over, widest];
}"""

_STRUCTURE = """() => {
  const all = s => [...document.querySelectorAll(s)];
  const stops = all("a[href], summary, button, input");
  const ids = all("[id]").map(e => e.id);
  return {
    headings: all("h1,h2,h3,h4,h5,h6").map(h => +h.tagName[1]),
    unscoped: all("th:not([scope])").length,
    unnamed: all("table").filter(t => !t.caption || !t.caption.textContent.trim()).length,
    headless: all("tbody tr").filter(r => !r.querySelector("th[scope=row]")).length,
    language: document.documentElement.lang, title: document.title, main: all("main").length,
    tabindex: all("[tabindex]").map(e => e.outerHTML.slice(0, 80)),
    order: stops.map(e => all("*").indexOf(e)),
    duplicates: ids.filter((id, n) => ids.indexOf(id) !== n),
  };
}"""

# Boxes that hide what overflows them: text that a reader would never see. Those made for readers aloud alone are meant to.
_CUT = """() => [...document.querySelectorAll("body *")].filter(e => {
  const s = getComputedStyle(e);
  return (s.overflowX === "hidden" || s.textOverflow === "ellipsis") && s.clipPath === "none"
    && e.scrollWidth > e.clientWidth + 1 && !e.closest("svg") && e.clientWidth > 1;
}).map(e => e.outerHTML.slice(0, 80))"""

# WCAG 2.2, relative luminance and contrast ratio; 4.5:1, or 3:1 from 24 px, or 18.66 px bold.
_FAINT = """() => {
  const part = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const light = c => 0.2126 * part(c[0]) + 0.7152 * part(c[1]) + 0.0722 * part(c[2]);
  const parse = t => { const n = t.match(/[0-9.]+/g).map(Number); return n.length === 3 ? [...n, 1] : n; };
  const behind = e => { for (let n = e; n; n = n.parentElement) { const c = parse(getComputedStyle(n).backgroundColor); if (c[3] === 1) return c; } return [255, 255, 255, 1]; };
  const faint = [];
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg") || ![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
    const s = getComputedStyle(e), size = parseFloat(s.fontSize);
    const a = light(parse(s.color)), b = light(behind(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < (size >= 24 || (size >= 18.66 && +s.fontWeight >= 700) ? 3 : 4.5)) faint.push(ratio.toFixed(2) + " " + e.outerHTML.slice(0, 80));
  }
  return faint.slice(0, 3);
}"""


def test_the_checks_themselves_see(browser: Any, pages: dict[str, Path]) -> None:
    """Each check that runs inside a page finds what it is for in a page made wrong."""
    tab = browser.new_page(viewport={"width": 360, "height": 900})
    try:
        tab.set_content(
            "<h1>x</h1><h3 id=a>y</h3><p id=a style='color:#999;background:#fff'>faint</p><img src=''>"
            "<div style='width:50px;overflow:hidden;white-space:nowrap'>cut off at the edge of its box</div>"
            "<div style='width:900px'>wide</div><table><tr><th>h</th></tr></table><a href='#' tabindex=3>z</a>"
        )
        assert tab.evaluate(_OVER)[0] > 500 and tab.evaluate(_CUT) and tab.evaluate(_FAINT)
        found = tab.evaluate(_STRUCTURE)
        assert found["headings"] == [1, 3] and found["unscoped"] == found["unnamed"] == found["headless"] == 1
        assert found["tabindex"] and found["duplicates"] == ["a"] and not found["language"] and found["main"] == 0
        tab.evaluate(axe_source() + "; null")
        rules = " ".join(tab.evaluate(RUN, list(TAGS)))
        assert "image-alt" in rules and "color-contrast" in rules and "html-has-lang" in rules
    finally:
        tab.close()
