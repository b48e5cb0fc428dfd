"""The picture of a cup: to scale, readable without colour, labels apart, nothing active in it."""

from __future__ import annotations

import xml.etree.ElementTree as tree
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from browser import DESK, OUT, PHONE, opened_browser, printed

from specctl.change.entry import compile_entry
from specctl.change.memo import Memo, profile_of
from specctl.codec.load import load
from specctl.report.cup_picture import cup_svg, pair_svg, scale_of
from specctl.report.cup_text import cup_text
from specctl.report.cup_view import CupLayer, CupView, view_of, views_of
from specctl.resources import demo_book

SVG = "{http://www.w3.org/2000/svg}"
_HATCHED = ("stays", "marginal", "mixes", "unknown")


def made(layers: int, name: str = "Layer", **more: Any) -> CupView:
    """A cup of so many layers, the last of them hair-thin."""
    tall = 100 / max(layers, 1)
    rows, at = [], 0.0
    for number in range(layers):
        high = 0.4 if number % 3 == 2 else tall * 0.9
        rows.append(
            CupLayer(f"l{number}", f"{name} {number}", "foam" if number == layers - 1 else "liquid", "#3a1f12", at, at + high,
                     f"about {number + 1} ml, 5 °C, {high:.0f} mm", _HATCHED[number % 4] if number else "")
        )
        at += high
    view = CupView(
        id="made-regular", title="Made, Regular", vessel="Cup", walls=((0.0, 60.0), (120.0, 90.0)), fill_height=110.0, lid=20.0,
        layers=tuple(rows), ice=None, room="fits", room_words="Fits.", verdicts=("One on another: stays",), notes=(), cautions=("Estimated.",),
    )
    return replace(view, **more)


def world() -> tuple[Any, Any, Any]:
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}).book
    assert book is not None
    site = book.sites["harbour-row"]
    memo = Memo(book)
    return book, site, lambda id: compile_entry(memo, profile_of(book, site), f"drink/{id}")


@pytest.mark.parametrize("layers", range(1, 8))
def test_it_is_well_formed_and_holds_nothing_active(layers: int) -> None:
    root = tree.fromstring(cup_svg(made(layers)))
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "rect", "defs", "clipPath", "polygon", "pattern", "path", "g", "text"}
    for element in root.iter():
        for key, value in element.attrib.items():
            assert not key.startswith("on") and key != "style" and "href" not in key
            assert "http" not in value
            assert "url(" not in value or value.startswith("url(#cup-")


@pytest.mark.parametrize("layers", range(1, 8))
def test_every_layer_has_a_hatching_of_its_own_and_a_text(layers: int) -> None:
    root = tree.fromstring(cup_svg(made(layers)))
    patterns = [(p.get("width"), tree.tostring(p[0]).split(b'd="')[1].split(b'"')[0]) for p in root.iter(f"{SVG}pattern")]
    assert len(patterns) == len(set(patterns)) == layers
    words = " ".join(root.itertext())
    assert all(f"Layer {number}" in words for number in range(layers))
    assert root.get("role") == "img" and "from the bottom up" in (root.findtext(f"{SVG}desc") or "")


@pytest.mark.parametrize("layers", range(1, 8))
def test_labels_stand_apart_by_their_own_coordinates(layers: int) -> None:
    root = tree.fromstring(cup_svg(made(layers, "A layer of a name so long that it must be folded twice")))
    beside = sorted(float(t.get("y", "0")) for t in root.iter(f"{SVG}text") if float(t.get("x", "0")) > 100)
    assert all(b - a >= 13.9 for a, b in zip(beside, beside[1:]))
    assert min(beside) > 32, "under the heading, never over it"
    assert max(beside) < float((root.get("height") or "0"))


def test_heights_and_widths_are_to_scale() -> None:
    view = replace(made(1), layers=(CupLayer("a", "A", "liquid", "#fefefe", 0.0, 60.0, "half", ""),))
    root = tree.fromstring(cup_svg(view))
    polygon = next(p for p in root.iter(f"{SVG}polygon") if p.get("fill") == "#fefefe")
    points = [tuple(map(float, pair.split(","))) for pair in (polygon.get("points") or "").split()]
    scale = scale_of(view)
    xs, ys = [x for x, _ in points], [y for _, y in points]
    assert max(ys) - min(ys) == pytest.approx(60 * scale, abs=0.2)
    # half way up a cup of 60 to 90 mm it is 75 mm wide
    assert max(xs) - min(xs) == pytest.approx(75 * scale, abs=0.2)


def test_a_hostile_name_is_text_and_nothing_else() -> None:
    book, site, entry = world()
    evil = '"><script>alert(1)</script><text onload="x'
    hostile = deepcopy(entry("matcha-cloud"))
    hostile["name"] = evil
    for layer in hostile["sizes"][0]["layers"]:
        layer["name"] = evil + "\u202e"
    view = view_of(book, hostile, "regular")
    assert view is not None
    text = cup_svg(view)
    root = tree.fromstring(text)
    assert not [e for e in root.iter() if "script" in e.tag] and "<script" not in text
    assert "\u202e" not in text and "U+202E" in text
    assert "\u202e" not in cup_text(view)


def test_the_card_has_names_and_the_caution_but_no_figure() -> None:
    book, site, entry = world()
    view = view_of(book, entry("roasted-barley-latte"), "regular")
    assert view is not None
    words = " ".join(tree.fromstring(cup_svg(view, figures=False)).itertext())
    assert "Barley brew" in words and "scald" in words and "lid" in words
    assert " ml" not in words and "°C" not in words and " mm" not in words


def test_a_hot_cup_says_so_and_no_figure_passes_for_evidence() -> None:
    book, site, entry = world()
    for id, hot in (("harbour-mocha", True), ("pear-sage-fizz", False)):
        for view in views_of(book, entry(id), site):
            said = " ".join(view.cautions)
            assert ("scald" in said) == hot
            assert "no evidence for cooling, holding or safe serving" in said and "Estimated" in said


def test_overflow_is_in_the_picture_and_in_words() -> None:
    over = made(2, room="overflows", room_words="OVERFLOWS: about 500 ml")
    root = tree.fromstring(cup_svg(over))
    assert "OVERFLOWS" in " ".join(root.itertext())
    assert len([p for p in root.iter(f"{SVG}path") if p.get("stroke") == "#b00020"]) == 3, "fill line and both sides of the rim"


def test_before_and_after_share_one_scale_and_no_id() -> None:
    book, site, entry = world()
    small, large = (view_of(book, entry("matcha-cloud"), size) for size in ("regular", "large"))
    assert small is not None and large is not None
    both = pair_svg(small, large)
    root = tree.fromstring(f"<div>{both}</div>")
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    assert "Before: " in both and "After: " in both
    same = pair_svg(small, small)
    assert len(set(e.get("id") for e in tree.fromstring(f"<div>{same}</div>").iter() if e.get("id"))) == 2 * len(
        {e.get("id") for e in tree.fromstring(cup_svg(small)).iter() if e.get("id")}
    )
    assert "After" not in pair_svg(small, None) and pair_svg(None, None) == ""


def test_a_choice_is_drawn_with_its_own_lines() -> None:
    book, site, entry = world()
    standard = view_of(book, entry("blackcurrant-hojicha"), "regular")
    bare = view_of(book, entry("blackcurrant-hojicha"), "regular", "foam=none", site)
    assert standard is not None and bare is not None
    assert len(standard.layers) == 3 and len(bare.layers) == 2 and "No foam" in bare.title
    assert view_of(book, entry("blackcurrant-hojicha"), "no-such-size") is None


def test_same_view_same_bytes() -> None:
    book, site, entry = world()
    first, second = (view_of(book, entry("pearl-milk-tea"), "large", "", site) for _ in range(2))
    assert first is not None and second is not None and cup_svg(first) == cup_svg(second)


@pytest.mark.parametrize("layers", range(1, 8))
@pytest.mark.parametrize("width", [80, 60])
def test_the_plain_drawing_keeps_its_width_and_names_every_layer(layers: int, width: int) -> None:
    text = cup_text(made(layers, "A layer of a name so long that it must be folded"), width)
    assert all(len(line) <= width for line in text.splitlines())
    for number in range(layers):
        assert f"about {number + 1} ml" in text
    fills = {line.split("|")[1][0] for line in text.splitlines() if line.count("|") == 2} - {" ", "-", "_"}
    assert len(fills) == layers


@pytest.mark.browser
def test_in_a_browser_no_label_touches_another_at_phone_width_and_desk(tmp_path: Path) -> None:
    book, site, entry = world()
    pictures = [cup_svg(made(n, "A layer of a name so long that it folds"), heading=str(n)) for n in range(1, 8)]
    views = [v for id in sorted(book.drinks) if book.drinks[id].sold_in(site.market) for v in views_of(book, entry(id), site)]
    pictures += [cup_svg(view) for view in views] + [pair_svg(views[0], views[1])]
    page = tmp_path / "cups.html"
    page.write_text("<!doctype html><meta charset=utf-8><meta name=viewport content='width=device-width'><body>" + "\n".join(pictures), encoding="utf-8")
    with opened_browser() as browser:
        for width in (PHONE, DESK):
            tab = browser.new_page(viewport={"width": width, "height": 900})
            tab.goto(page.resolve().as_uri())
            OUT.mkdir(exist_ok=True)
            tab.screenshot(path=OUT / f"cups-{width}.png", full_page=True)
            assert tab.evaluate("document.documentElement.scrollWidth") <= width
            assert tab.evaluate(_TOUCHING) == []
            tab.close()
        assert printed(browser, page).stat().st_size > 10_000


_TOUCHING = """() => {
  const bad = [];
  for (const svg of document.querySelectorAll('svg')) {
    const room = svg.getBoundingClientRect();
    const texts = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
    texts.forEach(([words, a], i) => {
      if (a.right > room.right + 0.5 || a.bottom > room.bottom + 0.5 || a.left < room.left) bad.push('outside: ' + words);
      texts.forEach(([other, b], j) => {
        if (j > i && a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 2.5 && b.top < a.bottom - 2.5) bad.push(words + ' / ' + other);
      });
    });
  }
  return bad;
}"""
