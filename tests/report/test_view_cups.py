"""What a report tells of the cup: verdicts before and after, pictures side by side, figures as JSON.

The amounts are the demo book's own; where a verdict turns, the gap follows from
densities this book states, so no source is named for it.
"""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as tree
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from browser import DESK, OUT, PHONE, opened_browser, printed
from cup_world import cups, demo, edited, impact_with, pairs

from specctl.analysis.cupcheck import check_cups
from specctl.change.cup_change import CupChange
from specctl.domain.book import Book
from specctl.report.html import render_html
from specctl.report.json import report_json
from specctl.report.markdown import render_markdown
from specctl.report.tables import Cups, Section, Table, texts_of
from specctl.report.terminal import render_terminal
from specctl.report.view import view_of
from specctl.report.view_cups import MOST_DRAWN, cups_json, section

CLOUD = "drinks/matcha-cloud.yaml"
POWDER = "amount: {regular: 3 g, large: 4 g}"


def powder(grams: str) -> Book:
    """The matcha in both sizes set to so many grams; the spec says 3 and 4."""
    return edited(CLOUD, (POWDER, f"amount: {{regular: {grams} g, large: {grams} g}}"))


def of(found: tuple[CupChange, ...], size: str, choice: str = "") -> CupChange:
    return next(each for each in found if (each.size, each.choice) == (size, choice))


def words(made: Section) -> str:
    return "\n".join(texts_of(made.blocks))


def test_one_powder_by_a_stated_amount_turns_the_verdict_to_marginal_and_then_to_will_mix() -> None:
    told = []
    for grams in ("4", "6", "12"):
        change = of(cups(powder(grams), "matcha-cloud"), "regular")
        assert change.after is not None
        told.append(next(m.verdict for m in change.after.state.meetings if m.upper == "matcha"))
    assert told == ["stays", "marginal", "mixes"]


def test_the_report_tells_the_verdict_before_and_after_and_leads_with_it() -> None:
    for grams, wanted in (("6", "stays → MARGINAL, may mix"), ("12", "stays → WILL MIX")):
        impact = impact_with(cups(powder(grams), "matcha-cloud"))
        made = section(impact)
        assert made.alarm and wanted in words(made)
        first = " ".join(point.text for point in view_of(impact).points)
        assert "IN THE CUP (estimated)" in first and "Matcha on Oat drink over ice: " + wanted in first
    calm = impact_with(cups(powder("4"), "matcha-cloud"))
    assert not section(calm).alarm and "IN THE CUP" not in " ".join(p.text for p in view_of(calm).points)


def test_the_table_tells_the_pairs_that_moved_or_are_bad_and_no_others() -> None:
    change = of(cups(powder("12"), "matcha-cloud"), "regular")
    assert change.after is not None and [m.verdict for m in change.after.state.meetings] == ["stays", "mixes", "stays"]
    (table,) = [block for block in section(impact_with((change,))).blocks if isinstance(block, Table)]
    (told,) = table.rows[0][2].lines
    assert told.startswith("Matcha on Oat drink over ice: stays → WILL MIX")
    assert replace(change, before=change.after).is_bad
    (bad,) = [block for block in section(impact_with((replace(change, before=change.after),))).blocks if isinstance(block, Table)]
    assert bad.rows[0][2].lines[0].startswith("Matcha on Oat drink over ice: WILL MIX")
    room = of(cups(edited(CLOUD, ("water: {use: water, amount: {regular: 50 g", "water: {use: water, amount: {regular: 153 g")), "matcha-cloud"), "regular")
    (only,) = [block for block in section(impact_with((room,))).blocks if isinstance(block, Table)]
    assert only.rows[0][1].alarm and only.rows[0][2].lines == ("as before",) and not only.rows[0][2].alarm


def test_an_overflow_in_one_size_is_in_check_in_the_report_and_in_the_picture() -> None:
    # 390 ml to the rim; some 100 g more of the matcha's water fill the regular cup past it, within the doubt of its foam
    over = edited(CLOUD, ("water: {use: water, amount: {regular: 50 g, large: 60 g}", "water: {use: water, amount: {regular: 153 g, large: 60 g}"))
    (problem,) = [p for p in check_cups(over) if p.code == "cup-overflow" and "size regular, comes" in p.what]
    assert "regular" in problem.what and "large" not in problem.what and not problem.is_error
    found = cups(over, "matcha-cloud")
    change = of(found, "regular")
    assert change.is_worse and change.after is not None and change.after.state.room == "overflows"
    assert [each.size for each in found if not each.choice] == ["regular"], "the large one stands as it did"
    impact = impact_with(found)
    assert "fits → OVERFLOWS" in words(section(impact))
    page = render_html(view_of(impact)).decode()
    after = next(s for s in re.findall(r"<svg .*?</svg>", page, re.S) if "After: Matcha" in s and "Regular" in s)
    assert "OVERFLOWS: about" in after and after.count('stroke="#b00020"') == 3, "fill line, and both sides of the rim"
    for text in (render_markdown(view_of(impact)), render_terminal(view_of(impact), 80)):
        assert "OVERFLOWS" in text and "over the rim" in text


def test_past_its_doubt_an_overflow_is_an_error() -> None:
    over = edited(CLOUD, ("water: {use: water, amount: {regular: 50 g, large: 60 g}", "water: {use: water, amount: {regular: 190 g, large: 60 g}"))
    (problem,) = [p for p in check_cups(over) if p.code == "cup-overflow" and "size regular, comes" in p.what]
    assert problem.is_error


def test_a_hot_base_over_ice_overflows_where_the_naive_sum_fits() -> None:
    book = edited(
        CLOUD,
        ("ice: {use: ice, amount: {regular: 65 g, large: 88 g}", "ice: {use: ice, amount: {regular: 190 g, large: 88 g}"),
        ("water: {use: water, amount: {regular: 50 g, large: 60 g}, at: 75 °C}", "water: {use: water, amount: {regular: 95 g, large: 60 g}, at: 95 °C}"),
    )
    change = of(cups(book, "matcha-cloud"), "regular")
    assert change.after is not None
    state = change.after.state
    assert state.naive_ml is not None and state.naive_ml < change.after.hollow.brimful, "the poured volumes alone would fit"
    assert state.room == "overflows" and state.known_ml > change.after.hollow.brimful
    assert "OVERFLOWS" in words(section(impact_with((change,))))


def test_a_cup_is_computed_once_and_told_once_for_all_its_sites() -> None:
    sites = [s.id for s in demo().sites.values() if s.market == "gb" and s.ice is None][:3]
    assert len(sites) > 1
    found = cups(powder("6"), "matcha-cloud", sites)
    keys = [(each.size, each.choice) for each in found]
    assert len(keys) == len(set(keys))
    assert of(found, "regular").sites == tuple(sorted(sites))


def test_what_stands_as_it_did_is_not_told() -> None:
    assert cups(demo(), "matcha-cloud") == ()
    words_only = edited(CLOUD, ("do: Spoon the foam on last.", "do: Spoon the foam on at the end."))
    assert cups(words_only, "matcha-cloud") == ()
    assert "No cup changes" in words(section(impact_with(())))


def test_a_density_moves_a_cup_though_no_entry_does() -> None:
    heavy = edited("ingredients/oat-drink.yaml", ("is: 1.03 g/ml", "is: 1.015 g/ml"))
    entry = pairs(demo(), heavy, "matcha-cloud", ("harbour-row",))[0]
    assert entry.before is not None and entry.after is not None and entry.before["sizes"] == entry.after["sizes"]
    assert of(cups(heavy, "matcha-cloud"), "regular").verdict_moves


def test_a_choice_is_told_only_where_its_verdict_moves() -> None:
    found = cups(powder("6"), "matcha-cloud")
    for each in found:
        assert not each.choice or each.verdict_moves
    assert any(each.choice for each in found)


def test_figures_are_decimals_as_text_and_fit_the_published_schema() -> None:
    impact = impact_with(cups(powder("12"), "matcha-cloud"))
    told = cups_json(impact)
    assert json.loads(json.dumps(told)) == told
    (regular,) = [each for each in told if each["size"] == "regular" and not each["choice"]]
    assert regular["worse"] is True
    assert [m["verdict"] for m in regular["after"]["meetings"]] == ["stays", "mixes", "stays"]
    assert re.fullmatch(r"-?\d+\.\d+", regular["after"]["layers"][0]["density"])
    assert report_json(impact)["cups"] == told


def pictures(impact: Any) -> list[Any]:
    page = render_html(view_of(impact)).decode()
    return [tree.fromstring(svg) for svg in re.findall(r'<svg [^>]*aria-labelledby="cup-.*?</svg>', page, re.S)]


def test_before_and_after_stand_side_by_side_each_with_its_text_alternative() -> None:
    impact = impact_with(cups(powder("6"), "matcha-cloud"))
    drawn = [block for block in section(impact).blocks if isinstance(block, Cups)]
    assert drawn and all(block.before and block.after for block in drawn)
    found = pictures(impact)
    assert len(found) == 2 * len(drawn)
    for svg in found:
        assert svg.get("role") == "img" and "from the bottom up" in svg.findtext("{http://www.w3.org/2000/svg}desc")
    ids = [e.get("id") for svg in found for e in svg.iter() if e.get("id")]
    assert len(ids) == len(set(ids)), "one page, one name each"
    assert "Estimated, not measured" in " ".join(found[0].itertext())


def test_many_cups_are_not_all_drawn_and_the_page_says_so() -> None:
    change = of(cups(powder("6"), "matcha-cloud"), "regular")
    many = tuple(replace(change, item=f"drink/d-{n}", item_name=f"Drink {n}") for n in range(MOST_DRAWN + 3))
    made = section(impact_with(many))
    assert len([block for block in made.blocks if isinstance(block, Cups)]) == MOST_DRAWN
    assert f"{MOST_DRAWN} of {MOST_DRAWN + 3} cups are drawn" in words(made)
    (table,) = [block for block in made.blocks if isinstance(block, Table)]
    assert len(table.rows) == MOST_DRAWN + 3, "every verdict is told, drawn or not"


@pytest.mark.parametrize("width", [40, 80, 120])
def test_a_terminal_shows_both_within_its_width(width: int) -> None:
    text = render_terminal(view_of(impact_with(cups(powder("6"), "matcha-cloud"))), width)
    start = text.index("In the cup, estimated")
    part = text[start : start + 12000]
    assert all(len(line) <= width for line in part.splitlines())
    if width == 120:
        assert re.search(r"Before: .* {2,}After: ", part), "side by side"
    elif width == 80:
        assert "Before: " in part and "After: " in part
    else:
        assert "from the bottom up" in part, "too narrow to draw: in words"


def test_a_name_cannot_leave_the_drawing_in_markdown() -> None:
    change = of(cups(powder("6"), "matcha-cloud"), "regular")
    assert change.after is not None
    evil = replace(change.after, names={key: "```\n# x\n<b>|y|" for key in change.after.names})
    text = render_markdown(view_of(impact_with((replace(change, after=evil),))))
    lines = [line for line in text.splitlines() if "```" in line or line.startswith("# x")]
    assert lines and all(line.startswith("    ") or "\\`" in line for line in lines)


@pytest.mark.browser
def test_in_a_browser_the_pairs_stand_whole_at_phone_width_desk_and_in_print(tmp_path: Path) -> None:
    page = tmp_path / "report-cups.html"
    page.write_bytes(render_html(view_of(impact_with(cups(powder("6"), "matcha-cloud")))))
    with opened_browser() as browser:
        for width in (PHONE, 768, DESK):
            tab = browser.new_page(viewport={"width": width, "height": 900})
            tab.goto(page.resolve().as_uri())
            OUT.mkdir(exist_ok=True)
            tab.locator("#cups").screenshot(path=OUT / f"report-cups-{width}.png")
            assert tab.evaluate("document.documentElement.scrollWidth") <= width
            tops = tab.evaluate("[...document.querySelector('#cups .cups').querySelectorAll('svg')].map(s => s.getBoundingClientRect().top)")
            assert (tops[0] == tops[1]) == (width > PHONE), "side by side where there is room"
            tab.close()
        assert printed(browser, page).stat().st_size > 10_000
