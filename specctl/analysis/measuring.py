"""A mass, translated into one site's own tools.

Exact arithmetic throughout: the result lands in an entry, so it is the same on
every machine. Promises the best measure by the order `measure` states, found by
looking at every combination, and a verdict on figures that stand in the entry.
The chance of landing inside a tolerance is an estimate and lives in `error`.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import Literal

from specctl.analysis.combination import UNKNOWN, Taken, Target, best_of, doubt_of
from specctl.analysis.density import EXACT, Item
from specctl.analysis.dose import (
    Bench,
    Doses,
    doses_for,
    film_in,
    fits_kind,
    is_poured,
    void_reason,
)
from specctl.domain.amount import (
    Amount,
    Each,
    Grams,
    Tolerance,
    TopTo,
    centigrams,
    plain,
)
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Prep

By = Literal["scale", "tools", "count", "eye", "none"]
Verdict = Literal["within", "unproven", "outside", "no-tool"]

_ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Move:
    """One tool, so many times; `mark` is the line or the reading, with its unit."""

    tool: str
    name: str
    times: Decimal
    mark: str | None


@dataclass(frozen=True, slots=True)
class Measure:
    """How a site measures one amount. `gives` and `off` (gives less target) in grams."""

    by: By
    moves: tuple[Move, ...]
    gives: Decimal | None
    off: Decimal | None
    verdict: Verdict
    note: str | None


def measure(amount: Amount, tolerance: Tolerance, item: Item, bench: Bench) -> Measure:
    """The best way to measure an amount with the tools of a bench.

    Pieces are counted and a filling rule is followed by eye. A mass goes, in
    this order:

    1. by the coarsest scale that serves, then id. A scale serves when its
       reading (the target rounded half up to its readability) stays within the
       tolerance and its loads, and half a step is no more than the smaller side
       of the tolerance. One whose whole step around the reading lies inside the
       tolerance goes before one that only serves.
    2. by doses of one or two kinds (see `dose`), at most `most_motions`
       motions: `within` before `unproven`; then fewest motions, least bias, tool
       ids and lines. Where nothing lands inside, the least bias, then the fewest
       motions, then ids: `outside`.

    Bias is judged as shown, in grams rounded half up to 0.01. A combination is
    `within` only if it is known how far it spreads and two standard deviations
    also fit: by scoop checks that hold (spread of each scoop, and of their mean,
    which all scoops share; at least `LEAST_WEIGHINGS` of them), or for what is poured by a stated density and tools
    that state their error (shared by all motions with one tool). Half scoops are
    judged by eye and prove nothing. Raises ValueError for an amount that is left
    out or not weighed yet.
    """
    if isinstance(amount, Each):
        return Measure("count", (), None, None, "within", None)
    if isinstance(amount, TopTo):
        return Measure("eye", (), None, None, "within", None)
    if not isinstance(amount, Grams):
        raise ValueError(f"nothing to measure in {amount}")
    target = centigrams(amount.value)
    under, over = tolerance.grams(target)
    weighed = _by_scale(target, under, over, bench)
    if weighed is not None:
        return weighed
    found = doses_for(item, bench, target + over)
    whole = Target(_hundredths(target), _hundredths(under), _hundredths(over))
    best = best_of(found.doses, whole, bench.most_motions)
    if best is None:
        note = _why_none(item, bench, found, min(under, over))
        return Measure("none", (), None, None, "no-tool", note)
    return _measured(best, whole, item, (found, bench.most_motions))


def solids_of(grams: Decimal, item: Item) -> Decimal | None:
    """Grams of solids in so many grams: all but the stated water. None where no
    water is stated, so for a prep."""
    if not isinstance(item, Ingredient) or "water" not in item.composition:
        return None
    return centigrams(grams * (100 - item.composition["water"]) / 100)


def equivalents_note(one: Decimal, item: Item, other: Decimal, instead: Item) -> str | None:
    """How far the solids of two amounts used for one another differ, in words.

    `one` grams of `item` against `other` grams of `instead`; None where the
    water of either is not stated or the first has no solids.
    """
    mine, theirs = solids_of(one, item), solids_of(other, instead)
    if mine is None or theirs is None or mine == 0:
        return None
    share = ((theirs - mine) / mine * 100).quantize(_ONE, rounding=ROUND_HALF_UP)
    sign = "+" if share > 0 else ""
    return (
        f"{plain(one)} g {item.name} holds {plain(mine)} g solids, "
        f"{plain(other)} g {instead.name} {plain(theirs)} g ({sign}{plain(share)} %)"
    )


def _by_scale(target: Decimal, under: Decimal, over: Decimal, bench: Bench) -> Measure | None:
    found: list[tuple[bool, Decimal, str, Tool, Decimal]] = []
    for tool in bench.tools:
        step = tool.readability
        if tool.kind != "scale" or not step:
            continue
        reading = EXACT.divide(target, step).quantize(_ONE, rounding=ROUND_HALF_UP) * step
        off = reading - target
        half = step / 2
        loads = reading > 0 and (tool.min_load is None or reading >= tool.min_load)
        loads = loads and (tool.max_load is None or reading <= tool.max_load)
        if loads and -under <= off <= over and half <= min(under, over):
            spills = off - half < -under or off + half > over
            found.append((spills, -step, tool.id, tool, reading))
    if not found:
        return None
    spills, _, _, tool, reading = min(found, key=lambda each: each[:3])
    note = None
    if spills:
        note = "the scale rounds: a dose at the edge of this reading is outside the tolerance"
    move = Move(tool.id, tool.name, _ONE, f"{plain(reading)} g")
    return Measure("scale", (move,), reading, centigrams(reading - target), "within", note)


def _measured(taken: Taken, target: Target, item: Item, asked: tuple[Doses, int]) -> Measure:
    found, most = asked
    notes = [found.void[dose.tool.id] for dose, _ in taken.doses if dose.tool.id in found.void]
    verdict: Verdict = "outside"
    if target.holds(taken.off):
        doubt = doubt_of(taken, target)
        verdict = "within" if doubt is None else "unproven"
        if doubt == UNKNOWN:
            notes.append(_unknown(item))
        elif doubt is not None:
            notes.append(doubt)
    else:
        notes.append(f"these tools come no nearer in {most} motions" if most > 1 else "these tools come no nearer in one motion")
    if item.film is not None and any(dose.check is None and film_in(dose.tool, item) for dose, _ in taken.doses):
        notes.append(f"{plain(item.film * 100)} % of a pour is taken to stay behind as a film")
    moves = tuple(
        Move(
            dose.tool.id,
            dose.tool.name,
            Decimal(plain(Decimal(twice) / 2)),
            None if dose.mark is None else f"{plain(dose.mark)} ml",
        )
        for dose, twice in taken.doses
    )
    gives, off = Decimal(taken.gives).scaleb(-2), Decimal(taken.off).scaleb(-2)
    return Measure("tools", moves, gives, off, verdict, "; ".join(notes) or None)


def _unknown(item: Item) -> str:
    if not is_poured(item):
        return "by bulk density alone: no scoop check holds here"
    if isinstance(item, Prep) and item.overrun:
        return "how much air it holds is not measured here"
    return "by stated density alone: the error of the tool is not stated"


def _why_none(item: Item, bench: Bench, found: Doses, side: Decimal) -> str:
    notes = list(found.void.values())
    if found.lacking:
        notes.append("no density is stated" if is_poured(item) else "no bulk density is stated")
    if not any(fits_kind(tool, item) for tool in bench.tools):
        notes.append("no tool here measures it")
    if side > 0:
        notes.append(f"a scale that reads to {plain(2 * side)} g or finer would serve")
    return "; ".join(notes)


def _hundredths(value: Decimal) -> int:
    return int((value * 100).to_integral_value(ROUND_FLOOR))


__all__ = [
    "Bench", "By", "Measure", "Move", "Verdict", "equivalents_note", "measure", "solids_of",
    "void_reason",
]
