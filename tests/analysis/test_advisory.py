"""Advice an ingredient carries: through preps, by choice and by stand-in, and never worded away.

What the advice says is common practice of public health bodies, no single source.
"""

from __future__ import annotations

import make

from specctl.analysis.advisory import ABOUT, advisories_of
from specctl.domain.book import Book
from specctl.domain.recipe import Drink
from specctl.report.catalogue import ENGLISH
from specctl.report.words import advisory_words


def world() -> tuple[Book, Drink]:
    shot = make.option("extra", make.choice("shot", make.change("cup/shot", "coffee", 20)))
    cup = make.drink(
        "cup",
        make.layer("cup", make.line("syrup", "honey-syrup", 20), make.line("water", "water", 100)),
        options=(shot,),
        substitutes=(make.stand_in("fresh", "water", "raw", markets=("gb",)),),
    )
    book = make.book(
        make.ingredient("honey", advisories=("honey",)),
        make.ingredient("coffee", advisories=("caffeine",)),
        make.ingredient("raw", name="Raw juice", advisories=("raw-juice",)),
        make.ingredient("water"),
        make.prep("honey-syrup", 100, make.line("honey", "honey", 60), make.line("water", "water", 40)),
        cup,
    )
    return book, cup


def told(market: str | None) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    book, cup = world()
    return {a.about: (a.because, a.choices) for a in advisories_of(book, cup, market)}


def test_advice_comes_through_preps_and_with_the_builds_it_belongs_to() -> None:
    found = told("gb")
    assert found["honey"] == (("Honey",), ("", "extra=shot", "substitute=fresh"))
    assert found["caffeine"] == (("Coffee",), ("extra=shot",))
    assert found["raw-juice"] == (("Raw juice",), ("substitute=fresh",))


def test_a_stand_in_of_another_market_brings_nothing_here() -> None:
    assert "raw-juice" not in told("ie")


def test_every_advice_has_a_sentence_that_defers() -> None:
    for about in ABOUT:
        words = advisory_words({"about": about, "because": ["Thing"], "choices": [""]})
        assert ENGLISH[f"advisory.{about}"] in words and "come first" in words.replace("comes first", "come first")
    only = advisory_words({"about": "caffeine", "because": ["Coffee"], "choices": ["extra=shot"]})
    assert only.endswith("Only with some choices.")
