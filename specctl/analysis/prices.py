"""Gaps in price books: what a franchise's sites use and sell but nothing prices.

Promises: each missing pack price once per franchise and ingredient, each
missing menu price once per franchise, drink and size, and packs that cannot be
weighed. All are warnings but the last: a new drink may be proposed before the
buyer has its price, and a price book may live in a repository that is not at
hand. A finding about one franchise names no other's prices; none names an amount
of money.
"""

from __future__ import annotations

from typing import Iterator

from specctl.analysis.alike import one_of_each
from specctl.analysis.build import allowed_in, variants, open_lines
from specctl.analysis.ways import ingredients_in
from specctl.domain.amount import Each, Grams, Volume
from specctl.domain.book import Book
from specctl.domain.place import Franchise, Site
from specctl.domain.price import PriceBook
from specctl.domain.recipe import Drink
from specctl.problem import WARNING, Problem


def check_prices(book: Book) -> list[Problem]:
    """Findings on every franchise's prices."""
    problems: list[Problem] = []
    for _, franchise in sorted(book.franchises.items()):
        sites = book.sites_of(franchise.id)
        prices = book.price_books.get(franchise.id)
        if prices is None:
            if sites and f"price-book/{franchise.id}" not in book.broken:
                problems.append(_no_book(franchise))
            continue
        problems.extend(_packs(book, franchise, prices, sites))
        problems.extend(_menu(book, franchise, prices, sites))
        problems.extend(_currency(book, franchise, prices, sites))
    problems.extend(_unweighed_packs(book))
    return problems


def ingredients_at(book: Book, site: Site) -> dict[str, str]:
    """Ingredients a site needs for what it serves, each with the first drink that does.

    Choices count; a stand-in the site stocks counts in place of the original
    where the drink allows it.
    """
    needed: dict[str, str] = {}
    for drink in book.served_at(site):
        swaps = _swaps(drink, site)
        for variant in variants(drink):
            if variant.substitute is not None:
                continue
            for line in open_lines(drink, variant).values():
                use = swaps.get(line.use, line.use)
                for id in sorted(ingredients_in(book, use)):
                    needed.setdefault(id, drink.name)
    return needed


def _swaps(drink: Drink, site: Site) -> dict[str, str]:
    allowed = {(s.of, s.by) for s in drink.substitutes.values() if allowed_in(s, site.market)}
    return {of: by for of, by in site.stocks.items() if (of, by) in allowed}


def _packs(
    book: Book, franchise: Franchise, prices: PriceBook, sites: list[Site]
) -> Iterator[Problem]:
    needed: dict[str, str] = {}
    for site in one_of_each({each.id: each for each in sites}):
        for id, drink in ingredients_at(book, site).items():
            needed.setdefault(id, drink)
    for id, drink in sorted(needed.items()):
        if id in book.ingredients and id not in prices.packs:
            yield Problem(
                "price-missing",
                prices.place,
                f"{franchise.name} has no price for '{book.ingredients[id].name}' ({id}), "
                f"which goes into '{drink}'",
                "Add its pack and price to the price book; until then no cost is shown.",
                WARNING,
            )


def _menu(
    book: Book, franchise: Franchise, prices: PriceBook, sites: list[Site]
) -> Iterator[Problem]:
    served = {drink.id: drink for site in one_of_each({s.id: s for s in sites}) for drink in book.served_at(site)}
    for id, drink in sorted(served.items()):
        for size in drink.sizes:
            if size not in prices.menu.get(id, {}):
                yield Problem(
                    "menu-price-missing",
                    prices.place,
                    f"{franchise.name} sells '{drink.name}' in size {size} without a menu price",
                    "Add it under menu; until then no margin is shown.",
                    WARNING,
                )


def _currency(
    book: Book, franchise: Franchise, prices: PriceBook, sites: list[Site]
) -> Iterator[Problem]:
    markets = {site.market for site in sites}
    for id in sorted(markets):
        market = book.markets.get(id)
        if market is not None and market.currency != prices.currency:
            yield Problem(
                "currency-differs",
                prices.place,
                f"the price book of {franchise.name} is in {prices.currency}, "
                f"its sites in '{market.name}' sell in {market.currency}",
                "Keep prices in the currency of the market.",
            )


def _no_book(franchise: Franchise) -> Problem:
    return Problem(
        "price-book-missing",
        franchise.place,
        f"no price book of '{franchise.name}' is at hand: no cost of its sites is known",
        f"Put it at prices/{franchise.id}/price-book.yaml, where it is to be read.",
        WARNING,
    )


def _unweighed_packs(book: Book) -> Iterator[Problem]:
    """Priced packs whose mass cannot be known, once per ingredient and pack."""
    told: set[tuple[str, str]] = set()
    counted = _counted(book)
    for prices in book.price_books.values():
        for id, price in prices.packs.items():
            ingredient = book.ingredients.get(id)
            pack = ingredient.packs.get(price.pack) if ingredient is not None else None
            if ingredient is None or pack is None or (id, price.pack) in told:
                continue
            told.add((id, price.pack))
            poured = isinstance(pack.holds, Volume)
            if poured and ingredient.density is None and ingredient.bulk_density is None:
                yield Problem(
                    "density-missing",
                    ingredient.place,
                    f"'{ingredient.name}' is bought in a pack of {pack.holds} and has no density: "
                    "a gram of it has no price",
                    "Measure or look up its density and write it with its source.",
                )
            kinds = counted.get(id, frozenset())
            pieces = isinstance(pack.holds, Each)
            if ingredient.each is None and (Grams if pieces else Each) in kinds:
                yield Problem(
                    "piece-mass-missing",
                    ingredient.place,
                    f"'{ingredient.name}' is bought in a pack of {pack.holds} and used by "
                    f"{'the gram' if pieces else 'the piece'}, and the mass of one piece is not known",
                    "Weigh some and write each: 4 g.",
                )


def _counted(book: Book) -> dict[str, frozenset[type]]:
    """Ingredient to the kinds of amount lines measure it in."""
    kinds: dict[str, set[type]] = {}
    for recipe in book.recipes():
        for variant in variants(recipe):
            for line in open_lines(recipe, variant).values():
                for amount in line.amounts.values():
                    kinds.setdefault(line.use, set()).add(type(amount))
    return {id: frozenset(found) for id, found in kinds.items()}
