"""What a cup costs before and after, at one franchise's prices. Evidence, never validity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from specctl.analysis.cost import CupCost, Terms, cup_cost, margin
from specctl.analysis.money import minor_digits, rounded
from specctl.analysis.split import Priced, split
from specctl.change.entry_lines import Entry, lines_in
from specctl.change.impact import CostChange, IngredientEffect
from specctl.change.serving import Serving
from specctl.domain.book import Book
from specctl.domain.price import PriceBook

EXTRA_DIGITS = 1
"""A cup is shown to a tenth of the minor unit: a recipe moves it by less than a cent."""


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison: the book, and each (site, item)'s entry."""

    book: Book
    rows: Mapping[tuple[str, str], str]
    entries: Mapping[str, Entry]


def costs_of(before: Side, after: Side, franchise: str) -> tuple[CostChange, ...]:
    """Every drink and size whose cost moves, or cannot be told, at one franchise."""
    old = before.book.price_books.get(franchise)
    new = after.book.price_books.get(franchise)
    if new is None or after.book.franchises.get(franchise) is None:
        return ()
    found = []
    served = Serving(before.book, franchise), Serving(after.book, franchise)
    for drink_id, drink in sorted(after.book.drinks.items()):
        if not served[1].sites(drink_id):
            continue
        for size in drink.sizes:
            change = _change(before, after, (old or new, new), served, (drink_id, size))
            if change is not None:
                found.append(change)
    return tuple(found)


def _change(
    before: Side, after: Side, prices: tuple[PriceBook, PriceBook], served: tuple[Serving, Serving], where: tuple[str, str]
) -> CostChange | None:
    drink_id, size = where
    old, new = prices
    franchise = new.franchise
    drink = after.book.drinks[drink_id]
    here = served[1].sites(drink_id)
    site = here[0]
    market = after.book.markets[after.book.sites[site].market]
    one = Priced(before.book, old, _terms(before, served[0], drink_id, size))
    two = Priced(after.book, new, _terms(after, served[1], drink_id, size))
    moved = split(one, two, drink_id, size)
    had = drink_id in before.book.drinks and size in before.book.drinks[drink_id].sizes
    # A drink the franchise did not serve before has no cost to compare with.
    had = had and bool(served[0].sites(drink_id))
    if had and not moved.missing and not moved.effects:
        return None
    digits = minor_digits(new.currency)
    shown = moved.shown(digits + EXTRA_DIGITS)
    cups = new.cups_a_week.get(drink_id, {}).get(size, 0) * len(here)
    week = moved.shown(digits, cups)
    menu = new.menu.get(drink_id, {}).get(size)
    margins: list[tuple[Decimal | None, Decimal | None]] = []
    for side, priced, known, exact_cost in ((before, one, had, moved.before), (after, two, True, moved.after)):
        price = priced.price_book.menu.get(drink_id, {}).get(size)
        if price is None or not known:
            margins.append((None, None))
            continue
        if exact_cost is None:
            # One side may still be known where the other is not.
            cost = cup_cost(side.book, priced.price_book, side.book.drinks[drink_id], size, terms=priced.terms)
        else:
            cost = CupCost(new.currency, rounded(exact_cost, digits), exact_cost, (), ())
        left = margin(cost, price, market)
        exact = None if cost.exact is None else rounded(Fraction(left.net) - cost.exact, digits + EXTRA_DIGITS)
        margins.append((exact, left.share))
    names = {f"ingredient/{i.id}": i.name for book in (before.book, after.book) for i in book.ingredients.values()}
    return CostChange(
        franchise=franchise,
        currency=new.currency,
        drink=drink_id,
        drink_name=drink.name,
        size=size,
        size_name=drink.sizes[size].name,
        before=shown.before if shown and had else None,
        after=shown.after if shown else None,
        price_effect=shown.price if shown and had else None,
        recipe_effect=shown.recipe if shown and had else None,
        ingredients=tuple(
            IngredientEffect(e.item, names.get(e.item, e.item), e.price, e.recipe) for e in shown.effects
        )
        if shown and had
        else (),
        menu_price=menu,
        margin_before=margins[0][0],
        margin_after=margins[1][0],
        margin_share_before=margins[0][1],
        margin_share_after=margins[1][1],
        cups_a_week=cups,
        week=week.total if week and had else None,
        missing=tuple(str(m) for m in moved.missing),
        menu_price_before=old.menu.get(drink_id, {}).get(size) if had else None,
        week_before=week.before if week and had and cups else None,
    )


def _terms(side: Side, served: Serving, drink: str, size: str) -> Terms:
    """Grams of filling rules, and stand-ins, as the franchise's first site serves the drink."""
    sites = served.sites(drink)
    if not sites:
        return Terms()
    site = side.book.sites[sites[0]]
    entry = side.entries.get(side.rows.get((site.id, f"drink/{drink}"), ""))
    filled = {
        path: Decimal(line["grams"])
        for (at, choice, path), line in lines_in(entry).items()
        if at == size and not choice and line["rule"] and line["grams"]
    }
    return Terms(filled, site.stocks, site.market)
