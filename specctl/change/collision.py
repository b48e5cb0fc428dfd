"""Two open proposals that would each pass and together fail, as data and in words of the trade.

What is judged here needs no repository: conflicts between two edits, amounts
that both move the same way, starts that would cross, findings that only the
two together bring. Who merges what is an action.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from specctl.analysis.basket import GRAM, Kitchen
from specctl.analysis.build import BATCH
from specctl.change.facts import MAP, ORDER, SET, Value
from specctl.change.merge import Conflict
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


def conflict_between(conflict: Conflict, book: Book | None, here: str, there: str) -> str:
    """One conflict in trade words: what both move, and to what. `here` has `ours`, `there` has `theirs`."""
    name = record_name(conflict.file, book)
    if not conflict.path:
        return f"both change {name}, and the two texts cannot be joined by meaning"
    if conflict.base is None and conflict.path == (MAP,):
        return f"both bring in {name}, each its own"
    if conflict.path[-1] == ORDER:
        what = f"the order of {_where(conflict.path[:-1]) or 'its parts'}"
    else:
        what = _where(conflict.path)
    ours, theirs = _side(conflict.ours, here), _side(conflict.theirs, there)
    return f"both change {what} of {name}: {ours}, {theirs}"


def record_name(file: str, book: Book | None) -> str:
    """A record by its name, else by its file."""
    kind, _, rest = file.partition("/")
    held: Mapping[str, Any] = getattr(book, kind.replace("-", "_"), {}) if rest and book else {}
    found = held.get(rest.removesuffix(".yaml")) if isinstance(held, Mapping) else None
    name = getattr(found, "name", "")
    return f"{name} ({file})" if name else file


def _where(path: tuple[str, ...]) -> str:
    """layers/foam/lines/cream/amount/large as `the amount (large) of cream in foam`."""
    steps = tuple(p for p in path if p not in (MAP, SET, ORDER))
    if len(steps) >= 4 and steps[0] == "layers" and steps[2] == "lines":
        return f"{_field(steps[4:])}{steps[3]} in {steps[1]}"
    if len(steps) >= 2 and steps[0] == "lines":
        return f"{_field(steps[2:])}{steps[1]}"
    if len(steps) >= 2 and steps[0] in ("layers", "steps", "sizes", "options", "substitutes", "people", "rules", "packs", "waves"):
        return f"{_field(steps[2:])}the {steps[0].removesuffix('s')} {steps[1]}"
    if steps[:1] == ("allergens",):
        return "the allergen fact " + " ".join(steps[1:])
    return " ".join(steps)


def _field(steps: tuple[str, ...]) -> str:
    if not steps:
        return ""
    size = f" ({', '.join(steps[1:])})" if len(steps) > 1 else ""
    return f"the {steps[0]}{size} of "


def _side(value: Value | None, who: str) -> str:
    if value is None:
        return f"{who} takes it away"
    if value is True:
        return f"{who} keeps it"
    if isinstance(value, tuple):
        return f"{who} has {' > '.join(value)}"
    return f"{who} has {f'{value.normalize():f}' if isinstance(value, Decimal) else value}"


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
