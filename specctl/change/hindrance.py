"""Sites that cannot follow what they are told, and what they lack."""

from __future__ import annotations

from collections.abc import Iterable

from specctl.change.compare import Pair
from specctl.change.entry_lines import Entry, lines_in
from specctl.change.impact import Hindrance
from specctl.domain.book import Book

UNFIT = ("outside", "no-tool")


def hindrances_of(pairs: Iterable[Pair], before: Book, after: Book) -> tuple[Hindrance, ...]:
    """For every touched item and site: vessels, equipment and tools that are missing."""
    found = []
    for pair in pairs:
        if pair.after is None:
            continue
        # Sites with the same equipment and vessels lack the same: each such group is looked at once a pair.
        known: dict[tuple[frozenset[str] | None, ...], tuple[list[str], set[str]]] = {}
        for site in pair.sites:
            key = (*_has(site, after), *_has(site, before))
            if key not in known:
                had = _lacks(pair.before, site, before) if pair.before is not None else set()
                known[key] = (sorted(_lacks(pair.after, site, after)), had)
            lacking, had = known[key]
            for lack in lacking:
                name = after.sites[site].name if site in after.sites else site
                found.append(Hindrance(site, name, pair.item, pair.name, lack, lack not in had))
    return tuple(sorted(found, key=lambda h: (not h.new, h.site, h.item, h.lacks)))


def _has(site: str, book: Book) -> tuple[frozenset[str] | None, frozenset[str] | None]:
    """What `_lacks` asks of a site; None where the book has none of that name."""
    found = book.sites.get(site)
    return (found.equipment, found.vessels) if found else (None, None)


def _lacks(entry: Entry, site_id: str, book: Book) -> set[str]:
    site = book.sites.get(site_id)
    if site is None:
        return set()
    lacks = {f"equipment: {e}" for e in entry["equipment"] if e not in site.equipment}
    for size in entry["sizes"]:
        vessel = size["vessel"]
        if vessel and vessel["id"] not in site.vessels:
            lacks.add(f"vessel: {vessel['name']}")
    for line in lines_in(entry).values():
        verdict = line["measure"]["verdict"]
        if verdict == "no-tool":
            lacks.add(f"a tool for {line['name']}")
        elif verdict == "outside":
            lacks.add(f"a tool that holds the tolerance for {line['name']}")
    return lacks
