"""In the cup: what comes to fit otherwise, which layers come to mix, and the cups drawn before and after.

Every figure is an estimate and says so; nothing here is part of what is signed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from specctl.analysis.cup_state import CupState, LayerState
from specctl.change.cup_change import BAD, CupChange, worst
from specctl.change.cup_entry import CupMade
from specctl.change.impact import Impact
from specctl.report.cup_view import CupView, picture_id, view_made
from specctl.report.cup_words import ESTIMATE, NO_EVIDENCE, gap_words, room_short, verdict_short
from specctl.report.tables import Block, Cell, Column, Cups, Note, Point, Section, Table, cell
from specctl.report.told_words import build_told
from specctl.report.tongue import _, _n, later
from specctl.report.view_names import site_names

KEY = "cups"
TITLE = later("In the cup, estimated")
MOST_DRAWN = 12
_MOST_ON_FIRST_SCREEN = 2


def told(point: Point, impact: Impact) -> Point:
    """A point of the first screen, followed by cups that come to overflow or to mix."""
    worse = [_short(change) for change in _worst_first(impact) if change.is_worse]
    if not worse:
        return point
    words = "; ".join(worse[:_MOST_ON_FIRST_SCREEN])
    left = len(worse) - _MOST_ON_FIRST_SCREEN
    if left > 0:
        words = _n("{cups}; {count} more below", "{cups}; {count} more below", left).format(cups=words, count=left)
    text = _("{point} IN THE CUP (estimated): {cups}.").format(point=point.text, cups=words)
    return Point(point.label, text, point.section, alarm=True)


def section(impact: Impact) -> Section:
    """Verdicts that move or are bad, then the cups of the standard builds drawn, worst first."""
    blocks: list[Block] = [Note(f"{_(ESTIMATE)} {_(NO_EVIDENCE)} {_('No signature rests on this part.')}")]
    if not impact.cups:
        return Section(KEY, _(TITLE), (Note(_("No cup changes: as far as can be computed, every drink stands as it did.")),))
    listed = [change for change in _worst_first(impact) if change.verdict_moves or change.is_bad]
    if listed:
        blocks.append(_table(impact, listed))
    else:
        blocks.append(Note(_("Every cup that changes fits as it did, and its layers stay or mix as they did.")))
    drawn = [change for change in _worst_first(impact) if not change.choice or change.is_worse]
    for number, change in enumerate(drawn[:MOST_DRAWN]):
        blocks.append(Cups(_caption(impact, change), _view(change.before, number), _view(change.after, number)))
    if len(drawn) > MOST_DRAWN:
        words = _("{drawn} of {count} cups are drawn, the worst first; specctl show DRINK draws any of them.")
        blocks.append(Note(words.format(drawn=MOST_DRAWN, count=len(drawn))))
    return Section(KEY, _(TITLE), tuple(blocks), alarm=any(change.is_worse for change in impact.cups))


def cups_json(impact: Impact) -> list[dict[str, Any]]:
    """Every cup that differs, in figures; decimals as text, as everywhere in a report."""
    return [
        {
            "item": change.item, "item_name": change.item_name, "size": change.size, "size_name": change.size_name,
            "choice": change.choice, "choice_name": change.choice_name, "sites": list(change.sites),
            "worse": change.is_worse, "before": _figures(change.before), "after": _figures(change.after),
        }
        for change in impact.cups
    ]  # fmt: skip


def _worst_first(impact: Impact) -> list[CupChange]:
    def rank(change: CupChange) -> tuple[bool, int, bool, bool]:
        return (
            not change.is_worse, -(worst(change.after.state) if change.after else 0),
            change.before is None or change.after is None, bool(change.choice),
        )  # fmt: skip

    return sorted(impact.cups, key=rank)


def _view(made: CupMade | None, number: int) -> CupView | None:
    """The view under an id of its own, for one cup may be drawn for two groups of sites."""
    if made is None:
        return None
    view = view_made(made)
    return replace(view, id=picture_id(view.id, str(number)))


def _caption(impact: Impact, change: CupChange) -> str:
    return f"{_name(change)}: {site_names(impact, change.sites)}"


def _name(change: CupChange) -> str:
    return ", ".join(part for part in (change.item_name, change.size_name, build_told(change.choice_name)) if part)


def _short(change: CupChange) -> str:
    moved = [words for words, rank, has_moved in _moves(change) if rank >= BAD and has_moved]
    return f"{_name(change)}: {'; '.join(moved)}"


def _table(impact: Impact, changes: list[CupChange]) -> Table:
    rows = tuple(
        (
            cell(_name(change), quiet=(site_names(impact, change.sites),)),
            _room_cell(change),
            Cell(_layer_words(change), alarm=any(rank >= BAD for _words, rank, _moved in _moves(change)[1:])),
        )
        for change in changes
    )
    columns = (Column(_("Drink")), Column(_("Does it fit")), Column(_("Do its layers stay")))
    return Table(_("Verdicts that move, and cups that stand badly"), columns, rows)


def _room_cell(change: CupChange) -> Cell:
    after = change.after.state if change.after else None
    before = change.before.state if change.before else None
    quiet = []
    if after is not None and after.free_mm is not None:
        was = f"{before.free_mm:.0f} mm → " if before is not None and before.free_mm is not None else ""
        quiet.append(_("{distance} to the fill line").format(distance=f"{was}{after.free_mm:.0f} mm"))
    return cell(_move(_room(before), _room(after)), quiet=tuple(quiet), alarm=bool(after and after.room in ("over-line", "overflows")))


def _room(state: CupState | None) -> str:
    return "" if state is None else room_short(state.room)


def _layer_words(change: CupChange) -> tuple[str, ...]:
    """The pairs of neighbours that moved or are bad; of the others only that they stand as they did."""
    pairs = _moves(change)[1:]
    told = tuple(words for words, rank, has_moved in pairs if has_moved or rank >= BAD)
    if told:
        return told
    return (_("as before"),) if pairs else (_("one layer"),)


def _moves(change: CupChange) -> list[tuple[str, int, bool]]:
    """Room first, then each pair of neighbours: its verdict before → after, the rank of the latter, and whether it moved."""
    before, after = (made.state if made else None for made in (change.before, change.after))
    made = change.after or change.before
    names = made.names if made else {}
    ranks = {"fits": 0, "unknown": 1, "over-line": 2, "overflows": 3, "stays": 0, "marginal": 2, "mixes": 3}
    found = [(_move(_room(before), _room(after)), ranks.get(after.room, 0) if after else 0, _room(before) != _room(after))]
    was = {(m.lower, m.upper): m for m in before.meetings} if before else {}
    now = {(m.lower, m.upper): m for m in after.meetings} if after else {}
    for pair in [*now, *(pair for pair in was if pair not in now)]:
        old, new = was.get(pair), now.get(pair)
        first, then = verdict_short(old.verdict) if old else "", verdict_short(new.verdict) if new else ""
        gap = f" ({gap_words(new.gap, new.band)})" if new and new.gap is not None and new.band is not None else ""
        lower, upper = (names.get(key, key) for key in pair)
        found.append((_("{upper} on {lower}: {verdict}").format(upper=upper, lower=lower, verdict=f"{_move(first, then)}{gap}"), ranks.get(new.verdict, 0) if new else 0, first != then))
    return found


def _move(before: str, after: str) -> str:
    if before == after:
        return after
    return f"{before or _('not there')} → {after or _('not there')}"


def _figures(made: CupMade | None) -> Mapping[str, Any] | None:
    if made is None:
        return None
    state = made.state
    return {
        "vessel": made.vessel, "room": state.room, "ml": _number(state.known_ml), "free_mm": _number(state.free_mm),
        "melt_and_steam_g": _number(sum(layer.water for layer in state.layers)),
        "ice_left_g": _number(state.ice.left if state.ice else 0.0),
        "layers": [_layer(made, layer) for layer in state.layers],
        "meetings": [
            {"lower": m.lower, "upper": m.upper, "verdict": m.verdict, "gap": _number(m.gap, 4), "band": _number(m.band, 4)}
            for m in state.meetings
        ],
        "hot": made.hot, "missing": list(state.missing),
    }  # fmt: skip


def _layer(made: CupMade, layer: LayerState) -> Mapping[str, Any]:
    return {
        "key": layer.key, "name": made.names.get(layer.key, layer.key), "with": list(layer.joined), "kind": layer.kind,
        "ml": _number(layer.ml), "celsius": _number(layer.celsius), "bottom_mm": _number(layer.bottom), "top_mm": _number(layer.top),
        "density": _number(layer.density, 4), "band": _number(layer.band, 4), "why": list(layer.why),
    }  # fmt: skip


def _number(value: float | None, places: int = 1) -> str | None:
    if value is None:
        return None
    shown = Decimal(repr(round(value, places))) + 0
    return f"{shown:f}"
