"""What goes into something, taken apart to ingredients.

Promises: exact amounts of every ingredient in a gram of a prep or in a line,
preps of preps taken apart, what a batch loses counted in: a gram of a prep takes
its lines over its yield and over what is not thrown away (1 - discard). What
cannot be known is named, never zero. A ring of preps is named, not followed.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Mapping

from specctl.analysis.build import BATCH
from specctl.domain.amount import Absent, Amount, Each, Grams
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Prep

GRAM = "g"
PIECE = "each"
DEEPEST = 64


@dataclass(frozen=True, slots=True, order=True)
class Missing:
    """Why a cost is not known: the item (`ingredient/..`, `prep/..`) and the reason."""

    item: str
    why: str

    def __str__(self) -> str:
        return f"{self.item}: {self.why}"


@dataclass(frozen=True, slots=True)
class Basket:
    """What goes into something, ingredient by ingredient: (id, unit) to how much."""

    amounts: Mapping[tuple[str, str], Fraction]
    missing: tuple[Missing, ...] = ()


class Kitchen:
    """Takes lines apart to ingredients; each prep is worked out once."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._grams: dict[str, Basket] = {}
        self._open: set[str] = set()

    def gram_of(self, id: str) -> Basket:
        """Ingredients of one gram of a prep that reaches a cup."""
        if id not in self._grams:
            if id in self._open:
                return unknown(f"prep/{id}", "is made from itself")
            if len(self._open) >= DEEPEST:
                return unknown(f"prep/{id}", f"stands under {DEEPEST} preps")
            self._open.add(id)
            self._grams[id] = self._batch(self._book.preps[id])
            self._open.discard(id)
        return self._grams[id]

    def _batch(self, prep: Prep) -> Basket:
        served = Fraction(prep.yields) * (1 - Fraction(prep.discard))
        if served <= 0:
            return unknown(f"prep/{prep.id}", "nothing of a batch is served")
        total: dict[tuple[str, str], Fraction] = {}
        missing: set[Missing] = set()
        for line in prep.all_lines():
            amount = line.amount(BATCH)
            if isinstance(amount, Absent):
                continue
            basket = self.basket(line.use, amount)
            missing.update(basket.missing)
            for key, share in basket.amounts.items():
                total[key] = total.get(key, Fraction(0)) + share / served
        return Basket(total, tuple(sorted(missing)))

    def basket(self, id: str, amount: Amount | None) -> Basket:
        """Ingredients of so much of an ingredient or prep, losses of preps included."""
        item = self._book.path_of(id)
        if not isinstance(amount, Grams | Each):
            return unknown(item, f"{amount} has no mass" if amount else "no amount")
        ingredient = self._book.ingredients.get(id)
        if ingredient is not None:
            return _bought(ingredient, amount)
        if id not in self._book.preps:
            return unknown(item, "not in the book")
        if isinstance(amount, Each):
            return unknown(item, "a prep is measured in grams")
        gram = self.gram_of(id)
        factor = Fraction(amount.value)
        return Basket({key: share * factor for key, share in gram.amounts.items()}, gram.missing)


def _bought(ingredient: Ingredient, amount: Grams | Each) -> Basket:
    unit = unit_of(ingredient, amount)
    if isinstance(amount, Grams):
        quantity = Fraction(amount.value)
    else:
        mass = ingredient.each if unit == GRAM else None
        quantity = Fraction(amount.count) * Fraction(mass if mass is not None else 1)
    return Basket({(ingredient.id, unit): quantity})


def unit_of(ingredient: Ingredient, amount: Amount) -> str:
    """Pieces are counted as pieces only where their mass is not known."""
    return PIECE if isinstance(amount, Each) and ingredient.each is None else GRAM


def unknown(item: str, why: str) -> Basket:
    """An empty basket that says what is missing."""
    return Basket({}, (Missing(item, why),))
