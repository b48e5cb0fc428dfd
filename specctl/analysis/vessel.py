"""The inside of a vessel: how much stands how high.

Exact rational arithmetic, so that a filling rule comes to the same grams on
every machine. A vessel with both diameters stated is a frustum, any other has
straight sides; either way all of it holds exactly its stated capacity.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from specctl.domain.equipment import Vessel


def volume_at(vessel: Vessel, below_rim: Decimal) -> Decimal:
    """The ml a vessel holds when filled to so many mm below its rim, to 0.01."""
    return half_up(held_to(vessel, Fraction(vessel.height) - Fraction(below_rim)), "0.01")


def height_at(vessel: Vessel, ml: Decimal) -> Decimal:
    """How high in mm so many ml stand above the base, to the nearest 0.01, at most the rim."""
    low, high = 0, int(vessel.height * 100)
    rim = high
    wanted = Fraction(ml)
    while low < high:
        middle = (low + high + 1) // 2
        if held_to(vessel, Fraction(middle, 100)) <= wanted:
            low = middle
        else:
            high = middle - 1
    if low < rim and held_to(vessel, Fraction(2 * low + 1, 200)) <= wanted:
        low += 1
    return Decimal(low).scaleb(-2)


def layer_tops(volumes: Sequence[Decimal], vessel: Vessel) -> tuple[Decimal, ...]:
    """Height in mm of the top of each layer, poured from the bottom up."""
    tops: list[Decimal] = []
    total = Decimal(0)
    for volume in volumes:
        total += volume
        tops.append(height_at(vessel, total))
    return tuple(tops)


def fits(vessel: Vessel, ml: Decimal) -> bool:
    """Whether so many ml stay at or under the fill line."""
    return Fraction(ml) <= held_to_fill_line(vessel)


def held_to(vessel: Vessel, height: Fraction) -> Fraction:
    """Ml up to a height in mm, exactly: a straight side, or the frustum of the stated rim and
    base, scaled so that all of it holds the stated capacity (pi falls out)."""
    full = Fraction(vessel.height)
    height = min(max(height, Fraction(0)), full)
    if vessel.rim is None or vessel.base is None:
        return Fraction(vessel.brimful) * height / full
    rim, base = Fraction(vessel.rim), Fraction(vessel.base)
    return Fraction(vessel.brimful) * _cone(base, rim, full, height) / _cone(base, rim, full, full)


def _cone(base: Fraction, rim: Fraction, full: Fraction, height: Fraction) -> Fraction:
    """12/pi of the volume of a frustum up to a height: h (a² + a b + b²)."""
    here = base + (rim - base) * height / full
    return height * (base * base + base * here + here * here)


def held_to_fill_line(vessel: Vessel) -> Fraction:
    """Ml a vessel holds up to its fill line, exactly."""
    return held_to(vessel, Fraction(vessel.height) - Fraction(vessel.fill_line))


def half_up(value: Fraction, step: str) -> Decimal:
    """A decimal, rounded half up (away from zero) to a step."""
    size = Fraction(step)
    whole = (abs(value) / size + Fraction(1, 2)).__floor__()
    exponent = int(Decimal(step).as_tuple().exponent)
    return Decimal(whole if value >= 0 else -whole).scaleb(exponent)
