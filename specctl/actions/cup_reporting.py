"""Which cups a report compares: those of entries that move, and of drinks a changed record touches.

A density, a temperature, a vessel's shape or a site's ice can move a cup and no
entry; such drinks are looked at only where a record of theirs changes.
"""

from __future__ import annotations

from collections.abc import Iterable

from specctl.actions.case import Case
from specctl.analysis.ways import ingredients_in, preps_in
from specctl.change.compare import Pair
from specctl.change.cup_change import CupChange
from specctl.change.cup_compare import cup_changes
from specctl.change.entry import uses_of
from specctl.domain.recipe import Drink

_KINDS = ("ingredients", "preps", "vessels", "sites", "drinks")


def cups_in(case: Case, pairs: tuple[Pair, ...], sites: set[str]) -> tuple[CupChange, ...]:
    """Every cup of these sites that differs between main and the merge."""
    return cup_changes(case.old_book, case.book, [*pairs, *_standing(case, pairs, sites)])


def _standing(case: Case, pairs: Iterable[Pair], sites: set[str]) -> list[Pair]:
    """Drinks whose entry stands while a record it rests on changes."""
    changed = _changed(case)
    if not any(changed.values()):
        return []
    moved = {(site, pair.item) for pair in pairs for site in pair.sites}
    touched: dict[str, bool] = {}
    found: dict[tuple[str, str], list[str]] = {}
    for (site, item), digest in case.compiled.rows.items():
        drink = case.book.drinks.get(item.removeprefix("drink/")) if item.startswith("drink/") else None
        if drink is None or site not in sites or (site, item) in moved:
            continue
        if item not in touched:
            touched[item] = _rests_on(case, drink, changed)
        if touched[item] or site in changed["sites"]:
            found.setdefault((item, digest), []).append(site)
    return [
        Pair(item, case.compiled.entries[digest], case.compiled.entries[digest], tuple(sorted(here)))
        for (item, digest), here in found.items()
    ]


def _changed(case: Case) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {kind: set() for kind in _KINDS}
    for path, facts in case.files_changed.items():
        kind, _, name = path.partition("/")
        if kind in found and facts:
            found[kind].add(name.removesuffix(".yaml"))
    return found


def _rests_on(case: Case, drink: Drink, changed: dict[str, set[str]]) -> bool:
    if drink.id in changed["drinks"] or any(size.vessel in changed["vessels"] for size in drink.sizes.values()):
        return True
    if not changed["ingredients"] and not changed["preps"]:
        return False
    records = changed["ingredients"] | changed["preps"]
    return any(records & (ingredients_in(case.book, use) | preps_in(case.book, use)) for use in uses_of(drink))
