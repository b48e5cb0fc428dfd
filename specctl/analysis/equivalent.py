"""One thing standing in for another, at a stated mass ratio: what differs.

Promises: differences of solids, sugars, water, density, allergens and cost for
every drink and market whose book allows the stand-in, and for no other. What is
not stated is None, never zero; an allergen that is only unknown is told apart
from one that is brought. A stand-in for itself, and one that brings an allergen
it was not allowed to, are findings.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from specctl.analysis.allergens import ABSENT, CONTAINS, MAY_CONTAIN, UNKNOWN, AllergenRow, facts_of
from specctl.analysis.build import STANDARD, Variant, allowed_in, build_lines, scaled, variants
from specctl.analysis.cost import unit_cost
from specctl.analysis.density import EXACT, Item
from specctl.analysis.dose import poured_density
from specctl.domain.amount import Grams, centigrams, plain
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import ALL_SIZES, Drink, Line, Prep, Substitute
from specctl.problem import Problem

PARTS = ("solids", "sugars", "water", "fat", "protein")
_WEAK_FIRST = (ABSENT, UNKNOWN, MAY_CONTAIN, CONTAINS)


@dataclass(frozen=True, slots=True)
class Side:
    """So many grams of one of the two, and what is in them in grams; None: not stated."""

    item: str
    name: str
    grams: Decimal
    parts: dict[str, Decimal | None]
    density: Decimal | None


@dataclass(frozen=True, slots=True)
class Cost:
    """What the two cost at one franchise's prices; None where a price is missing."""

    franchise: str
    currency: str
    of: Decimal | None
    by: Decimal | None


@dataclass(frozen=True, slots=True)
class Swap:
    """A stand-in in one size of one drink in one market; `choice` "" or the choice that uses the original.

    `brings` and `loses`: (substance, status without, status with), by substance.
    """

    key: str
    size: str
    choice: str
    market: str
    ratio: Decimal
    of: Side
    by: Side
    brings: tuple[tuple[str, str, str], ...]
    loses: tuple[tuple[str, str, str], ...]
    costs: tuple[Cost, ...]


def swaps_of(book: Book, drink: Drink, market: str, franchise: str | None = None) -> list[Swap]:
    """Every stand-in a drink allows in a market, size by size, in the standard build and in every
    choice that uses another amount of the original; builds without it are left out."""
    found = []
    for stand_in in drink.substitutes.values():
        of, by = book.item(stand_in.of), book.item(stand_in.by)
        if not allowed_in(stand_in, market) or of is None or by is None or market not in book.markets:
            continue
        gains, losses = _moved(book, stand_in, market)
        for size, choice, grams in _uses(book, drink, stand_in.of):
            other = scaled(Grams(grams), stand_in.ratio)
            assert isinstance(other, Grams)
            costs = tuple(_costs(book, (of.id, grams), (by.id, other.value), franchise))
            sides = _side(of, grams), _side(by, other.value)
            found.append(Swap(stand_in.key, size, choice, market, stand_in.ratio, *sides, gains, losses, costs))
    return found


def _uses(book: Book, drink: Drink, use: str) -> Iterator[tuple[str, str, Decimal]]:
    """(size, choice's name, grams) of a thing in every build; a choice that leaves the amount alone is not repeated."""
    for size in drink.sizes:
        standard = _grams_of(book, drink, (size, STANDARD), use)
        if standard:
            yield size, "", standard
        for variant in variants(drink):
            if variant.is_standard or variant.substitute is not None:
                continue
            grams = _grams_of(book, drink, (size, variant), use)
            if grams and grams != standard:
                yield size, variant.name, grams


def _grams_of(book: Book, drink: Drink, build: tuple[str, Variant], use: str) -> Decimal:
    lines = build_lines(book, drink, *build).values()
    return sum((x.amount.value for x in lines if x.use == use and isinstance(x.amount, Grams)), Decimal(0))


def check_equivalents(book: Book) -> list[Problem]:
    """Stand-ins for themselves, and stand-ins that bring an allergen they may not."""
    problems = []
    for _, drink in sorted(book.drinks.items()):
        for stand_in in drink.substitutes.values():
            if stand_in.of == stand_in.by:
                problems.append(
                    Problem(
                        "substitute-self", stand_in.place, f"{stand_in.key} of '{drink.name}' stands in for itself",
                        "Name another ingredient under with, or remove the stand-in.",
                    )  # fmt: skip
                )
            elif book.item(stand_in.of) is not None and book.item(stand_in.by) is not None:
                problems += _brought(book, drink, stand_in)
    return problems


def _brought(book: Book, drink: Drink, stand_in: Substitute) -> Iterator[Problem]:
    """What a stand-in brings beyond what it says it may; where it says nothing, claims and the
    allergen row of the stand-in speak (`claims`, `allergens`)."""
    if stand_in.brings is None:
        return
    told: set[str] = set()
    for market in sorted(book.markets):
        if not allowed_in(stand_in, market) or not drink.sold_in(market) or book.markets[market].allergen_list not in book.lists:
            continue
        for substance, _, status in _moved(book, stand_in, market)[0]:
            if substance in told or substance in stand_in.brings or status not in (CONTAINS, MAY_CONTAIN):
                continue
            told.add(substance)
            yield Problem(
                "substitute-allergen",
                stand_in.place,
                f"{stand_in.by} in place of {stand_in.of} brings {substance} ({status}) into '{drink.name}', "
                "which it says it may not",
                f"Do not allow the stand-in here, or write {substance} under brings.",
            )


def _moved(
    book: Book, stand_in: Substitute, market: str
) -> tuple[tuple[tuple[str, str, str], ...], tuple[tuple[str, str, str], ...]]:
    """What the stand-in has and the original has not, and the other way round: the one against
    the other, for a drink may use the original in a choice alone."""
    listed = book.lists[book.markets[market].allergen_list]
    before, after = (facts_of(book, _alone(use), listed) for use in (stand_in.of, stand_in.by))
    moved = [(s, before.status(s), after.status(s)) for s in sorted(_named(before) | _named(after))]
    gains = tuple(m for m in moved if _WEAK_FIRST.index(m[2]) > _WEAK_FIRST.index(m[1]))
    return gains, tuple(m for m in moved if _WEAK_FIRST.index(m[2]) < _WEAK_FIRST.index(m[1]))


def _alone(use: str) -> Prep:
    line = Line(key="it", use=use, amounts={ALL_SIZES: Grams(Decimal(1))})
    return Prep(id="alone", name="alone", lines={"it": line}, yields=Decimal(1), keep="at-once")


def _named(row: AllergenRow) -> set[str]:
    return {fact.substance for facts in (row.contains, row.may_contain, row.unknown) for fact in facts}


def _side(item: Item, grams: Decimal) -> Side:
    held = item.composition if isinstance(item, Ingredient) else {}
    shares = {part: held.get(part) for part in PARTS}
    shares["solids"] = 100 - held["water"] if "water" in held else None
    parts = {part: None if share is None else centigrams(grams * share / 100) for part, share in shares.items()}
    density = poured_density(item)
    return Side(item.id, item.name, grams, parts, density.value if density is not None else None)


def _costs(book: Book, of: tuple[str, Decimal], by: tuple[str, Decimal], franchise: str | None) -> Iterator[Cost]:
    for id, prices in sorted(book.price_books.items()):
        if franchise in (None, id):
            yield Cost(id, prices.currency, *(_cost(book, id, *each) for each in (of, by)))


def _cost(book: Book, franchise: str, use: str, grams: Decimal) -> Decimal | None:
    per_gram = unit_cost(book, book.price_books[franchise], use).per_gram
    return None if per_gram is None else EXACT.multiply(per_gram, grams).quantize(Decimal("0.0001"))


def swap_json(swap: Swap) -> dict[str, object]:
    """A stand-in as plain values: grams, and differences `with less without`; None: not stated."""

    def less(one: Decimal | None, other: Decimal | None) -> str | None:
        return None if one is None or other is None else plain(other - one)

    return {
        "key": swap.key,
        "size": swap.size,
        "choice": swap.choice,
        "market": swap.market,
        "ratio": plain(swap.ratio),
        "for": {"id": swap.of.item, "name": swap.of.name, "grams": plain(swap.of.grams)},
        "with": {"id": swap.by.item, "name": swap.by.name, "grams": plain(swap.by.grams)},
        "difference_g": {part: less(swap.of.parts[part], swap.by.parts[part]) for part in PARTS},
        "solids_g": [None if s is None else plain(s) for s in (swap.of.parts["solids"], swap.by.parts["solids"])],
        "density": [None if s is None else plain(s) for s in (swap.of.density, swap.by.density)],
        "brings": [{"substance": s, "without": one, "with": other} for s, one, other in swap.brings],
        "loses": [{"substance": s, "without": one, "with": other} for s, one, other in swap.loses],
        "costs": [
            {"franchise": c.franchise, "currency": c.currency, "difference": less(c.of, c.by)} for c in swap.costs
        ],
    }
