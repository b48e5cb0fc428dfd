"""Which density to believe, at which temperature, and how far.

Promises: a measured value first, moved to the temperature asked for by what it
is made of; else a dairy formula, a sugar table, its parts, or the composition
model, each with its band. Float, for estimates; nothing here lands in an entry.
A density without a temperature is not a density, so none is answered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from specctl.analysis.density import (
    COMPOSITION_BAND,
    Item,
    composition_density,
    composition_heat,
    dairy_density,
    liquid_density,
    solid_density,
    sucrose_density,
    sucrose_warning,
    water_density,
)
from specctl.analysis.heat import WATER_HEAT
from specctl.domain.amount import Each, Grams
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import ALL_SIZES, Prep

MEASURED_BAND = 0.003
UNDATED_BAND = 0.010
FOAM_SHARE = 0.10
_ROOM = 20.0
_WATER: Mapping[str, Decimal] = {"water": Decimal(100)}
_DEEPEST = 12


@dataclass(frozen=True, slots=True)
class DensityChoice:
    """g/ml, the band it is taken to lie in (value ± band), why this one, and a warning."""

    value: float
    band: float
    why: str
    warning: str | None = None


@dataclass(frozen=True, slots=True)
class NoDensity:
    """No answer, and why."""

    why: str


def choose_density(book: Book, item: Item, celsius: float) -> DensityChoice | NoDensity:
    """The density of an item at a temperature in °C, in g/ml."""
    if isinstance(item, Ingredient) and item.state == "ice":
        return DensityChoice(0.9167, 0.001, "ice at 0 °C, IAPWS")
    if isinstance(item, Ingredient) and item.state != "liquid":
        return _grains(item)
    stated = liquid_density(item)
    if stated is not None and stated.value > 0:
        return _measured(book, item, float(stated.value), stated.at, celsius)
    composition = composition_of(book, item)
    if composition is None:
        return NoDensity(f"no density of {item.name} is stated, and its composition is not known")
    return _modelled(item, composition, celsius)


def composition_of(book: Book, item: Item, depth: int = 0) -> Mapping[str, Decimal] | None:
    """Grams per 100 g: stated, or of a prep by its lines; what is strained counts as water."""
    if isinstance(item, Ingredient):
        return item.composition or None
    if depth > _DEEPEST:
        return None
    total = Decimal(0)
    parts: dict[str, Decimal] = {}
    known = True
    for line in item.all_lines():
        used, amount = book.item(line.use), line.amount(ALL_SIZES)
        grams = amount.value if isinstance(amount, Grams) else None
        if isinstance(amount, Each) and isinstance(used, Ingredient) and used.each is not None:
            grams = amount.count * used.each
        if used is None or grams is None:
            return None
        total += grams
        inner = composition_of(book, used, depth + 1)
        if inner is None:
            known = False
            continue
        for name, share in inner.items():
            if name != "caffeine_mg":
                parts[name] = parts.get(name, Decimal(0)) + grams * share
    if total <= 0:
        return None
    if item.yields < total * Decimal("0.9"):
        return _WATER
    return {name: amount / total for name, amount in parts.items()} if known else None


def heat_of(book: Book, item: Item) -> float:
    """Specific heat in J/(g K) at 20 °C: Choi & Okos for what is dissolved, IAPWS water;
    where nothing is known of an item, that of water."""
    composition = composition_of(book, item)
    found = composition_heat(composition, _ROOM) if composition else None
    if composition is None or found is None:
        return WATER_HEAT
    modelled = 4.1289 - 9.0864e-5 * _ROOM + 5.4731e-6 * _ROOM**2
    return found + float(composition.get("water", Decimal(0))) / 100 * (WATER_HEAT - modelled)


def sugars_of(book: Book, item: Item) -> float | None:
    """Grams of sugars in a gram of an item; None where it is not known."""
    composition = composition_of(book, item)
    if composition is None or composition is _WATER:
        return None
    sugars = composition.get("sugars")
    return None if sugars is None else float(sugars) / 100


def syrup_warning(book: Book, prep: Prep, celsius: float) -> str | None:
    """Whether a prep holds more sugar than stays dissolved; None where it is no syrup."""
    composition = composition_of(book, prep)
    if composition is None:
        return None
    sugars, water = composition.get("sugars", Decimal(0)), composition.get("water", Decimal(0))
    if water <= 0 or sugars + water < 90:
        return None
    return sucrose_warning(float(100 * sugars / (sugars + water)), celsius)


def _measured(
    book: Book, item: Item, value: float, at: Decimal | None, celsius: float
) -> DensityChoice:
    if isinstance(item, Prep) and item.overrun:
        words = f"mix before air over 1 + its overrun of {float(item.overrun) * 100:.0f} %; drainage is not modelled"
        return DensityChoice(value, value * FOAM_SHARE, words)
    start = _ROOM if at is None else float(at)
    moved = value * _expansion(item, composition_of(book, item), start, celsius)
    band = UNDATED_BAND if at is None else MEASURED_BAND + 0.25 * abs(moved - value)
    given = "stated without a temperature, taken as 20 °C" if at is None else f"stated at {start:g} °C"
    if abs(celsius - start) > 0.05:
        given += f", moved to {celsius:.0f} °C by what it is made of"
    return DensityChoice(moved, band, given)


def _expansion(
    item: Item, composition: Mapping[str, Decimal] | None, start: float, end: float
) -> float:
    if composition is not None and _is_dairy(item):
        before, after = _dairy(composition, start), _dairy(composition, end)
        if before is not None and after is not None:
            return after / before
    if composition is not None and composition.get("water", Decimal(0)) < Decimal("99.5"):
        first, last = composition_density(composition, start), composition_density(composition, end)
        if first is not None and last is not None:
            return last.value / first.value
    first_water, last_water = water_density(min(max(start, 0), 100)), water_density(min(max(end, 0), 100))
    return last_water / first_water if first_water and last_water else 1.0


def _is_dairy(item: Item) -> bool:
    return isinstance(item, Ingredient) and item.facts is not None and "milk" in item.facts.contains


def _dairy(composition: Mapping[str, Decimal], celsius: float) -> float | None:
    water, fat = float(composition.get("water", 0)), float(composition.get("fat", 0))
    return dairy_density(fat, max(100 - water - fat, 0.0), celsius) if water else None


def _modelled(item: Item, composition: Mapping[str, Decimal], celsius: float) -> DensityChoice | NoDensity:
    share = {name: float(amount) for name, amount in composition.items()}
    water, sugars = share.get("water", 0.0), share.get("sugars", 0.0)
    if water >= 99.9:
        found = water_density(min(max(celsius, 0.0), 100.0))
        if found is not None:
            return DensityChoice(found, 0.0005, "water, IAPWS-95")
    if _is_dairy(item):
        dairy = _dairy(composition, celsius)
        if dairy is not None:
            return DensityChoice(dairy, 0.005, "dairy formula from fat and solids-not-fat, after D. Goff")
    if sugars > 1 and 97 <= water + sugars <= 102:
        percent = 100 * sugars / (water + sugars)
        table = sucrose_density(percent)
        if table is not None:
            moved = table * _expansion(item, composition, _ROOM, celsius)
            warning = sucrose_warning(percent, celsius)
            return DensityChoice(moved, 0.005, f"sugar table, {percent:.0f} % by mass, CRC Handbook", warning)
    model = composition_density(composition, celsius)
    if model is None:
        return NoDensity(f"the composition of {item.name} does not give a density at {celsius:g} °C")
    return DensityChoice(model.value, COMPOSITION_BAND, "composition model, Choi and Okos: ±0.02 g/ml")


def _grains(item: Ingredient) -> DensityChoice | NoDensity:
    found = solid_density(item)
    if found is None or found <= 0:
        return NoDensity(f"no density of {item.name} is stated")
    if item.density is not None:
        return DensityChoice(float(found), MEASURED_BAND, "stated, of the grains or pieces themselves")
    return DensityChoice(float(found), COMPOSITION_BAND, "grains by the composition model, Choi and Okos: ±0.02 g/ml")
