"""Compiles a book: every entry of every site, each distinct one once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from specctl.analysis.ways import preps_in
from specctl.canonical import canonical, digest_of
from specctl.change.entry import compile_entry, uses_of
from specctl.change.memo import Memo, Profile, profile_of
from specctl.domain.book import Book
from specctl.domain.place import Site

DRINK = "drink/"
PREP = "prep/"


@dataclass(frozen=True, slots=True)
class Compiled:
    """Entries by digest, and the digest for each (site, item)."""

    entries: Mapping[str, dict[str, Any]]
    rows: Mapping[tuple[str, str], str]


def compile_book(book: Book) -> Compiled:
    """Every entry of every site. The book must check without errors."""
    memo = Memo(book)
    entries: dict[str, dict[str, Any]] = {}
    rows: dict[tuple[str, str], str] = {}
    done: dict[Profile, dict[str, str]] = {}
    for site in book.sites.values():
        if site.market not in book.markets:
            continue
        profile = profile_of(book, site)
        if profile not in done:
            # A profile names what is served, so its sites have the same items. It is long: hashed once a site.
            made = done[profile] = {}
            for item in items_at(book, site):
                entry = compile_entry(memo, profile, item)
                made[item] = digest_of(canonical(entry))
                entries[made[item]] = entry
        for item, name in done[profile].items():
            rows[(site.id, item)] = name
    return Compiled(entries, rows)


def items_at(book: Book, site: Site) -> list[str]:
    """`drink/<id>` and `prep/<id>` of everything a site serves or makes for it, sorted."""
    drinks = book.served_at(site)
    preps: set[str] = set()
    for drink in drinks:
        for use in uses_of(drink):
            preps |= preps_in(book, use)
    return [f"{DRINK}{d.id}" for d in drinks] + [f"{PREP}{p}" for p in sorted(preps)]
