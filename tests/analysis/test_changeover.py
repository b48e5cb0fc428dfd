"""Old and new packs at once: a site declares both until it has confirmed the clear-out.

Common practice of stock control, no published rule; each case worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import make

from specctl.analysis.allergens import AllergenRow, facts_of
from specctl.analysis.changeover import check_changeovers, cleared_at, past_life
from specctl.domain.book import Book
from specctl.domain.cleaning import ClearOut
from specctl.domain.ingredient import Was
from specctl.domain.place import Site

NORTH = make.allergen_list("north", milk=("milk",), nuts=("hazelnut", "almond"), oats=("oats",))
UNTIL = date(2026, 9, 1)
OLD = Was("OLD-1", "", make.facts(("oats",), ("almond",), answers_for=("north",), product_code="OLD-1"), UNTIL)
NEW = make.ingredient(
    "oat-drink",
    make.facts(("oats",), ("hazelnut",), answers_for=("north",), product_code="NEW-2"),
    product_code="NEW-2",
    was=OLD,
    opened_life=4 * 86_400,
)


def world(**cleared: ClearOut) -> Book:
    site = replace(make.site("pier"), cleared={"oat-drink": word for word in cleared.values()})
    cup = make.drink("cup", make.layer("base", make.line("oat", "oat-drink", 100)))
    return make.book(NORTH, make.market(), make.franchise(), site, NEW, cup)


def row(book: Book) -> AllergenRow:
    cleared = cleared_at(book, book.sites["pier"])
    return facts_of(book, book.drinks["cup"], NORTH, cleared=cleared)


def may(book: Book) -> list[str]:
    return [f.substance for f in row(book).may_contain]


def said(code: str, on: date) -> ClearOut:
    return ClearOut("oat-drink", code, on, "site lead")


def test_until_the_clear_out_is_confirmed_both_are_declared() -> None:
    assert may(world()) == ["hazelnut", "almond"]
    almond = row(world()).may_contain[1]
    assert almond.paths == ("base/oat > ingredient/oat-drink (old stock OLD-1)",)


def test_a_confirmation_on_the_day_ends_the_union_and_the_day_before_does_not() -> None:
    assert may(world(word=said("OLD-1", UNTIL))) == ["hazelnut"]
    assert may(world(word=said("OLD-1", date(2026, 8, 31)))) == ["hazelnut", "almond"]


def test_a_confirmation_for_other_packs_ends_nothing() -> None:
    assert may(world(word=said("OLD-9", UNTIL))) == ["hazelnut", "almond"]


def test_what_the_old_paper_does_not_answer_for_is_unknown_while_it_lasts() -> None:
    silent = replace(NEW, was=replace(OLD, facts=make.facts(("oats",), product_code="OLD-1")))
    book = replace(world(), ingredients={"oat-drink": silent})
    assert [f.substance for f in row(book).unknown] == ["milk", "almond"]


def test_old_stock_is_followed_through_preps() -> None:
    foam = make.prep("foam", 90, make.line("oat", "oat-drink", 90))
    book = replace(
        world(), preps={"foam": foam}, drinks={"cup": make.drink("cup", make.layer("base", make.line("f", "foam", 30)))}
    )
    assert row(book).may_contain[1].paths == ("base/f > prep/foam > oat > ingredient/oat-drink (old stock OLD-1)",)


def codes(book: Book, today: date) -> list[str]:
    return [p.code for p in check_changeovers(book, today)]


def test_findings() -> None:
    assert codes(world(), date(2026, 8, 31)) == []
    assert codes(world(), UNTIL) == ["changeover-open"]
    assert codes(world(word=said("OLD-1", UNTIL)), UNTIL) == []
    assert codes(world(word=said("OLD-1", date(2026, 8, 1))), date(2026, 8, 2)) == ["clear-out-early"]
    assert codes(world(word=said("OLD-9", UNTIL)), UNTIL) == ["changeover-open", "clear-out-product"]
    assert codes(world(word=said("OLD-1", date(2026, 12, 1))), UNTIL) == ["clear-out-ahead"]
    site: Site = replace(make.site("pier"), cleared={"oat-dirnk": ClearOut("oat-dirnk", "OLD-1", UNTIL, "site lead")})
    assert codes(replace(world(), sites={"pier": site}), UNTIL) == ["changeover-open", "ingredient-unknown"]


def test_a_pack_opened_on_the_last_day_lives_its_opened_life_and_no_prep_outlives_it() -> None:
    # Opened on the 1st, kept for 4 days: good up to some hour of the 5th, gone from the 6th.
    assert past_life(NEW, date(2026, 9, 1)) == date(2026, 9, 6)
    assert past_life(replace(NEW, opened_life=None), date(2026, 9, 1)) is None
