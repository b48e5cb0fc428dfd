"""What must be said beside allergens: advice an ingredient carries into a drink.

Promises: every advisory of every ingredient in any build a market allows, with
the ingredients that bring it and the builds it belongs to. Says nothing in
words: the sentences stand in the catalogue, and they defer to local law.

Sources: whole pearls and choking, honey under one year, raw juice: advice of
public health bodies, common practice here, no single source. Caffeine above
150 mg/l: Regulation (EU) No 1169/2011, Annex III, point 4.1. Sweeteners,
polyols above 10 %, liquorice: the same annex, points 2 and 3 (from memory).
Quinine: Implementing Regulation (EU) No 1334/2008 and national rules (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping

from specctl.analysis.allergens import sources_of
from specctl.analysis.build import variants
from specctl.domain.book import Book
from specctl.domain.recipe import Drink, Prep

ABOUT = ("caffeine", "honey", "liquorice", "polyols", "quinine", "raw-juice", "sweeteners", "whole-pearls")


@dataclass(frozen=True, slots=True)
class Advisory:
    """One piece of advice: the names that bring it, and the builds ("" standard) it belongs to."""

    about: str
    because: tuple[str, ...]
    choices: tuple[str, ...]


def advisories_of(
    book: Book, recipe: Drink | Prep, market: str | None = None, stocks: Mapping[str, str] | None = None
) -> tuple[Advisory, ...]:
    """Advice for a recipe over all its builds, in the order of `ABOUT`."""
    because: dict[str, dict[str, None]] = {}
    choices: dict[str, dict[str, None]] = {}
    for variant in variants(recipe, market, book):
        for source in sources_of(book, recipe, variant, stocks):
            for about in source.ingredient.advisories if source.ingredient else ():
                because.setdefault(about, {})[source.ingredient.name if source.ingredient else source.id] = None
                choices.setdefault(about, {})[variant.choice] = None
    return tuple(
        Advisory(about, tuple(sorted(because[about])), tuple(choices[about])) for about in ABOUT if about in because
    )
