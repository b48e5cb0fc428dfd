"""A supplier's facts that change: every drink, site and printed sheet they reach, and what to do first.

Dates do not empty fridges, and a page does not reach a counter by itself, so
what people must do is told in the order it must be done. Names every item and
site; nothing here folds.
"""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.report.tables import Block, Listing
from specctl.report.view_names import listed, site_names

_GOODS = "ingredients/"


def reformulated(impact: Impact) -> tuple[str, ...]:
    """Ingredients, by id, whose file's allergen facts or product code change."""
    found = {
        file.removeprefix(_GOODS).removesuffix(".yaml"): None
        for file, path, _, _ in impact.file_changes
        if file.startswith(_GOODS) and ("allergens" in path or "product" in path)
    }
    return tuple(found)


def blocks(impact: Impact) -> list[Block]:
    """The list, where an ingredient's facts change and that moves what a guest is told; else nothing."""
    goods = reformulated(impact)
    if not goods or not impact.allergens:
        return []
    names = listed(impact.names.items.get(f"ingredient/{id}", id) for id in goods)
    drinks = listed(sorted({c.item_name for c in impact.allergens}))
    sites = site_names(impact, {site for c in impact.allergens for site in c.sites})
    more = any(c.way != "down" for c in impact.allergens)
    less = any(c.way == "down" for c in impact.allergens)
    steps = [f"Look at the packs of {names} in every fridge and store: which product code, which date, old or new."]
    if more:
        steps.append(
            "Where new packs are already there, do not wait for the start of this proposal: say it to every guest now, "
            f"or take it off sale (specctl off-sale ingredient {goods[0]})."
        )
    if less:
        steps.append("Say nothing less before the start, and not while an old pack, or anything made from one, is left.")
    steps += [
        f"Drinks and preps it reaches: {drinks}.",
        f"Printed allergen sheets and cards to take down on the day it starts, and print again: at {sites}.",
        "Menu boards, tills and delivery listings that name allergens: change them the same day.",
    ]
    return [Listing("A supplier's facts change. What to do first", tuple(steps), alarm=True)]
