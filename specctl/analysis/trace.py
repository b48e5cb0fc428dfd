"""Where an ingredient or prep is used: one step forward, to the counter.

Promises: every prep, drink line, choice, stand-in, site and franchise an item
reaches, directly or through preps of preps. A drink counts for a site where the
site serves it; a site also counts where it stocks the item as a stand-in.

Source: Regulation (EC) No 178/2002, article 18 (one step back, one forward),
followed here inside the house from what is bought to where it is served.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable

from specctl.analysis.ways import ARROW
from specctl.domain.book import Book
from specctl.domain.recipe import Drink


@dataclass(frozen=True, slots=True)
class Use:
    """One drink and where in it the item is: line paths, then `> prep/..` if through one."""

    drink: str
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChoiceUse:
    """A choice that brings the item in: `option=choice` of a drink, and the lines."""

    drink: str
    choice: str
    name: str
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StandIn:
    """A stand-in the item takes part in, as `of` or as `by`."""

    drink: str
    key: str
    of: str
    by: str


@dataclass(frozen=True, slots=True)
class Trace:
    """Everything by id, sorted; `item` is `ingredient/<id>` or `prep/<id>`."""

    item: str
    preps: tuple[str, ...]
    drinks: tuple[Use, ...]
    options: tuple[ChoiceUse, ...]
    substitutes: tuple[StandIn, ...]
    sites: tuple[str, ...]
    franchises: tuple[str, ...]

    @property
    def is_unused(self) -> bool:
        return not (self.preps or self.drinks or self.options or self.substitutes)


def trace(book: Book, id: str) -> Trace:
    """Where `id` is used. An id the book does not know is used nowhere."""
    carriers = preps_with(book, id)
    wanted = carriers | {id}
    drinks, options, stand_ins = [], [], []
    touched: set[str] = set()
    for drink_id, drink in sorted(book.drinks.items()):
        paths = _paths(book, _lines(drink), wanted)
        if paths:
            drinks.append(Use(drink_id, paths))
            touched.add(drink_id)
        choices = _choices(book, drink, wanted)
        options.extend(choices)
        for key, stand_in in sorted(drink.substitutes.items()):
            if {stand_in.of, stand_in.by} & wanted:
                stand_ins.append(StandIn(drink_id, key, stand_in.of, stand_in.by))
                touched.add(drink_id)
        if choices:
            touched.add(drink_id)
    sites = {
        site.id
        for site in book.sites.values()
        if any(drink.id in touched for drink in book.served_at(site))
        or wanted & set(site.stocks.values())
    }
    return Trace(
        item=book.path_of(id),
        preps=tuple(sorted(carriers - {id})),
        drinks=tuple(drinks),
        options=tuple(options),
        substitutes=tuple(stand_ins),
        sites=tuple(sorted(sites)),
        franchises=tuple(sorted({book.sites[site].franchise for site in sites})),
    )


def preps_with(book: Book, id: str) -> frozenset[str]:
    """Ids of the preps that use `id`, directly or through other preps."""
    users: dict[str, set[str]] = {}
    for prep in book.preps.values():
        for line in prep.all_lines():
            users.setdefault(line.use, set()).add(prep.id)
    found: set[str] = set()
    waiting = [id]
    while waiting:
        for user in users.get(waiting.pop(), ()):
            if user not in found:
                found.add(user)
                waiting.append(user)
    return frozenset(found)


def _lines(drink: Drink) -> Iterable[tuple[str, str]]:
    for layer in drink.layers.values():
        for line in layer.lines.values():
            yield f"{layer.key}/{line.key}", line.use


def _choices(book: Book, drink: Drink, wanted: frozenset[str]) -> list[ChoiceUse]:
    found = []
    for option in drink.options.values():
        for choice in option.choices.values():
            lines = [(c.path, c.use) for c in choice.changes.values() if c.use is not None]
            paths = _paths(book, lines, wanted)
            if paths:
                name = f"{option.name}: {choice.name}"
                found.append(ChoiceUse(drink.id, f"{option.key}={choice.key}", name, paths))
    return found


def _paths(
    book: Book, lines: Iterable[tuple[str, str]], wanted: frozenset[str]
) -> tuple[str, ...]:
    return tuple(
        f"{path}{ARROW}prep/{use}" if use in book.preps else path
        for path, use in lines
        if use in wanted
    )
