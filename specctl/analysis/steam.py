"""Water that steam leaves in milk: an energy balance.

Steam at 100 °C condenses in the milk and cools to its temperature; what heat it
gives up, the milk takes. Not counted: heat lost to the jug and the air, and
steam that escapes, both of which make the true uptake larger.
"""

from __future__ import annotations

from specctl.analysis.heat import WATER_HEAT

DRY_STEAM = 2675.4
"""J/g above liquid at 0 °C: saturated steam at 100 °C (IAPWS-95, as reference libraries compute it)."""

BOILING_WATER = 418.95
"""J/g above liquid at 0 °C: water at 100 °C (the same)."""

DEFAULT_DRYNESS = 0.95
"""Share of a wand's steam that is vapour: common practice, no source; purge it first."""

STEAMED_TO = 65.0
"""°C milk is steamed to where a spec does not say: common practice."""


def steam_uptake(
    grams: float, heat: float, start: float, end: float, dryness: float = DEFAULT_DRYNESS
) -> float | None:
    """Grams of condensed steam in so many grams of milk heated from start to end, °C.

    m (h_steam - c_w end) = M c (end - start), with the steam's enthalpy between
    boiling water (dryness 0) and dry steam (1). `heat` in J/(g K). None where
    steam at 100 °C cannot do it or dryness is no share.
    """
    if not 0 < dryness <= 1 or end >= 100:
        return None
    if end <= start:
        return 0.0
    gives = BOILING_WATER + dryness * (DRY_STEAM - BOILING_WATER) - WATER_HEAT * end
    return grams * heat * (end - start) / gives
