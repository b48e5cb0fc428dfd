"""The pictures of a report: well-formed, harmless, and saying what the tables beside them say."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from decimal import Decimal

import pytest
from make_impact import HOJICHA, HOJICHA_NAME, NOW, chain, hostile, quiet, rich

from specctl.change.effect import Row
from specctl.change.impact import Impact, TextChange
from specctl.report.picture_bridge import bridge_of
from specctl.report.picture_sites import MOST_ROWS, map_of
from specctl.report.picture_svg import WIDTH, fitted, width_of
from specctl.report.site_marks import groups_of
from specctl.report.tables import Listing, Picture, Table
from specctl.report.view import view_of

SVG = "{http://www.w3.org/2000/svg}"
# SVG 2, section 5 and 11: what our pictures are made of; nothing that runs, links or loads.
PARTS = {"svg", "title", "desc", "defs", "pattern", "path", "rect", "circle", "text"}


def pictures(impact: Impact) -> list[Picture]:
    return [b for s in view_of(impact, now=NOW).sections for b in s.blocks if isinstance(b, Picture)]


@pytest.mark.parametrize("impact", [rich(), chain(), hostile()])
def test_every_picture_is_well_formed_named_and_inert(impact: Impact) -> None:
    found = pictures(impact)
    assert found
    ids: list[str] = []
    for picture in found:
        root = ET.fromstring(picture.svg)
        assert {e.tag.removeprefix(SVG) for e in root.iter()} <= PARTS
        keys = {key for e in root.iter() for key in e.attrib}
        assert not [key for key in keys if key.startswith("on") or key in ("style", "href", "src", "class")]
        assert root.findtext(f"{SVG}desc") and root.findtext(f"{SVG}title")
        assert root.attrib["role"] == "img" and root.attrib["viewBox"].startswith(f"0 0 {WIDTH} ")
        colours = {e.attrib.get(k, "none") for e in root.iter() for k in ("fill", "stroke")}
        assert all(c in ("none", "currentColor") or c.startswith("url(#picture-") for c in colours)
        ids += [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids))


def test_the_bridge_says_the_steps_of_the_table_and_they_add_up() -> None:
    cost = rich().costs[0]
    picture = bridge_of(cost, "Northsands")
    assert picture is not None
    assert picture.alternative == (
        "One cup: Before GBP 0.413; Price effect +GBP 0.011; Recipe effect +GBP 0.022; Now GBP 0.446."
    )
    # 0.413 + 0.011 + 0.022 = 0.446, by hand. The axis is broken and says where it starts: 0.413 - (0.446 - 0.413).
    assert "The bars start at GBP 0.380, not at nothing." in " ".join(ET.fromstring(picture.svg).itertext())
    bars = [(float(e.attrib["x"]), float(e.attrib["width"])) for e in ET.fromstring(picture.svg).iter(f"{SVG}rect")]
    before, price, recipe, now = (x + wide for x, wide in bars)
    starts = [x for x, _ in bars]
    # Each step starts where the last one ended, and the last one ends at the new cost.
    assert starts[1:3] == [pytest.approx(before, abs=0.2), pytest.approx(price, abs=0.2)]
    assert recipe == pytest.approx(now, abs=0.2) and starts[3] == starts[0]
    assert bridge_of(replace(cost, after=None)) is None


def test_a_bridge_starts_at_nothing_where_the_effects_can_be_seen_from_there() -> None:
    cost = replace(rich().costs[0], before=Decimal("0.2"), after=Decimal("0.4"), price_effect=Decimal("0.2"), recipe_effect=Decimal(0))
    picture = bridge_of(cost)
    assert picture is not None and "not at nothing" not in picture.svg


def test_franchises_stand_side_by_side_on_one_scale() -> None:
    panels = [p for p in pictures(chain()) if "left is cheaper" in p.caption]
    assert [p.caption.split(":")[0] for p in panels] == ["Marram", "Northsands"]
    for panel in panels:
        # 0.033 of 0.413 is 7.99 %.
        assert f"{HOJICHA_NAME}, regular: +8.0 %" in panel.alternative
    assert not [p for p in pictures(rich()) if "left is cheaper" in p.caption]


def test_the_map_marks_what_is_out_and_its_table_holds_every_site() -> None:
    view = view_of(rich())
    (table,) = (b for b in view.section("sites").blocks if isinstance(b, Table) and b.caption == "Each site and its cards")
    shown = [["; ".join(field.all_lines) for field in row] for row in table.rows]
    # What is out stands first; Old Quay can do all of it.
    assert [(row[0], row[3]) for row in shown] == [
        ("Harbour Steps", HOJICHA_NAME), ("Saltmarsh", HOJICHA_NAME), ("Old Quay", "nothing"),
    ]  # fmt: skip
    assert "NEW there" in shown[1][2]
    assert {name for row in shown for name in row[0].split(", ")} == {"Harbour Steps", "Old Quay", "Saltmarsh"}
    (picture,) = (b for b in view.section("sites").blocks if isinstance(b, Picture))
    # Saltmarsh lacks a blender, Harbour Steps cannot measure 34 g: two of three sites.
    assert "3 sites touched, 2 with something out of tolerance or lacking" in picture.alternative


def test_what_is_lacking_and_what_is_out_of_tolerance_each_mark_a_site() -> None:
    def out(impact: Impact) -> set[str]:
        return {site for g in groups_of(impact) if g.outs for site in g.sites}

    assert out(rich(amounts=())) == {"Saltmarsh"}
    assert out(rich(hindrances=(), amounts=rich().amounts[:1])) == {"Harbour Steps", "Saltmarsh"}
    assert out(rich(hindrances=(), amounts=())) == set()


def test_many_sites_with_the_same_cards_are_one_row_and_the_rest_is_counted() -> None:
    impact = rich()
    same = tuple(Row(f"s{n}", HOJICHA, "a" * 64, "b" * 64) for n in range(2000))
    groups = groups_of(replace(impact, effect=replace(impact.effect, rows=same), hindrances=(), amounts=()))
    assert len(groups) == 1 and len(groups[0].sites) == 2000
    apart = tuple(Row(f"s{n}", f"drink/d{n}", "a" * 64, "b" * 64) for n in range(MOST_ROWS + 5))
    groups = groups_of(replace(impact, effect=replace(impact.effect, rows=apart), hindrances=(), amounts=()))
    picture = map_of(groups, {}, {})
    assert picture is not None
    text = " ".join(ET.fromstring(picture.svg).itertext())
    assert "19 more cards and 5 more sites in the table" in text
    assert map_of((), {}, {}) is None and not pictures(quiet())


@pytest.mark.parametrize("text", ["oat drink, unsweetened", "hazelnut" * 40, "", "蕎麦" * 60])
def test_words_are_broken_to_fit_and_never_cut(text: str) -> None:
    lines = fitted(text, 120)
    assert all(width_of(line) <= 120 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_tool_upgrade_is_said_on_the_first_screen_and_told_in_full() -> None:
    view = view_of(rich(recompiled=("Matcha cloud", "Pear and sage fizz")))
    bar = next(p.text for p in view.points if p.label == "At the bar")
    assert "REWRITTEN by a newer version of this tool, not by the author: Matcha cloud and Pear and sage fizz." in bar
    listing = next(b for b in view.section("changes").blocks if isinstance(b, Listing) and b.alarm)
    assert listing.points == ("Matcha cloud", "Pear and sage fizz")
    assert "REWRITTEN" not in " ".join(p.text for p in view_of(rich()).points)


def test_an_opening_book_is_summed_up_first_and_only_allergens_stay_open() -> None:
    items = [(f"drink/d{n}", f"Drink {n}") for n in range(9)]
    first = next(c for c in rich().allergens if c.after == "contains")
    texts = tuple(TextChange("item-new", i, name, "item", None, name, ("harbour", "quay")) for i, name in items)
    brought = tuple(replace(first, item=i, item_name=name, before=None, sites=("quay",)) for i, name in items)
    doubt = replace(brought[3], substance="celery", name="celery", after="unknown")
    line = rich().amounts[0]
    amounts = tuple(
        replace(line, item=i, item_name=name, before=None, before_of=None, at=tuple(replace(a, before=None, before_line=None) for a in line.at[:1]))
        for i, name in items
    )
    view = view_of(rich(texts=texts, allergens=(*brought, doubt), amounts=amounts, costs=(), through=()))
    changes = view.section("changes").blocks
    notes = [b.text for b in changes if hasattr(b, "text")]
    assert notes[0].startswith("9 new drinks.") and "UNKNOWN: Drink 3." in notes[1]
    (folded,) = (b for b in changes if isinstance(b, Listing) and b.fold)
    assert len(folded.points) == 9 and folded.points[0] == "Drink 0 (drink): new at Harbour Steps, Old Quay"
    assert all(b.fold for b in view.section("amounts").blocks if isinstance(b, Table))
    assert not any(getattr(b, "fold", False) for b in view.section("allergens").blocks)
    assert "9 cards NEW: Drink 0, Drink 1 and 7 more." in next(p.text for p in view.points if p.label == "At the bar")


def test_what_may_be_left_over_is_priced_for_one_pack_a_site() -> None:
    view = view_of(rich())
    (table,) = (b for b in view.section("buying").blocks if isinstance(b, Table) and b.caption == "What may be left over")
    assert [f.all_lines[0] for f in table.rows[0]] == ["soya drink", "Northsands", "3", "Case", "GBP 28.50"]
    text = {p.label: p.text for p in view.points}
    assert text["Buy and run down"].endswith("a week of soya drink."), "what it is worth is told once, with the money"
    assert "Write-off GBP 28.50, at a pack a site." in text["Money"]
