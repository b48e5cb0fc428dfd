"""Water that leaf, grounds and pearls keep: why a brew yields less than its water.

A measured batch comes first: the spec's own yield says what was kept. Without
one, common practice with a wide band; no published figure covers all of these.
What boils away is counted as kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from specctl.domain.amount import Grams
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import ALL_SIZES, Prep

_DEFAULTS = {"leaf": (3.5, 1.2, 90.0), "grounds": (2.0, 0.4, 60.0), "pearls": (1.3, 0.4, 1200.0)}
"""Grams of water a gram keeps, its doubt, and the time constant in s of soaking:
common practice, no source. Weigh one batch instead."""

_PRESSED = 0.6
"""What is left after a firm press, as a share: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Retention:
    """Grams of water a gram of solids keeps, ± its doubt, and where the figure is from."""

    ratio: float
    doubt: float
    measured: bool


def default_retention(kind: str, seconds: float | None = None, pressed: bool = False) -> Retention | None:
    """For leaf, grounds or pearls; soaked for so long (None: long enough), pressed or not."""
    if kind not in _DEFAULTS:
        return None
    ratio, doubt, slow = _DEFAULTS[kind]
    soaked = 1.0 if seconds is None else 1 - exp(-max(seconds, 0.0) / slow)
    share = soaked * (_PRESSED if pressed else 1.0)
    return Retention(ratio * share, doubt * max(share, 0.5), False)


def brew_yield(water: float, solids: float, kept: Retention) -> tuple[float, float]:
    """(grams that come out, their doubt) of so much water through so many grams of solids."""
    return max(water - solids * kept.ratio, 0.0), solids * kept.doubt


def measured_retention(book: Book, prep: Prep) -> Retention | None:
    """What a spec's own batch says: (liquids in - yield) / solids; None where nothing is strained out.

    Solids are leaf and solid ingredients, and the powders of a prep that yields
    less than its liquids. The doubt is a tenth: one batch, one day.
    """
    liquids = solids = powders = 0.0
    for line in prep.all_lines():
        amount = line.amount(ALL_SIZES)
        if not isinstance(amount, Grams):
            continue
        item = book.item(line.use)
        if isinstance(item, Ingredient) and item.state in ("leaf", "solid"):
            solids += float(amount.value)
        elif isinstance(item, Ingredient) and item.state == "powder":
            powders += float(amount.value)
        else:
            liquids += float(amount.value)
    gone = liquids - float(prep.yields)
    solids += powders if gone > 0.02 * liquids else 0.0
    if solids <= 0 or liquids <= 0:
        return None
    return Retention(gone / solids, abs(gone / solids) * 0.1, True)
