"""One concrete build: choices, stand-ins, preps. Worked by hand; rules of the book's format."""

from __future__ import annotations

from decimal import Decimal

import pytest
from make import (
    book,
    change,
    choice,
    d,
    drink,
    layer,
    line,
    option,
    out,
    prep,
    stand_in,
)

from specctl.analysis.build import STANDARD, Variant, build_lines, stocked, variants
from specctl.domain.amount import Absent, Each, Grams, Tolerance, TopTo

LATTE = drink(
    "latte",
    layer("base", line("shot", "espresso", 36), line("milk", "milk", {"small": 120, "large": 180})),
    layer("top", line("cinnamon", "cinnamon", {"small": "none", "large": "0.3 g"})),
    sizes=("small", "large"),
    options=(
        option(
            "milk",
            choice("oat", change("base/milk", use="oat")),
            choice("light", change("base/milk", given={"small": 60})),
        ),
        option(
            "shot",
            choice("extra", change("base/more", use="espresso", given=36)),
            choice("none", out("base/shot")),
        ),
    ),
    substitutes=(
        stand_in("other-milk", "milk", "milk-holm", "1.035", markets=("ie",)),
        stand_in("other-oat", "oat", "oat-skerry"),
    ),
)
BOOK = book(LATTE)


def grams(lines):
    return {path: (each.use, str(each.amount)) for path, each in lines.items()}


def test_standard_build_of_each_size():
    assert grams(build_lines(BOOK, LATTE, "small")) == {
        "base/shot": ("espresso", "36 g"),
        "base/milk": ("milk", "120 g"),
    }
    assert grams(build_lines(BOOK, LATTE, "large"))["top/cinnamon"] == ("cinnamon", "0.3 g")


def test_a_choice_without_amounts_keeps_the_lines_own():
    lines = build_lines(BOOK, LATTE, "large", Variant("milk=oat"))
    assert grams(lines)["base/milk"] == ("oat", "180 g")


def test_a_choice_with_an_amount_for_one_size_never_drops_the_line_at_another():
    assert grams(build_lines(BOOK, LATTE, "small", Variant("milk=light")))["base/milk"] == ("milk", "60 g")
    assert grams(build_lines(BOOK, LATTE, "large", Variant("milk=light")))["base/milk"] == ("milk", "180 g")


def test_a_new_line_joins_the_end_of_its_layer():
    lines = build_lines(BOOK, LATTE, "large", Variant("shot=extra"))
    assert list(lines) == ["base/shot", "base/milk", "base/more", "top/cinnamon"]


def test_none_leaves_a_line_out():
    assert "base/shot" not in build_lines(BOOK, LATTE, "small", Variant("shot=none"))


def test_a_stand_in_scales_every_line_and_rounds_half_up_to_a_centigram():
    # 120 x 1.035 = 124.2; 0.01 g steps, half up: 100.5 x 1.0005 = 100.55025 -> 100.55
    lines = build_lines(BOOK, LATTE, "small", Variant("substitute=other-milk"))
    assert grams(lines)["base/milk"] == ("milk-holm", "124.2 g")
    half = drink(
        "half",
        layer("a", line("x", "a", "0.5 g"), line("y", "a", "3 each"), line("z", "a", "top 15")),
        substitutes=(stand_in("s", "a", "b", "1.01"),),
    )
    built = build_lines(BOOK, half, "regular", Variant("substitute=s"))
    assert [each.amount for each in built.values()] == [
        Grams(Decimal("0.51")),  # 0.505 goes up
        Each(Decimal("3.03")),
        TopTo(Decimal(15)),
    ]


def test_variants_stand_in_order_and_follow_the_market():
    keys = [v.choice for v in variants(LATTE, "gb")]
    assert keys == ["", "milk=oat", "milk=light", "shot=extra", "shot=none", "substitute=other-oat"]
    assert "substitute=other-milk" in [v.choice for v in variants(LATTE, "ie")]
    assert len(variants(LATTE)) == 7


def test_a_prep_is_one_batch_in_one_layer():
    syrup = prep("syrup", 990, line("sugar", "sugar", 500), line("water", "water", 500))
    assert list(build_lines(book(syrup), syrup, "batch")) == ["mix/sugar", "mix/water"]
    assert variants(syrup, "gb") == [STANDARD]


def test_the_books_tolerance_holds_where_a_line_has_none():
    own = Tolerance(d(1), d(2), relative=False)
    made = drink("x", layer("a", line("p", "a", 10, tolerance=own), line("q", "a", 10)))
    lines = build_lines(BOOK, made, "regular")
    assert lines["a/p"].tolerance == own
    assert lines["a/q"].tolerance == BOOK.settings.tolerance


def test_a_site_builds_with_its_stand_in_only_where_the_drink_allows_it():
    lines = build_lines(BOOK, LATTE, "small")
    stocks = {"milk": "milk-holm"}
    assert grams(stocked(lines, LATTE.substitutes.values(), stocks, "ie"))["base/milk"] == (
        "milk-holm",
        "124.2 g",
    )
    assert stocked(lines, LATTE.substitutes.values(), stocks, "gb") == lines
    assert stocked(lines, LATTE.substitutes.values(), {"milk": "water"}, "ie") == lines


def test_a_variant_nobody_defines_is_refused():
    with pytest.raises(KeyError):
        build_lines(BOOK, LATTE, "small", Variant("milk=goat"))
    assert isinstance(LATTE.line("top/cinnamon").amount("small"), Absent)
