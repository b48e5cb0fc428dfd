"""Why a cup's cost moved: prices, or the recipe, ingredient by ingredient.

The identity of standard cost accounting, with "before" as the standard and
"after" as the actual:

    price effect  = (p1 - p0) x q1      price variance at the actual quantity
    recipe effect = (q1 - q0) x p0      usage variance at the standard price
    price effect + recipe effect = p1 q1 - p0 q0, exactly

Source: the direct-material price variance, (AP - SP) x AQ, and quantity or usage
variance, (AQ - SQ) x SP, of standard costing in any textbook of cost accounting.
There is no joint term: it falls to the price effect.

p is the price of a usable gram (or piece), q what one cup takes of it, preps
taken apart, so a changed yield or discard is a recipe effect and a changed
usable share a price effect. An ingredient with no price before because nothing
of it was used takes its price after for p0: no price moved, the recipe did.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from specctl.analysis.basket import Basket, Missing
from specctl.analysis.build import STANDARD, Variant
from specctl.analysis.cost import Terms, cup_basket, price_of
from specctl.analysis.money import minor_digits, rounded, rounded_parts
from specctl.domain.book import Book
from specctl.domain.price import PriceBook


@dataclass(frozen=True, slots=True)
class Priced:
    """One side of a comparison: a book, one franchise's prices, and their terms."""

    book: Book
    price_book: PriceBook
    terms: Terms = field(default_factory=Terms)


@dataclass(frozen=True, slots=True)
class Effect:
    """What one ingredient moved, exactly. `item` is `ingredient/<id>`."""

    item: str
    price: Fraction
    recipe: Fraction

    @property
    def total(self) -> Fraction:
        return self.price + self.recipe


@dataclass(frozen=True, slots=True)
class ShownEffect:
    item: str
    price: Decimal
    recipe: Decimal


@dataclass(frozen=True, slots=True)
class ShownSplit:
    """Rounded figures that add up: effects to the columns, columns to the total."""

    before: Decimal
    after: Decimal
    total: Decimal
    price: Decimal
    recipe: Decimal
    effects: tuple[ShownEffect, ...]


@dataclass(frozen=True, slots=True)
class Split:
    """Exact costs before and after and the effects between; None where not known."""

    currency: str
    before: Fraction | None
    after: Fraction | None
    effects: tuple[Effect, ...]
    missing: tuple[Missing, ...] = ()

    @property
    def total(self) -> Fraction | None:
        if self.before is None or self.after is None:
            return None
        return self.after - self.before

    @property
    def price_effect(self) -> Fraction | None:
        return None if self.missing else sum((e.price for e in self.effects), Fraction(0))

    @property
    def recipe_effect(self) -> Fraction | None:
        return None if self.missing else sum((e.recipe for e in self.effects), Fraction(0))

    def shown(self, digits: int | None = None, cups: int = 1) -> ShownSplit | None:
        """For so many cups, to `digits` places (the minor unit unless given).

        The total is the shown cost after less the shown cost before.
        """
        if self.before is None or self.after is None:
            return None
        places = minor_digits(self.currency) if digits is None else digits
        before, after = (rounded(side * cups, places) for side in (self.before, self.after))
        exact = [part * cups for e in self.effects for part in (e.price, e.recipe)]
        parts = rounded_parts(exact, after - before, places)
        effects = tuple(
            ShownEffect(effect.item, price, recipe)
            for effect, price, recipe in zip(self.effects, parts[::2], parts[1::2])
        )
        zero = rounded(Fraction(0), places)
        return ShownSplit(
            before=before,
            after=after,
            total=after - before,
            price=sum((e.price for e in effects), zero),
            recipe=sum((e.recipe for e in effects), zero),
            effects=effects,
        )


def split(
    before: Priced, after: Priced, drink: str, size: str, variant: Variant = STANDARD
) -> Split:
    """The change of one cup's cost between two books and price books.

    A drink, size or variant that one side lacks costs nothing there. Both price
    books are one franchise's, in one currency; raises ValueError otherwise.
    """
    if before.price_book.currency != after.price_book.currency:
        raise ValueError("costs in two currencies have no difference")
    baskets = [_basket(side, drink, size, variant) for side in (before, after)]
    missing = {gap for basket in baskets for gap in basket.missing}
    moved: dict[str, tuple[Fraction, Fraction]] = {}
    totals = [Fraction(0), Fraction(0)]
    for key in sorted({*baskets[0].amounts, *baskets[1].amounts}):
        q0, q1 = (basket.amounts.get(key, Fraction(0)) for basket in baskets)
        costs = [price_of(side.book, side.price_book, *key) for side in (before, after)]
        for quantity, cost in zip((q0, q1), costs):
            if quantity:
                missing.update(cost.missing)
        p0, p1 = (cost.exact for cost in costs)
        p0, p1 = (p1 if p0 is None else p0), (p0 if p1 is None else p1)
        if p0 is None or p1 is None:
            continue
        totals[0] += q0 * p0
        totals[1] += q1 * p1
        item = after.book.path_of(key[0])
        price, recipe = moved.get(item, (Fraction(0), Fraction(0)))
        moved[item] = (price + (p1 - p0) * q1, recipe + (q1 - q0) * p0)
    if missing:
        return Split(after.price_book.currency, None, None, (), tuple(sorted(missing)))
    effects = tuple(Effect(item, p, r) for item, (p, r) in moved.items() if p or r)
    return Split(after.price_book.currency, totals[0], totals[1], effects)


def _basket(side: Priced, drink: str, size: str, variant: Variant) -> Basket:
    found = side.book.drinks.get(drink)
    if found is None or size not in found.sizes:
        return Basket({})
    try:
        return cup_basket(side.book, found, size, variant, side.terms)
    except KeyError:
        return Basket({})
