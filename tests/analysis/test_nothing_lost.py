"""Laws: whatever is shown of a drink keeps every allergen fact of what it shows.

Made-up chains of two drinks, three sites, two franchises and two markets. What
a build brings is found by a walk of its own over ingredients and preps, never by the
code under test. A merge of two edits is held by `tests/change/test_merge.py`.
"""

from __future__ import annotations

import csv
import html
import io
import json
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timezone
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from make import (
    allergen_list,
    book,
    change,
    choice,
    drink,
    facts,
    franchise,
    ingredient,
    layer,
    line,
    market,
    option,
    out,
    prep,
    scale,
    site,
    stand_in,
    vessel,
)
from report.make_impact import rich

from specctl.analysis.equivalent import swaps_of
from specctl.change.compare import Pair, allergens_of, pairs_of
from specctl.change.compiled import Compiled, compile_book
from specctl.change.effect import differing
from specctl.change.impact import AllergenChange
from specctl.change.union import union_of
from specctl.domain.book import Book
from specctl.domain.recipe import Step
from specctl.report.declared import Facts
from specctl.report.html import render_html
from specctl.report.json import report_json
from specctl.report.markdown import render_markdown
from specctl.report.sheet import Heading, Sheet, sheet_of
from specctl.report.sheet_forms import sheet_csv, sheet_html, sheet_json, sheet_text
from specctl.report.view import view_of
from specctl.site.deviations import StandsIn, told
from specctl.site.pages_card import Card, card_of
from specctl.site.pages_text import card_text

DAY = date(2026, 6, 1)
NOW = datetime(2026, 6, 1, 9, tzinfo=timezone.utc)
RANK = {"absent": 0, "unknown": 1, "may_contain": 2, "contains": 3}
NAMED = ("contains", "may_contain", "unknown")
SUBSTANCES = ("milk", "hazelnut", "almond", "soya", "lupin", "buckwheat")
NORTH = allergen_list("north", milk=("milk",), nuts=("hazelnut", "almond"), soya=("soya",))
SOUTH = allergen_list("south", milk=("milk",), lupin=("lupin",))
MARKETS = (market("gb"), market("ie", "EUR", allergen_list="south"))
GOODS = ("i0", "i1", "i2", "i3", "i4", "p0")
SITES = ("pier", "quay", "rock")
Status = dict[str, str]
Entry = Mapping[str, Any]

some = st.sets(st.sampled_from(SUBSTANCES), max_size=2)
papers = st.none() | st.builds(
    lambda within, may, lists: facts(tuple(within), tuple(may), answers_for=tuple(lists)),
    some, some, st.sets(st.sampled_from(("north", "south"))),
)  # fmt: skip
uses = st.sampled_from(GOODS)
few = settings(max_examples=50, deadline=None)


@st.composite
def chains(draw: Any) -> Book:
    """Sizes that leave a line out, a choice, stand-ins, a site that stocks one, a whisk both drinks share."""
    stock = [ingredient(f"i{n}", draw(papers)) for n in range(5)]
    of, by, extra, second = draw(uses), draw(uses), draw(uses), draw(uses)
    whisk = {"steps": (Step("s", "Whisk.", equipment=("whisk",)),)}
    cup = drink(
        "cup",
        layer("base", line("a", of, 10), line("b", second, {"regular": "none", "large": "5 g"})),
        sizes=("regular", "large"),
        options=(option("more", choice("yes", change("base/new", use=extra, given=5)), choice("less", out("base/a"))),),
        substitutes=(stand_in("other", of, by, markets=draw(st.sampled_from(((), ("gb",))))),) if of != by else (),
        **whisk,
    )
    mug = drink("mug", layer("base", line("a", draw(uses), 10)), **(whisk if draw(st.booleans()) else {}))
    stocked = {of: by} if of != by and draw(st.booleans()) else {}
    return book(
        NORTH, SOUTH, *MARKETS, franchise("marram"), franchise("gull"), scale(), vessel(), *stock,
        prep("p0", 100, line("x", draw(st.sampled_from(GOODS[:5])), 60), line("y", draw(st.sampled_from(GOODS[:5])), 40)),
        cup, mug,
        site("pier", stocks=stocked, equipment=("whisk",)),
        site("quay", not_served=("mug",), equipment=("whisk",)),
        site("rock", "gull", draw(st.sampled_from(("gb", "ie"))), equipment=("whisk",)),
    )  # fmt: skip


def brings(made: Book, list_id: str, *use: str) -> Status:
    """The least that may be said of a build of these goods."""
    found: Status = {}
    waiting = list(use)
    while waiting:
        id = waiting.pop()
        if id in made.preps:
            waiting += [each.use for each in made.preps[id].all_lines()]
            continue
        stated = made.ingredients[id].facts
        for substance in SUBSTANCES:
            if stated is not None and substance in stated.contains:
                status = "contains"
            elif stated is not None and substance in stated.may_contain:
                status = "may_contain"
            else:
                answered = stated is not None and any(made.lists[a].group_of(substance) for a in stated.answers_for)
                status = "unknown" if made.lists[list_id].group_of(substance) and not answered else "absent"
            if RANK[status] > RANK[found.get(substance, "absent")]:
                found[substance] = status
    return found


def builds(made: Book, id: str, at: str) -> dict[str, tuple[str, ...]]:
    """What goes into each variant of a drink at a site, sizes taken together."""
    recipe, here = made.drinks[id], made.sites[at]
    goods = {key: each.use for key, each in recipe.layers["base"].lines.items()}
    told_ = {"": tuple(goods.values())}
    if id == "cup":
        told_["more=yes"] = (*goods.values(), recipe.options["more"].choices["yes"].changes["base/new"].use or "")
        told_["more=less"] = (goods["b"],)
        for key, swap in recipe.substitutes.items():
            if not swap.markets or here.market in swap.markets:
                told_[f"substitute={key}"] = tuple(swap.by if use == swap.of else use for use in goods.values())
    allowed = [s for s in recipe.substitutes.values() if not s.markets or here.market in s.markets]
    stocked = [(s.of, s.by) for s in allowed if here.stocks.get(s.of) == s.by]
    return {c: (*use, *(by for of, by in stocked if of in use and c != "substitute=other")) for c, use in told_.items()}


def statuses(row: Entry) -> Status:
    return {fact["substance"]: status for status in reversed(NAMED) for fact in row[status]}


def keeps(shown: Status, least: Status, where: object) -> None:
    for substance, status in least.items():
        assert RANK[shown.get(substance, "absent")] >= RANK[status], (where, substance, status, shown)


def entries_at(made: Compiled, at: str) -> dict[str, Entry]:
    return {item: made.entries[name] for (place, item), name in made.rows.items() if place == at and item.startswith("drink/")}


@few
@given(chains())
def test_an_entry_keeps_what_every_size_choice_and_stand_in_brings(made: Book) -> None:
    compiled = compile_book(made)
    for at in SITES:
        list_id = made.markets[made.sites[at].market].allergen_list
        for item, entry in entries_at(compiled, at).items():
            rows = {row["choice"]: statuses(row) for row in entry["allergens"]}
            for variant, use in builds(made, item.partition("/")[2], at).items():
                keeps(rows[variant], brings(made, list_id, *use), (at, item, variant))


@few
@given(chains())
def test_a_stand_in_names_all_it_brings_that_the_original_does_not(made: Book) -> None:
    for list_id, place in (("north", "gb"), ("south", "ie")):
        for swap in swaps_of(made, made.drinks["cup"], place):
            of, by = (brings(made, list_id, side.item) for side in (swap.of, swap.by))
            named = {substance: now for substance, _, now in swap.brings}
            for substance, status in by.items():
                if RANK[status] > RANK[of.get(substance, "absent")]:
                    assert named.get(substance) == status.replace("_", " ")


HEAD = Heading("Pier", "gb", DAY, "As on disk", "Ask us.")


def shown_in(facts_: Facts) -> set[tuple[str, str, bool]]:
    return {(f.status, f.bare, f.listed) for f in facts_.facts}


def of_row(row: Entry) -> set[tuple[str, str, bool]]:
    return {(s, f["name"], f["listed"]) for s in NAMED for f in row[s]}


def drinks_of(sheet: Sheet) -> dict[str, dict[str, set[tuple[str, str, bool]]]]:
    return {d.item: {r.choice: shown_in(r.facts) for r in d.rows} for d in sheet.drinks}


@few
@given(chains())
def test_a_sheet_keeps_every_fact_whether_of_all_drinks_or_of_one(made: Book) -> None:
    entries = entries_at(compile_book(made), "pier")
    all_ = {item: {row["choice"]: of_row(row) for row in entry["allergens"]} for item, entry in entries.items()}
    whole = sheet_of(HEAD, entries.values())
    assert drinks_of(whole) == all_
    for item, entry in entries.items():
        alone = sheet_of(HEAD, [entry])
        assert drinks_of(alone) == {item: all_[item]}
        _every_form(alone, all_[item])
    cells = {(d.item, r.choice, c.column): c.letters for d in whole.drinks for r in d.rows for c in r.cells}
    for item, rows in all_.items():
        for variant, found in rows.items():
            for status, name, listed in found:
                if listed:
                    groups = [f["group"] for f in _facts(entries[item], variant) if f["name"] == name]
                    assert cells[item, variant, _column(whole, groups[0])] != "–"


def _facts(entry: Entry, variant: str) -> list[Any]:
    return [f for row in entry["allergens"] if row["choice"] == variant for s in NAMED for f in row[s]]


def _column(sheet: Sheet, group: str) -> str:
    return dict(sheet.columns)[group]


def _every_form(sheet: Sheet, rows: Mapping[str, set[tuple[str, str, bool]]]) -> None:
    """Each name of each row, on the list or off it, in text, page and data; in a table's row for it."""
    text, page = " ".join(sheet_text(sheet).split()), html.unescape(sheet_html(sheet))
    data = {r["choice"]: {(f["status"], f["name"], f["listed"]) for f in r["facts"]} for r in sheet_json(sheet)["drinks"][0]["rows"]}
    assert data == rows
    head, *told_ = csv.reader(io.StringIO(sheet_csv(sheet)))
    for row, cells in zip(sheet.drinks[0].rows, told_, strict=True):
        for status, name, _ in rows[row.choice]:
            assert name in text and name in page
            assert any(name in cell for cell in cells), (head, cells, status, name)


def of_card(card: Card) -> list[set[tuple[str, str, bool]]]:
    return [shown_in(f) for f in (card.facts, *(c.facts for o in card.options for c in o.choices), *(s.facts for s in card.stand_ins))]


@few
@given(chains())
def test_a_card_at_a_site_keeps_every_row(made: Book) -> None:
    compiled = compile_book(made)
    for at in SITES:
        for entry in entries_at(compiled, at).values():
            rows = [of_row(row) for row in entry["allergens"]]
            shown = of_card(card_of(entry, today=DAY))
            assert len(shown) == len(rows) and all(row in shown for row in rows)
            text = " ".join(card_text(entry, today=DAY).split())
            assert all(name in text for row in rows for _, name, _ in row)


@few
@given(chains())
def test_a_union_over_sites_is_never_weaker_than_any_of_them(made: Book) -> None:
    compiled = compile_book(made)
    by_item: dict[str, dict[str, Entry]] = {}
    for at in SITES:
        if made.sites[at].market == "gb":
            for item, entry in entries_at(compiled, at).items():
                by_item.setdefault(item, {})[at] = entry
    for item, each in by_item.items():
        whole = {row["choice"]: statuses(row) for row in union_of(each)["allergens"]}
        for entry in each.values():
            for row in entry["allergens"]:
                keeps(whole[row["choice"]], statuses(row), item)


@few
@given(chains(), some, st.sampled_from(("", "more=yes")))
def test_goods_that_stand_in_for_a_while_take_no_fact_away(made: Book, contained: set[str], only: str) -> None:
    entries = entries_at(compile_book(made), "pier")
    at = datetime(2026, 6, 1, tzinfo=timezone.utc)
    fact = tuple(("contains", s, None, s) for s in sorted(contained))
    one = StandsIn("d", "ingredient/i0", "", "Carton", "", "", "p", "r", at, at, fact, (("drink/cup", "Cup", (only,) if only else ()),), "")
    after = told(entries, [one])
    for item, entry in entries.items():
        now = {row["choice"]: statuses(row) for row in after[item]["allergens"]}
        for row in entry["allergens"]:
            keeps(now[row["choice"]], statuses(row), item)
            if item == "drink/cup" and (row["choice"] or not only):
                keeps(now[row["choice"]], dict.fromkeys(contained, "contains"), item)


def _moved(made: Book, lost: str) -> Book:
    """One ingredient's paper gone, and milk into another's."""
    was = made.ingredients["i1"]
    milk = replace(was, facts=facts(("milk",), ("lupin",), answers_for=("north", "south")))
    return replace(made, ingredients={**made.ingredients, lost: replace(made.ingredients[lost], facts=None), "i1": milk})


def _pairs(before: Compiled, after: Compiled, sites: tuple[str, ...]) -> tuple[Pair, ...]:
    """What a scope is shown: the rows that differ at its sites."""
    rows = [row for row in differing(before.rows, after.rows) if row.site in sites]
    return pairs_of(rows, {**before.entries, **after.entries})


def _told(changes: tuple[AllergenChange, ...], at: str) -> set[tuple[object, ...]]:
    return {(c.item, c.choice, c.substance, c.before, c.after, c.listed, c.paths) for c in changes if at in c.sites}


@few
@given(chains(), st.sampled_from(("i0", "i2", "i3")))
def test_a_report_for_one_franchise_keeps_every_change_at_its_sites(made: Book, lost: str) -> None:
    """Against each site's own entries before and after, and against the report of the whole chain."""
    before, after = compile_book(made), compile_book(_moved(made, lost))
    chain_ = allergens_of(_pairs(before, after, SITES))
    for own in (("pier", "quay"), ("rock",)):
        mine = allergens_of(_pairs(before, after, own))
        assert {s for c in mine for s in c.sites} <= set(own)
        for at in own:
            slim = {entry[:-1] for entry in _told(mine, at)}
            assert slim == {entry[:-1] for entry in _told(chain_, at)}
            was, now = entries_at(before, at), entries_at(after, at)
            for item in was.keys() & now.keys():
                old = {row["choice"]: statuses(row) for row in was[item]["allergens"]}
                for row in now[item]["allergens"]:
                    new = statuses(row)
                    for substance in old[row["choice"]].keys() | new.keys():
                        sides = old[row["choice"]].get(substance), new.get(substance)
                        if sides[0] != sides[1]:
                            assert any(t[:3] == (item, row["choice"], substance) and t[3:5] == sides for t in slim)


@settings(max_examples=8, deadline=None)
@given(chains(), st.sampled_from(("i0", "i2", "i3")))
def test_every_form_of_a_report_for_one_franchise_names_every_change(made: Book, lost: str) -> None:
    before, after = compile_book(made), compile_book(_moved(made, lost))
    mine = allergens_of(_pairs(before, after, ("pier", "quay")))
    impact = rich(allergens=mine)
    view = view_of(impact, now=NOW)
    page, marked = html.unescape(render_html(view).decode("utf-8")), re.sub(r"\\(.)", r"\1", render_markdown(view))
    data = json.loads(json.dumps(report_json(impact)))["allergens"]
    assert len(data) == len(mine)
    for change_ in mine:
        for text in (page, marked):
            assert change_.name in text and change_.item_name in text
            assert change_.choice_name in text or not change_.choice
