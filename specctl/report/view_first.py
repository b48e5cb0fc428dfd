"""A supplier's facts that change: every drink, site and printed sheet they reach, and what to do first.

Dates do not empty fridges, and a page does not reach a counter by itself, so
what people must do is told in the order it must be done. Names every item and
site; nothing here folds.
"""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.report.tables import Block, Listing
from specctl.report.tongue import _
from specctl.report.view_names import listed, site_names

_GOODS = "ingredients/"


def reformulated(impact: Impact) -> tuple[str, ...]:
    """Ingredients, by id, whose file's allergen facts or product code change."""
    found = {
        file.removeprefix(_GOODS).removesuffix(".yaml"): None
        for file, path, _before, _after in impact.file_changes
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
    look = _("Look at the packs of {names} in every fridge and store: which product code, which date, old or new.")
    steps = [look.format(names=names)]
    if more:
        steps.append(
            _(
                "Where new packs are already there, do not wait for the start of this proposal: say it to every guest now, "
                "or take it off sale ({command})."
            ).format(command=f"specctl off-sale ingredient {goods[0]}")
        )
    if less:
        steps.append(_("Say nothing less before the start, and not while an old pack, or anything made from one, is left."))
    steps += [
        _("Drinks and preps it reaches: {items}.").format(items=drinks),
        _("Printed allergen sheets and cards to take down on the day it starts, and print again: at {sites}.").format(sites=sites),
        _("Menu boards, tills and delivery listings that name allergens: change them the same day."),
    ]
    return [Listing(_("A supplier's facts change. What to do first"), tuple(steps), alarm=True)]
