"""The words of a cup: figures with their doubt, verdicts, assumptions, cautions.

Nothing here says a drink is safe, cold enough or hot enough: that is not a
computation's to promise.
"""

from __future__ import annotations

from collections.abc import Mapping

from specctl.analysis.cup_state import CupState, LayerState
from specctl.analysis.pour import Meeting
from specctl.analysis.vessel import Hollow
from specctl.report.numerals import numeral
from specctl.report.told_words import cup_told
from specctl.report.tongue import _, _n, later

ESTIMATE = later("Estimated, not measured: volumes add up, no heat goes to the cup or the air. Pour one and look.")
BRIEFLY = later("Estimated, not measured.")
NO_EVIDENCE = later(
    "A computed temperature is no evidence for cooling, holding or safe serving: use a probe, "
    "and follow local rules."
)
SCALD = later("Hot: it can scald. Hand it over with a lid and say that it is hot.")

_VERDICTS = {
    "stays": later("stays"),
    "marginal": later("MARGINAL, may mix"),
    "mixes": later("WILL MIX"),
    "unknown": later("not known: a density or a temperature is missing"),
}


_ROOMS = {
    "fits": later("fits"),
    "over-line": later("OVER THE FILL LINE"),
    "overflows": later("OVERFLOWS"),
    "unknown": later("not known"),
}


def room_short(room: str) -> str:
    """Whether it fits, in a word or two."""
    return _(_ROOMS[room])


def verdict_short(verdict: str) -> str:
    """Whether two neighbours stay, in a word or two."""
    return _("not known") if verdict == "unknown" else _(_VERDICTS[verdict])


def figure_words(layer: LayerState) -> str:
    """Volume, temperature and height of one layer."""
    parts = []
    if layer.ml is not None:
        parts.append(_("about {amount}").format(amount=f"{layer.ml:.0f} ml") if layer.ml >= 1 else _("under {amount}").format(amount="1 ml"))
    if layer.celsius is not None:
        parts.append(f"{_whole(layer.celsius)} °C")
    if layer.bottom is not None and layer.top is not None:
        parts.append(f"{layer.top - layer.bottom:.0f} mm")
    return ", ".join(parts) or _("not known")


def density_words(layer: LayerState) -> str:
    """Density, its doubt, and why this one."""
    if layer.density is None or layer.band is None:
        return _("density not known: {why}").format(why="; ".join(map(cup_told, layer.missing) if layer.missing else layer.why))
    figure = numeral(f"{layer.density:.3f} ± {layer.band:.3f} g/ml")
    return f"{figure} ({'; '.join(layer.why) or _('of its parts')})"


def meeting_words(meeting: Meeting, lower: str, upper: str) -> str:
    """A verdict on two neighbours with its gap and band."""
    words = _("{upper} on {lower}: {verdict}").format(upper=upper, lower=lower, verdict=_(_VERDICTS[meeting.verdict]))
    if meeting.gap is None or meeting.band is None:
        return words
    return f"{words} ({gap_words(meeting.gap, meeting.band)})"


def gap_words(gap: float, band: float) -> str:
    """How much heavier or lighter the lower of two layers is, g/ml."""
    words = _("lower heavier by {density}") if gap >= 0 else _("lower LIGHTER by {density}")
    return words.format(density=numeral(f"{abs(gap):.3f} ± {band:.3f} g/ml"))


def room_words(state: CupState, vessel: str, brimful: float) -> str:
    """Whether it fits."""
    ml = _("about {amount}").format(amount=f"{state.known_ml:.0f} ml")
    if state.room == "overflows":
        return _("OVERFLOWS: {amount}, and the vessel holds {brimful} to the rim.").format(amount=ml, brimful=f"{brimful:.0f} ml")
    if state.room == "over-line":
        if state.free_mm is not None and state.free_mm <= -0.5:
            return _("OVER THE FILL LINE by {distance}: {amount}.").format(distance=f"{-state.free_mm:.0f} mm", amount=ml)
        return _("OVER THE FILL LINE: {amount}.").format(amount=ml)
    if state.room == "unknown":
        return _("Not known whether it fits: {why}").format(why="; ".join(map(cup_told, state.missing)))
    return _("Fits: {amount}, {distance} free under the fill line.").format(amount=ml, distance=f"{state.free_mm or 0:.0f} mm")


def ice_words(state: CupState) -> tuple[str, ...]:
    """What the ice does."""
    ice = state.ice
    if ice is None:
        return ()
    if ice.left < 1 or ice.displaces <= 0:
        words = _("Ice: {put} at {celsius}; about {melted} melts once all is in balance, {left} is left")
    elif ice.floats:
        words = _("Ice: {put} at {celsius}; about {melted} melts once all is in balance, {left} is left and floats")
    else:
        words = _(
            "Ice: {put} at {celsius}; about {melted} melts once all is in balance, {left} is left and rests on the bottom or "
            "stands packed"
        )
    told = words.format(
        put=f"{ice.put:.0f} g", celsius=f"{_whole(ice.celsius)} °C", melted=f"{ice.melted:.0f} g", left=f"{ice.left:.0f} g"
    )
    if ice.strained >= 1:
        told = _("{ice}; {amount} stays in the strainer").format(ice=told, amount=f"{ice.strained:.0f} g")
    return (_("{ice}. Melt water and steam make {share} of the drink.").format(ice=told, share=f"{state.dilution * 100:.0f} %"),)


def note_words(state: CupState, names: Mapping[str, str], hollow: Hollow) -> tuple[str, ...]:
    """Thin layers, the better order, sweetness, what is missing."""
    notes = []
    thin = [names.get(key, key) for key in state.thin]
    if thin:
        words = _n(
            "{names} is a thin layer, under {least} (the cup is {wide} wide): it reads as a line and blurs at the pour.",
            "{names} are thin layers, under {least} (the cup is {wide} wide): it reads as a line and blurs at the pour.",
            len(thin),
        )
        names_of = _(" and ").join(thin)
        notes.append(words.format(names=names_of, least="8 mm", wide=f"{hollow.diameter(hollow.full / 2):.0f} mm"))
    if state.topped is not None and abs(state.topped.reach - state.topped.stated) >= 1:
        layer, reach = names.get(state.topped.path.partition("/")[0], state.topped.path), state.topped.reach
        if reach >= 0.5:
            words = _("{layer}, topped up: about {amount} reach the height, not the {stated} of a sum without melt water and steam.")
        else:
            words = _("{layer}, topped up: nothing more goes in below the height, not the {stated} of a sum without melt water and steam.")
        notes.append(words.format(layer=layer, amount=f"{reach:.0f} g", stated=f"{state.topped.stated:.0f} g"))
    if state.better_order:
        order = _(", then ").join(names.get(key, key) for key in state.better_order)
        notes.append(_("Heaviest first would be: {order}.").format(order=order))
    sugars = sum(layer.sugars for layer in state.layers)
    whole = sum(layer.ml or 0.0 for layer in state.layers)
    if sugars >= 0.5 and whole > 0 and not state.missing:
        if all(layer.sugars_known for layer in state.layers):
            words = _("Sweetness: {amount} of sugars in {volume} of what stands in the cup.")
        else:
            words = _("Sweetness: at least {amount} of sugars in {volume} of what stands in the cup.")
        notes.append(words.format(amount=numeral(f"{100 * sugars / whole:.1f} g"), volume="100 ml"))
    if state.missing:
        notes.append(_("Not known: {what}.").format(what="; ".join(map(cup_told, state.missing))))
    return tuple(notes)


def caution_words(hot: bool) -> tuple[str, ...]:
    """The limits of the figures, and what a hot cup needs."""
    return (*((_(SCALD),) if hot else ()), _(ESTIMATE), _(NO_EVIDENCE))


def _whole(celsius: float) -> str:
    return f"{round(celsius):d}"
