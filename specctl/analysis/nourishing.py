"""Nutrition of a drink as a site serves it: each size of each build, with its volume and bands.

Volume is what is consumed as served (`CupState.drinkable_ml`), an estimate, and none
where something in the cup has no known volume. The figures of a serving are
exact sums of what the spec pours; so a line that tops up over melt water counts
with the grams of its entry in both, for a sum and its volume are of one cup.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from specctl.analysis.bands import Band, caffeine_band, sugar_band
from specctl.analysis.build import STANDARD, BuiltLine, Variant, build_lines, choice_of, sizes_of, stocked, variants
from specctl.analysis.filling import Filled, fill_lines
from specctl.analysis.layering import build_cup, portions_of
from specctl.analysis.matter import Larder
from specctl.analysis.nutrition import Nutrition, nutrition_of
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.place import Site
from specctl.domain.recipe import Drink


@dataclass(frozen=True, slots=True)
class Serving:
    """One size of one build: its nutrition, the melt water in it (g, estimated) and its bands."""

    size: str
    variant: Variant
    nutrition: Nutrition
    melt_g: Decimal | None
    bands: tuple[Band, ...]


def servings_of(book: Book, drink: Drink, site: Site, asked: bool = True) -> Iterator[Serving]:
    """Every size of the standard build and, where `asked`, of each choice and stand-in."""
    larder = Larder(book, site.ice)
    rule = book.markets[site.market].nutrition if site.market in book.markets else "eu"
    for variant in variants(drink, site.market, book) if asked else [STANDARD]:
        for size in sizes_of(drink):
            vessel = book.vessels.get(drink.sizes[size].vessel)
            filled = _filled(book, drink, size, variant, site, vessel)
            volume, melt = _volume(larder, drink, vessel, filled)
            nutrition = nutrition_of(book, [(f.line.use, f.grams) for f in filled.values()], rule, volume)
            yield Serving(size, variant, nutrition, melt, _bands(nutrition))


def _bands(nutrition: Nutrition) -> tuple[Band, ...]:
    caffeine, sugars = nutrition.per_100_ml("caffeine_mg"), nutrition.per_100_ml("sugars")
    return (
        caffeine_band(None if caffeine is None else caffeine.amount * 10, nutrition.figures["caffeine_mg"].at_least),
        sugar_band(None if sugars is None else sugars.amount, nutrition.figures["sugars"].at_least),
    )


def _filled(
    book: Book, drink: Drink, size: str, variant: Variant, site: Site, vessel: Vessel | None
) -> dict[str, Filled]:
    def lines(of: Variant) -> dict[str, BuiltLine]:
        return stocked(build_lines(book, drink, size, of), drink.substitutes.values(), site.stocks, site.market)

    if variant.is_standard or variant.substitute is not None:
        return fill_lines(book, lines(variant), vessel)
    return fill_lines(book, lines(variant), vessel, lines(STANDARD), choice_of(drink, variant).top_up)


def _volume(
    larder: Larder, drink: Drink, vessel: Vessel | None, filled: dict[str, Filled]
) -> tuple[Decimal | None, Decimal | None]:
    """Millilitres consumed and the melt water among them, to whole numbers."""
    if vessel is None:
        return None, None
    poured = {p: (f.line.use, None if f.grams is None else float(f.grams)) for p, f in filled.items()}
    state = build_cup(larder, drink, vessel, portions_of(drink, poured))
    if state is None or state.drinkable_ml is None:
        return None, None
    return Decimal(round(state.drinkable_ml)), Decimal(round(state.melt_g))
