"""The inside of a vessel: how much stands how high.

Exact rational arithmetic, so that a filling rule comes to the same grams on
every machine. A vessel with a table of heights follows it in straight pieces,
one with both diameters stated is a frustum, any other has straight sides; in
each case all of it holds exactly its stated capacity.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import pi, sqrt

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
    if vessel.shape:
        return _in_table(vessel.shape, height)
    if vessel.rim is None or vessel.base is None:
        return Fraction(vessel.brimful) * height / full
    rim, base = Fraction(vessel.rim), Fraction(vessel.base)
    return Fraction(vessel.brimful) * _cone(base, rim, full, height) / _cone(base, rim, full, full)


def _in_table(shape: Sequence[tuple[Decimal, Decimal]], height: Fraction) -> Fraction:
    """Straight pieces between the rows; the table rises and ends at the rim."""
    below, held = Fraction(0), Fraction(0)
    for up, ml in shape:
        if 0 < up and height <= up:
            share = (height - below) / (Fraction(up) - below)
            return held + (Fraction(ml) - held) * share
        below, held = Fraction(up), Fraction(ml)
    return held


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


@dataclass(frozen=True, slots=True)
class Hollow:
    """The same inside in float, for estimates and pictures: ml to mm and back, and
    the inside diameter. `rows` are (mm, ml) from the base up, for a table only."""

    full: float
    brimful: float
    base: float
    rim: float
    fill_height: float
    rows: tuple[tuple[float, float], ...] = ()

    def height(self, ml: float) -> float:
        """Mm above the base; what is more than brimful stands at the rim."""
        share = ml / self.brimful
        if share <= 0:
            return 0.0
        if share >= 1:
            return self.full
        if self.rows:
            at = max(1, bisect_left(self.rows, ml, key=lambda row: row[1]))
            low, held = self.rows[at - 1]
            high, more = self.rows[at]
            return low + (high - low) * (ml - held) / (more - held)
        a, b = self.base, self.rim
        if abs(b - a) < 1e-9:
            return self.full * share
        here: float = (a**3 + share * (b**3 - a**3)) ** (1 / 3)
        return self.full * (here - a) / (b - a)

    def held(self, height: float) -> float:
        """Ml up to a height in mm."""
        share = min(max(height / self.full, 0.0), 1.0)
        if self.rows:
            at = max(1, bisect_left(self.rows, share * self.full, key=lambda row: row[0]))
            low, held = self.rows[at - 1]
            high, more = self.rows[at]
            return held + (more - held) * (share * self.full - low) / (high - low)
        a, b = self.base, self.rim
        if abs(b - a) < 1e-9:
            return self.brimful * share
        return self.brimful * ((a + (b - a) * share) ** 3 - a**3) / (b**3 - a**3)

    def diameter(self, height: float) -> float:
        """Inside diameter in mm at a height."""
        share = min(max(height / self.full, 0.0), 1.0)
        if not self.rows:
            return self.base + (self.rim - self.base) * share
        at = max(1, min(len(self.rows) - 1, bisect_left(self.rows, height, key=lambda row: row[0])))
        (low, held), (high, more) = self.rows[at - 1], self.rows[at]
        return sqrt(4000 * (more - held) / (high - low) / pi)


def hollow_of(vessel: Vessel) -> Hollow | None:
    """The inside of a vessel in float; None without a capacity or a height.

    A straight vessel's diameter follows from capacity and height.
    """
    full, brimful = float(vessel.height), float(vessel.brimful)
    if full <= 0 or brimful <= 0:
        return None
    straight = sqrt(4000 * brimful / full / pi)
    tapered = vessel.rim is not None and vessel.base is not None and not vessel.shape
    base = float(vessel.base) if tapered and vessel.base is not None else straight
    rim = float(vessel.rim) if tapered and vessel.rim is not None else straight
    rows = tuple((float(up), float(ml)) for up, ml in vessel.shape)
    if rows and rows[0][0] > 0:
        rows = ((0.0, 0.0), *rows)
    return Hollow(full, brimful, base, rim, full - float(vessel.fill_line), rows)
