"""What one batch of a prep yields, and how high its foam stands in the cups it goes into.

Promises: the mass is the spec's own; the volume is that mass at its density,
after overrun where the prep is aerated, with its band; a height is that of the
foam's own layer in the standard build of each drink. Estimates, all but the
mass. Drainage is not modelled: a foam that has stood is lower.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from specctl.analysis.cup_state import LayerState
from specctl.analysis.cupcheck import Cup, cups_of
from specctl.analysis.density_choice import DensityChoice
from specctl.analysis.matter import ROOM, Larder
from specctl.domain.recipe import Drink, Prep


@dataclass(frozen=True, slots=True)
class Portion:
    """What one size of a drink takes of the prep: grams, how many whole portions a batch holds,
    and mm its foam stands high (None: no foam of its own in the cup)."""

    drink: str
    name: str
    size: str
    size_name: str
    vessel: str
    vessel_name: str
    grams: float
    portions: int
    mm: float | None


@dataclass(frozen=True, slots=True)
class BatchYield:
    """One batch: grams, ml before air and as made, its doubt in ml (None: no density), and
    what of it goes into the drinks that use it."""

    grams: Decimal
    overrun: Decimal | None
    flat_ml: float | None
    ml: float | None
    doubt_ml: float | None
    why: str
    portions: tuple[Portion, ...]

    def as_json(self) -> dict[str, Any]:
        """Grams and overrun as decimal text, estimates to one place."""

        def one(value: float | None) -> float | None:
            return None if value is None else round(value, 1)

        return {
            "grams": f"{self.grams:f}",
            "overrun": None if self.overrun is None else f"{self.overrun:f}",
            "flat_ml": one(self.flat_ml),
            "ml": one(self.ml),
            "doubt_ml": one(self.doubt_ml),
            "why": self.why,
            "portions": [
                {"drink": each.drink, "size": each.size, "vessel": each.vessel, "grams": one(each.grams), "portions": each.portions, "mm": one(each.mm)}
                for each in self.portions
            ],
        }


def batch_yield(larder: Larder, prep: Prep, drinks: Iterable[Drink]) -> BatchYield:
    """One batch of a prep and its portions in these drinks."""
    matter = larder.matter(prep.id)
    found = None if matter is None else larder.density(matter, ROOM if matter.kept is None else matter.kept)
    portions = tuple(each for drink in drinks for each in _portions(larder, prep, drink))
    if not isinstance(found, DensityChoice):
        return BatchYield(prep.yields, prep.overrun, None, None, None, found.why if found is not None else "", portions)
    ml = float(prep.yields) / found.value
    flat = ml / (1 + float(prep.overrun or 0))
    return BatchYield(prep.yields, prep.overrun, flat, ml, ml * found.band / found.value, found.why, portions)


def _portions(larder: Larder, prep: Prep, drink: Drink) -> Iterator[Portion]:
    for cup in cups_of(larder, drink):
        if not cup.variant.is_standard:
            continue
        for layer in cup.state.layers:
            grams = sum(mass for use, mass in layer.uses if use == prep.id)
            if grams > 0:
                yield _portion(prep, drink, cup, layer, grams)


def _portion(prep: Prep, drink: Drink, cup: Cup, layer: LayerState, grams: float) -> Portion:
    high = None
    if layer.kind == "foam" and layer.top is not None and layer.bottom is not None:
        high = layer.top - layer.bottom
    size = drink.sizes[cup.size]
    # a hair more than nothing, so that a batch of exactly ten portions is ten
    return Portion(drink.id, drink.name, cup.size, size.name, cup.vessel.id, cup.vessel.name, grams, int(float(prep.yields) / grams + 1e-9), high)
