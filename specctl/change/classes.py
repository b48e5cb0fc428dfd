"""Which classes of change an impact falls into, and whom each touches.

Classes follow from the compiled entries and the changed files, never from what
the author calls the change: an allergen that leaves an entry by any road is a
declaration going down, also where it becomes unknown, which is a class too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from specctl.analysis.allergens import sources_of
from specctl.analysis.build import Variant
from specctl.analysis.contact import all_equipment_of
from specctl.change.compare import Pair
from specctl.change.entry_lines import facts_in
from specctl.change.facts import MAP, ORDER, SET, Change
from specctl.change.hindrance import UNFIT
from specctl.change.impact import AllergenChange, AmountChange, CostChange, TextChange
from specctl.change.policy import Hit
from specctl.domain.book import Book
from specctl.domain.recipe import Drink, Prep

_TEXT_CLASS = {
    "method": "method",
    "order": "method",
    "yield": "amount",
    "size": "method",
    "option": "method",
    "substitute": "method",
    "vessel": "equipment",
    "equipment": "equipment",
    "hold": "hold",
    "contact": "equipment",
    "evidence": "unknown",
    "item-new": "item-new",
    "item-gone": "item-gone",
}
_FILE_CLASS = {
    "prices": "price",
    "scoop-checks": "scoop-check",
    "policy.yaml": "policy",
    "signatories.yaml": "policy",
    "tools": "equipment",
    "vessels": "equipment",
}
_PAPER = ("document", "dated", "product_code", "scope")
_BOOK_FILES = ("book.yaml", "lists", "markets", "franchises", "sites")


def hits_of_amounts(changes: Iterable[AmountChange], owner: Mapping[str, str]) -> list[Hit]:
    """`owner` gives the franchise of a site."""
    hits = []
    for change in changes:
        sites = {s for at in change.at for s in at.sites}
        franchises = frozenset(owner[s] for s in sites if s in owner)
        name = f"{change.item_name}, {change.size_name}: {change.line_name}"
        if not change.same_grams:
            hits.append(Hit("amount", franchises, f"an amount changes in {change.item_name}"))
        else:
            hits.append(Hit("equipment", franchises, f"the tools for {name} change"))
        worse = {
            s
            for at in change.at
            if at.after and at.after["verdict"] in UNFIT and not (at.before and at.before["verdict"] in UNFIT)
            for s in at.sites
        }
        if worse:
            hits.append(Hit("unmeasurable", frozenset(owner[s] for s in worse if s in owner), f"not every site can measure {name} within tolerance"))
    return hits


def hits_of_allergens(
    changes: Iterable[AllergenChange], before: Book, after: Book, owner: Mapping[str, str]
) -> list[Hit]:
    hits = []
    for change in changes:
        franchises = frozenset(owner[s] for s in change.sites if s in owner)
        because = f"{change.name} in {change.item_name} ({change.market})"
        if change.after == "unknown":
            hits.append(Hit("unknown", franchises, f"{because} becomes unknown"))
        # A declared allergen that becomes unknown leaves the declaration as well.
        if change.way == "down":
            hits.append(Hit("declaration-down", franchises, f"{because} leaves the declaration"))
        if change.way != "up":
            continue
        if _only_declared(change, before, after):
            hits.append(Hit("declaration-up", franchises, f"{because} is declared"))
        else:
            hits.append(Hit("allergen-in", franchises, f"{because} comes in"))
    return hits


def hits_of_listing(pairs: Iterable[Pair], owner: Mapping[str, str]) -> list[Hit]:
    """Facts that stay in an entry while the market's list, or the word for them, goes.

    A sheet shows what is listed under the words of the list: to a guest a fact
    that is listed no more has left, and one under another word may have.
    """
    hits = []
    for pair in pairs:
        before, after = facts_in(pair.before), facts_in(pair.after)
        franchises = frozenset(owner[s] for s in pair.sites if s in owner)
        for key in sorted(before.keys() & after.keys()):
            was, now = before[key][1], after[key][1]
            because = f"{was['name']} in {pair.name} ({pair.market})"
            if was["listed"] and not now["listed"]:
                hits.append(Hit("declaration-down", franchises, f"{because} is on the market's list no more"))
            elif now["listed"] and not was["listed"]:
                hits.append(Hit("declaration-up", franchises, f"{because} is on the market's list now"))
            elif (was["name"], was["group"]) != (now["name"], now["group"]):
                hits.append(Hit("unknown", franchises, f"{because} is called {now['name']} now"))
    return hits


def _only_declared(change: AllergenChange, before: Book, after: Book) -> bool:
    """True when the same goods were in the item before: only what is said of them grew."""
    kind, _, id = change.item.partition("/")
    recipe: Drink | Prep | None = (before.drinks if kind == "drink" else before.preps).get(id)
    if recipe is None:
        return False
    try:
        had = {s.id for s in sources_of(before, recipe, Variant(change.choice, change.choice_name))}
    except KeyError:
        return False
    # What another drink leaves on shared equipment is judged at that drink; here it only
    # grows the declaration, unless this recipe has come to touch other equipment.
    carried = [path for path in change.paths if path.startswith("shared ")]
    now: Drink | Prep | None = (after.drinks if kind == "drink" else after.preps).get(id)
    if carried and (now is None or not all_equipment_of(after, now) <= all_equipment_of(before, recipe)):
        return False
    bringing = {
        path.split(" (")[0].rsplit("ingredient/", 1)[-1] for path in change.paths if not path.startswith("shared ")
    }
    if not bringing <= had:
        return False
    for id in bringing:
        one, two = before.ingredients.get(id), after.ingredients.get(id)
        if one is None or two is None or (one.supplier, one.product_code) != (two.supplier, two.product_code):
            return False
    return True


def hits_of_texts(changes: Iterable[TextChange], owner: Mapping[str, str]) -> list[Hit]:
    hits = []
    for change in changes:
        name = _TEXT_CLASS.get(change.kind, "text")
        franchises = frozenset(owner[s] for s in change.sites if s in owner)
        words = {"item-new": "is new", "item-gone": "is no longer served"}.get(change.kind, f"{change.kind} changes")
        hits.append(Hit(name, franchises, f"{change.item_name}: {words}"))
    return hits


def hits_of_costs(changes: Iterable[CostChange], limit: Decimal | None) -> list[Hit]:
    """A cost that cannot be told needs the franchise as much as one beyond the limit."""
    hits = []
    for change in changes:
        franchise = frozenset({change.franchise})
        name = f"{change.drink_name}, {change.size_name}"
        if change.after is None:
            hits.append(Hit("cost", franchise, f"the cost of {name} cannot be told"))
        elif limit is not None and change.before and abs(change.after - change.before) > limit * change.before:
            hits.append(Hit("cost", franchise, f"the cost of {name} moves beyond the limit"))
    return hits


def hits_of_files(
    changes: Mapping[str, tuple[Change, ...]],
    owners: Mapping[str, frozenset[str]],
    all_franchises: frozenset[str],
    entries_move: bool,
) -> list[Hit]:
    """`owners`: the franchises a file belongs to alone, empty for a shared file.

    A recipe's file is judged by the entries it moves; only where none moves
    (`entries_move` False) does it count as words.
    """
    hits = []
    for path, facts in changes.items():
        head = path.split("/", 1)[0]
        franchises = owners.get(path) or all_franchises
        if head in ("proposals", "statements"):  # a notice that is lifted is judged by itself
            continue
        if not facts:
            hits.append(Hit("text", frozenset(), f"only comments change in {path}"))
        elif head in _FILE_CLASS:
            hits.append(Hit(_FILE_CLASS[head], franchises, f"{path} changes"))
        elif head in _BOOK_FILES:
            hits.append(Hit("book", franchises, f"{path} changes"))
        else:
            papers = [f for f in facts if head == "ingredients" and f.path[0] == "allergens" and len(f.path) > 1]
            if papers:
                name = "declaration-up" if _only_grows(papers) else "unknown"
                hits.append(Hit(name, frozenset(), f"the allergen facts in {path} change"))
            if len(papers) < len(facts) and not entries_move:
                hits.append(Hit("text", frozenset(), f"{path} changes"))
    return hits


def _only_grows(papers: Iterable[Change]) -> bool:
    """Whether allergen facts only gain what is contained or may be, or name another document."""
    return all(
        fact.path[-1] in (MAP, ORDER, SET)
        or (fact.added if fact.path[1] in ("contains", "may_contain") else fact.path[1] in _PAPER)
        for fact in papers
    )
