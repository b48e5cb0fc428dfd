"""The allergen line of the first screen: what moves, where, what stays unknown, how old the papers are.

What leaves a declaration, or turns unknown, is always named. Only where very
much comes in at once is it counted here; the section names every substance.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from specctl.change.impact import AllergenChange, DocumentAge, Impact
from specctl.report.allergen_words import allergen_word
from specctl.report.tables import Point
from specctl.report.tongue import _, _n, later
from specctl.report.view_allergens import KEY, KINDS, age_words, in_order, is_alarming, words_of_kind
from specctl.report.view_names import day_words, few, is_drink, listed
from specctl.report.view_new import new_items, of_new_item
from specctl.report.view_numbers import count

# What comes in may be counted above so many; what goes, or turns unknown, never.
_MOST_NAMES = 8
_COUNTED = frozenset(("added", "stronger", "known", "gone"))
_MOST_ITEMS = 3
_MOST_NAMED = 2
_STATUSES = (
    ("contains", later("CONTAINS {count}")),
    ("may_contain", later("may contain {count}")),
    ("unknown", later("UNKNOWN {count}")),
)


def point(impact: Impact, now: datetime | None) -> Point:
    """Added, removed, unknown, options included, and the age of the documents."""
    fresh = new_items(impact)
    new = [c for c in impact.allergens if of_new_item(fresh, c)]
    bulk = new if len(_names(new)) > _MOST_NAMES else []
    parts = [*_moved(impact, frozenset(map(id, bulk))), *_fresh(bulk)]
    if parts:
        lead = _("{changes}. Options included; in {items}.").format(changes="; ".join(parts), items=_where(impact.allergens))
    elif impact.cover.rows:
        lead = _n(
            "No difference found in the {count} row compared, options included.",
            "No difference found in the {count} rows compared, options included.",
            impact.cover.rows,
        ).format(count=impact.cover.rows)
    else:
        lead = _("Nothing was compared: ask before answering.")
    tail = [_still_unknown(impact), _papers(impact.cover.documents, now)]
    return Point(_("Allergens"), " ".join([lead, *(t for t in tail if t)]), KEY, alarm=is_alarming(impact))


def _moved(impact: Impact, left_out: frozenset[int]) -> list[str]:
    """Each kind of change, worst first, but for those that `_fresh` counts."""
    found = [(kind, change) for kind, change in in_order(impact) if id(change) not in left_out]
    parts = []
    for key, _words in KINDS:
        changes = [change for kind, change in found if kind == key]
        if changes:
            names = _names(changes)
            many = key in _COUNTED and len(names) > _MOST_NAMES
            told = _("{count} allergens, each named below").format(count=len(names)) if many else listed(names)
            parts.append(_("{kind}: {allergens}").format(kind=words_of_kind(key), allergens=told))
    return parts


def _fresh(changes: list[AllergenChange]) -> list[str]:
    """What many new drinks bring, by status, as counts."""
    if not changes:
        return []
    told = ((words, _names(c for c in changes if c.after == status)) for status, words in _STATUSES)
    counts = listed(_(words).format(count=len(names)) for words, names in told if names)
    return [_("ADDED with what is new: {counts} allergens, each named below").format(counts=counts)]


def _names(changes: Iterable[AllergenChange]) -> list[str]:
    """One name a substance, though markets' lists may name it apart."""
    named: dict[str, str] = {}
    for change in changes:
        named.setdefault(change.substance, allergen_word(change.name))
    return list(named.values())


def _where(changes: Sequence[AllergenChange]) -> str:
    """One or two drinks or preps by name, or how many drinks and how many preps."""
    items = {c.item: c.item_name for c in changes}
    if len(items) <= _MOST_NAMED:
        return listed(items.values())
    drinks = sum(is_drink(item) for item in items)
    preps = len(items) - drinks
    told = (
        _n("{count} drink", "{count} drinks", drinks).format(count=drinks) if drinks else "",
        _n("{count} prep", "{count} preps", preps).format(count=preps) if preps else "",
    )
    return listed(words for words in told if words)


def _still_unknown(impact: Impact) -> str:
    """By allergen where they are few, and by drink always: whose facts a reader must doubt."""
    rows = impact.cover.still_unknown
    if not rows:
        return ""
    names = list(dict.fromkeys(allergen_word(name) for _item, _choice, name, _market in rows))
    told = listed(names) if len(names) <= _MOST_ITEMS else _("{count} allergens").format(count=len(names))
    return _("Still UNKNOWN: {allergens} in {items}.").format(allergens=told, items=_few(row[0] for row in rows))


def _few(names: Iterable[str]) -> str:
    """Three at most by name; of more the first two."""
    unique = list(dict.fromkeys(names))
    return few(unique, _MOST_ITEMS if len(unique) <= _MOST_ITEMS else _MOST_NAMED)


def _papers(documents: tuple[DocumentAge, ...], now: datetime | None) -> str:
    """How many documents, which are missing or too old by name, and how old the oldest in date is."""
    if not documents:
        return _("No document at hand.")
    missing = [d.name for d in documents if not d.dated]
    old = [d.name for d in documents if d.stale and d.dated]
    good = [d.dated for d in documents if d.dated and not d.stale]
    parts = [count(len(documents), "document")]
    if good:
        age = age_words(min(good), now) or _("of {day}").format(day=day_words(min(good)))
        words = _("{documents}, the oldest in date {age}") if old or missing else _("{documents}, the oldest {age}")
        parts[0] = words.format(documents=parts[0], age=age)
    if old:
        parts.append(_("TOO OLD: {names}").format(names=_few(old)))
    if missing:
        parts.append(_("MISSING: {names}").format(names=_few(missing)))
    if not old and not missing:
        parts.append(_("all in date"))
    return f"{'; '.join(parts)}."
