"""Where an item is used, through preps, to the counter. Worked by hand on a small book."""

from __future__ import annotations

from make import (
    book,
    change,
    choice,
    drink,
    franchise,
    ingredient,
    layer,
    line,
    option,
    out,
    prep,
    site,
    stand_in,
)

from specctl.analysis.trace import trace

BOOK = book(
    franchise("marram"),
    franchise("northsands"),
    *(ingredient(id) for id in ("powder", "oat", "oat-skerry", "tea", "milk", "spice")),
    prep("mix", 100, line("p", "powder", 100)),
    prep("foam", 100, line("m", "mix", 50), line("o", "oat", 50)),
    prep("brew", 100, line("t", "tea", 5)),
    drink("foamy", layer("base", line("tea", "brew", 100)), layer("top", line("foam", "foam", 30))),
    drink(
        "plain",
        layer("base", line("tea", "brew", 100), line("milk", "milk", 50)),
        options=(
            option(
                "top",
                choice("foam", change("base/foam", use="foam", given=20)),
                choice("spice", change("base/spice", use="spice", given=1)),
                choice("black", out("base/milk")),
            ),
        ),
        substitutes=(stand_in("skerry", "oat", "oat-skerry"),),
    ),
    drink("irish", layer("base", line("milk", "milk", 50)), markets=frozenset(["ie"])),
    site("east", not_served=("plain",)),
    site("west", franchise="northsands", not_served=("foamy", "plain")),
    site("dublin", franchise="northsands", market="ie", not_served=("plain", "foamy")),
    site("stocks-skerry", not_served=("plain", "foamy"), stocks={"oat": "oat-skerry"}),
)


def test_an_ingredient_is_followed_through_preps_of_preps():
    found = trace(BOOK, "powder")
    assert found.item == "ingredient/powder"
    assert found.preps == ("foam", "mix")
    assert [(u.drink, u.paths) for u in found.drinks] == [("foamy", ("top/foam > prep/foam",))]
    assert [(o.drink, o.choice, o.name, o.paths) for o in found.options] == [
        ("plain", "top=foam", "Top: Foam", ("base/foam > prep/foam",))
    ]
    assert found.sites == ("east",)
    assert found.franchises == ("marram",)


def test_a_prep_is_traced_and_does_not_use_itself():
    found = trace(BOOK, "brew")
    assert (found.item, found.preps) == ("prep/brew", ())
    assert [(u.drink, u.paths) for u in found.drinks] == [
        ("foamy", ("base/tea > prep/brew",)),
        ("plain", ("base/tea > prep/brew",)),
    ]


def test_a_drink_only_a_choice_touches_still_counts_for_its_sites():
    made = book(
        ingredient("spice"),
        ingredient("milk"),
        drink(
            "plain",
            layer("base", line("milk", "milk", 5)),
            options=(option("top", choice("spice", change("base/s", use="spice", given=1))),),
        ),
        site("east"),
    )
    assert trace(made, "spice").sites == ("east",)
    assert trace(made, "spice").drinks == ()


def test_a_stand_in_is_traced_both_ways_and_to_who_stocks_it():
    found = trace(BOOK, "oat-skerry")
    assert [(s.drink, s.key, s.of, s.by) for s in found.substitutes] == [
        ("plain", "skerry", "oat", "oat-skerry")
    ]
    assert found.sites == ("stocks-skerry",)
    assert [s.key for s in trace(BOOK, "oat").substitutes] == ["skerry"]


def test_a_drink_counts_where_its_market_lets_it_be_sold():
    assert trace(BOOK, "milk").sites == ("dublin",)


def test_what_nobody_uses_is_unused_and_so_is_what_nobody_knows():
    assert trace(book(ingredient("x")), "x").is_unused
    assert trace(BOOK, "ghost").is_unused


def test_a_ring_of_preps_ends():
    made = book(prep("a", 1, line("l", "b", 1)), prep("b", 1, line("l", "a", 1)))
    assert trace(made, "a").preps == ("b",)
