"""What a handful of weighings says of a scoop, and when it says nothing.

Promises: mean and spread in exact decimals (they land in a book), or a finding
that says why these weighings are not one scoop weighed several times. The
confidence and the bias between hours are estimates for people. Nothing is
dropped: an outlier is named, and whoever weighed decides.

The rules, in the order they are asked:

1. Two weighings at least, a thousand at most.
2. No outlier: Grubbs' test, two-sided, 5 % (see `student.grubbs`).
3. Not two things: sorted and cut at the widest gap between two groups of at
   least two, the groups' means are not both 15 % of the mean and six pooled
   deviations apart (our rule; bimodality by the distance of two means over
   their spread follows Ashman, Bird & Zepf, Astronomical Journal 108 (1994),
   whose bound of 2 is for fitted laws, not for a sorted sample).
4. Not a jumble: spread at most 34 % of the mean, three times the standard
   deviation of untrained people with scoops (Rosenkranz et al. 2024).
5. Not absurd: mean between half and twice the tool's volume at bulk density.
   One powder can lie twice as dense as another of its name (USDA SR28, skim
   milk powder and its instant form).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Context, Decimal

from specctl.analysis.density import Item
from specctl.analysis.dose import LEAST_WEIGHINGS, poured_density
from specctl.analysis.student import grubbs, two_sided
from specctl.domain.amount import plain
from specctl.domain.equipment import Tool
from specctl.domain.place import ScoopCheck
from specctl.problem import NOWHERE, WARNING, Place, Problem

MOST_WEIGHINGS = 1000
CONFIDENCE = 0.95
LASTS = timedelta(days=180)
"""How long a check is trusted where the book says nothing (common practice, no source)."""

_STEP = Decimal("0.001")
_EXACT = Context(prec=40, rounding=ROUND_HALF_UP)
_APART = Decimal("0.15")
_DEVIATIONS_APART = 6
_JUMBLED = Decimal("0.34")
_ABSURD = Decimal(2)
_NOTABLE = Decimal("0.25")


@dataclass(frozen=True, slots=True)
class Weighed:
    """What the weighings say, in grams. `spread` is one standard deviation of one dose;
    `floored` where all read the same and the step of the scale stands in."""

    n: int
    mean: Decimal
    spread: Decimal
    floored: bool

    @property
    def half_width(self) -> float:
        """The mean is known to ± this, with 95 % confidence (Student's t)."""
        return two_sided(CONFIDENCE, self.n - 1) * float(self.spread) / math.sqrt(self.n)

    @property
    def proves(self) -> bool:
        """Whether so many weighings may prove a dose."""
        return self.n >= LEAST_WEIGHINGS


def weigh_up(
    grams: Sequence[Decimal], step: Decimal, item: Item, tool: Tool, places: Sequence[Place] = ()
) -> tuple[Weighed | None, list[Problem]]:
    """The mean and spread of weighings in grams, read to `step` grams; None with what is wrong with them.

    `places`: where each weighing stands, where they stand in a file.
    """
    places = places or [NOWHERE] * max(len(grams), 1)
    place = places[0]
    wrong = _count_wrong(grams, places)
    if wrong:
        return None, wrong
    found = summary(grams, step)
    for rule in (_outlier, _two_things, _jumble):
        finding = rule(grams, step, found)
        if finding is not None:
            where = places[_farthest(grams, found)] if rule is _outlier else place
            return None, [Problem("weighings-mixed", where, finding, "Find out why, and weigh again; nothing was stored.")]
    return _against_density(found, item, tool, place)


def summary(grams: Sequence[Decimal], step: Decimal) -> Weighed:
    """Mean and sample standard deviation, rounded half up to 0.001 g.

    Where the weighings hardly differ, a scale that steps in whole grams has hidden
    the spread: it is never taken below one step over sqrt(12), the deviation of
    an even rounding.
    """
    n = len(grams)
    mean = _EXACT.divide(sum(grams, Decimal(0)), Decimal(n))
    squares = sum((_EXACT.power(_EXACT.subtract(g, mean), 2) for g in grams), Decimal(0))
    spread = _EXACT.sqrt(_EXACT.divide(squares, Decimal(n - 1)))
    hidden = _EXACT.divide(step, _EXACT.sqrt(Decimal(12)))
    floored = spread < hidden
    return Weighed(n, _rounded(mean), _rounded(max(spread, hidden)), floored)


def due(checked: date, lasts: timedelta | None) -> date:
    """The day from which a scoop is to be weighed again."""
    return checked + (lasts if lasts is not None else LASTS)


def bias(quiet: ScoopCheck, busy: ScoopCheck) -> tuple[Decimal, Decimal, bool]:
    """How far the busy hour's mean is from the quiet one's: grams, share, and whether
    that is more than the two means are unsure of (Welch's interval, 95 %)."""
    off = busy.mean - quiet.mean
    one, other = (float(c.spread) ** 2 / c.n for c in (quiet, busy))
    error = one + other
    if error == 0:
        return off, _EXACT.divide(off, quiet.mean), off != 0
    degrees = error**2 / (one**2 / (quiet.n - 1) + other**2 / (busy.n - 1))
    t = two_sided(CONFIDENCE, max(1, math.floor(degrees)))
    return off, _EXACT.divide(off, quiet.mean), abs(float(off)) > t * math.sqrt(error)


def _count_wrong(grams: Sequence[Decimal], places: Sequence[Place]) -> list[Problem]:
    if len(grams) < 2:
        said = "one weighing" if grams else "no weighing"
        return [
            Problem(
                "weighings-few",
                places[0],
                f"{said} says nothing of how far a scoop spreads",
                f"Weigh at least two; {LEAST_WEIGHINGS} or more can prove a dose, ten are better.",
            )
        ]
    if len(grams) > MOST_WEIGHINGS:
        return [Problem("weighings-many", places[0], f"{len(grams)} weighings are too many", f"Give at most {MOST_WEIGHINGS}.")]
    return [
        Problem("weighing-zero", places[at - 1], f"weighing {at} is {plain(g)} g", "A weighing is more than nothing; leave it out.")
        for at, g in enumerate(grams, 1)
        if not g.is_finite() or g <= 0
    ]


def _farthest(grams: Sequence[Decimal], found: Weighed) -> int:
    return max(range(found.n), key=lambda i: abs(grams[i] - found.mean))


def _outlier(grams: Sequence[Decimal], step: Decimal, found: Weighed) -> str | None:
    if found.n < 3 or found.floored:
        return None
    at = _farthest(grams, found)
    far, bound = float(abs(grams[at] - found.mean) / found.spread), grubbs(found.n)
    if far <= bound:
        return None
    return (
        f"weighing {at + 1}, {plain(grams[at])} g, does not belong to the others: it lies {far:.2f} deviations from "
        f"the mean of {plain(found.mean)} g, and {found.n} weighings allow {bound:.2f} (Grubbs' test, 5 %)"
    )


def _two_things(grams: Sequence[Decimal], step: Decimal, found: Weighed) -> str | None:
    ordered = sorted(grams)
    cuts = range(2, found.n - 1)
    if not cuts:
        return None
    cut = max(cuts, key=lambda at: ordered[at] - ordered[at - 1])
    low, high = summary(ordered[:cut], step), summary(ordered[cut:], step)
    apart = high.mean - low.mean
    pooled = math.sqrt((float(low.spread) ** 2 + float(high.spread) ** 2) / 2)
    if apart < _APART * found.mean or float(apart) < _DEVIATIONS_APART * pooled:
        return None
    return (
        f"these are two things: {low.n} weighings around {plain(low.mean)} g and {high.n} around {plain(high.mean)} g"
    )


def _jumble(grams: Sequence[Decimal], step: Decimal, found: Weighed) -> str | None:
    share = found.spread / found.mean
    if share <= _JUMBLED:
        return None
    return (
        f"these are not one scoop weighed {found.n} times: they spread by {_per_cent(share)} of their mean "
        f"({plain(min(grams))} g to {plain(max(grams))} g), and even untrained hands spread by a third of that"
    )


def _against_density(found: Weighed, item: Item, tool: Tool, place: Place) -> tuple[Weighed | None, list[Problem]]:
    density, ml = poured_density(item), tool.stroke if tool.kind == "pump" else tool.volume
    if density is None or not ml:
        return found, []
    expected = density.value * ml
    words = f"{plain(found.mean)} g, where {plain(ml)} ml at {plain(density.value)} g/ml would be {plain(_rounded(expected))} g"
    if not expected / _ABSURD <= found.mean <= expected * _ABSURD:
        todo = "Check the tool, the ingredient, the tare and the unit; or correct the density first. Nothing was stored."
        return None, [Problem("weighings-absurd", place, f"a mean of {words}, is not this tool level with this", todo)]
    if abs(found.mean - expected) > _NOTABLE * expected:
        todo = "Level the scoop, and check the stated density; the weighings count."
        return found, [Problem("weighings-off-density", place, f"a mean of {words}", todo, WARNING)]
    return found, []


def _per_cent(share: Decimal) -> str:
    return f"{plain((share * 100).quantize(Decimal(1), rounding=ROUND_HALF_UP))} %"


def _rounded(value: Decimal) -> Decimal:
    return value.quantize(_STEP, rounding=ROUND_HALF_UP, context=_EXACT)
