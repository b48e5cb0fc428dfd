"""Which cups of two books differ: each distinct cup computed once, however many sites and tool sets share it.

A standard build is listed where anything in its cup differs; a choice only
where its room or a verdict on its layers does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from specctl.analysis.matter import Larder
from specctl.change.compare import Pair
from specctl.change.cup_change import CupChange
from specctl.change.cup_entry import CupMade, builds_of, grams_in, heights_in, made_of_entry
from specctl.domain.book import Book
from specctl.domain.place import SiteIce

Entry = Mapping[str, Any]


def cup_changes(before: Book, after: Book, pairs: Iterable[Pair]) -> tuple[CupChange, ...]:
    """Every cup that differs, by item, size and choice; drinks only."""
    old, new = _Maker(before), _Maker(after)
    sites: dict[tuple[Any, ...], list[str]] = {}
    found: dict[tuple[Any, ...], CupChange] = {}
    for pair in pairs:
        if not pair.item.startswith("drink/"):
            continue
        for ices, here in _by_ice(before, after, pair.sites).items():
            for change in _of_pair(old, new, pair, ices):
                key = (change.item, change.size, change.choice, id(change.before), id(change.after))
                found.setdefault(key, change)
                sites.setdefault(key, []).extend(here)
    return tuple(
        CupChange(
            each.item, each.item_name, each.size, each.size_name, each.choice, each.choice_name,
            tuple(sorted(set(sites[key]))), each.before, each.after,
        )
        for key, each in found.items()
    )


def _of_pair(old: _Maker, new: _Maker, pair: Pair, ices: tuple[SiteIce | None, SiteIce | None]) -> Iterator[CupChange]:
    was, now = _builds(pair.before), _builds(pair.after)
    for size, choice in [*now, *(key for key in was if key not in now)]:
        if choice and (pair.before is None or pair.after is None):
            continue
        first = old.made(pair.before, size, choice, ices[0]) if pair.before and (size, choice) in was else None
        second = new.made(pair.after, size, choice, ices[1]) if pair.after and (size, choice) in now else None
        either = second or first
        if either is None or (first is not None and second is not None and same_cup(first, second)):
            continue
        names = now[size, choice] if (size, choice) in now else was[size, choice]
        change = CupChange(pair.item, pair.name, size, either.size_name, choice, names, (), first, second)
        if not choice or (first and second and change.verdict_moves) or (first is None and change.is_bad):
            yield change


def same_cup(first: CupMade, second: CupMade) -> bool:
    """Whether two cups stand the same in the same vessel, whatever they are called."""
    return (first.state, first.hollow, first.lid) == (second.state, second.hollow, second.lid)


class _Maker:
    """The cups of one book, each distinct one computed once."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._larders: dict[SiteIce | None, Larder] = {}
        self._made: dict[tuple[Any, ...], CupMade | None] = {}

    def made(self, entry: Entry, size: str, choice: str, ice: SiteIce | None) -> CupMade | None:
        grams = grams_in(entry, size, choice)
        row = next(each for each in entry["sizes"] if each["key"] == size)
        names = tuple(str(each["name"]) for each in (entry, row, *row["layers"]))
        vessel = tuple(sorted(row["vessel"].items())) if row["vessel"] else None
        key = (ice, entry["item"], size, choice, tuple(grams.items()), tuple(heights_in(entry, size, choice).items()), names, vessel)
        if key not in self._made:
            larder = self._larders.setdefault(ice, Larder(self.book, ice))
            self._made[key] = made_of_entry(larder, entry, size, choice)
        return self._made[key]


def _by_ice(
    before: Book, after: Book, sites: Iterable[str]
) -> dict[tuple[SiteIce | None, SiteIce | None], list[str]]:
    found: dict[tuple[SiteIce | None, SiteIce | None], list[str]] = {}
    for site in sites:
        old, new = before.sites.get(site), after.sites.get(site)
        found.setdefault((old.ice if old else None, new.ice if new else None), []).append(site)
    return found


def _builds(entry: Entry | None) -> dict[tuple[str, str], str]:
    return {} if entry is None else {(size, choice): name for size, choice, name in builds_of(entry)}
