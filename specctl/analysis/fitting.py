"""How well a site's tools fit its menu: every amount with its error and its chance, worst first.

Promises an order and counts over measures that stand in entries. Chances are
estimates (`error`), for people, and never go back into an entry.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from specctl.analysis.density import Item
from specctl.analysis.dose import Bench
from specctl.analysis.error import (
    FLOW,
    carr_index,
    chance_inside,
    flow_by_carr,
    flow_by_hausner,
    hausner_ratio,
)
from specctl.analysis.measuring import Measure
from specctl.domain.amount import Tolerance
from specctl.domain.ingredient import Ingredient

WORST_FIRST = ("no-tool", "outside", "unproven", "within")
POOR_FLOW = frozenset({"poor", "very poor", "very, very poor"})


@dataclass(frozen=True, slots=True)
class Asked:
    """One amount of a menu: where it stands, grams (None: counted, or a rule not worked out)."""

    recipe: str
    name: str
    size: str
    choice: str
    path: str
    use: str
    grams: Decimal | None
    tolerance: Tolerance

    @property
    def dose(self) -> tuple[str, Decimal | None, Tolerance]:
        """What makes two amounts the same job at the bench."""
        return self.use, self.grams, self.tolerance


@dataclass(frozen=True, slots=True)
class Fit:
    """An amount, how it is measured here, and the chance (0..1) that it lands inside."""

    asked: Asked
    measure: Measure
    chance: float | None

    @property
    def fails(self) -> bool:
        return self.measure.verdict in ("outside", "no-tool")

    @property
    def badness(self) -> tuple[object, ...]:
        """Sorts worst first: verdict, then the chance, then how far off for its tolerance."""
        off = Decimal(0)
        if self.measure.off is not None and self.asked.grams is not None:
            side = max(*self.asked.tolerance.grams(self.asked.grams), Decimal("0.01"))
            off = abs(self.measure.off) / side
        chance = 1.0 if self.chance is None else self.chance
        asked = self.asked
        return (
            WORST_FIRST.index(self.measure.verdict), chance, -off,
            asked.recipe, asked.size, asked.choice, asked.path,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Flow:
    """Whether a powder can be trusted to a scoop, where both its densities are stated.

    The two bands may differ by rounding; the worse one is told.
    """

    item: str
    name: str
    hausner: Decimal
    carr: Decimal
    band: str

    @property
    def trusted(self) -> bool:
        return self.band not in POOR_FLOW


def fit_of(asked: Asked, found: Measure, item: Item, bench: Bench) -> Fit:
    """An amount with the chance that a dose lands inside."""
    chance = None
    if asked.grams is not None and found.by in ("scale", "tools"):
        chance = chance_inside(asked.grams, asked.tolerance, found, item, bench)
    return Fit(asked, found, chance)


def worst_first(fits: Iterable[Fit]) -> list[Fit]:
    return sorted(fits, key=lambda each: each.badness)


def counts(fits: Iterable[Fit]) -> dict[str, int]:
    """How many amounts of each verdict."""
    found = dict.fromkeys(WORST_FIRST, 0)
    for each in fits:
        found[each.measure.verdict] += 1
    return found


def flow_of(item: Item) -> Flow | None:
    """Hausner ratio and Carr index in the bands of USP <1174>; None unless both densities are stated."""
    if not isinstance(item, Ingredient) or item.bulk_density is None or item.tapped_density is None:
        return None
    bulk, tapped = item.bulk_density.value, item.tapped_density.value
    hausner, carr = hausner_ratio(bulk, tapped), carr_index(bulk, tapped)
    return Flow(item.id, item.name, hausner, carr, _worse(flow_by_hausner(hausner), flow_by_carr(carr)))


def _worse(one: str, other: str) -> str:
    return max(one, other, key=FLOW.index)
