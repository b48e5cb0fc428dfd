"""The line of the first screen for whoever teaches: people, cards, and other places a drink is described."""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.report.tables import Point
from specctl.report.view_lines import is_seen
from specctl.report.view_names import few
from specctl.report.view_numbers import count
from specctl.report.view_sites import METHOD, kinds_of, taught_texts

_LABEL = "Train and replace"
_MOST_KINDS = 3
# What a guest reads before ordering, or a till prints.
_SHOWN_TO_GUESTS = frozenset(("item-new", "item-gone", "name", "size", "option", "claim"))
_PLACES = "Till, menu board, delivery listing"


def point(impact: Impact) -> Point:
    """Who is shown what, how many cards are replaced and where, and what else names the drink."""
    rows = impact.effect.rows
    cards = [row for row in rows if row.after is not None]
    if not rows:
        return Point(_LABEL, f"Nobody: no card changes. {_places(impact)}", METHOD)
    sites = count(len({row.site for row in rows}), "site")
    parts = [f"Everybody at {sites}: {_taught(impact)}"]
    if cards:
        new = sum(row.before is None for row in cards)
        some_new = f", {new} of them new" if 0 < new < len(cards) else ", all new" if new else ""
        parts.append(f"print {count(len(cards), 'card')}{some_new}")
    gone = len(rows) - len(cards)
    if gone:
        parts.append(f"take {count(gone, 'card')} away")
    return Point(_LABEL, f"{'; '.join(parts)}. {_places(impact)}", METHOD)


def _taught(impact: Impact) -> str:
    """`1 method and 1 hold time, the new amounts, what to say of allergens`."""
    texts = taught_texts(impact)
    kinds = [t.kind for t in texts]
    told = few((count(kinds.count(kind), short) for kind, _, short in kinds_of(texts)), _MOST_KINDS, "more kinds")
    new = {t.item for t in impact.texts if t.kind == "item-new"}
    amounts = any(c.item not in new and is_seen(c) for c in impact.amounts)
    parts = (told, "the new amounts" if amounts else "", "what to say of allergens" if impact.allergens else "")
    return ", ".join(part for part in parts if part) or "the new cards"


def _places(impact: Impact) -> str:
    """Other places that describe the drinks, by what of them moves."""
    moved = bool(_SHOWN_TO_GUESTS & {t.kind for t in impact.texts}) or bool(impact.menu)
    if moved:
        return f"{_PLACES}: change them too{', allergens included' if impact.allergens else ''}."
    if impact.allergens:
        return f"{_PLACES}: change them where they name allergens."
    return f"{_PLACES}: as they are."
