"""What one serving holds: energy, nutrients, caffeine, alcohol; exact, and never more sure than its parts.

Promises: energy in kJ and in kcal are two sums with two sets of factors, never
one converted into the other. An ingredient without a value makes the total a
lower bound and is named. Per 100 ml is by the volume in the cup, melt water
counted, where that is known; there is no figure where it is not.

A composition is grams in 100 g as bought. Carbohydrate includes polyols and
not fibre, as on an EU label; where the parts add up to more than 101 g, the
table gave it by difference and the fibre is taken out of it. In a composition
whose parts, water included, make up 99 g and more, what is not named is zero.
Caffeine nobody states is zero, except in what carries the advisory. What passes
from leaf, bean or grain into a brew is not known, unless the prep states its
own composition.

Sources: Regulation (EU) No 1169/2011, Annex XIV (factors) and Annex I (salt is
sodium times 2.5); 21 CFR 101.9(c)(1)(i)(B), general factors 4, 4 and 9 (alcohol
7 from memory). The two methods differ and are never mixed.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Iterable, Mapping

from specctl.domain.amount import Absent, Amount, Each, Grams
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Prep

SALT_PER_SODIUM = Fraction(5, 2)
EU_METHOD = "EU 1169/2011 Annex XIV factors"
US_METHOD = "21 CFR 101.9(c)(1)(i)(B) general factors 4, 4, 9"

KJ: Mapping[str, int] = {
    "available": 17, "polyols": 10, "protein": 17, "fat": 37, "alcohol": 29, "organic_acids": 13, "fibre": 8, "erythritol": 0,
}  # fmt: skip
KCAL: Mapping[str, Fraction] = {
    "available": Fraction(4), "polyols": Fraction(12, 5), "protein": Fraction(4), "fat": Fraction(9),
    "alcohol": Fraction(7), "organic_acids": Fraction(3), "fibre": Fraction(2), "erythritol": Fraction(0),
}  # fmt: skip
KEYS = (
    "energy_kj", "energy_kcal", "fat", "saturates", "carbohydrate", "sugars", "fibre", "protein", "salt",
    "caffeine_mg", "alcohol",
)  # fmt: skip
_MAIN = ("water", "protein", "fat", "carbohydrate", "fibre", "ash", "alcohol")
_NEEDED = ("protein", "fat", "carbohydrate")
_MINOR = ("polyols", "erythritol", "organic_acids", "alcohol")
_BREWED = ("leaf",)
_WHOLE = Fraction(99)
_BY_DIFFERENCE = Fraction(101)


@dataclass(frozen=True, slots=True)
class Figure:
    """One sum. `missing` names what has no value for it: then the amount is a lower bound."""

    key: str
    amount: Fraction
    missing: tuple[str, ...] = ()

    @property
    def at_least(self) -> bool:
        return bool(self.missing)


@dataclass(frozen=True, slots=True)
class Nutrition:
    """Figures of one serving by key, and the ml it fills; None where that is not known."""

    figures: Mapping[str, Figure]
    method: str
    volume_ml: Fraction | None = None

    def per_100_ml(self, key: str) -> Figure | None:
        """A figure for 100 ml as served; None where the volume is not known."""
        if self.volume_ml is None or self.volume_ml <= 0:
            return None
        figure = self.figures[key]
        return Figure(key, figure.amount * 100 / self.volume_ml, figure.missing)


def nutrition_of(
    book: Book, lines: Iterable[tuple[str, Decimal | None]], rule: str = "eu", volume_ml: Decimal | None = None
) -> Nutrition:
    """Nutrition of a serving from its lines (ingredient or prep id, grams; None: not known).

    `rule` is `eu` or `us`; grams of preps are traced down to ingredients by their yield.
    """
    totals = {key: Fraction(0) for key in KEYS}
    missing: dict[str, dict[str, None]] = {key: {} for key in KEYS}
    for name, composition, grams in _parts(book, lines):
        values, partial = per_100_g(composition, rule) if composition is not None else ({}, frozenset(KEYS))
        for key in KEYS:
            value = values.get(key)
            if grams is not None and value is not None:
                totals[key] += value * grams / 100
            if (grams is None and value != 0) or value is None or key in partial:
                missing[key][name] = None
    return Nutrition(
        {key: Figure(key, totals[key], tuple(missing[key])) for key in KEYS},
        US_METHOD if rule == "us" else EU_METHOD,
        Fraction(volume_ml) if volume_ml is not None else None,
    )


def per_100_g(composition: Mapping[str, Decimal], rule: str = "eu") -> tuple[dict[str, Fraction], frozenset[str]]:
    """What a composition settles, for 100 g, and the keys of which that is only a part.

    A key in neither is not known at all.
    """
    parts = {key: Fraction(value) for key, value in composition.items()}
    total = sum((parts.get(key, Fraction(0)) for key in _MAIN), Fraction(0))
    if total > _BY_DIFFERENCE and "carbohydrate" in parts:
        parts["carbohydrate"] = max(parts["carbohydrate"] - parts.get("fibre", Fraction(0)), Fraction(0))
    if total >= _WHOLE:
        parts.setdefault("fibre", Fraction(0))
        if parts.get("water", Fraction(0)) >= _WHOLE:
            for key in ("protein", "fat", "carbohydrate", "salt"):
                parts.setdefault(key, Fraction(0))
    for part, whole in (("saturates", "fat"), ("sugars", "carbohydrate")):
        if parts.get(whole) == 0:
            parts.setdefault(part, Fraction(0))
    for key in _MINOR:
        parts.setdefault(key, Fraction(0))
    if "salt" not in parts and "sodium" in parts:
        parts["salt"] = parts["sodium"] * SALT_PER_SODIUM
    found = {key: parts[key] for key in KEYS if key in parts}
    lacks = any(key not in parts for key in (*_NEEDED, "fibre"))
    energy = _us_energy(parts) if rule == "us" else _eu_energy(parts)
    return {**found, **energy}, frozenset(energy if lacks else ())


def _us_energy(parts: Mapping[str, Fraction]) -> dict[str, Fraction]:
    """Calories from what is known; a US panel has no kJ."""
    held = {key: parts.get(key, Fraction(0)) for key in (*_NEEDED, "fibre", "alcohol")}
    total = held["carbohydrate"] + held["fibre"]
    return {"energy_kcal": 4 * held["protein"] + 4 * total + 9 * held["fat"] + 7 * held["alcohol"]}


def _eu_energy(parts: Mapping[str, Fraction]) -> dict[str, Fraction]:
    """kJ and kcal apart, from what is known."""
    sugar_alcohols = parts["polyols"] + parts["erythritol"]
    available = max(parts.get("carbohydrate", Fraction(0)) - sugar_alcohols, Fraction(0))
    grams = {**parts, "available": available}
    return {
        "energy_kj": sum((grams.get(key, Fraction(0)) * factor for key, factor in KJ.items()), Fraction(0)),
        "energy_kcal": sum((grams.get(key, Fraction(0)) * factor for key, factor in KCAL.items()), Fraction(0)),
    }


def _parts(
    book: Book, lines: Iterable[tuple[str, Decimal | None]]
) -> Iterable[tuple[str, Mapping[str, Decimal] | None, Fraction | None]]:
    """(name, composition in 100 g or None, grams) of everything in a serving."""
    waiting = [(use, None if grams is None else Fraction(grams), frozenset[str]()) for use, grams in reversed(list(lines))]
    while waiting:
        use, grams, above = waiting.pop()
        item = book.item(use)
        if grams == 0:
            continue
        if isinstance(item, Prep) and not item.composition:
            if use in above or item.yields <= 0:
                yield item.name, None, grams
                continue
            for line in reversed(list(item.all_lines())):
                inner = _grams(book, line.use, line.amount(""))
                share = None if grams is None or inner is None else inner * grams / Fraction(item.yields)
                waiting.append((line.use, share, above | {use}))
        elif isinstance(item, Ingredient) and above and item.state in _BREWED:
            yield item.name, None, grams
        else:
            yield (item.name if item else use), _composition(item), grams


def _composition(item: Ingredient | Prep | None) -> Mapping[str, Decimal] | None:
    if item is None or not item.composition:
        return None
    composition = dict(item.composition)
    if isinstance(item, Prep) or "caffeine" not in item.advisories:
        composition.setdefault("caffeine_mg", Decimal(0))
    return composition


def _grams(book: Book, use: str, amount: Amount | None) -> Fraction | None:
    match amount:
        case Grams(value):
            return Fraction(value)
        case Absent():
            return Fraction(0)
        case Each(count):
            item = book.ingredients.get(use)
            return Fraction(count * item.each) if item is not None and item.each is not None else None
    return None
