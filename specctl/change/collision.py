"""Two open proposals that would each pass and together fail, as data and in words of the trade.

What is judged here needs no repository: amounts that both move the same way,
findings that only the two together bring. Who merges what is an action; the
words for a conflict are in `dispute`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from specctl.analysis.basket import GRAM, Kitchen
from specctl.analysis.build import BATCH
from specctl.domain.book import Book
from specctl.problem import Problem

CONFLICT = "conflict"
DOUBLE = "double-amount"
TOGETHER = "together-unsound"
CROSSING = "crossing-starts"
COST = "cost-together"
NUMBER = "same-number"

Totals = Mapping[tuple[str, str, str], Fraction]


@dataclass(frozen=True, slots=True, order=True)
class Collision:
    """Two proposals, what kind of failing together, where, and the words for it."""

    one: str
    two: str
    kind: str
    where: str
    what: str

    def as_json(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}


def totals(book: Book) -> dict[tuple[str, str, str], Fraction]:
    """(item, size, ingredient) to grams in the standard build, preps taken apart; rules like `top to` left out."""
    kitchen = Kitchen(book)
    found: dict[tuple[str, str, str], Fraction] = {}
    recipes = [(f"drink/{d.id}", d, tuple(d.sizes)) for d in book.drinks.values()]
    recipes += [(f"prep/{p.id}", p, (BATCH,)) for p in book.preps.values()]  # type: ignore[list-item]
    for item, recipe, sizes in recipes:
        for size in sizes:
            for line in recipe.all_lines():
                for (ingredient, unit), grams in kitchen.basket(line.use, line.amount(size)).amounts.items():
                    key = (item, size, ingredient)
                    if unit == GRAM:
                        found[key] = found.get(key, Fraction(0)) + grams
    return found


def doubled(main: Totals, one: Totals, two: Totals, both: Totals) -> Iterator[tuple[str, str, str, Fraction, Fraction]]:
    """(item, size, ingredient, grams now, grams with both) where both move it one way and together further than either."""
    nothing = Fraction(0)
    for key in sorted(both.keys() | main.keys()):
        now = main.get(key, nothing)
        a, b, ab = (side.get(key, nothing) - now for side in (one, two, both))
        if a * b > 0 and abs(ab) > max(abs(a), abs(b)):
            yield (*key, now, now + ab)


def only_together(main: Iterable[Problem], one: Iterable[Problem], two: Iterable[Problem], both: Iterable[Problem]) -> Iterator[Problem]:
    """Findings of the two merged that neither brings alone, by code and file."""
    counts = [Counter((p.code, p.place.file) for p in side) for side in (main, one, two)]
    known = {p.what for side in (one, two) for p in side}
    left: Counter[tuple[str, str]] = Counter()
    for problem in both:
        key = (problem.code, problem.place.file)
        left[key] += 1
        if problem.what not in known and left[key] > counts[1][key] + counts[2][key] - counts[0][key]:
            yield problem
