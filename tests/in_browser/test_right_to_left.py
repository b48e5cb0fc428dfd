"""A report in a language that runs from right to left, in Chromium: nothing runs over, and it is read in its order.

The words are made up (`pseudo_words`), so that nothing but the direction is looked at:
Unicode Standard Annex #9 and HTML's `dir` say what a browser must do.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser import OUT
from make_impact import NOW, chain, rich
from pseudo_words import ARABIC, Pseudo

from specctl.report.html import render_html
from specctl.report.tongue import speaking
from specctl.report.view import view_of

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def mirrored(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same report in both directions, and one of the whole chain."""
    folder = tmp_path_factory.mktemp("mirrored")
    found = {}
    for name, impact, tag in (("rtl", rich(), "ar"), ("rtl-chain", chain(), "ar")):
        found[name] = folder / f"{name}.html"
        with speaking(tag, Pseudo(ARABIC)):
            found[name].write_bytes(render_html(view_of(impact, now=NOW)))
    return found


@pytest.mark.parametrize("name", ["rtl", "rtl-chain"])
@pytest.mark.parametrize("width", [360, 768, 1440])
def test_nothing_runs_over_the_edge(browser: Any, mirrored: dict[str, Path], name: str, width: int) -> None:
    tab = browser.new_page(viewport={"width": width, "height": 900})
    try:
        tab.goto(mirrored[name].resolve().as_uri())
        assert tab.evaluate("getComputedStyle(document.body).direction") == "rtl"
        over = tab.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, tab.evaluate(_WIDEST)
        assert tab.evaluate(_OUTSIDE) == []
        if name == "rtl" and width != 768:
            OUT.mkdir(exist_ok=True)
            tab.screenshot(path=OUT / f"report-rtl-{width}.png", full_page=False)
    finally:
        tab.close()


def test_it_is_read_from_the_right(browser: Any, mirrored: dict[str, Path]) -> None:
    """A point begins at its right with its label; the first column of a table is the rightmost; a name keeps its own direction."""
    tab = browser.new_page(viewport={"width": 1440, "height": 900})
    try:
        tab.goto(mirrored["rtl"].resolve().as_uri())
        points = tab.evaluate(_POINTS)
        assert len(points) == 8
        for point in points:
            assert point["labelRight"] > point["textLeft"] and abs(point["labelRight"] - point["right"]) < 2, point
        tables = tab.evaluate(_COLUMNS)
        assert len(tables) > 5
        for columns in tables:
            assert columns == sorted(columns, reverse=True), columns
        # A figure stands as it is written, and an arrow points from what was to what will be.
        figures, arrows = tab.evaluate(_FIGURES), tab.evaluate(_ARROWS)
        assert len(figures) > 20 and all(left < right for left, right in figures)
        assert len(arrows) > 5 and all(before > arrow > after for before, arrow, after in arrows)
        # A text of the book that runs from left to right stands so, first word at its left.
        first, last = tab.evaluate(_WITHIN, "Blackcurrant hojicha under salted oat foam")
        assert first < last
    finally:
        tab.close()


_WIDEST = """() => [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().left < -1)
  .slice(0, 5).map(e => e.tagName + ' ' + e.className + ' ' + e.textContent.slice(0, 60))"""
# Right to left, what is too wide leaves at the left, where no bar scrolls to.
_OUTSIDE = """() => [...document.querySelectorAll('main *, header *, footer *')]
  .filter(e => !e.closest('details:not([open])') && !e.closest('svg'))
  .filter(e => { const r = e.getBoundingClientRect(); return r.width && (r.left < -1 || r.right > innerWidth + 1); })
  .slice(0, 5).map(e => e.tagName + ' ' + e.textContent.slice(0, 60))"""
_POINTS = """() => [...document.querySelectorAll('ul.points > li > p')].map(p => {
  const label = p.querySelector('a').getBoundingClientRect();
  const texts = document.createRange(); texts.selectNodeContents(p);
  const first = [...texts.getClientRects()].filter(r => Math.abs(r.top - label.top) < 8);
  return {labelRight: label.right, textLeft: Math.min(...first.map(r => r.left)), right: Math.max(...first.map(r => r.right))};
})"""
_COLUMNS = """() => [...document.querySelectorAll('table')].filter(t => !t.closest('details:not([open])'))
  .map(t => [...t.querySelectorAll('thead th')].map(h => Math.round(h.getBoundingClientRect().right)))"""
_FIGURES = """() => [...document.querySelectorAll('bdi[dir=rtl] .kept')]
  .filter(e => e.textContent.length > 1 && !e.closest('details:not([open])'))
  .map(e => { const text = e.firstChild, box = n => { const r = document.createRange(); r.setStart(text, n); r.setEnd(text, n + 1); return r.getBoundingClientRect().left; };
    return [box(0), box(text.data.length - 1)]; })"""
# The sign, and what stands right before and behind it, where all three are on one line.
_ARROWS = """() => {
  const found = [];
  for (const bdi of document.querySelectorAll('bdi[dir=rtl]')) {
    if (bdi.closest('details:not([open])')) continue;
    const signs = [], walk = document.createTreeWalker(bdi, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) for (let n = 0; n < walk.currentNode.data.length; n++) {
      if (' \\u200f'.includes(walk.currentNode.data[n])) continue;
      const r = document.createRange(); r.setStart(walk.currentNode, n); r.setEnd(walk.currentNode, n + 1);
      signs.push([walk.currentNode.data[n], r.getBoundingClientRect()]);
    }
    signs.forEach(([sign, box], n) => {
      const [one, two] = [signs[n - 1], signs[n + 1]];
      if (sign !== '←' || !one || !two || Math.abs(one[1].bottom - box.bottom) > 4 || Math.abs(two[1].bottom - box.bottom) > 4) return;
      found.push([one[1].left, box.left, two[1].left]);
    });
  }
  return found;
}"""
_WITHIN = """(name) => {
  const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const at = walk.currentNode.data.indexOf(name);
    if (at < 0 || walk.currentNode.parentElement.closest('svg, details:not([open])')) continue;
    const box = (from, to) => { const r = document.createRange(); r.setStart(walk.currentNode, from); r.setEnd(walk.currentNode, to); return r.getBoundingClientRect(); };
    const one = box(at, at + 1), two = box(at + 1, at + 2);
    return [one.left, two.left];
  }
  return [1, 0];
}"""
