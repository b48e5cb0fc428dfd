"""What compiling one book has already worked out.

Sites with the same profile share entries; lines measured with the same tools,
rows of allergens and filled cups are worked out once and asked for again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import Any

from specctl.analysis import serving
from specctl.analysis.allergens import AllergenRow, facts_of
from specctl.analysis.changeover import cleared_at
from specctl.analysis.contact import Kitchen, Shared
from specctl.analysis.build import STANDARD, BuiltLine, Variant, build_lines, choice_of, stocked
from specctl.analysis.filling import Filled, fill_lines
from specctl.analysis.measuring import Bench, Measure, measure
from specctl.domain.amount import Amount
from specctl.domain.book import Book
from specctl.domain.place import Site
from specctl.domain.recipe import Drink, Prep


@dataclass(frozen=True, slots=True)
class Profile:
    """What makes sites differ in what they are told. Equal profiles share entries."""

    market: str
    tools: tuple[str, ...]
    checks: tuple[str, ...]
    stocks: tuple[tuple[str, str], ...]
    kitchen: tuple[Any, ...] = ()
    """What bears on cross-contact: drinks served, cleaning rules, confirmed clear-outs."""
    example: str = field(default="", compare=False)
    """One site of this profile."""


def profile_of(book: Book, site: Site) -> Profile:
    checks = tuple(sorted(c.id for c in book.scoop_checks.values() if c.site == site.id))
    return Profile(
        site.market, tuple(sorted(site.tools)), checks, tuple(sorted(site.stocks.items())), _kitchen_of(book, site), site.id
    )


def _kitchen_of(book: Book, site: Site) -> tuple[Any, ...]:
    rules = tuple((id, r.method, r.document, r.dated) for id, r in sorted(site.cleaning.items()))
    return tuple(drink.id for drink in book.served_at(site)), rules, tuple(sorted(cleared_at(book, site)))


def bench_of(book: Book, profile: Profile) -> Bench:
    """The tools and scoop checks of a profile, as the solver takes them."""
    return serving.bench_of(book, book.sites[profile.example])


class Memo:
    """What compiling one book has already worked out, by all it depends on."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._benches: dict[Profile, Bench] = {}
        self._measures: dict[tuple[Any, ...], Measure] = {}
        self._rows: dict[tuple[Any, ...], AllergenRow] = {}
        self._kitchens: dict[tuple[Any, ...], Kitchen] = {}
        self._filled: dict[tuple[Any, ...], dict[str, Filled]] = {}

    def bench(self, profile: Profile) -> Bench:
        if profile not in self._benches:
            self._benches[profile] = bench_of(self.book, profile)
        return self._benches[profile]

    def measure(self, amount: Amount, line: BuiltLine, profile: Profile) -> Measure:
        item = self.book.item(line.use)
        if item is None:
            raise ValueError(f"{line.path} uses {line.use}, which is not in the book")
        bench = self.bench(profile)
        mine = tuple(c.id for key, c in sorted(bench.checks.items()) if key[0] == line.use)
        key = (amount, line.tolerance, line.use, profile.tools, mine)
        if key not in self._measures:
            self._measures[key] = measure(amount, line.tolerance, item, bench)
        return self._measures[key]

    def allergens(self, recipe: Drink | Prep, list_id: str, variant: Variant, profile: Profile) -> AllergenRow:
        """The row of a variant at a site of this profile, what shared equipment carries over joined in."""
        key = (type(recipe), recipe.id, list_id, variant, profile.market, profile.stocks, profile.kitchen)
        if key not in self._rows:
            self._rows[key] = self.kitchen(list_id, profile).row(recipe, variant)
        return self._rows[key]

    def shared(self, recipe: Drink | Prep, list_id: str, profile: Profile) -> tuple[Shared, ...]:
        """Equipment an item shares at a site of this profile."""
        return self.kitchen(list_id, profile).shared(recipe)

    def kitchen(self, list_id: str, profile: Profile) -> Kitchen:
        key = (list_id, profile.market, profile.stocks, profile.kitchen)
        if key not in self._kitchens:
            site = self.book.sites[profile.example]
            self._kitchens[key] = Kitchen(
                self.book, site, self.book.lists[list_id], partial(self._own_row, list_id, site, cleared_at(self.book, site))
            )
        return self._kitchens[key]

    def _own_row(
        self, list_id: str, site: Site, cleared: frozenset[str], recipe: Drink | Prep, variant: Variant
    ) -> AllergenRow:
        key = (type(recipe), recipe.id, list_id, variant, tuple(sorted(site.stocks.items())), cleared)
        if key not in self._rows:
            self._rows[key] = facts_of(self.book, recipe, self.book.lists[list_id], variant, site.stocks, cleared)
        return self._rows[key]

    def filled(self, recipe: Drink | Prep, size: str, variant: Variant, profile: Profile) -> dict[str, Filled]:
        """Lines of a variant with every rule turned into grams where the cup is known."""
        key = (type(recipe), recipe.id, size, variant, profile.market, profile.stocks)
        if key not in self._filled:
            self._filled[key] = _filled(self.book, recipe, size, variant, profile)
        return self._filled[key]


def _built(
    book: Book, recipe: Drink | Prep, size: str, variant: Variant, profile: Profile
) -> dict[str, BuiltLine]:
    lines = build_lines(book, recipe, size, variant)
    if isinstance(recipe, Drink):
        lines = stocked(lines, recipe.substitutes.values(), dict(profile.stocks), profile.market)
    return lines


def _filled(
    book: Book, recipe: Drink | Prep, size: str, variant: Variant, profile: Profile
) -> dict[str, Filled]:
    lines = _built(book, recipe, size, variant, profile)
    if isinstance(recipe, Prep):
        return fill_lines(book, lines, None)
    vessel = book.vessels.get(recipe.sizes[size].vessel)
    if variant.is_standard or variant.substitute:
        return fill_lines(book, lines, vessel)
    top_up = choice_of(recipe, variant).top_up
    return fill_lines(book, lines, vessel, _built(book, recipe, size, STANDARD, profile), top_up)
