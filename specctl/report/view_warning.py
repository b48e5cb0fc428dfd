"""The allergen line of the first screen: what moves, where, what stays unknown, how old the papers are.

What leaves a declaration, or turns unknown, is always named. Only where very
much comes in at once is it counted here; the section names every substance.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from specctl.change.impact import AllergenChange, DocumentAge, Impact
from specctl.report.tables import Point
from specctl.report.view_allergens import KEY, KINDS, age_words, in_order, is_alarming
from specctl.report.view_names import day_words, few, is_drink, listed
from specctl.report.view_new import new_items, of_new_item
from specctl.report.view_numbers import count

# What comes in may be counted above so many; what goes, or turns unknown, never.
_MOST_NAMES = 8
_COUNTED = frozenset(("added", "stronger", "known", "gone"))
_MOST_ITEMS = 3
_MOST_NAMED = 2
_STATUSES = (("contains", "CONTAINS"), ("may_contain", "may contain"), ("unknown", "UNKNOWN"))


def point(impact: Impact, now: datetime | None) -> Point:
    """Added, removed, unknown, options included, and the age of the documents."""
    fresh = new_items(impact)
    new = [c for c in impact.allergens if of_new_item(fresh, c)]
    bulk = new if len(_names(new)) > _MOST_NAMES else []
    parts = [*_moved(impact, frozenset(map(id, bulk))), *_fresh(bulk)]
    if parts:
        lead = f"{'; '.join(parts)}. Options included; in {_where(impact.allergens)}."
    elif impact.cover.rows:
        lead = f"No difference found in the {count(impact.cover.rows, 'row')} compared, options included."
    else:
        lead = "Nothing was compared: ask before answering."
    tail = [_still_unknown(impact), _papers(impact.cover.documents, now)]
    return Point("Allergens", " ".join([lead, *(t for t in tail if t)]), KEY, alarm=is_alarming(impact))


def _moved(impact: Impact, left_out: frozenset[int]) -> list[str]:
    """Each kind of change, worst first, but for those that `_fresh` counts."""
    found = [(kind, change) for kind, change in in_order(impact) if id(change) not in left_out]
    parts = []
    for key, words in KINDS:
        changes = [change for kind, change in found if kind == key]
        if changes:
            names = _names(changes)
            many = key in _COUNTED and len(names) > _MOST_NAMES
            told = f"{len(names)} allergens, each named below" if many else listed(names)
            parts.append(f"{words.split(':')[0]}: {told}")
    return parts


def _fresh(changes: list[AllergenChange]) -> list[str]:
    """What many new drinks bring, by status, as counts."""
    if not changes:
        return []
    told = ((words, _names(c for c in changes if c.after == status)) for status, words in _STATUSES)
    counts = listed(f"{words} {len(names)}" for words, names in told if names)
    return [f"ADDED with what is new: {counts} allergens, each named below"]


def _names(changes: Iterable[AllergenChange]) -> list[str]:
    """One name a substance, though markets' lists may name it apart."""
    named: dict[str, str] = {}
    for change in changes:
        named.setdefault(change.substance, change.name)
    return list(named.values())


def _where(changes: Sequence[AllergenChange]) -> str:
    """One or two drinks or preps by name, or how many drinks and how many preps."""
    items = {c.item: c.item_name for c in changes}
    if len(items) <= _MOST_NAMED:
        return listed(items.values())
    drinks = sum(is_drink(item) for item in items)
    preps = len(items) - drinks
    return listed(count(number, word) for number, word in ((drinks, "drink"), (preps, "prep")) if number)


def _still_unknown(impact: Impact) -> str:
    """By allergen where they are few, and by drink always: whose facts a reader must doubt."""
    rows = impact.cover.still_unknown
    if not rows:
        return ""
    names = list(dict.fromkeys(name for _, _, name, _ in rows))
    told = listed(names) if len(names) <= _MOST_ITEMS else f"{len(names)} allergens"
    return f"Still UNKNOWN: {told} in {_few(item for item, *_ in rows)}."


def _few(names: Iterable[str]) -> str:
    """Three at most by name; of more the first two."""
    unique = list(dict.fromkeys(names))
    return few(unique, _MOST_ITEMS if len(unique) <= _MOST_ITEMS else _MOST_NAMED)


def _papers(documents: tuple[DocumentAge, ...], now: datetime | None) -> str:
    """How many documents, which are missing or too old by name, and how old the oldest in date is."""
    if not documents:
        return "No document at hand."
    missing = [d.name for d in documents if not d.dated]
    old = [d.name for d in documents if d.stale and d.dated]
    good = [d.dated for d in documents if d.dated and not d.stale]
    parts = [count(len(documents), "document")]
    if good:
        age = age_words(min(good), now)
        parts[0] += f", the oldest{' in date' if old or missing else ''} {age or f'of {day_words(min(good))}'}"
    if old:
        parts.append(f"TOO OLD: {_few(old)}")
    if missing:
        parts.append(f"MISSING: {_few(missing)}")
    if not old and not missing:
        parts.append("all in date")
    return f"{'; '.join(parts)}."
