"""How much: the canonical amounts of a spec, and what a tool gives.

A canonical amount is a mass in grams, a count, or a filling rule. Anything an
author wrote in other units stays `Unweighed` until it is normalised; nothing
downstream may guess at it. All numbers are exact decimals.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

CENTIGRAM = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Grams:
    """A mass in grams."""

    value: Decimal

    def __str__(self) -> str:
        return f"{plain(self.value)} g"


@dataclass(frozen=True, slots=True)
class Each:
    """A count of pieces."""

    count: Decimal

    def __str__(self) -> str:
        return f"{plain(self.count)} each"


@dataclass(frozen=True, slots=True)
class Volume:
    """A volume in millilitres (packs and tools only, never a canonical dose)."""

    ml: Decimal

    def __str__(self) -> str:
        return f"{plain(self.ml)} ml"


@dataclass(frozen=True, slots=True)
class TopTo:
    """Fill up to so many millimetres below the rim; compiled for each size."""

    mm: Decimal

    def __str__(self) -> str:
        return f"top to {plain(self.mm)} mm below rim"


@dataclass(frozen=True, slots=True)
class Unweighed:
    """An amount as written that has not been turned into grams yet."""

    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class Absent:
    """The line is left out."""

    def __str__(self) -> str:
        return "none"


Amount = Grams | Each | TopTo | Unweighed | Absent


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a dose may be off, as a share of the target or in grams.

    Exactly one of the two pairs is set; `grams(target)` answers (under, over).
    """

    under: Decimal
    over: Decimal
    relative: bool

    def grams(self, target: Decimal) -> tuple[Decimal, Decimal]:
        """(under, over) in grams for a target in grams, rounded to 0.01 g."""
        if not self.relative:
            return self.under, self.over
        return centigrams(target * self.under), centigrams(target * self.over)


def centigrams(value: Decimal) -> Decimal:
    """Round half up to 0.01 g, the rule wherever grams are derived."""
    return value.quantize(CENTIGRAM, rounding=ROUND_HALF_UP)


def plain(value: Decimal) -> str:
    """A decimal as people write it: no exponent, no trailing zeros, no minus zero."""
    if value == 0:
        return "0"
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text
