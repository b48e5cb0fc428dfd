"""Will two layers stay apart: density gap against the band of doubt.

Promises: a verdict only where both densities are known at a temperature. It
stays where even the worst case of both bands leaves the lower layer heavier by
the least gap; it will mix where even the best case does not; in between it is
marginal. How gently it is poured and how long it stands are not modelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

LEAST_GAP = 0.005
"""g/ml that a careful pour needs: common practice, no source."""

THIN_MM = 8.0
"""A layer lower than this reads as a line and blurs at the pour: common practice, no source."""

Verdict = Literal["stays", "marginal", "mixes", "unknown"]


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two neighbours by layer key: lower minus upper density in g/ml, ± the band."""

    lower: str
    upper: str
    gap: float | None
    band: float | None
    verdict: Verdict


def meet(lower: str, upper: str, gap: float | None, band: float | None) -> Meeting:
    """The verdict on a gap and its band; unknown where either is."""
    if gap is None or band is None:
        return Meeting(lower, upper, gap, band, "unknown")
    verdict: Verdict = "marginal"
    if gap - band >= LEAST_GAP:
        verdict = "stays"
    elif gap + band < LEAST_GAP:
        verdict = "mixes"
    return Meeting(lower, upper, gap, band, verdict)


def heavy_first(densities: Sequence[tuple[str, float]]) -> tuple[str, ...] | None:
    """The layer keys in the order that keeps them apart, heaviest at the bottom; None where it is so already."""
    wanted = sorted(densities, key=lambda pair: -pair[1])
    if [key for key, _ in wanted] == [key for key, _ in densities]:
        return None
    return tuple(key for key, _ in wanted)
