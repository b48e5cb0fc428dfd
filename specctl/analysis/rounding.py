"""Rounding of nutrition figures for a label: exact numbers in, halves go up.

US: 21 CFR 101.9(c); FDA, food labelling guide, appendix H. EU: Commission
guidance on tolerances, December 2012, table 4 (rounding), from memory.
No float comes in, so a half is a half: 2.25 g of fat is 2.5 g, 3.25 is 3.5.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from specctl.domain.amount import plain

EU_METHOD = "EU rounding guidance of December 2012, from memory"
US_METHOD = "21 CFR 101.9(c), halves up"

_US = {
    # up to (below), then the step; None: everything else
    "energy_kcal": (("5", "0"), ("50=", "5"), (None, "10")),
    "fat": (("0.5", "0"), ("5", "0.5"), (None, "1")),
    "saturates": (("0.5", "0"), ("5", "0.5"), (None, "1")),
    "sodium_mg": (("5", "0"), ("140=", "5"), (None, "10")),
}
_US_GRAMS = ("carbohydrate", "fibre", "sugars", "protein", "polyols")


def half_up(value: Fraction | Decimal | int, step: str = "1") -> Decimal:
    """`value`, not negative, to the nearest multiple of `step`; halves go up."""
    width = Fraction(step)
    steps = (Fraction(value) / width + Fraction(1, 2)).__floor__()
    return Decimal(steps) * Decimal(step)


def us_rounded(key: str, value: Fraction | Decimal | int) -> str:
    """The figure of a US panel: calories, grams, or milligrams of sodium.

    `less than 1` stands where the rule says so in words. Keys the rule does not
    name (salt, caffeine, alcohol) are shown to a tenth.
    """
    exact = Fraction(value)
    if key in _US:
        for bound, step in _US[key]:
            if bound is None or exact < Fraction(bound.rstrip("=")) or (bound.endswith("=") and exact == Fraction(bound[:-1])):
                return "0" if step == "0" else plain(half_up(exact, step))
    if key in _US_GRAMS:
        if exact < Fraction(1, 2):
            return "0"
        return "less than 1" if exact < 1 else plain(half_up(exact))
    return plain(half_up(exact, "0.1"))


def eu_rounded(key: str, value: Fraction | Decimal | int) -> str:
    """The figure of an EU or UK label; grams unless the key says otherwise. From memory."""
    exact = Fraction(value)
    if key in ("energy_kj", "energy_kcal"):
        return plain(half_up(exact))
    if key in ("fat", "carbohydrate", "sugars", "protein", "fibre", "polyols"):
        if exact >= 10:
            return plain(half_up(exact))
        return plain(half_up(exact, "0.1")) if exact > Fraction(1, 2) else "<0.5" if exact else "0"
    if key == "saturates":
        if exact >= 10:
            return plain(half_up(exact))
        return plain(half_up(exact, "0.1")) if exact > Fraction(1, 10) else "<0.1" if exact else "0"
    if key == "salt":
        if exact >= 1:
            return plain(half_up(exact, "0.1"))
        return plain(half_up(exact, "0.01")) if exact > Fraction(125, 10000) else "<0.01" if exact else "0"
    return plain(half_up(exact, "0.1"))
