"""How far a measured dose may spread: float estimates, never in an entry.

Answers with what chance a measure lands inside its tolerance, by the normal
law. Where a site has not weighed its scoops, the published error of ordinary
people with scoops and measuring cups stands in.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from specctl.analysis.density import Item
from specctl.analysis.dose import LEAST_WEIGHINGS, Bench, film_in, is_poured, poured_density, void_reason
from specctl.analysis.measuring import Measure, Move
from specctl.domain.amount import Tolerance
from specctl.domain.equipment import Tool

# Mean absolute error of a dose, as a share: Rosenkranz et al., Frontiers in
# Nutrition 11:1385496 (2024), 84 people.
POWDER_MEAN_ERROR = 0.090
LIQUID_MEAN_ERROR = 0.044

# Under a normal law the mean absolute error is the standard deviation times
# sqrt(2 / pi), so the standard deviation is the mean error times sqrt(pi / 2).
POWDER_SPREAD = POWDER_MEAN_ERROR * math.sqrt(math.pi / 2)
LIQUID_SPREAD = LIQUID_MEAN_ERROR * math.sqrt(math.pi / 2)


@dataclass(frozen=True, slots=True)
class Part:
    """`motions` doses. In grams a dose: `spread` is independent from dose to dose,
    `shared` is common to all doses of one `lot` (a density, a calibration)."""

    motions: float
    spread: float
    shared: float
    lot: str


def combined_spread(parts: Iterable[Part]) -> float:
    """Standard deviation in grams of all parts together.

    Independent scoop errors add in quadrature: n scoops spread by sqrt(n) times
    one. An error common to a lot (its bulk density is off, the scoop is large)
    repeats with every scoop, so it adds linearly: n times one. Lots are
    independent of one another.
    """
    variance = 0.0
    lots: dict[str, float] = {}
    for part in parts:
        variance += part.motions * part.spread**2
        lots[part.lot] = lots.get(part.lot, 0.0) + part.motions * part.shared
    return math.sqrt(variance + sum(shared**2 for shared in lots.values()))


def parts_of(found: Measure, item: Item, bench: Bench) -> tuple[Part, ...]:
    """What a measure by tools is made of, by its scoop checks, the stated error of
    its tools, or else the published default, which is taken as common to the lot
    (the cautious side: it does not average out over scoops)."""
    tools = {tool.id: tool for tool in bench.tools}
    return tuple(_part(move, tools[move.tool], item, bench) for move in found.moves)


def spread_of(found: Measure, item: Item, bench: Bench) -> float | None:
    """Standard deviation in grams of a measure; None where nothing is measured.

    A scale's rounding is taken as even over one step: readability / sqrt(12).
    """
    if found.by == "scale":
        return _step(found, bench) / math.sqrt(12)
    if found.by == "tools":
        return combined_spread(parts_of(found, item, bench))
    return None


def chance_inside(
    target: Decimal, tolerance: Tolerance, found: Measure, item: Item, bench: Bench
) -> float | None:
    """The chance, 0..1, that a dose lands inside the tolerance of a target in grams.

    Tools by the normal law around what the measure gives; a scale by even
    rounding around its reading. None for counting, eye and no tool.
    """
    if found.gives is None:
        return None
    under, over = (float(side) for side in tolerance.grams(target))
    off = float(found.gives - target)
    if found.by == "scale":
        half = _step(found, bench) / 2
        overlap = min(off + half, over) - max(off - half, -under)
        return min(max(overlap / (2 * half), 0.0), 1.0)
    spread = combined_spread(parts_of(found, item, bench))
    return normal_share(off, spread, -under, over)


def normal_share(mean: float, spread: float, low: float, high: float) -> float:
    """The share of a normal law between two limits; a spread of zero is a certainty."""
    if spread == 0:
        return 1.0 if low <= mean <= high else 0.0
    scale = spread * math.sqrt(2)
    return (math.erf((high - mean) / scale) - math.erf((low - mean) / scale)) / 2


def hausner_ratio(bulk: Decimal, tapped: Decimal) -> Decimal:
    """Tapped density over bulk density."""
    return tapped / bulk


def carr_index(bulk: Decimal, tapped: Decimal) -> Decimal:
    """Compressibility in per cent: 100 (tapped - bulk) / tapped."""
    return 100 * (tapped - bulk) / tapped


_CARR_TO = ("10", "15", "20", "25", "31", "37")
_HAUSNER_TO = ("1.11", "1.18", "1.25", "1.34", "1.45", "1.59")
FLOW = ("excellent", "good", "fair", "passable", "poor", "very poor", "very, very poor")


def flow_by_carr(index: Decimal) -> str:
    """How a powder flows by its Carr index in per cent, in the bands of USP <1174>.

    The bands are whole numbers: the index is rounded half up to one first. The
    table leaves 38 itself out (32-37, then above 38); it counts as the worse.
    """
    return _band(index.quantize(Decimal(1), rounding=ROUND_HALF_UP), _CARR_TO)


def flow_by_hausner(ratio: Decimal) -> str:
    """How a powder flows by its Hausner ratio, in the bands of USP <1174>.

    The bands have two decimals: the ratio is rounded half up to them first. The
    table leaves 1.60 itself out (1.46-1.59, then above 1.60); it counts as the worse.
    """
    return _band(ratio.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP), _HAUSNER_TO)


def _band(value: Decimal, ends: tuple[str, ...]) -> str:
    for end, word in zip(ends, FLOW):
        if value <= Decimal(end):
            return word
    return FLOW[-1]


def _part(move: Move, tool: Tool, item: Item, bench: Bench) -> Part:
    times = float(move.times)
    motions = float(math.ceil(move.times))
    check = bench.checks.get((item.id, tool.id))
    if check is not None and tool.kind not in ("jigger", "jug") and void_reason(check, item) is None:
        spread = float(check.spread)
        if check.n < LEAST_WEIGHINGS:
            spread = max(spread, (LIQUID_SPREAD if is_poured(item) else POWDER_SPREAD) * float(check.mean))
        # how far the mean itself may be off after n weighings is the same each time
        return Part(motions, spread, spread / math.sqrt(check.n) * times / motions, f"check {tool.id}")
    density = poured_density(item)
    grams = float(_volume(move, tool)) * (float(density.value) if density else 0.0)
    grams *= 1 - float(film_in(tool, item))
    if is_poured(item):
        if tool.error is not None:
            return Part(motions, 0.0, float(tool.error) * grams * times / motions, f"tool {tool.id}")
        return Part(motions, 0.0, LIQUID_SPREAD * grams * times / motions, f"item {item.id}")
    return Part(motions, 0.0, POWDER_SPREAD * grams * times / motions, f"item {item.id}")


def _volume(move: Move, tool: Tool) -> Decimal:
    if move.mark is not None:
        return Decimal(move.mark.split(" ")[0])
    return tool.stroke or tool.volume or Decimal(0)


def _step(found: Measure, bench: Bench) -> float:
    tool = next(each for each in bench.tools if each.id == found.moves[0].tool)
    return float(tool.readability or 0)
