"""The verb `sheet`: what every drink of a site or a market brings, on one day.

From the book on disk, compiled with the allergen list of that day; or, for one
site, from the entries that were in force, as stored. A market's sheet is the
union over its sites.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

from specctl.actions.asking import ask
from specctl.actions.ledger import Ledger
from specctl.actions.source import Source
from specctl.actions.starts import stamp
from specctl.actions.tracing import loaded_book
from specctl.analysis.nourishing import Serving, servings_of
from specctl.change.compiled import items_at
from specctl.change.entry import compile_entry
from specctl.change.memo import Memo, profile_of
from specctl.change.notice import reached
from specctl.change.standing_in import STATUSES, InPlace, told
from specctl.change.union import union_of
from specctl.domain.book import Book
from specctl.domain.place import Market, Site
from specctl.errors import Found, NotFound, Refused
from specctl.problem import errors_of


Told = tuple[tuple[str, ...], tuple[Serving, ...]]
"""Names of sites, and every size of every build as they all serve it."""


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """The entries of a place on a day. `releases` None: from the book on disk."""

    book: Book
    market: Market
    sites: tuple[Site, ...]
    day: date
    entries: tuple[Mapping[str, Any], ...]
    releases: tuple[int, ...] | None
    servings: Mapping[str, tuple[Told, ...]]
    """By `drink/<id>`, of the book on disk; none of what was in force."""

    @property
    def site(self) -> Site | None:
        return self.sites[0] if len(self.sites) == 1 else None


def sheet_of_site(source: Source, id: str, day: date, released: bool = False) -> SheetFacts:
    """The sheet of one site; `released`: as it was in force when that day opened."""
    book = loaded_book(source) if released else _whole_book(source)
    site = book.sites.get(id)
    if site is None:
        raise NotFound(f"there is no site {id}", _near(id, list(book.sites)))
    market = _market(book, site.market)
    if released:
        entries, releases = _in_force(source, book, site, day)
        entries = _drinks(_as_told(source, book, site, day, entries))
        return SheetFacts(book, market, (site,), day, entries, releases, {})
    dated = on_day(book, day)
    return SheetFacts(dated, market, (site,), day, _told_at(source, dated, site, day), None, _servings(dated, (site,)))


def sheet_of_market(source: Source, id: str, day: date) -> SheetFacts:
    """The union over every site of a market."""
    book = _whole_book(source)
    market = _market(book, id)
    dated = on_day(book, day)
    sites = tuple(site for _, site in sorted(dated.sites.items()) if site.market == id)
    if not sites:
        raise Refused(f"no site of this book is in {market.name}", "A sheet needs a site: equipment is shared at one.")
    by_item: dict[str, dict[str, Mapping[str, Any]]] = {}
    for site in sites:
        for entry in _told_at(source, dated, site, day):
            by_item.setdefault(entry["item"], {})[site.name] = entry
    entries = tuple(union_of(told) for told in by_item.values())
    return SheetFacts(dated, market, sites, day, entries, None, _servings(dated, sites))


def on_day(book: Book, day: date) -> Book:
    """The book with each market's list of that day. Raises Refused for a list that is not there."""
    markets = {}
    for id, market in book.markets.items():
        list_id = market.list_on(day)
        if list_id not in book.lists:
            raise Refused(f"{market.name} has no allergen list {list_id}", "Run specctl check for what is wrong.")
        markets[id] = replace(market, allergen_list=list_id)
    return replace(book, markets=markets)


def _whole_book(source: Source) -> Book:
    """The book on disk with every record read: what is left out could bring an allergen.

    Raises Found where a record cannot be read.
    """
    loaded = source.load()
    wrong = errors_of(list(loaded.problems))
    if loaded.book is None or wrong:
        raise Found("this book has records that cannot be read, and a sheet without them could miss an allergen", wrong)
    return loaded.book


def _compiled(book: Book, site: Site) -> tuple[Mapping[str, Any], ...]:
    memo, profile = Memo(book), profile_of(book, site)
    try:
        return tuple(compile_entry(memo, profile, item) for item in items_at(book, site))
    except (ValueError, KeyError) as error:
        raise Refused(f"{site.name} has a drink that is not ready: {error}", "Run specctl check for what is wrong.") from None


def _servings(book: Book, sites: tuple[Site, ...]) -> dict[str, tuple[Told, ...]]:
    """Worked out once for sites that pour alike: what they stock and their ice are all that tells them apart."""
    alike: dict[str, dict[tuple[object, ...], list[Site]]] = {}
    for site in sites:
        for drink in book.served_at(site):
            pours = (site.market, site.ice, tuple(sorted(site.stocks.items())))
            alike.setdefault(drink.id, {}).setdefault(pours, []).append(site)
    return {
        f"drink/{id}": tuple(
            (tuple(s.name for s in same), tuple(servings_of(book, book.drinks[id], same[0]))) for same in groups.values()
        )
        for id, groups in alike.items()
    }


def _in_force(
    source: Source, book: Book, site: Site, day: date
) -> tuple[tuple[Mapping[str, Any], ...], tuple[int, ...]]:
    """Stored entries in force through the day: at the last minute before the next one begins."""
    answers, ledger = ask(source, site.id, _opens(book, site, day + timedelta(days=1)) - timedelta(minutes=1))
    shown = [a for a in answers if a.entry]
    stored = ledger.entries(a.entry for a in shown if a.entry)
    releases = {a.release for a in shown if a.item.startswith("drink/")}
    return tuple(stored[a.entry] for a in shown if a.entry), tuple(sorted(releases))


def _opens(book: Book, site: Site, day: date) -> datetime:
    starts = time.fromisoformat(site.day_starts or book.settings.day_starts)
    return datetime.combine(day, starts, ZoneInfo(site.time_zone))


def _drinks(entries: Iterable[Mapping[str, Any]]) -> tuple[Mapping[str, Any], ...]:
    return tuple(entry for entry in entries if entry["item"].startswith("drink/"))


def _told_at(source: Source, book: Book, site: Site, day: date) -> tuple[Mapping[str, Any], ...]:
    return _drinks(_as_told(source, book, site, day, _compiled(book, site)))


def _as_told(
    source: Source, book: Book, site: Site, day: date, entries: tuple[Mapping[str, Any], ...]
) -> tuple[Mapping[str, Any], ...]:
    """With what stands in for something at any minute of the day: a sheet that left it out could miss an allergen."""
    main = source.repository.main_tip() if source.repository is not None else None
    if source.repository is None or main is None:
        return entries
    from specctl.actions.deviating import at_site

    begins, ends = (stamp(_opens(book, site, each).astimezone(timezone.utc)) for each in (day, day + timedelta(days=1)))
    standing = []
    for row in at_site(Ledger(source.repository, main), site.id):
        if row["said"] < ends and begins < row["ends"]:
            facts = tuple((status, *known) for status in STATUSES for known in row["facts"][status])
            reach = tuple((r.item, r.name, r.choices) for r in reached(row["of"], entries))
            standing.append(InPlace(row["name"], row["of"].partition("/")[2].replace("-", " "), facts, reach))
    return tuple(told({entry["item"]: entry for entry in entries}, standing).values())


def _market(book: Book, id: str) -> Market:
    market = book.markets.get(id)
    if market is None:
        raise NotFound(f"there is no market {id}", _near(id, list(book.markets)))
    return market


def _near(id: str, known: list[str]) -> str:
    close = difflib.get_close_matches(id, known, 3)
    return f"Did you mean {', '.join(close)}?" if close else "There is: " + ", ".join(sorted(known))
