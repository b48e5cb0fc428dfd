"""How heavy is a volume: what the book states, and what physics can estimate.

Two halves that never mix. The first is exact and rests on stated densities
alone; its results land in entries. The second is float, for estimates people
read beside a band of doubt: Choi & Okos component models, dairy from fat and
solids-not-fat, sucrose syrups, water. A value that is not known is None.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal

from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.recipe import Prep

Item = Ingredient | Prep

EXACT = Context(prec=60, rounding=ROUND_HALF_UP)
_SERVED = Decimal("0.0001")


def liquid_density(item: Item) -> Density | None:
    """Stated mass over poured volume, in g/ml; None where the book states none.

    The density of an aerated prep is that of its mix before air; what is poured
    is lighter, mix density / (1 + overrun) (D. Goff, University of Guelph),
    rounded half up to 0.0001 g/ml.
    """
    stated = item.density
    if stated is None or isinstance(item, Ingredient) or not item.overrun:
        return stated
    served = EXACT.divide(stated.value, 1 + item.overrun).quantize(_SERVED, context=EXACT)
    return Density(served, f"{stated.source}; lightened by its overrun", stated.at)


def scoop_density(item: Item) -> Density | None:
    """Stated mass over level volume, in g/ml.

    Bulk density for whatever lies loosely; for a liquid its density. The density
    of a powder's grains is never used here: a level scoop holds air as well.
    """
    if isinstance(item, Prep):
        return liquid_density(item)
    if item.state == "liquid":
        return item.density or item.bulk_density
    return item.bulk_density


def mass_of(volume_ml: Decimal, item: Item, *, bulk: bool) -> Decimal | None:
    """Exact grams of a volume in ml, unrounded; None without a stated density."""
    found = scoop_density(item) if bulk else liquid_density(item)
    return None if found is None else EXACT.multiply(volume_ml, found.value)


# Choi & Okos (1986), as tabulated in the ASHRAE Handbook - Refrigeration, "Thermal
# Properties of Foods": polynomials in °C. Density kg/m³, specific heat kJ/(kg K).
_DENSITY: Mapping[str, tuple[str, ...]] = {
    "water": ("997.18", "3.1439e-3", "-3.7574e-3"),
    "ice": ("916.89", "-0.13071"),
    "protein": ("1329.9", "-0.51840"),
    "fat": ("925.59", "-0.41757"),
    "carbohydrate": ("1599.1", "-0.31046"),
    "fibre": ("1311.5", "-0.36589"),
    "ash": ("2423.8", "-0.28063"),
}
_HEAT: Mapping[str, tuple[str, ...]] = {
    "water": ("4.1289", "-9.0864e-5", "5.4731e-6"),
    "ice": ("2.0623", "6.0769e-3"),
    "protein": ("2.0082", "1.2089e-3", "-1.3129e-6"),
    "fat": ("1.9842", "1.4733e-3", "-4.8008e-6"),
    "carbohydrate": ("1.5488", "1.9625e-3", "-5.9399e-6"),
    "fibre": ("1.8459", "1.8306e-3", "-4.6509e-6"),
    "ash": ("1.0926", "1.8896e-3", "-3.6817e-6"),
}
COLDEST, HOTTEST = -40.0, 150.0
COMPOSITION_BAND = 0.02
_COMPONENTS = ("protein", "fat", "carbohydrate", "fibre", "ash")
_MOST_OVER = Decimal(102)
_MOST_ASH = Decimal(10)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and its band of doubt: the truth is taken to lie in value ± band."""

    value: float
    band: float


def component_density(component: str, celsius: float) -> float | None:
    """Density of a pure component in g/ml (Choi & Okos 1986, ASHRAE); None outside -40..150 °C."""
    value = _model(_DENSITY, component, celsius)
    return None if value is None else value / 1000


def component_heat(component: str, celsius: float) -> float | None:
    """Specific heat of a pure component in kJ/(kg K) (Choi & Okos 1986, ASHRAE).

    The row for water holds from 0 °C up; below that the answer is None.
    """
    if component == "water" and celsius < 0:
        return None
    return _model(_HEAT, component, celsius)


def shares(composition: Mapping[str, Decimal]) -> Mapping[str, Decimal] | None:
    """Mass shares by component, summing to 1; None where too little is known.

    Tables differ in two ways that are settled here: where everything sums past
    102 g, carbohydrate was given with its fibre, and the fibre is taken out of
    it; where water is not given, what is missing to 100 g is taken as water, and
    where it is given, up to 10 g missing are taken as ash (cocoa holds 5.8).
    Sugars only stand in for a carbohydrate that is not given. Alcohol is outside
    the models.
    """
    if composition.get("alcohol", Decimal(0)) > 0:
        return None
    known = {name: composition[name] for name in _COMPONENTS if name in composition}
    if "carbohydrate" not in known and "sugars" in composition:
        known["carbohydrate"] = composition["sugars"]
    if "ash" not in known and "salt" in composition:
        known["ash"] = composition["salt"]
    water = composition.get("water")
    if not known and water is None:
        return None
    total = sum(known.values(), water or Decimal(0))
    fibre = known.get("fibre", Decimal(0))
    if total > _MOST_OVER and known.get("carbohydrate", Decimal(0)) >= fibre > 0:
        known["carbohydrate"] -= fibre
        total -= fibre
    if total > _MOST_OVER:
        return None
    missing = max(100 - total, Decimal(0))
    if water is None:
        water = missing
    elif missing > _MOST_ASH:
        return None
    else:
        known["ash"] = known.get("ash", Decimal(0)) + missing
    known["water"] = water
    whole = sum(known.values())
    return {name: EXACT.divide(grams, whole) for name, grams in known.items() if grams > 0}


def composition_density(composition: Mapping[str, Decimal], celsius: float) -> Estimate | None:
    """Density in g/ml from grams per 100 g: 1/ρ = Σ xᵢ/ρᵢ (Choi & Okos 1986, ASHRAE).

    The band is ±0.02 g/ml: the model gives whole milk 1.023 at 20 °C where 1.029
    is measured, and heavy cream 0.984 where 0.994 is. A measured density is better.
    """
    parts = shares(composition)
    if parts is None:
        return None
    volume = 0.0
    for name, share in parts.items():
        density = component_density(name, celsius)
        if density is None:
            return None
        volume += float(share) / density
    return Estimate(1 / volume, COMPOSITION_BAND)


def solid_density(item: Ingredient) -> Decimal | None:
    """Mass over the volume the grains themselves take, in g/ml; exact arithmetic.

    The stated density, else Choi & Okos at 20 °C from the stated composition,
    rounded half up to 0.0001: what a powder adds to a drink it is stirred into.
    """
    if item.density is not None:
        return item.density.value
    parts = shares(item.composition)
    if parts is None:
        return None
    volume = Decimal(0)
    for name, share in parts.items():
        density = Decimal(0)
        for power, factor in enumerate(_DENSITY[name]):
            density = EXACT.fma(Decimal(factor), Decimal(20) ** power, density)
        volume = EXACT.add(volume, EXACT.divide(share, density))
    return EXACT.divide(Decimal("0.001"), volume).quantize(_SERVED, context=EXACT)


def composition_heat(composition: Mapping[str, Decimal], celsius: float) -> float | None:
    """Specific heat in kJ/(kg K) from grams per 100 g: cp = Σ xᵢ cpᵢ (Choi & Okos 1986, ASHRAE)."""
    parts = shares(composition)
    if parts is None:
        return None
    heat = 0.0
    for name, share in parts.items():
        part = component_heat(name, celsius)
        if part is None:
            return None
        heat += float(share) * part
    return heat


# Water at 101.325 kPa, kg/m³: IAPWS-95, as three reference libraries compute it.
_WATER_AT = (4.0, 10.0, 20.0, 40.0, 60.0, 80.0, 95.0)
_WATER = (999.9749, 999.7025, 998.2072, 992.2164, 983.1958, 971.7904, 961.8879)


def water_density(celsius: float) -> float | None:
    """Density of water in g/ml at 0..100 °C; None elsewhere.

    The polynomial through seven IAPWS-95 values; within 0.01 kg/m³ between them.
    """
    if not 0 <= celsius <= 100:
        return None
    return _through(_WATER_AT, _WATER, celsius) / 1000


def dairy_density(fat: float, solids_not_fat: float, celsius: float) -> float | None:
    """Density of milk or cream in g/ml from fat and solids-not-fat in per cent.

    1/ρ = 1/ρ_water + fat (0.0272 + 0.0019 t) - 0.382 solids, shares of mass, ml/g.
    Our own least-squares fit to the twenty measured values of D. Goff, "Dairy
    Chemistry and Physics", University of Guelph, with water from IAPWS-95: worst
    0.16 %. None outside what was measured: 4..40 °C, fat to 40 %, solids 5..10 %.
    """
    water = water_density(celsius)
    if water is None or not (4 <= celsius <= 40 and 0 <= fat <= 40 and 5 <= solids_not_fat <= 10):
        return None
    milk_fat = fat / 100 * (0.0272 + 0.0019 * celsius)
    return 1 / (1 / water + milk_fat - 0.382 * solids_not_fat / 100)


# CRC Handbook of Chemistry and Physics, concentrative properties of aqueous
# solutions: sucrose, mass per cent to g/ml at 20 °C.
_SUCROSE = (0.0, 10.0, 30.0, 50.0, 60.0, 70.0)
_SUCROSE_DENSITY = (0.9982, 1.0381, 1.1270, 1.2295, 1.2864, 1.3472)
_SATURATED_COLD, _SATURATED_WARM = 64.2, 67.1


def sucrose_density(percent: float) -> float | None:
    """Density of a sucrose syrup in g/ml at 20 °C, 0..70 % by mass; None elsewhere.

    The polynomial through the rows of the CRC Handbook of Chemistry and Physics.
    """
    if not 0 <= percent <= 70:
        return None
    return _through(_SUCROSE, _SUCROSE_DENSITY, percent)


def sucrose_warning(percent: float, celsius: float) -> str | None:
    """What to say of a syrup that is richer than saturation, else None.

    Saturation 64.2 % by mass at 0 °C and 67.1 % at 20 °C, a straight line
    between; beyond 20 °C the last value is kept, so a warning there is early.
    """
    warmth = min(max(celsius, 0.0), 20.0) / 20
    most = _SATURATED_COLD + (_SATURATED_WARM - _SATURATED_COLD) * warmth
    if percent <= most:
        return None
    return f"richer than the {most:.1f} % sugar that stays dissolved at {celsius:g} °C: it will crystallise"


def _model(table: Mapping[str, tuple[str, ...]], component: str, celsius: float) -> float | None:
    if component not in table or not COLDEST <= celsius <= HOTTEST:
        return None
    return sum(float(factor) * celsius**power for power, factor in enumerate(table[component]))


def _through(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Lagrange's polynomial through all the points."""
    total = 0.0
    for i, (xi, yi) in enumerate(zip(xs, ys)):
        weight = 1.0
        for j, xj in enumerate(xs):
            if i != j:
                weight *= (x - xj) / (xi - xj)
        total += yi * weight
    return total
