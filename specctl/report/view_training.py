"""The line of the first screen for whoever teaches: people, cards, and other places a drink is described."""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.report.tables import Point
from specctl.report.tongue import _, _n
from specctl.report.view_lines import is_seen
from specctl.report.view_names import listed
from specctl.report.view_sites import METHOD, kinds_of, taught_count, taught_texts
from specctl.report.words import say

_MOST_KINDS = 3
# What a guest reads before ordering, or a till prints.
_SHOWN_TO_GUESTS = frozenset(("item-new", "item-gone", "name", "size", "option", "claim"))


def point(impact: Impact) -> Point:
    """Who is shown what, how many cards are replaced and where, and what else names the drink."""
    rows = impact.effect.rows
    label = _("Train and replace")
    if not rows:
        return Point(label, _("Nobody: no card changes. {places}").format(places=_places(impact)), METHOD)
    sites = len({row.site for row in rows})
    everybody = _n("Everybody at {count} site: {taught}", "Everybody at {count} sites: {taught}", sites)
    parts = [everybody.format(count=sites, taught=_taught(impact)), *_cards(impact)]
    words = _("{parts}. {places}").format(parts="; ".join(parts), places=_places(impact))
    return Point(label, words, METHOD)


def _cards(impact: Impact) -> list[str]:
    """Cards to print, and cards to take away."""
    rows = impact.effect.rows
    cards = [row for row in rows if row.after is not None]
    new = sum(row.before is None for row in cards)
    parts = []
    if cards and new == 0:
        parts.append(_n("print {count} card", "print {count} cards", len(cards)))
    elif cards and new < len(cards):
        parts.append(_n("print {count} card, {new} of them new", "print {count} cards, {new} of them new", len(cards)))
    elif cards:
        parts.append(_n("print {count} card, all new", "print {count} cards, all new", len(cards)))
    parts = [part.format(count=len(cards), new=new) for part in parts]
    gone = len(rows) - len(cards)
    if gone:
        parts.append(_n("take {count} card away", "take {count} cards away", gone).format(count=gone))
    return parts


def _taught(impact: Impact) -> str:
    """`1 method and 1 hold time, the new amounts, what to say of allergens`."""
    texts = taught_texts(impact)
    kinds = [t.kind for t in texts]
    counted = [taught_count(kind, kinds.count(kind)) for kind, _heading in kinds_of(texts)]
    left = len(counted) - _MOST_KINDS
    told = listed(counted)
    if left > 0:
        more = _n("{names} and {count} more kind", "{names} and {count} more kinds", left)
        told = more.format(names=say("word.list").join(counted[:_MOST_KINDS]), count=left)
    new = {t.item for t in impact.texts if t.kind == "item-new"}
    amounts = any(c.item not in new and is_seen(c) for c in impact.amounts)
    parts = (told, _("the new amounts") if amounts else "", _("what to say of allergens") if impact.allergens else "")
    return say("word.list").join(part for part in parts if part) or _("the new cards")


def _places(impact: Impact) -> str:
    """Other places that describe the drinks, by what of them moves."""
    moved = bool(_SHOWN_TO_GUESTS & {t.kind for t in impact.texts}) or bool(impact.menu)
    if moved and impact.allergens:
        return _("Till, menu board, delivery listing: change them too, allergens included.")
    if moved:
        return _("Till, menu board, delivery listing: change them too.")
    if impact.allergens:
        return _("Till, menu board, delivery listing: change them where they name allergens.")
    return _("Till, menu board, delivery listing: as they are.")
