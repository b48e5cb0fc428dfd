"""A prep scaled to a site: whole batches in a vessel it has, each ingredient in its own tools.

Promises: only whole batches; never more than the vessel works with once the
batch is whipped, never less than its blade or whisk needs. What is not known
(no density, no vessel) is said, never taken to fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from specctl.analysis.build import BATCH, build_lines
from specctl.analysis.dose import Bench
from specctl.analysis.measuring import Measure, measure
from specctl.analysis.vessel import half_up, held_to_fill_line
from specctl.domain.amount import Each, Grams, Tolerance, Volume
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Prep

MOST = 100


@dataclass(frozen=True, slots=True)
class Room:
    """How many whole batches a vessel takes. `ml`: one batch at its largest, whipped;
    None where no density is stated. `least` and `most` batches; `most` 0: none fits."""

    vessel: Vessel
    ml: Decimal | None
    works: Decimal
    least: int
    most: int | None


@dataclass(frozen=True, slots=True)
class Scaled:
    """One line of the scaled batch. `packs`: (pack's name, how many) where whole packs hit it."""

    path: str
    use: str
    amount: Grams | Each
    tolerance: Tolerance
    measure: Measure
    packs: tuple[str, int] | None


def room_for(prep: Prep, vessel: Vessel, book: Book) -> Room:
    """How many whole batches a vessel takes.

    A batch is largest before or after whipping: what goes in together (its lines'
    mass, where a brew loses some) or its yield lightened by its overrun, at the
    prep's own density. The vessel works up to its stated working volume, else to
    its fill line.
    """
    works = vessel.working if vessel.working is not None else half_up(held_to_fill_line(vessel), "0.01")
    if prep.density is None:
        return Room(vessel, None, works, 1, None)
    poured = sum((line.amount.value for line in build_lines(book, prep, BATCH).values() if isinstance(line.amount, Grams)), Decimal(0))
    density = Fraction(prep.density.value)
    whipped = Fraction(prep.yields) / density * (1 + Fraction(prep.overrun or 0))
    ml = max(whipped, Fraction(poured) / density)
    most = min(MOST, int(Fraction(works) / ml)) if ml else 0
    # The blade stands in the mix before it holds air.
    flat = Fraction(prep.yields) / density
    least = 1 if vessel.least is None or not flat else max(1, -int(-Fraction(vessel.least) / flat // 1))
    return Room(vessel, half_up(ml, "0.1"), works, least, most)


def scale(prep: Prep, batches: int, book: Book, bench: Bench) -> list[Scaled]:
    """Every line of so many whole batches in the tools of a bench.

    The tolerance grows with the batch: a share stays the same share.
    """
    found = []
    for path, line in build_lines(book, prep, BATCH).items():
        item = book.item(line.use)
        amount = line.amount
        if item is None or not isinstance(amount, Grams | Each):
            continue
        if isinstance(amount, Each):
            whole: Grams | Each = Each(amount.count * batches)
            sides = line.tolerance
        else:
            whole = Grams(amount.value * batches)
            under, over = line.tolerance.grams(amount.value)
            sides = Tolerance(under * batches, over * batches, False)
        packs = _packs(item, whole, sides) if isinstance(item, Ingredient) and isinstance(whole, Grams) else None
        found.append(Scaled(path, line.use, whole, sides, measure(whole, sides, item, bench), packs))
    return found


def _packs(item: Ingredient, amount: Grams, sides: Tolerance) -> tuple[str, int] | None:
    """The fewest whole packs that land inside the tolerance; None where none do.

    A pack is taken to hold what its label says.
    """
    under, over = sides.grams(amount.value)
    best: tuple[int, str] | None = None
    for pack in item.packs.values():
        match pack.holds:
            case Grams(value):
                held = value
            case Volume(ml) if item.density is not None:
                held = ml * item.density.value
            case _:
                continue
        count = int((amount.value / held).to_integral_value()) if held else 0
        if count >= 1 and -under <= count * held - amount.value <= over and (best is None or count < best[0]):
            best = count, pack.name
    return None if best is None else (best[1], best[0])
