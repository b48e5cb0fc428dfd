"""What a change makes a group of sites buy, and what falls out of use there.

An ingredient is new or gone by everything the sites' drinks may use, choices and
stand-ins included. Weights a week are of the standard builds at the sales each
franchise states; a size without stated sales or with an amount that cannot be
worked out is named, never counted as nothing. Of what falls out of use, one
whole pack left at each site is priced: the book knows no stock.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache

from specctl.analysis.basket import Basket
from specctl.analysis.cost import cup_basket
from specctl.analysis.ways import ingredients_in
from specctl.change.entry import uses_of
from specctl.change.impact import Bought, Leftover
from specctl.change.serving import Serving
from specctl.domain.book import Book

Amounts = dict[tuple[str, str], Fraction]
Users = dict[str, set[str]]


def bought_at(before: Book, after: Book, sites: Iterable[str], franchises: Iterable[str], touched: Iterable[str]) -> tuple[Bought, ...]:
    """New, gone and moved ingredients of `sites`, weights over `franchises`; `touched` items alone can move a weight."""
    here, whose = tuple(sites), tuple(franchises)
    users, now = _in_use(before, here), _in_use(after, here)
    had, has = set(users), set(now)
    drinks = sorted(item.removeprefix("drink/") for item in touched if item.startswith("drink/"))
    old, old_holes = _week(before, whose, drinks)
    new, new_holes = _week(after, whose, drinks)
    found = []
    for id, unit in sorted({*old, *new, *((id, "") for id in had ^ has)}):
        if not unit and any(id == other for other, _ in {*old, *new}):
            continue
        way = "new" if id in has - had else "gone" if id in had - has else "moved"
        change = new.get((id, unit), Fraction(0)) - old.get((id, unit), Fraction(0))
        week = _whole(change) if unit else None
        holes = tuple(sorted({*old_holes.get(id, ()), *new_holes.get(id, ())}))
        if way != "moved" or week:
            record = after.ingredients.get(id) or before.ingredients.get(id)
            left = _leftover(before, id, users[id], whose) if way == "gone" else ()
            found.append(Bought(id, record.name if record else id, way, week, unit or "g", holes, left))
    return tuple(found)


def _in_use(book: Book, sites: tuple[str, ...]) -> Users:
    """Ingredients with the sites whose drinks may use them."""

    @cache
    def inside(drink: str) -> frozenset[str]:
        return frozenset(id for use in uses_of(book.drinks[drink]) for id in ingredients_in(book, use))

    used: Users = {}
    for site in sites:
        record = book.sites.get(site)
        for drink in book.served_at(record) if record else ():
            for id in inside(drink.id):
                used.setdefault(id, set()).add(site)
    return used


def _leftover(book: Book, id: str, sites: set[str], franchises: tuple[str, ...]) -> tuple[Leftover, ...]:
    """One whole pack at each of a franchise's sites that used it, at that franchise's own price."""
    found = []
    for franchise in franchises:
        here = [site for site in sites if site in book.sites and book.sites[site].franchise == franchise]
        prices = book.price_books.get(franchise)
        if not here or prices is None:
            continue
        price, record = prices.packs.get(id), book.ingredients.get(id)
        pack = record.packs.get(price.pack) if record and price else None
        value = price.price * len(here) if price else None
        found.append(Leftover(franchise, prices.currency, len(here), pack.name if pack else "", value))
    return tuple(found)


def _week(book: Book, franchises: tuple[str, ...], drinks: list[str]) -> tuple[Amounts, dict[str, set[str]]]:
    """Amounts a week by (ingredient, unit); for each ingredient the sizes that could not be counted."""

    @cache
    def basket(drink: str, size: str) -> Basket:
        return cup_basket(book, book.drinks[drink], size)

    total: Amounts = {}
    holes: dict[str, set[str]] = {}
    for franchise in franchises:
        prices = book.price_books.get(franchise)
        served = Serving(book, franchise)
        for id in drinks:
            drink = book.drinks.get(id)
            if drink is None or not served.sites(id):
                continue
            for size in drink.sizes:
                stated = prices.cups_a_week.get(id, {}).get(size) if prices else None
                cups = None if stated is None else stated * len(served.sites(id))
                cup = basket(id, size)
                for (ingredient, unit), amount in cup.amounts.items():
                    if cups is None:
                        holes.setdefault(ingredient, set()).add(f"{drink.name}, {drink.sizes[size].name}: no sales stated")
                        cups_counted = 0
                    else:
                        cups_counted = cups
                    slot = (ingredient, unit)
                    total[slot] = total.get(slot, Fraction(0)) + amount * cups_counted
                for missing in cup.missing:
                    holes.setdefault(missing.item.removeprefix("ingredient/"), set()).add(f"{drink.name}, {drink.sizes[size].name}: {missing.why}")
    return total, holes


def _whole(value: Fraction) -> Decimal:
    """To a whole gram or piece, half up; anything that moves by less is still shown as nothing."""
    return (Decimal(value.numerator) / Decimal(value.denominator)).quantize(Decimal(1), rounding=ROUND_HALF_UP)
