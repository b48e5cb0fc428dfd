"""Allergens that leave a declaration: is it borne out, and does anything that changes explain it.

Promises: a removal without a word of evidence is named, and so is one of an item
of which nothing changes: no ingredient, recipe, site, market or list that the
item rests on. Whether the evidence is good is for the people who sign to say.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from specctl.analysis.ways import ingredients_in, preps_in
from specctl.change.entry import uses_of
from specctl.change.impact import AllergenChange
from specctl.domain.book import Book
from specctl.domain.recipe import Drink, Prep

_ANY = ("drinks/", "preps/", "ingredients/")
"""What shared equipment carries over may have come from anything made at the site."""
SETTINGS = "book.yaml"


def unexplained(
    changes: Iterable[AllergenChange], before: Book, after: Book, files: Collection[str]
) -> tuple[AllergenChange, ...]:
    """Removals of items of which no file in `files` (those with changed facts) is a part."""
    changed = frozenset(files)
    return tuple(c for c in changes if c.way == "down" and not _explained(c, before, after, changed))


def _explained(change: AllergenChange, before: Book, after: Book, changed: frozenset[str]) -> bool:
    if any(path.startswith("shared ") for path in change.paths) and any(f.startswith(_ANY) for f in changed):
        return True
    return not changed.isdisjoint({SETTINGS, *_rests_on(change, before), *_rests_on(change, after)})


def _rests_on(change: AllergenChange, book: Book) -> Iterator[str]:
    """Files of everything an item's row is made from, in one book."""
    kind, _, id = change.item.partition("/")
    recipe: Drink | Prep | None = (book.drinks if kind == "drink" else book.preps).get(id)
    yield f"{kind}s/{id}.yaml"
    yield f"markets/{change.market}.yaml"
    market = book.markets.get(change.market)
    if market is not None:
        yield f"lists/{market.allergen_list}.yaml"
    used = set(uses_of(recipe)) if recipe is not None else set()
    for site_id in change.sites:
        yield f"sites/{site_id}.yaml"
        site = book.sites.get(site_id)
        used |= set(site.stocks.values()) if site is not None else set()
    for use in used:
        yield from (f"preps/{prep}.yaml" for prep in preps_in(book, use))
        for ingredient in ingredients_in(book, use):
            yield f"ingredients/{ingredient}.yaml"
