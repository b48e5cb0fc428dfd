"""Over a chain: which ingredients are measured outside tolerance, where, and what that costs.

What goes over is money, what falls short is taste. Both are expectations under
the normal law of `error` around what a measure gives: estimates, said so. Only
standard builds count, for sales are stated for drinks, not for their options.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import NormalDist

WEEKS = 52


@dataclass(slots=True)
class Capability:
    """One ingredient or prep. Sites by id; grams a year; money a year by currency."""

    item: str
    name: str
    sites: set[str] = field(default_factory=set)
    outside: set[str] = field(default_factory=set)
    unproven: set[str] = field(default_factory=set)
    over_grams: float = 0.0
    under_grams: float = 0.0
    missed: float = 0.0
    """Doses a year expected outside their tolerance."""
    cost: dict[str, float] = field(default_factory=dict)
    unpriced: set[str] = field(default_factory=set)
    unsold: set[str] = field(default_factory=set)


def expected_over(mean: float, spread: float) -> float:
    """E[max(X, 0)] of a normal law: mean Phi(mean/spread) + spread phi(mean/spread)."""
    if spread == 0:
        return max(mean, 0.0)
    law = NormalDist()
    z = mean / spread
    return mean * law.cdf(z) + spread * law.pdf(z)


def expected_miss(off: float, spread: float) -> tuple[float, float]:
    """Expected grams over and under a target, for a dose that is `off` on average."""
    return expected_over(off, spread), expected_over(-off, spread)


def ranked(found: dict[str, Capability]) -> list[Capability]:
    """Most sites outside first, then most not proven, then most doses missed, then by id.

    Money does not rank: sums in several currencies are no number.
    """
    return sorted(found.values(), key=lambda c: (-len(c.outside), -len(c.unproven), -c.missed, c.item))
