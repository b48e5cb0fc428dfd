"""A mass, translated into one site's own tools.

Exact arithmetic throughout: the result lands in an entry, so it is the same on
every machine. Promises the best measure by the order `measure` states, found by
looking at every combination, and a verdict on figures that stand in the entry.
The chance of landing inside a tolerance is an estimate and lives in `error`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Literal

from specctl.analysis.density import EXACT, Item
from specctl.analysis.dose import Bench, Dose, Doses, doses_for, fits_kind, is_poured, void_reason
from specctl.domain.amount import Amount, Each, Grams, Tolerance, TopTo, centigrams, plain
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Prep

By = Literal["scale", "tools", "count", "eye", "none"]
Verdict = Literal["within", "unproven", "outside", "no-tool"]

_ONE = Decimal(1)

_HALF = "a half scoop is judged by eye"
_UNKNOWN = "how far it spreads is not known"
_WIDE = "it spreads wider than the tolerance"


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


@dataclass(frozen=True, slots=True)
class _Target:
    """In centigrams: what is wanted and how far a dose may be off."""

    wanted: int
    under: int
    over: int

    def holds(self, off: int) -> bool:
        return -self.under <= off <= self.over


@dataclass(frozen=True, slots=True)
class _Taken:
    """A combination: doses with twice their number (so halves stay whole)."""

    doses: tuple[tuple[Dose, int], ...]
    motions: int
    gives: int
    off: int

    @property
    def ids(self) -> tuple[tuple[str, Decimal, int], ...]:
        return tuple((dose.tool.id, dose.mark or Decimal(0), twice) for dose, twice in self.doses)


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
    which all scoops share), or for what is poured by a stated density and tools
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
    whole = _Target(_hundredths(target), _hundredths(under), _hundredths(over))
    best = _best(found.doses, whole, bench.most_motions)
    if best is None:
        note = _why_none(item, bench, found, min(under, over))
        return Measure("none", (), None, None, "no-tool", note)
    return _measured(best, whole, item, found)


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


def _best(doses: Sequence[Dose], target: _Target, most: int) -> _Taken | None:
    """The best combination by the stated order; None only without doses.

    Motions come before bias, so combinations are looked at motion by motion and
    the search ends at the first number of motions that has an answer.
    """
    search = _Search(doses, target, most)
    known = [dose.check is not None or dose.error is not None for dose in doses]
    for motions in range(1, most + 1):
        proven = [t for t in search.inside(motions, known) if _doubt(t, target) is None]
        if proven:
            return min(proven, key=_by_bias)
    for motions in range(1, most + 1):
        inside = search.inside(motions, [True] * len(doses))
        if inside:
            return min(inside, key=_by_bias)
    return min(search.nearest(), key=_by_bias, default=None)


def _by_bias(taken: _Taken) -> tuple[object, ...]:
    return abs(taken.off), taken.motions, taken.ids


class _Search:
    """Combinations of one or two kinds of dose, found by their mass.

    Doses stand sorted by mass, so what completes a first dose is looked up
    instead of tried out. Left out are two lower lines of one jug, for its top
    line and one other reach the same in no more motions.
    """

    def __init__(self, doses: Sequence[Dose], target: _Target, most: int) -> None:
        self._doses = doses
        self._target = target
        self._most = most
        self._scale = 10 ** max((-_exponent(dose.grams) for dose in doses), default=0)
        self._weights = [int(dose.grams * self._scale) for dose in doses]
        self._sorted = sorted(range(len(doses)), key=self._weights.__getitem__)
        self._masses = [self._weights[i] for i in self._sorted]

    def inside(self, motions: int, allowed: Sequence[bool]) -> list[_Taken]:
        """Combinations of exactly so many motions that land inside, of allowed doses."""
        # What is a shade outside may round inside, so the bounds are half a hundredth wider.
        shade = self._scale // 100 + 1
        low = self._units(self._target.wanted - self._target.under) - shade
        high = self._units(self._target.wanted + self._target.over) + shade + 1
        found = [self._taken(((i, twice),)) for i, twice, used in self._first(allowed) if used == motions]
        for i, twice, used in self._first(allowed):
            rest = motions - used
            if rest < 1:
                continue
            alone = twice * self._weights[i]
            for again in self._twice(rest):
                start = bisect_left(self._masses, -((alone - low) // again) - 1)
                for at in range(start, len(self._masses)):
                    if alone + again * self._masses[at] > high:
                        break
                    j = self._sorted[at]
                    if j > i and allowed[j] and self._fits(i, j, again):
                        found.append(self._taken(((i, twice), (j, again))))
        return [taken for taken in found if self._target.holds(taken.off)]

    def nearest(self) -> Iterator[_Taken]:
        """Every combination that could be the nearest where none lands inside."""
        everything = [True] * len(self._doses)
        wanted = self._units(self._target.wanted)
        for i, twice, used in self._first(everything):
            yield self._taken(((i, twice),))
            alone = twice * self._weights[i]
            for rest in range(1, self._most - used + 1):
                for again in self._twice(rest):
                    yield from self._beside((i, twice), again, -((alone - wanted) // again))

    def _beside(self, first: tuple[int, int], again: int, mass: int) -> Iterator[_Taken]:
        """On either side of a mass, the nearest doses that may stand beside a first, equals included."""
        middle = bisect_left(self._masses, mass)
        for steps in (range(middle, len(self._masses)), range(middle - 1, -1, -1)):
            seen: int | None = None
            for at in steps:
                j = self._sorted[at]
                # Bias is judged rounded to a hundredth: doses closer than that are equals.
                if seen is not None and again * abs(self._masses[at] - seen) > 2 * self._scale // 100 + 2:
                    break
                if j > first[0] and self._fits(first[0], j, again):
                    seen = self._masses[at] if seen is None else seen
                    yield self._taken((first, (j, again)))

    def _first(self, allowed: Sequence[bool]) -> Iterator[tuple[int, int, int]]:
        """(dose, twice its number, motions) for every dose taken alone or first."""
        for i, dose in enumerate(self._doses):
            if allowed[i]:
                for motions in range(1, self._most + 1):
                    for twice in self._twice(motions):
                        if twice % 2 == 0 or dose.halves:
                            yield i, twice, motions

    @staticmethod
    def _twice(motions: int) -> tuple[int, int]:
        """Twice the number of doses so many motions give: the last may be a half."""
        return 2 * motions - 1, 2 * motions

    def _fits(self, i: int, j: int, again: int) -> bool:
        one, other = self._doses[i], self._doses[j]
        if again % 2 and not other.halves:
            return False
        return not (one.lower and other.lower and one.tool.id == other.tool.id)

    def _units(self, hundredths: int) -> int:
        """A mass in hundredths as twice our units."""
        return hundredths * 2 * self._scale // 100

    def _taken(self, parts: tuple[tuple[int, int], ...]) -> _Taken:
        mass = sum(twice * self._weights[i] for i, twice in parts)
        # round half up of mass / (2 scale) to a hundredth
        gives = (mass * 100 + self._scale) // (2 * self._scale)
        motions = sum((twice + 1) // 2 for _, twice in parts)
        doses = tuple((self._doses[i], twice) for i, twice in parts)
        return _Taken(doses, motions, gives, gives - self._target.wanted)


def _doubt(taken: _Taken, target: _Target) -> str | None:
    """Why a combination that lands inside is not proven to; None when it is."""
    variance = Fraction(0)
    shared: dict[str, Fraction] = {}
    for dose, twice in taken.doses:
        if twice % 2:
            return _HALF
        times = twice // 2
        if dose.check is not None:
            spread = Fraction(dose.check.spread) ** 2
            variance += times * spread + times * times * spread / dose.check.n
        elif dose.error is not None:
            mass = Fraction(dose.grams) * times * Fraction(dose.error)
            shared[dose.tool.id] = shared.get(dose.tool.id, Fraction(0)) + mass
        else:
            return _UNKNOWN
    variance += sum(mass * mass for mass in shared.values())
    room = min(target.over - taken.off, target.under + taken.off)
    return _WIDE if Fraction(room, 100) ** 2 < 4 * variance else None


def _measured(taken: _Taken, target: _Target, item: Item, found: Doses) -> Measure:
    notes = [found.void[dose.tool.id] for dose, _ in taken.doses if dose.tool.id in found.void]
    verdict: Verdict = "outside"
    if target.holds(taken.off):
        doubt = _doubt(taken, target)
        verdict = "within" if doubt is None else "unproven"
        if doubt == _UNKNOWN:
            notes.append(_unknown(item))
        elif doubt is not None:
            notes.append(doubt)
    else:
        notes.append("the nearest these tools come")
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


def _exponent(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return min(exponent, 0) if isinstance(exponent, int) else 0


__all__ = [
    "Bench", "By", "Measure", "Move", "Verdict", "equivalents_note", "measure", "solids_of",
    "void_reason",
]
