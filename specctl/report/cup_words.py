"""The words of a cup: figures with their doubt, verdicts, assumptions, cautions.

Nothing here says a drink is safe, cold enough or hot enough: that is not a
computation's to promise.
"""

from __future__ import annotations

from collections.abc import Mapping

from specctl.analysis.cup_state import CupState, LayerState
from specctl.analysis.pour import Meeting
from specctl.analysis.vessel import Hollow

ESTIMATE = "Estimated, not measured: volumes add up, no heat goes to the cup or the air. Pour one and look."
BRIEFLY = "Estimated, not measured."
NO_EVIDENCE = (
    "A computed temperature is no evidence for cooling, holding or safe serving: use a probe, "
    "and follow local rules."
)
SCALD = "Hot: it can scald. Hand it over with a lid and say that it is hot."

_VERDICTS = {
    "stays": "stays",
    "marginal": "MARGINAL, may mix",
    "mixes": "WILL MIX",
    "unknown": "not known: a density or a temperature is missing",
}


_ROOMS = {"fits": "fits", "over-line": "OVER THE FILL LINE", "overflows": "OVERFLOWS", "unknown": "not known"}


def room_short(room: str) -> str:
    """Whether it fits, in a word or two."""
    return _ROOMS[room]


def verdict_short(verdict: str) -> str:
    """Whether two neighbours stay, in a word or two."""
    return "not known" if verdict == "unknown" else _VERDICTS[verdict]


def figure_words(layer: LayerState) -> str:
    """Volume, temperature and height of one layer."""
    parts = []
    if layer.ml is not None:
        parts.append(f"about {layer.ml:.0f} ml" if layer.ml >= 1 else "under 1 ml")
    if layer.celsius is not None:
        parts.append(f"{_whole(layer.celsius)} °C")
    if layer.bottom is not None and layer.top is not None:
        parts.append(f"{layer.top - layer.bottom:.0f} mm")
    return ", ".join(parts) or "not known"


def density_words(layer: LayerState) -> str:
    """Density, its doubt, and why this one."""
    if layer.density is None or layer.band is None:
        return "density not known: " + "; ".join(layer.missing or layer.why)
    return f"{layer.density:.3f} ± {layer.band:.3f} g/ml ({'; '.join(layer.why) or 'of its parts'})"


def meeting_words(meeting: Meeting, lower: str, upper: str) -> str:
    """A verdict on two neighbours with its gap and band."""
    words = f"{upper} on {lower}: {_VERDICTS[meeting.verdict]}"
    if meeting.gap is None or meeting.band is None:
        return words
    return f"{words} ({gap_words(meeting.gap, meeting.band)})"


def gap_words(gap: float, band: float) -> str:
    """How much heavier or lighter the lower of two layers is, g/ml."""
    return f"{'lower heavier' if gap >= 0 else 'lower LIGHTER'} by {abs(gap):.3f} ± {band:.3f} g/ml"


def room_words(state: CupState, vessel: str, brimful: float) -> str:
    """Whether it fits."""
    ml = f"about {state.known_ml:.0f} ml"
    if state.room == "overflows":
        return f"OVERFLOWS: {ml}, and the vessel holds {brimful:.0f} ml to the rim."
    if state.room == "over-line":
        over = f" by {-state.free_mm:.0f} mm" if state.free_mm is not None and state.free_mm <= -0.5 else ""
        return f"OVER THE FILL LINE{over}: {ml}."
    if state.room == "unknown":
        return "Not known whether it fits: " + "; ".join(state.missing)
    return f"Fits: {ml}, {state.free_mm or 0:.0f} mm free under the fill line."


def ice_words(state: CupState) -> tuple[str, ...]:
    """What the ice does."""
    ice = state.ice
    if ice is None:
        return ()
    how = "floats" if ice.floats else "rests on the bottom or stands packed"
    words = f"Ice: {ice.put:.0f} g at {_whole(ice.celsius)} °C; about {ice.melted:.0f} g melts once all is in balance, {ice.left:.0f} g is left"
    words += f" and {how}" if ice.left >= 1 and ice.displaces > 0 else ""
    if ice.strained >= 1:
        words += f"; {ice.strained:.0f} g stays in the strainer"
    return (f"{words}. Melt water and steam make {state.dilution * 100:.0f} % of the drink.",)


def note_words(state: CupState, names: Mapping[str, str], hollow: Hollow) -> tuple[str, ...]:
    """Thin layers, the better order, sweetness, what is missing."""
    notes = []
    thin = [names.get(key, key) for key in state.thin]
    if thin:
        many = "are thin layers" if len(thin) > 1 else "is a thin layer"
        wide = f"the cup is {hollow.diameter(hollow.full / 2):.0f} mm wide"
        notes.append(f"{' and '.join(thin)} {many}, under 8 mm ({wide}): it reads as a line and blurs at the pour.")
    if state.topped is not None and abs(state.topped.reach - state.topped.stated) >= 1:
        layer, reach = names.get(state.topped.path.partition("/")[0], state.topped.path), state.topped.reach
        takes = f"about {reach:.0f} g reach the height" if reach >= 0.5 else "nothing more goes in below the height"
        notes.append(f"{layer}, topped up: {takes}, not the {state.topped.stated:.0f} g of a sum without melt water and steam.")
    if state.better_order:
        order = ", then ".join(names.get(key, key) for key in state.better_order)
        notes.append(f"Heaviest first would be: {order}.")
    sugars = sum(layer.sugars for layer in state.layers)
    whole = sum(layer.ml or 0.0 for layer in state.layers)
    if sugars >= 0.5 and whole > 0 and not state.missing:
        least = "" if all(layer.sugars_known for layer in state.layers) else "at least "
        notes.append(f"Sweetness: {least}{100 * sugars / whole:.1f} g of sugars in 100 ml of what stands in the cup.")
    if state.missing:
        notes.append("Not known: " + "; ".join(state.missing) + ".")
    return tuple(notes)


def caution_words(hot: bool) -> tuple[str, ...]:
    """The limits of the figures, and what a hot cup needs."""
    return (*((SCALD,) if hot else ()), ESTIMATE, NO_EVIDENCE)


def _whole(celsius: float) -> str:
    return f"{round(celsius):d}"
