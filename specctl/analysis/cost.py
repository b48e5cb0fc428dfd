"""What a cup costs at one franchise's prices, and what it leaves.

Promises: exact. A gram costs its pack's price over what of the pack reaches a
cup (grams in the pack x usable share); a pack in ml is weighed by the
ingredient's density; preps are taken apart to ingredients (`basket`), so that
`split` can say which ingredient moved a cost. A price that is missing makes the
figure None and is named: it is never zero. Shown figures are rounded half up to
the currency's minor unit, and the lines together are the total (largest
remainder).

What a filling rule takes is worked out for the cup (`filling`), as on the card;
where it cannot be, the cost is missing. No other price book is looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Mapping

from specctl.analysis.basket import GRAM, PIECE, Basket, Kitchen, Missing, unit_of
from specctl.analysis.build import (
    STANDARD,
    BuiltLine,
    Variant,
    build_lines,
    choice_of,
    stocked,
)
from specctl.analysis.filling import fill_lines
from specctl.analysis.money import minor_digits, rounded, rounded_parts
from specctl.domain.amount import Amount, Each, Grams, TopTo, Volume
from specctl.domain.book import Book
from specctl.domain.place import Market
from specctl.domain.price import PriceBook
from specctl.domain.recipe import Drink

_SHARE_DIGITS = 4
_UNIT_DIGITS = 8


@dataclass(frozen=True, slots=True)
class Terms:
    """Whose cup it is.

    `filled`: grams of filling rules already worked out, by line path; the others
    are worked out here. `stocks` and `market`: a site's stand-ins (of to by),
    used where the drink allows them in that market.
    """

    filled: Mapping[str, Decimal] = field(default_factory=dict)
    stocks: Mapping[str, str] = field(default_factory=dict)
    market: str = ""


@dataclass(frozen=True, slots=True)
class UnitCost:
    """Cost of one usable gram, or of one piece (`unit`), of an item."""

    item: str
    unit: str
    exact: Fraction | None
    missing: tuple[Missing, ...] = ()

    @property
    def per_gram(self) -> Decimal | None:
        return self._shown(GRAM)

    @property
    def per_each(self) -> Decimal | None:
        return self._shown(PIECE)

    def _shown(self, unit: str) -> Decimal | None:
        if self.exact is None or self.unit != unit:
            return None
        return rounded(self.exact, _UNIT_DIGITS)


@dataclass(frozen=True, slots=True)
class LineCost:
    """One line. `grams` or `each` is set; `cost` is in minor units, None if unknown."""

    path: str
    use: str
    grams: Decimal | None
    each: Decimal | None
    exact: Fraction | None
    cost: Decimal | None

    @property
    def per_gram(self) -> Decimal | None:
        if self.exact is None or not self.grams:
            return None
        return rounded(self.exact / Fraction(self.grams), _UNIT_DIGITS)


@dataclass(frozen=True, slots=True)
class CupCost:
    """`total` in minor units, the sum of the lines' `cost`; None if any is missing."""

    currency: str
    total: Decimal | None
    exact: Fraction | None
    lines: tuple[LineCost, ...]
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class Margin:
    """`net` menu price without tax, what is left of it, and that as a share of net."""

    net: Decimal
    margin: Decimal | None
    share: Decimal | None


def unit_cost(book: Book, price_book: PriceBook, id: str) -> UnitCost:
    """Cost of a gram of an ingredient or prep, or of a piece where it has no mass."""
    item = book.path_of(id)
    ingredient = book.ingredients.get(id)
    if ingredient is not None and unit_of(ingredient, Each(Decimal(1))) == PIECE:
        pack = price_book.packs.get(id)
        held = ingredient.packs.get(pack.pack) if pack is not None else None
        unit = PIECE if held is not None and isinstance(held.holds, Each) else GRAM
        return _ingredient_cost(book, price_book, id, unit)
    if ingredient is not None or id not in book.preps:
        return _ingredient_cost(book, price_book, id, GRAM)
    basket = Kitchen(book).gram_of(id)
    exact, missing = priced(book, price_book, basket)
    return UnitCost(item, GRAM, exact, missing)


def cup_cost(
    book: Book,
    price_book: PriceBook,
    drink: Drink,
    size: str,
    variant: Variant = STANDARD,
    terms: Terms = Terms(),
) -> CupCost:
    """Cost of one cup. Raises KeyError for a variant the drink does not know."""
    kitchen = Kitchen(book)
    lines, missing = [], set()
    for line, amount in amounts_at(book, drink, size, variant, terms):
        exact, gaps = priced(book, price_book, kitchen.basket(line.use, amount))
        missing.update(gaps)
        lines.append((line, amount, exact))
    exacts = [exact for _, _, exact in lines]
    digits = minor_digits(price_book.currency)
    total = exact_total = None
    if missing:
        shown = [None if exact is None else rounded(exact, digits) for exact in exacts]
    else:
        known = [exact for exact in exacts if exact is not None]
        exact_total = sum(known, Fraction(0))
        total = rounded(exact_total, digits)
        shown = list(rounded_parts(known, total, digits))
    return CupCost(
        currency=price_book.currency,
        total=total,
        exact=exact_total,
        lines=tuple(
            LineCost(
                path=line.path,
                use=line.use,
                grams=amount.value if isinstance(amount, Grams) else None,
                each=amount.count if isinstance(amount, Each) else None,
                exact=exact,
                cost=cost,
            )
            for (line, amount, exact), cost in zip(lines, shown)
        ),
        missing=tuple(sorted(missing)),
    )


def cup_basket(
    book: Book, drink: Drink, size: str, variant: Variant = STANDARD, terms: Terms = Terms()
) -> Basket:
    """All ingredients of one cup, preps taken apart, losses included."""
    kitchen = Kitchen(book)
    total: dict[tuple[str, str], Fraction] = {}
    missing: set[Missing] = set()
    for line, amount in amounts_at(book, drink, size, variant, terms):
        basket = kitchen.basket(line.use, amount)
        missing.update(basket.missing)
        for key, amount in basket.amounts.items():
            total[key] = total.get(key, Fraction(0)) + amount
    return Basket(total, tuple(sorted(missing)))


def amounts_at(
    book: Book, drink: Drink, size: str, variant: Variant, terms: Terms
) -> list[tuple[BuiltLine, Amount]]:
    """The lines of one cup, stand-ins in, with filling and top-up rules in grams.

    A rule that cannot be worked out stays a rule.
    """
    lines = _lines(book, drink, size, variant, terms)
    standard = top_up = None
    if not variant.is_standard and variant.substitute is None:
        standard = _lines(book, drink, size, STANDARD, terms)
        top_up = choice_of(drink, variant).top_up
    vessel = book.vessels.get(drink.sizes[size].vessel) if size in drink.sizes else None
    found: list[tuple[BuiltLine, Amount]] = []
    for path, filled in fill_lines(book, lines, vessel, standard, top_up).items():
        amount = filled.line.amount
        if isinstance(amount, TopTo) and path in terms.filled:
            amount = Grams(terms.filled[path])
        elif filled.grams is not None and (filled.topped_up or isinstance(amount, TopTo)):
            amount = Grams(filled.grams)
        found.append((filled.line, amount))
    return found


def _lines(
    book: Book, drink: Drink, size: str, variant: Variant, terms: Terms
) -> dict[str, BuiltLine]:
    lines = build_lines(book, drink, size, variant)
    return stocked(lines, drink.substitutes.values(), terms.stocks, terms.market)


def priced(
    book: Book, price_book: PriceBook, basket: Basket
) -> tuple[Fraction | None, tuple[Missing, ...]]:
    """Exact cost of a basket, or None and what is missing."""
    total, missing = Fraction(0), set(basket.missing)
    for (id, unit), amount in basket.amounts.items():
        cost = _ingredient_cost(book, price_book, id, unit)
        missing.update(cost.missing)
        total += amount * (cost.exact or 0)
    return (None if missing else total), tuple(sorted(missing))


def price_of(book: Book, price_book: PriceBook, id: str, unit: str) -> UnitCost:
    """Cost of one gram or piece of an ingredient, in the unit a basket counts it in."""
    return _ingredient_cost(book, price_book, id, unit)


def margin(cost: CupCost, menu_price: Decimal, market: Market) -> Margin:
    """What the menu price leaves, net of tax. Shown in minor units, share to 0.01 %."""
    digits = minor_digits(market.currency)
    exact_net = Fraction(menu_price)
    if market.tax_in_menu_price:
        exact_net /= 1 + Fraction(market.tax)
    net = rounded(exact_net, digits)
    if cost.total is None or cost.exact is None:
        return Margin(net, None, None)
    left = exact_net - cost.exact
    share = rounded(left / exact_net, _SHARE_DIGITS) if exact_net else None
    return Margin(net, net - cost.total, share)


def cups_in_week(book: Book, price_book: PriceBook, drink: Drink, size: str) -> int | None:
    """Stated cups of one site times the franchise's sites that serve the drink."""
    stated = price_book.cups_a_week.get(drink.id, {}).get(size)
    if stated is None:
        return None
    sites = book.sites_of(price_book.franchise)
    return stated * sum(1 for site in sites if drink in book.served_at(site))


def _ingredient_cost(book: Book, price_book: PriceBook, id: str, unit: str) -> UnitCost:
    item = book.path_of(id)
    ingredient, price = book.ingredients.get(id), price_book.packs.get(id)

    def lacks(why: str) -> UnitCost:
        return UnitCost(item, unit, None, (Missing(item, why),))

    if ingredient is None:
        return lacks("not in the book")
    if price is None:
        return lacks("no price")
    pack = ingredient.packs.get(price.pack)
    if pack is None:
        return lacks(f"no pack {price.pack}")
    match pack.holds, unit:
        case (Grams(value), "g"):
            held = Fraction(value)
        case (Volume(ml), "g"):
            if ingredient.density is None and ingredient.bulk_density is None:
                return lacks("no density to weigh its pack with")
            density = ingredient.density or ingredient.bulk_density
            held = Fraction(ml) * Fraction(density.value if density else 0)
        case (Each(count), "each"):
            held = Fraction(count)
        case (Each(count), "g") if ingredient.each is not None:
            held = Fraction(count) * Fraction(ingredient.each)
        case _:
            return lacks("no mass of one piece")
    usable = held * Fraction(price.usable)
    if usable <= 0:
        return lacks("nothing of its pack is usable")
    return UnitCost(item, unit, Fraction(price.price) / usable)
