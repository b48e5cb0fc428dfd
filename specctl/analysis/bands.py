"""Bands of caffeine and sugar, as information with the scope of the law behind each.

Caffeine above 150 mg/l: Regulation (EU) No 1169/2011, Annex III, point 4.1.
Sugar at 5 and 8 g in 100 ml: the United Kingdom's levy on soft drinks. Neither
asks anything of a drink made to order at a counter; local law decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

CAFFEINE_LIMIT = Decimal(150)
"""mg in a litre; above it, not at it."""
LEVY_LOW, LEVY_HIGH = Decimal(5), Decimal(8)
"""g of sugars in 100 ml; at it or above it."""

CAFFEINE_SCOPE = (
    "Regulation (EU) No 1169/2011, Annex III, 4.1: for prepacked drinks, and not for drinks based on coffee or tea "
    "whose name says so. Voluntary at a counter; local law comes first."
)
SUGAR_SCOPE = (
    "United Kingdom soft drinks levy: packaged drinks with added sugar only (4.5 g, and milk drinks too, from "
    "January 2028). For information, not advice on tax."
)


@dataclass(frozen=True, slots=True)
class Band:
    """`about` caffeine or sugar; `band` in words; `at_least`: the figure is a lower bound."""

    about: str
    band: str
    at_least: bool
    scope: str


def caffeine_band(mg_per_litre: Fraction | Decimal | None, at_least: bool = False) -> Band:
    """Above 150 mg/l or not. A lower bound that is not above leaves it unknown."""
    if mg_per_litre is not None and mg_per_litre > CAFFEINE_LIMIT:
        return Band("caffeine", "above 150 mg/l", at_least, CAFFEINE_SCOPE)
    if mg_per_litre is None or at_least:
        return Band("caffeine", "unknown", at_least, CAFFEINE_SCOPE)
    return Band("caffeine", "150 mg/l or less", False, CAFFEINE_SCOPE)


def sugar_band(g_per_100_ml: Fraction | Decimal | None, at_least: bool = False) -> Band:
    """Below 5, 5 to under 8, or 8 g and more in 100 ml. A lower bound below 8 says `at least`."""
    if g_per_100_ml is None:
        return Band("sugar", "unknown", at_least, SUGAR_SCOPE)
    if g_per_100_ml >= LEVY_HIGH:
        return Band("sugar", "8 g in 100 ml or more", at_least, SUGAR_SCOPE)
    if g_per_100_ml >= LEVY_LOW:
        return Band("sugar", "5 g in 100 ml or more" if at_least else "5 g to under 8 g in 100 ml", at_least, SUGAR_SCOPE)
    return Band("sugar", "unknown" if at_least else "under 5 g in 100 ml", at_least, SUGAR_SCOPE)
