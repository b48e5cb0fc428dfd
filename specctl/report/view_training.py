"""The line of the first screen for whoever teaches: people, cards, and other places a drink is described."""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.report.tables import Point
from specctl.report.view_lines import is_seen
from specctl.report.view_names import few
from specctl.report.view_numbers import count
from specctl.report.view_sites import METHOD, kinds_of, taught_texts

_LABEL = "Train and replace"
_MOST_ITEMS = 2
_MOST_KINDS = 3
# What a guest reads before ordering, or a till prints.
_SHOWN_TO_GUESTS = frozenset(("item-new", "item-gone", "name", "size", "option", "claim"))
_PLACES = "till, menu board and delivery listing"


def point(impact: Impact) -> Point:
    """Who is shown what, how many cards are replaced and where, and what else names the drink."""
    rows = impact.effect.rows
    cards = [row for row in rows if row.after is not None]
    if not rows:
        return Point(_LABEL, f"Nobody: no card changes. {_places(impact)}", METHOD)
    sites = len({row.site for row in rows})
    parts = [f"Whoever makes drinks at {count(sites, 'site')}: {_taught(impact)}."]
    if cards:
        new = sum(row.before is None for row in cards)
        some_new = f", {new} of them new" if 0 < new < len(cards) else ", all new" if new else ""
        parts.append(f"{count(len(cards), 'card')} to print{some_new}.")
    gone = len(rows) - len(cards)
    if gone:
        parts.append(f"{count(gone, 'card')} to take away.")
    return Point(_LABEL, " ".join([*parts, _places(impact)]), METHOD)


def _taught(impact: Impact) -> str:
    """`1 method and 1 hold time (Matcha cloud, Salted oat foam and 2 more), new amounts`."""
    texts = taught_texts(impact)
    parts = []
    if texts:
        kinds = [t.kind for t in texts]
        told = (count(kinds.count(kind), short) for kind, _, short in kinds_of(texts))
        parts.append(f"{few(told, _MOST_KINDS)} ({few(sorted({t.item_name for t in texts}), _MOST_ITEMS)})")
    new = {t.item for t in impact.texts if t.kind == "item-new"}
    if any(c.item not in new and is_seen(c) for c in impact.amounts):
        parts.append("the new amounts")
    if impact.allergens:
        parts.append("what to say of allergens")
    return ", ".join(parts) or "the new cards"


def _places(impact: Impact) -> str:
    """Other places that describe the drinks, by what of them moves."""
    moved = bool(_SHOWN_TO_GUESTS & {t.kind for t in impact.texts}) or bool(impact.menu)
    if moved and impact.allergens:
        return f"Change the {_PLACES} too, allergens included."
    if moved:
        return f"Change the {_PLACES} too."
    if impact.allergens:
        return f"Where the {_PLACES} name allergens, change them too."
    return f"The {_PLACES} stand: no name, size, option, claim or price moves."
