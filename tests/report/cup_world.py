"""The demo book before and after an edit, and what the edit does in the cups, without git."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache

from make_impact import rich

from specctl.change.compare import Pair
from specctl.change.cup_change import CupChange
from specctl.change.cup_compare import cup_changes
from specctl.change.entry import compile_entry
from specctl.change.impact import Impact
from specctl.change.memo import Memo, profile_of
from specctl.codec.load import load
from specctl.domain.book import Book
from specctl.resources import demo_book


@cache
def files() -> dict[str, bytes]:
    root = demo_book()
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}


def edited(path: str, *changes: tuple[str, str]) -> Book:
    text = files()[path].decode()
    for old, new in changes:
        assert text.count(old) >= 1, old
        text = text.replace(old, new)
    book = load({**files(), path: text.encode()}).book
    assert book is not None
    return book


@cache
def demo() -> Book:
    book = load(files()).book
    assert book is not None
    return book


def pairs(before: Book, after: Book, drink: str, sites: Iterable[str]) -> tuple[Pair, ...]:
    """One pair a site, as if no two sites shared an entry."""
    item = f"drink/{drink}"
    return tuple(
        Pair(
            item,
            compile_entry(Memo(before), profile_of(before, before.sites[site]), item),
            compile_entry(Memo(after), profile_of(after, after.sites[site]), item),
            (site,),
        )
        for site in sites
    )


def cups(after: Book, drink: str, sites: Iterable[str] = ("harbour-row",), before: Book | None = None) -> tuple[CupChange, ...]:
    was = before or demo()
    return cup_changes(was, after, pairs(was, after, drink, sites))


def impact_with(found: tuple[CupChange, ...]) -> Impact:
    return replace(rich(), cups=found)
