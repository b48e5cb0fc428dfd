"""What a page needs to tell an impact in words: names in allergen paths, drinks touched through a prep, reasons.

Pure, over books and compiled entries; only what the given items hold is named,
so that nothing of another scope comes along.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from specctl.analysis.ways import preps_in
from specctl.change.compare import Pair
from specctl.change.effect import CHAIN
from specctl.change.entry import uses_of
from specctl.change.impact import AllergenChange, Reason, Through
from specctl.change.policy import Hit
from specctl.domain.book import Book
from specctl.domain.people import FRANCHISE_MANAGER, Policy

_ITEM = re.compile(r"(?:prep|ingredient)/[a-z0-9-]+")


def names_in_paths(changes: Iterable[AllergenChange], before: Book, after: Book) -> dict[str, str]:
    """`prep/<id>` and `ingredient/<id>` to name, for every one on the way of a change."""
    wanted = {found for change in changes for path in change.paths for found in _ITEM.findall(path)}
    names = {}
    for item in sorted(wanted):
        kind, _, id = item.partition("/")
        for book in (after, before):
            record = (book.preps if kind == "prep" else book.ingredients).get(id)
            if record is not None:
                names[item] = record.name
                break
    return names


def layer_names(pairs: Iterable[Pair]) -> dict[str, str]:
    """`<item> <layer key>` to the name of the layer in the entries of both sides."""
    names: dict[str, str] = {}
    for pair in pairs:
        for entry in (pair.before, pair.after):
            for size in entry["sizes"] if entry else ():
                for layer in size["layers"]:
                    names[f"{pair.item} {layer['key']}"] = layer["name"]
    return names


def through_preps(book: Book, served: Iterable[str], touched: frozenset[str]) -> tuple[Through, ...]:
    """Items of `served` whose own entry stands while a prep they are made with is touched."""
    preps = {item.removeprefix("prep/") for item in touched if item.startswith("prep/")}
    found = []
    for item in sorted(set(served) - touched):
        kind, _, id = item.partition("/")
        recipe = (book.drinks if kind == "drink" else book.preps).get(id)
        if recipe is None:
            continue
        inside = {prep for use in uses_of(recipe) for prep in preps_in(book, use)} & preps
        if inside:
            names = tuple(sorted(book.preps[prep].name for prep in inside))
            found.append(Through(item, recipe.name, names))
    return tuple(found)


def reasons_of(policies: Iterable[Policy], hits: Iterable[Hit], role: str, scope: str) -> tuple[Reason, ...]:
    """Why the policy asks this role for this scope, class by class; the first policy's words count."""
    asking: dict[str, dict[str, None]] = {}
    words: Mapping[str, str] = {}
    for policy in policies:
        for hit in hits:
            rule = policy.rules.get(hit.change)
            if role not in (rule.signs if rule else policy.otherwise):
                continue
            if role == FRANCHISE_MANAGER and scope != CHAIN and scope.removeprefix("franchise/") not in hit.franchises:
                continue
            asking.setdefault(hit.change, {})[hit.because] = None
        words = {**{name: rule.why for name, rule in policy.rules.items()}, **words}
    return tuple(Reason(change, words.get(change, ""), tuple(examples)) for change, examples in sorted(asking.items()))
