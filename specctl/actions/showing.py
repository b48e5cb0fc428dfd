"""The verb `show`: one drink or prep of the book on disk, as a site would be told it, and what it costs."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from specctl.actions.benching import AS_SPECIFIED, BenchCup, WhatIf, bench
from specctl.actions.source import Source
from specctl.actions.tracing import loaded_book
from specctl.analysis.batch_yield import BatchYield, batch_yield
from specctl.analysis.cost import Terms, cup_cost, margin
from specctl.analysis.equivalent import swap_json, swaps_of
from specctl.analysis.matter import Larder
from specctl.change.compiled import items_at
from specctl.change.entry import compile_entry
from specctl.change.entry_lines import lines_in
from specctl.change.memo import Memo, profile_of
from specctl.domain.amount import plain
from specctl.domain.book import Book
from specctl.domain.place import Site
from specctl.errors import NotFound, Refused, Usage


@dataclass(frozen=True, slots=True)
class CostRow:
    """One size at one franchise's prices; None where it cannot be told."""

    franchise: str
    size: str
    currency: str
    cost: Decimal | None
    menu: Decimal | None
    margin: Decimal | None
    missing: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        return {
            "franchise": self.franchise,
            "size": self.size,
            "currency": self.currency,
            "cost": None if self.cost is None else plain(self.cost),
            "menu_price": None if self.menu is None else plain(self.menu),
            "margin": None if self.margin is None else plain(self.margin),
            "missing": list(self.missing),
        }


@dataclass(frozen=True, slots=True)
class Shown:
    item: str
    site: Site
    entry: dict[str, Any]
    costs: tuple[CostRow, ...]
    others: tuple[str, ...]
    """Other sites that serve it."""
    book: Book
    cups: tuple[BenchCup, ...]
    """What stands in the cup, size by size; none for a prep."""
    batch: BatchYield | None = None
    """What a batch yields; none for a drink."""


def show(source: Source, id: str, site: str | None = None, asked: WhatIf = AS_SPECIFIED) -> Shown:
    """The entry of a drink or prep at a site (the first that has it), compiled from the files on disk.

    `asked`: what if it were built otherwise; the entry stays the spec's, the cups show both.
    """
    book = loaded_book(source)
    item = item_of(book, id)
    having = [s for s in sorted(book.sites.values(), key=lambda s: s.id) if item in items_at(book, s)]
    if not having:
        raise Refused(f"no site of this book has {id}", "Add a site, or see not_served and markets.")
    chosen = next((s for s in having if s.id == site), None) if site else having[0]
    if chosen is None:
        raise NotFound(f"{site} does not have {id}", "Sites that have it: " + ", ".join(s.id for s in having))
    try:
        entry = compile_entry(Memo(book), profile_of(book, chosen), item)
    except (ValueError, KeyError) as error:
        raise Refused(f"{id} is not ready to be shown: {error}", "Run specctl check for what is wrong.") from None
    drink = book.drinks.get(item.removeprefix("drink/")) if item.startswith("drink/") else None
    if drink is None and not asked.is_plain:
        raise Usage(f"{id} is a prep: --with, --ice and --at are about a cup", "Name a drink.")
    cups = bench(book, drink, chosen, asked) if drink is not None else ()
    others = tuple(s.id for s in having if s != chosen)
    return Shown(item, chosen, entry, _costs(book, item, entry), others, book, cups, _batch(book, item, chosen))


def _batch(book: Book, item: str, site: Site) -> BatchYield | None:
    prep = book.preps.get(item.removeprefix("prep/")) if item.startswith("prep/") else None
    return None if prep is None else batch_yield(Larder(book, site.ice), prep, book.served_at(site))


def item_of(book: Book, id: str) -> str:
    """`drink/<id>` or `prep/<id>` for an id or such a path."""
    kind, _, rest = id.partition("/")
    if (rest and kind == "drink" and rest in book.drinks) or (not rest and id in book.drinks):
        return f"drink/{rest or id}"
    if (rest and kind == "prep" and rest in book.preps) or (not rest and id in book.preps):
        return f"prep/{rest or id}"
    close = difflib.get_close_matches(rest or id, [*book.drinks, *book.preps], 3)
    raise NotFound(
        f"there is no drink or prep {id}", f"Did you mean {', '.join(close)}?" if close else "See the folders drinks/ and preps/."
    )


def _costs(book: Book, item: str, entry: dict[str, Any]) -> tuple[CostRow, ...]:
    drink = book.drinks.get(item.removeprefix("drink/")) if item.startswith("drink/") else None
    if drink is None:
        return ()
    rows = []
    for franchise, prices in sorted(book.price_books.items()):
        sites = sorted(s.id for s in book.sites_of(franchise) if drink in book.served_at(s))
        if not sites:
            continue
        site = book.sites[sites[0]]
        for size in drink.sizes:
            filled = {
                path: Decimal(line["grams"])
                for (at, choice, path), line in lines_in(entry).items()
                if at == size and not choice and line["rule"] and line["grams"]
            }
            cost = cup_cost(book, prices, drink, size, terms=Terms(filled, site.stocks, site.market))
            menu = prices.menu.get(drink.id, {}).get(size)
            left = margin(cost, menu, book.markets[site.market]).margin if menu is not None else None
            rows.append(CostRow(franchise, size, prices.currency, cost.total, menu, left, tuple(str(m) for m in cost.missing)))
    return tuple(rows)


def equivalents(shown: Shown, franchise: str | None = None) -> list[dict[str, object]]:
    """What its stand-ins change, where the book allows them for this drink and the site's market;
    costs at one franchise's prices where one is named."""
    drink = shown.book.drinks.get(shown.item.removeprefix("drink/")) if shown.item.startswith("drink/") else None
    return [] if drink is None else [swap_json(s) for s in swaps_of(shown.book, drink, shown.site.market, franchise)]
