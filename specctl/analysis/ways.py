"""Every way from a line down to the ingredients it brings in.

Promises: every ingredient reachable through preps of preps is named, each with
at least one way; rings of preps end where they close; the work is bounded.
All ways are listed while there are few of them. A recipe with more ways than
`MOST_WAYS` (preps that fan out again and again) still names every ingredient
line, by its shortest way.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Mapping

from specctl.domain.book import Book
from specctl.domain.recipe import Prep

MOST_WAYS = 256
ARROW = " > "


@dataclass(frozen=True, slots=True)
class Way:
    """From the item a line uses to one ingredient; `parts` are the words between."""

    ingredient: str
    parts: tuple[str, ...]

    def text(self, start: str) -> str:
        """`layer/line > prep/.. > line > ingredient/..`"""
        return ARROW.join((start, *self.parts))


def ways(book: Book, use: str, stocks: Mapping[str, str] | None = None) -> list[Way]:
    """All ways from `use` down to ingredients, in build order.

    An id that names nothing counts as an ingredient nothing is known about.
    With `stocks` (ingredient to stand-in), a site's stand-in is followed beside
    the original, never instead of it.
    """
    listed = _all_ways(book, use, stocks or {})
    return _shortest_ways(book, use, stocks or {}) if listed is None else listed


def preps_in(book: Book, use: str) -> frozenset[str]:
    """Ids of the preps reachable from `use`, itself included where it is one."""
    seen: set[str] = set()
    waiting = [use]
    while waiting:
        prep = book.preps.get(waiting.pop())
        if prep is not None and prep.id not in seen:
            seen.add(prep.id)
            waiting.extend(line.use for line in prep.all_lines())
    return frozenset(seen)


def ingredients_in(book: Book, use: str) -> frozenset[str]:
    """Ids of the ingredients reachable from `use`, itself included where it is one."""
    preps = preps_in(book, use)
    used = {line.use for id in preps for line in book.preps[id].all_lines()} | {use}
    return frozenset(used - preps)


def with_stand_ins(use: str, stocks: Mapping[str, str]) -> list[str]:
    """`use` and what a site stocks for it, and for that, each once."""
    chain = [use]
    while (by := stocks.get(chain[-1])) is not None and by not in chain:
        chain.append(by)
    return chain


def _prep(book: Book, id: str) -> Prep | None:
    return None if id in book.ingredients else book.preps.get(id)


def _all_ways(book: Book, use: str, stocks: Mapping[str, str]) -> list[Way] | None:
    """Depth first in build order; a way never enters a prep twice. None: too many."""
    listed: list[Way] = []
    waiting: list[tuple[str, tuple[str, ...], frozenset[str]]] = [
        (id, (), frozenset()) for id in reversed(with_stand_ins(use, stocks))
    ]
    entered = 0
    while waiting:
        id, before, above = waiting.pop()
        parts = (*before, book.path_of(id))
        prep = _prep(book, id)
        if prep is None:
            listed.append(Way(id, parts))
        elif id not in above:
            entered += 1
            for line in reversed(list(prep.all_lines())):
                for inner in reversed(with_stand_ins(line.use, stocks)):
                    waiting.append((inner, (*parts, line.key), above | {id}))
        if len(listed) > MOST_WAYS or entered > MOST_WAYS:
            return None
    return listed


def _shortest_ways(book: Book, use: str, stocks: Mapping[str, str]) -> list[Way]:
    """Breadth first; each prep is entered once, so each of its lines is named once."""
    waiting: deque[tuple[str, tuple[str, ...]]] = deque(
        (id, ()) for id in with_stand_ins(use, stocks)
    )
    listed: list[Way] = []
    entered: set[str] = set()
    while waiting:
        id, before = waiting.popleft()
        parts = (*before, book.path_of(id))
        prep = _prep(book, id)
        if prep is None:
            listed.append(Way(id, parts))
        elif id not in entered:
            entered.add(id)
            for line in prep.all_lines():
                for inner in with_stand_ins(line.use, stocks):
                    waiting.append((inner, (*parts, line.key)))
    return listed
