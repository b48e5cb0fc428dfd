"""Rows of a change, and their one short form: sites that are told the same share a list.

A chain has thousands of sites and a handful of ways to be equipped. Written row
by row, a change of the whole menu would fill a hundred megabytes; written once
for each list of alike sites, it takes about as much room as one site's menu.
The short form is unique: the same rows always give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Row:
    """One site's entry for one item: digests before and after, None for none."""

    site: str
    item: str
    before: str | None
    after: str | None


def grouped(rows: Iterable[Row]) -> tuple[list[list[str]], list[list[Any]]]:
    """Lists of sites, sorted, and `[item, before, after, which list]`, sorted: together the rows, each once."""
    alike: dict[tuple[str, str | None, str | None], list[str]] = {}
    for row in rows:
        alike.setdefault((row.item, row.before, row.after), []).append(row.site)
    named = {key: tuple(sorted(sites)) for key, sites in alike.items()}
    lists = sorted(set(named.values()))
    place = {sites: number for number, sites in enumerate(lists)}
    keys = sorted(named, key=lambda k: (k[0], k[1] or "", k[2] or ""))
    return [list(sites) for sites in lists], [[*key, place[named[key]]] for key in keys]


def ungrouped(lists: Sequence[Sequence[str]], entries: Iterable[Sequence[Any]]) -> tuple[Row, ...]:
    """The rows again, sorted by site and item. ValueError for what `grouped` never gives."""
    found = []
    for item, before, after, number in entries:
        if type(number) is not int or not 0 <= number < len(lists):
            raise ValueError("an entry names no list of sites")
        found += [Row(site, item, before, after) for site in lists[number]]
    found.sort(key=lambda row: (row.site, row.item))
    if any((a.site, a.item) == (b.site, b.item) for a, b in zip(found, found[1:])):
        raise ValueError("one site is told one item twice")
    return tuple(found)


def entries_at(site: str, lists: Sequence[Sequence[str]], entries: Iterable[Sequence[Any]]) -> list[list[Any]]:
    """The rows of one site as `[site, item, before, after]`, by item; the others are not built."""
    here = {number for number, sites in enumerate(lists) if site in sites}
    return sorted(([site, *entry[:3]] for entry in entries if entry[3] in here), key=lambda row: str(row[1]))
