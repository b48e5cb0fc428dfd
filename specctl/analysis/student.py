"""Student's t: how far the mean of a few weighings may be off.

The distribution is summed exactly for whole degrees of freedom and turned
around by halving, so no table stands in the code and none can be mistyped.
Source of the series: Abramowitz & Stegun, Handbook of Mathematical Functions,
26.7.3 and 26.7.4. Floats: estimates people read, never in an entry.
"""

from __future__ import annotations

import math
from functools import lru_cache

_LARGEST = 1e7
_HALVINGS = 200


def inside(t: float, degrees: int) -> float:
    """The share of the law between -t and t (A&S 26.7.3 odd, 26.7.4 even degrees)."""
    if degrees < 1:
        raise ValueError("at least one degree of freedom")
    angle = math.atan(t / math.sqrt(degrees))
    square = math.cos(angle) ** 2
    if degrees % 2:
        if degrees == 1:
            return 2 * angle / math.pi
        term = total = math.cos(angle)
        for k in range(3, degrees - 1, 2):
            term *= square * (k - 1) / k
            total += term
        return 2 / math.pi * (angle + math.sin(angle) * total)
    term = total = 1.0
    for k in range(2, degrees - 1, 2):
        term *= square * (k - 1) / k
        total += term
    return math.sin(angle) * total


@lru_cache(maxsize=4096)
def two_sided(confidence: float, degrees: int) -> float:
    """The t that holds `confidence` (0..1) of the law between -t and t."""
    low, high = 0.0, _LARGEST
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if inside(middle, degrees) < confidence:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def grubbs(count: int, risk: float = 0.05) -> float:
    """How many standard deviations from the mean the furthest of `count` values may lie.

    Two-sided, for the risk of calling a sound value an outlier. Source: Grubbs,
    Technometrics 11 (1969) 1-21; NIST/SEMATECH e-Handbook of Statistical Methods
    1.3.5.17.1: G = (n-1)/sqrt(n) * sqrt(t² / (n - 2 + t²)), t at risk/(2n) with
    n - 2 degrees of freedom.
    """
    if count < 3:
        raise ValueError("an outlier needs at least three values")
    t = two_sided(1 - risk / count, count - 2)
    return (count - 1) / math.sqrt(count) * math.sqrt(t * t / (count - 2 + t * t))
