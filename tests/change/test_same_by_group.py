"""Work done once for all sites that are alike gives what asking each site by itself gives."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from functools import cache

import pytest

from specctl import resources
from specctl.analysis.cost import Terms, cup_cost, cups_in_week, margin
from specctl.canonical import canonical, digest_of
from specctl.change import compiled as compiling
from specctl.change.compare import Pair, pairs_of
from specctl.change.compiled import Compiled, compile_book, items_at
from specctl.change.costing import Side, costs_of
from specctl.change.effect import differing
from specctl.change.entry import compile_entry
from specctl.change.hindrance import hindrances_of
from specctl.change.impact import Hindrance
from specctl.change.memo import Memo, profile_of
from specctl.change.serving import Serving
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.domain.amount import Grams
from specctl.domain.book import Book
from specctl.store.folder import read_folder


@cache
def demo() -> Book:
    """The demo book with three counters more that lack things others have."""
    book = load(read_folder(resources.demo_book(), is_readable)).book
    assert book is not None
    sites = dict(book.sites)
    for number, id in enumerate(("saltmarket", "kelp-lane", "breakwater")):
        site = sites[id]
        lost = sorted(site.equipment)[number : number + 3]
        sites[f"{id}-two"] = replace(site, id=f"{id}-two", equipment=site.equipment - set(lost), vessels=site.vessels - {"cold-cup-390"})
    return replace(book, sites=sites)


@cache
def moved() -> Book:
    """The same with more of everything that is stated in grams in one drink, and a franchise's price gone."""
    book = demo()
    drink = book.drinks["blackcurrant-hojicha"]
    layers = {
        key: replace(
            layer,
            lines={
                name: replace(line, amounts={s: Grams(a.value + Decimal(5)) if isinstance(a, Grams) else a for s, a in line.amounts.items()})
                for name, line in layer.lines.items()
            },
        )
        for key, layer in drink.layers.items()
    }
    marram = book.price_books["marram"]
    packs = {id: pack for id, pack in marram.packs.items() if id != "blackcurrant-cordial"}
    return replace(
        book,
        drinks={**book.drinks, drink.id: replace(drink, layers=layers)},
        price_books={**book.price_books, "marram": replace(marram, packs=packs)},
    )


@cache
def sides() -> tuple[Side, Side]:
    one, two = compile_book(demo()), compile_book(moved())
    return Side(demo(), one.rows, one.entries), Side(moved(), two.rows, two.entries)


def plain_compile(book: Book) -> Compiled:
    """Every site by itself, nothing shared."""
    entries, rows = {}, {}
    for site in book.sites.values():
        memo, profile = Memo(book), profile_of(book, site)
        for item in items_at(book, site):
            entry = compile_entry(memo, profile, item)
            rows[site.id, item] = digest_of(canonical(entry))
            entries[rows[site.id, item]] = entry
    return Compiled(entries, rows)


def test_each_site_is_told_what_it_would_be_told_by_itself() -> None:
    sites = {id: demo().sites[id] for id in ("saltmarket", "saltmarket-two", "kelp-lane")}
    drinks = {id: demo().drinks[id] for id in ("blackcurrant-hojicha", "pear-sage-fizz", "hazelnut-frost")}
    book = replace(demo(), sites=sites, drinks=drinks)
    assert compile_book(book) == plain_compile(book)


def test_an_entry_is_compiled_once_a_profile_however_many_sites(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    real = compiling.compile_entry
    monkeypatch.setattr(compiling, "compile_entry", lambda memo, profile, item: calls.append(item) or real(memo, profile, item))
    drinks = {"pear-sage-fizz": demo().drinks["pear-sage-fizz"]}
    few = replace(demo(), drinks=drinks)
    compile_book(few)
    once = len(calls)
    # Copies of counters that have no scoop check of their own: the profiles of the copies, and no more.
    checked = {check.site for check in few.scoop_checks.values()}
    plain = [site for site in few.sites.values() if site.id not in checked]
    many = replace(few, sites={**few.sites, **{f"{s.id}-{n}": replace(s, id=f"{s.id}-{n}") for s in plain for n in range(50)}})
    calls.clear()
    compile_book(many)
    assert len(calls) == once


@pytest.mark.parametrize("franchise", ["northsands", "marram", "gull-rock"])
def test_who_serves_a_drink(franchise: str) -> None:
    book = demo()
    served = Serving(book, franchise)
    for id, drink in book.drinks.items():
        assert served.sites(id) == sorted(s.id for s in book.sites_of(franchise) if drink in book.served_at(s))
    assert served.sites("no-such-drink") == []


@pytest.mark.parametrize("franchise", ["northsands", "marram", "gull-rock"])
def test_sales_and_margins_are_those_of_the_cup_worked_out_by_itself(franchise: str) -> None:
    before, after = sides()
    found = costs_of(before, after, franchise)
    assert found
    prices = after.book.price_books[franchise]
    for cost in found:
        drink = after.book.drinks[cost.drink]
        assert cost.cups_a_week == (cups_in_week(after.book, prices, drink, cost.size) or 0)
        for side, shown, share in ((before, cost.margin_before, cost.margin_share_before), (after, cost.margin_after, cost.margin_share_after)):
            book, own = side.book, side.book.price_books[franchise]
            site = book.sites[Serving(book, franchise).sites(cost.drink)[0]]
            entry = side.entries[side.rows[site.id, f"drink/{cost.drink}"]]
            filled = {
                f"{layer['key']}/{line['key']}": Decimal(line["grams"])
                for size in entry["sizes"] if size["key"] == cost.size
                for layer in size["layers"] for line in layer["lines"] if line["rule"] and line["grams"]
            }  # fmt: skip
            cup = cup_cost(book, own, book.drinks[cost.drink], cost.size, terms=Terms(filled, site.stocks, site.market))
            left = margin(cup, own.menu[cost.drink][cost.size], book.markets[site.market])
            assert share == left.share
            assert (shown is None) == (left.margin is None)
            if shown is not None and left.margin is not None:
                assert abs(shown - left.margin) <= Decimal("0.01")


def plain_hindrances(pairs: tuple[Pair, ...], before: Book, after: Book) -> tuple[Hindrance, ...]:
    """Each site alone."""
    alone = [h for pair in pairs for site in pair.sites for h in hindrances_of([replace(pair, sites=(site,))], before, after)]
    return tuple(sorted(alone, key=lambda h: (not h.new, h.site, h.item, h.lacks)))


def test_what_sites_lack_is_what_each_lacks_by_itself() -> None:
    before, after = sides()
    pairs = pairs_of(differing({}, after.rows), {**before.entries, **after.entries})
    found = hindrances_of(pairs, before.book, after.book)
    assert {h.site for h in found} >= {"saltmarket-two", "kelp-lane-two"}
    assert found == plain_hindrances(pairs, before.book, after.book)
