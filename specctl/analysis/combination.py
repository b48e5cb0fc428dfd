"""The best combination of doses for a target, found by looking at every one.

Exact: weights are whole numbers of a common decimal step, so nothing depends on
rounding but the one rounding that is shown, half up to 0.01 g. The order of
preference is the one `measuring.measure` states.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import lcm

from specctl.analysis.dose import LEAST_WEIGHINGS, Dose

HALF = "a half scoop is judged by eye"
FEW = f"its scoop check has fewer than {LEAST_WEIGHINGS} weighings"
UNKNOWN = "how far it spreads is not known"
WIDE = "it spreads wider than the tolerance"


Parts = tuple[tuple[int, int], ...]
"""The numbers of doses, each with twice how many of it."""


@dataclass(frozen=True, slots=True)
class Target:
    """In centigrams: what is wanted and how far a dose may be off."""

    wanted: int
    under: int
    over: int

    def holds(self, off: int) -> bool:
        return -self.under <= off <= self.over


@dataclass(frozen=True, slots=True)
class Taken:
    """A combination: doses with twice their number (so halves stay whole)."""

    doses: tuple[tuple[Dose, int], ...]
    motions: int
    gives: int
    off: int

    @property
    def ids(self) -> tuple[tuple[str, Decimal, int], ...]:
        return tuple((dose.tool.id, dose.mark or Decimal(0), twice) for dose, twice in self.doses)


def best_of(doses: Sequence[Dose], target: Target, most: int) -> Taken | None:
    """The best combination by the stated order; None only without doses.

    Motions come before bias, so combinations are looked at motion by motion and
    the search ends at the first number of motions that has an answer.
    """
    found = _found(_Asked(doses, target, most))
    if found is None:
        return None
    parts, motions, gives = found
    return Taken(tuple((doses[i], twice) for i, twice in parts), motions, gives, gives - target.wanted)


class _Asked:
    """A question to the search, equal to every other whose figures are the same, whatever tools are called."""

    __slots__ = ("doses", "target", "most", "_figures")

    def __init__(self, doses: Sequence[Dose], target: Target, most: int) -> None:
        self.doses, self.target, self.most = doses, target, most
        self._figures = (target, most, tuple(_figures_of(dose) for dose in doses))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and self._figures == other._figures

    def __hash__(self) -> int:
        return hash(self._figures)


def _figures_of(dose: Dose) -> tuple[object, ...]:
    """All of a dose that bears on which one is best."""
    check = None if dose.check is None else (dose.check.id, dose.check.spread, dose.check.n)
    return dose.tool.id, dose.mark, dose.grams, dose.lower, dose.halves, check, dose.error


@lru_cache(maxsize=8192)
def _found(asked: _Asked) -> tuple[Parts, int, int] | None:
    """The numbers of the doses taken, motions and what they give; kept, for one book asks much as another did."""
    taken = _search(asked.doses, asked.target, asked.most)
    if taken is None:
        return None
    number = {id(dose): i for i, dose in enumerate(asked.doses)}
    return tuple((number[id(dose)], twice) for dose, twice in taken.doses), taken.motions, taken.gives


def _search(doses: Sequence[Dose], target: Target, most: int) -> Taken | None:
    search = _Search(doses, target, most)
    known = [dose.is_known for dose in doses]
    if any(known):
        for motions in range(1, most + 1):
            for taken in search.inside(motions, known):
                if search.is_proven(taken):
                    return taken
    for motions in range(1, most + 1):
        for taken in search.inside(motions, [True] * len(doses)):
            return taken
    return min(search.nearest(), key=_by_bias, default=None)


def _by_bias(taken: Taken) -> tuple[object, ...]:
    return abs(taken.off), taken.motions, taken.ids


class _Search:
    """Combinations of one or two kinds of dose, found by their mass.

    Doses stand sorted by mass, so what completes a first dose is looked up
    instead of tried out. Left out are two lower lines of one jug, for its top
    line and one other reach the same in no more motions.
    """

    def __init__(self, doses: Sequence[Dose], target: Target, most: int) -> None:
        self._doses = doses
        self._target = target
        self._most = most
        self._scale = 10 ** max((-_exponent(dose.grams) for dose in doses), default=0)
        self._weights = [int(dose.grams * self._scale) for dose in doses]
        self._sorted = sorted(range(len(doses)), key=self._weights.__getitem__)
        self._masses = [self._weights[i] for i in self._sorted]
        self._first = {motions: self._alone(motions) for motions in range(1, most + 1)}
        spreads = {d.check.id: Fraction(d.check.spread) ** 2 / d.check.n for d in doses if d.check is not None}
        errors = {d.tool.id: Fraction(d.error) for d in doses if d.check is None and d.error is not None}
        self._square = lcm(*(f.denominator for f in spreads.values()))
        part = lcm(*(f.denominator for f in errors.values()))
        self._part = part * self._scale
        self._spreads = {key: int(f * self._square) for key, f in spreads.items()}
        self._errors = {key: int(f * part) for key, f in errors.items()}

    def inside(self, motions: int, allowed: Sequence[bool]) -> Iterator[Taken]:
        """Combinations of exactly so many motions that land inside, of allowed doses, best first."""
        found: dict[int, list[Parts]] = {}
        for parts in self._near(motions, allowed):
            off = self._gives(parts) - self._target.wanted
            if self._target.holds(off):
                found.setdefault(abs(off), []).append(parts)
        for bias in sorted(found):
            yield from sorted((self._taken(parts) for parts in found[bias]), key=_by_bias)

    def _near(self, motions: int, allowed: Sequence[bool]) -> Iterator[Parts]:
        """A little more than what lands inside."""
        # What is a shade outside may round inside, so the bounds are half a hundredth wider.
        shade = self._scale // 100 + 1
        low = self._units(self._target.wanted - self._target.under) - shade
        high = self._units(self._target.wanted + self._target.over) + shade + 1
        for i, twice in self._first[motions]:
            if allowed[i] and low <= twice * self._weights[i] <= high:
                yield ((i, twice),)
        masses = self._masses
        for rest, (i, twice) in self._parted(motions):
            if not allowed[i]:
                continue
            alone = twice * self._weights[i]
            for again in self._twice(rest):
                start = bisect_left(masses, -((alone - low) // again) - 1)
                for at in range(start, len(masses)):
                    if alone + again * masses[at] > high:
                        break
                    j = self._sorted[at]
                    if j > i and allowed[j] and self._fits(i, j, again):
                        yield ((i, twice), (j, again))

    def is_proven(self, taken: Taken) -> bool:
        """Whether `doubt_of` has nothing to say; the same sums, in whole numbers."""
        pure = 0
        shared: dict[str, int] = {}
        for dose, twice in taken.doses:
            if twice % 2 or not dose.is_known:
                return False
            times = twice // 2
            if dose.check is not None:
                pure += self._spreads[dose.check.id] * (times * dose.check.n + times * times)
            else:
                mass = self._errors[dose.tool.id] * int(dose.grams * self._scale) * times
                shared[dose.tool.id] = shared.get(dose.tool.id, 0) + mass
        variance = pure * self._part**2 + sum(mass * mass for mass in shared.values()) * self._square
        room = min(self._target.over - taken.off, self._target.under + taken.off)
        return room * room * self._part**2 * self._square >= 40_000 * variance

    def nearest(self) -> Iterator[Taken]:
        """Every combination that could be the nearest where none lands inside."""
        wanted = self._units(self._target.wanted)
        for used, firsts in self._first.items():
            for i, twice in firsts:
                yield self._taken(((i, twice),))
                alone = twice * self._weights[i]
                for rest in range(1, self._most - used + 1):
                    for again in self._twice(rest):
                        yield from self._beside((i, twice), again, -((alone - wanted) // again))

    def _beside(self, first: tuple[int, int], again: int, mass: int) -> Iterator[Taken]:
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

    def _alone(self, motions: int) -> list[tuple[int, int]]:
        """(dose, twice its number) for every dose taken alone or first, in so many motions."""
        return [
            (i, twice)
            for i, dose in enumerate(self._doses)
            for twice in self._twice(motions)
            if twice % 2 == 0 or dose.halves
        ]

    def _parted(self, motions: int) -> Iterator[tuple[int, tuple[int, int]]]:
        """What is left for a second dose, with each first, where both take so many motions."""
        for used in range(1, motions):
            for first in self._first[used]:
                yield motions - used, first

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

    def _gives(self, parts: Parts) -> int:
        """The mass of a combination, rounded half up to a hundredth."""
        mass = 0
        for i, twice in parts:
            mass += twice * self._weights[i]
        return (mass * 100 + self._scale) // (2 * self._scale)

    def _taken(self, parts: Parts) -> Taken:
        gives = self._gives(parts)
        motions = sum((twice + 1) // 2 for _, twice in parts)
        doses = tuple((self._doses[i], twice) for i, twice in parts)
        return Taken(doses, motions, gives, gives - self._target.wanted)


def doubt_of(taken: Taken, target: Target) -> str | None:
    """Why a combination that lands inside is not proven to; None when it is."""
    variance = Fraction(0)
    shared: dict[str, Fraction] = {}
    for dose, twice in taken.doses:
        if twice % 2:
            return HALF
        if dose.check is not None and not dose.is_known:
            return FEW
        times = twice // 2
        if dose.check is not None:
            spread = Fraction(dose.check.spread) ** 2
            variance += times * spread + times * times * spread / dose.check.n
        elif dose.error is not None:
            mass = Fraction(dose.grams) * times * Fraction(dose.error)
            shared[dose.tool.id] = shared.get(dose.tool.id, Fraction(0)) + mass
        else:
            return UNKNOWN
    variance += sum(mass * mass for mass in shared.values())
    room = min(target.over - taken.off, target.under + taken.off)
    return WIDE if Fraction(room, 100) ** 2 < 4 * variance else None


def _exponent(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return min(exponent, 0) if isinstance(exponent, int) else 0
