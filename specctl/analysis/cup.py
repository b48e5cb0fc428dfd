"""What stands in a cup: volumes, heights, ice, foam, and whether it fits.

Exact rational arithmetic inside, decimals outside: a compiled filling rule
lands in an entry. Promises that a volume without a stated density is
`Unknown` with a reason, never a guess. A drink poured hot over ice melts some of
it and gains its water; that is not counted here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from specctl.analysis.density import Item, liquid_density, solid_density
from specctl.analysis.vessel import (
    fits,
    half_up,
    height_at,
    held_to,
    held_to_fill_line,
    layer_tops,
    volume_at,
)
from specctl.domain.amount import Absent, Amount, Each, Grams, TopTo, plain
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Line, Prep

ICE_DENSITY = Decimal("0.9167")
"""g/ml at 0 °C (IAPWS-06, as reference libraries compute it)."""

DEFAULT_ICE_PACKING = Decimal("0.55")
"""Share of ice in a heap of cubes where no bulk density is stated: common practice, no source."""

Poured = tuple[Line | str, Amount, Item]
"""A line (or its path), its amount at one size, and what it uses."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """No answer, and why."""

    why: str


@dataclass(frozen=True, slots=True)
class Ice:
    """What ice does to a level: ml displaced now, ml of its water once melted,
    and whether it floats or rests on the bottom."""

    displaces: Decimal
    melted: Decimal
    floats: bool


@dataclass(frozen=True, slots=True)
class Fill:
    """How far a vessel is filled. `free_mm` from the surface up to the rim;
    `missing` says what has no known volume; `over` is past the fill line."""

    total_ml: Decimal | None
    free_mm: Decimal | None
    missing: tuple[str, ...]
    verdict: Literal["fits", "over", "unknown"]


def line_volume(amount: Amount, item: Item) -> Decimal | Unknown:
    """The volume in ml an amount takes in a cup, rounded half up to 0.01.

    Liquids and preps by stated density (aerated ones with their air); ice its
    own volume; anything else the volume of its grains, for it is stirred in.
    """
    found = _volume(amount, item)
    return found if isinstance(found, Unknown) else half_up(found, "0.01")


def layer_volumes(layers: Mapping[str, Sequence[Poured]]) -> dict[str, Decimal | Unknown]:
    """The volume in ml of each layer; one unknown line makes its layer unknown."""
    found: dict[str, Decimal | Unknown] = {}
    for key, lines in layers.items():
        total = Fraction(0)
        why: list[str] = []
        for line, amount, item in lines:
            volume = _volume(amount, item)
            if isinstance(volume, Unknown):
                why.append(f"{_key(line)}: {volume.why}")
            else:
                total += volume
        found[key] = Unknown("; ".join(why)) if why else half_up(total, "0.01")
    return found


def ice_displacement(
    ice_g: Decimal, liquid_ml: Decimal, liquid_density: Decimal, packing: Decimal | None = None
) -> Ice:
    """What so many grams of 0 °C ice do in so much liquid.

    Floating ice displaces its own weight of liquid (Archimedes). A heap too
    high for the liquid rests on the bottom and displaces its own volume: it
    floats only where the liquid reaches the height at which it would be carried,
    which depends on how closely the cubes pack.
    """
    found, floats = _ice(
        Fraction(ice_g), Fraction(liquid_ml), Fraction(liquid_density), packing or DEFAULT_ICE_PACKING
    )
    melted = Fraction(ice_g) / Fraction("0.99984")
    return Ice(half_up(found, "0.01"), half_up(melted, "0.01"), floats)


def foam_volume(mix_ml: Decimal, overrun: Decimal) -> Decimal:
    """Volume in ml of a foam from its mix; `overrun` is a share (1 = 100 %).

    V_foam = V_mix (1 + overrun), so density_foam = density_mix / (1 + overrun)
    (D. Goff, University of Guelph).
    """
    return half_up(Fraction(mix_ml) * (1 + Fraction(overrun)), "0.01")


def overrun_of(mix_density: Decimal, foam_density: Decimal) -> Decimal:
    """Overrun by volume, as a share, from the densities of mix and foam (D. Goff,
    University of Guelph), rounded half up to 0.001."""
    return half_up(Fraction(mix_density) / Fraction(foam_density) - 1, "0.001")


def compile_top_to(
    mm: Decimal, vessel: Vessel, others: Sequence[Decimal | Unknown], density: Decimal | None
) -> Decimal | Unknown:
    """Whole grams (half up) that fill a vessel to so many mm below its rim.

    `others` are the ml already in it, `density` that of what is topped up with,
    in g/ml. Unknown where one of them is, or where the rest already stands higher.
    """
    unknown = [each.why for each in others if isinstance(each, Unknown)]
    if unknown:
        return Unknown("; ".join(unknown))
    if density is None:
        return Unknown("no density is stated")
    if mm >= vessel.height:
        return Unknown(f"{vessel.name} is only {plain(vessel.height)} mm deep")
    taken = sum((Fraction(each) for each in others if isinstance(each, Decimal)), Fraction(0))
    space = held_to(vessel, Fraction(vessel.height) - Fraction(mm)) - taken
    if space <= 0:
        return Unknown(f"the rest already stands higher than {plain(mm)} mm below the rim")
    return half_up(space * Fraction(density), "1")


def top_up_grams(removed_ml: Decimal, density: Decimal) -> Decimal:
    """Grams of something else that take up the volume of what was left out, to 0.01."""
    return half_up(Fraction(removed_ml) * Fraction(density), "0.01")


def top_to_grams(drink_lines: Sequence[Poured], vessel: Vessel) -> dict[str, Decimal | Unknown]:
    """What each filling rule of one size comes to in whole grams, by line key or path.

    Two rules in one cup are Unknown: the second would decide what the first is.
    Ice displaces by the mean density of the liquids, topping included.
    """
    rules = [each for each in drink_lines if isinstance(each[1], TopTo)]
    if len(rules) != 1:
        return {_key(line): Unknown("two filling rules in one cup") for line, _, _ in rules}
    return {_key(rules[0][0]): _topped(drink_lines, vessel)[0]}


def fill(drink_lines: Sequence[Poured], vessel: Vessel) -> Fill:
    """Whether the lines of one size stay under the fill line of their vessel.

    Where a volume is not known the verdict is `unknown`, unless what is known is
    already over. A filling rule fills to its own height.
    """
    volume, missing = _contents(_without_rules(drink_lines), _topped(drink_lines, vessel)[1])
    for _, amount, _ in drink_lines:
        if isinstance(amount, TopTo):
            volume = max(volume, held_to(vessel, Fraction(vessel.height) - Fraction(amount.mm)))
    over = volume > held_to_fill_line(vessel)
    if missing:
        return Fill(None, None, missing, "over" if over else "unknown")
    total = half_up(volume, "0.01")
    free = vessel.height - height_at(vessel, total)
    return Fill(total, free, (), "over" if over else "fits")


def _topped(
    drink_lines: Sequence[Poured], vessel: Vessel
) -> tuple[Decimal | Unknown, tuple[Fraction, Fraction]]:
    """What the filling rule comes to, and its (grams, density) for the ice that
    stands in it; a density of zero: nothing is known to be poured."""
    none = Fraction(0), Fraction(0)
    rule = next(((amount, item) for _, amount, item in drink_lines if isinstance(amount, TopTo)), None)
    if rule is None:
        return Unknown("no filling rule"), none
    amount, item = rule
    density = liquid_density(item)
    if density is None or density.value <= 0:
        return Unknown(f"no density of {item.name} is stated"), none
    rest = _without_rules(drink_lines)
    height = Fraction(vessel.height) - Fraction(amount.mm)
    topping = held_to(vessel, height) * Fraction(density.value)
    # how deep the ice dips depends on the topping, and the topping on that: the
    # second pass moves it by less than a gram
    for _ in range(2):
        volume, missing = _contents(rest, (topping, Fraction(density.value)))
        others = Unknown("; ".join(missing)) if missing else half_up(volume, "0.0001")
        grams = compile_top_to(amount.mm, vessel, [others], density.value)
        if isinstance(grams, Unknown):
            return grams, none
        topping = Fraction(grams)
    return grams, (topping, Fraction(density.value))


def _without_rules(drink_lines: Sequence[Poured]) -> list[Poured]:
    return [each for each in drink_lines if not isinstance(each[1], TopTo)]


def _key(line: Line | str) -> str:
    return line if isinstance(line, str) else line.key


def _contents(
    lines: Sequence[Poured], topping: tuple[Fraction, Fraction]
) -> tuple[Fraction, tuple[str, ...]]:
    """The level in ml the lines make (topping counted for the ice alone), and what is missing."""
    mass, density = topping
    liquid_mass, liquid_ml = mass, mass / density if density else Fraction(0)
    beside = liquid_ml
    solid_ml = Fraction(0)
    ice = Fraction(0)
    packing = DEFAULT_ICE_PACKING
    missing: list[str] = []
    for line, amount, item in lines:
        volume = _volume(amount, item)
        if isinstance(volume, Unknown):
            missing.append(f"{_key(line)}: {volume.why}")
            continue
        grams = _grams(amount, item)
        if isinstance(item, Ingredient) and item.state == "ice":
            ice += grams
            if item.bulk_density is not None and item.bulk_density.value > 0:
                packing = min(item.bulk_density.value / ICE_DENSITY, Decimal(1))
        elif isinstance(item, Prep) or item.state == "liquid":
            # foam rides on top: it carries no ice
            if not (isinstance(item, Prep) and item.overrun):
                liquid_mass += grams
                liquid_ml += volume
            else:
                solid_ml += volume
        else:
            solid_ml += volume
    level = liquid_ml - beside + solid_ml
    if ice:
        mean = liquid_mass / liquid_ml if liquid_ml else density or Fraction(1)
        level += _ice(ice, liquid_ml, mean, packing)[0]
    return level, tuple(missing)


def _ice(
    grams: Fraction, liquid_ml: Fraction, density: Fraction, packing: Decimal
) -> tuple[Fraction, bool]:
    """(ml displaced, floats). A floating heap dips grams/density of ice, and the
    gaps between take (1/packing - 1) of that in liquid; less, and it rests."""
    own = grams / Fraction(ICE_DENSITY)
    dips = grams / density
    floats = dips <= own and liquid_ml >= dips * (1 / Fraction(packing) - 1)
    return (dips, True) if floats else (own, False)


def _grams(amount: Amount, item: Item) -> Fraction:
    if isinstance(amount, Grams):
        return Fraction(amount.value)
    if isinstance(amount, Each) and isinstance(item, Ingredient) and item.each is not None:
        return Fraction(amount.count) * Fraction(item.each)
    return Fraction(0)


def _volume(amount: Amount, item: Item) -> Fraction | Unknown:
    if isinstance(amount, Absent):
        return Fraction(0)
    if isinstance(amount, TopTo):
        return Unknown("a filling rule takes what is left")
    if isinstance(amount, Each):
        if not isinstance(item, Ingredient) or item.each is None:
            return Unknown(f"the mass of one {item.name} is not stated")
    elif not isinstance(amount, Grams):
        return Unknown(f"{amount} is not turned into grams yet")
    density = _density_in_cup(item)
    if density is None or density <= 0:
        return Unknown(f"no density of {item.name} is stated")
    return _grams(amount, item) / Fraction(density)


def _density_in_cup(item: Item) -> Decimal | None:
    if isinstance(item, Ingredient) and item.state == "ice":
        return ICE_DENSITY
    if isinstance(item, Ingredient) and item.state != "liquid":
        return solid_density(item)
    found = liquid_density(item)
    return None if found is None else found.value


__all__ = [
    "DEFAULT_ICE_PACKING", "Fill", "ICE_DENSITY", "Ice", "Unknown",
    "compile_top_to", "fill", "fits", "foam_volume", "height_at", "ice_displacement",
    "layer_tops", "layer_volumes", "line_volume", "overrun_of", "top_to_grams",
    "top_up_grams", "volume_at",
]
