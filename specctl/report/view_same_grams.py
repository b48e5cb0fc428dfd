"""The words of "same grams, other scoops": what leads the report when a powder lies otherwise."""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.change.same_grams import Cause, SameGrams, same_grams_of
from specctl.report.numerals import numeral
from specctl.report.tongue import _, _n, later
from specctl.report.view_numbers import ARROW

_FACTS = {
    "bulk_density/is": later("bulk density"),
    "density/is": later("density"),
    "product_code": later("product code"),
    "supplier": later("supplier"),
    "film": later("film that stays behind"),
    "state": later("state"),
}
_MOST_CAUSES = 3


def lead(impact: Impact) -> str:
    """What stands first at the bar where an ingredient or prep moves tools and no grams; "" where none does."""
    found = same_grams_of(impact)
    return _lead(found) if found is not None and found.causes else ""


def _lead(found: SameGrams) -> str:
    causes = [_cause(cause) for cause in found.causes[:_MOST_CAUSES]]
    if len(found.causes) > _MOST_CAUSES:
        left = len(found.causes) - _MOST_CAUSES
        causes.append(_n("{count} more", "{count} more", left).format(count=left))
    sites = len(found.sites)
    where = _n("SAME GRAMS, OTHER SCOOPS at {count} site: {causes}.", "SAME GRAMS, OTHER SCOOPS at {count} sites: {causes}.", sites)
    parts = [where.format(count=sites, causes="; ".join(causes)), _moving(found)]
    if found.failing:
        words = _n(
            "{count} amount CAN NO LONGER be measured within tolerance somewhere.",
            "{count} amounts CAN NO LONGER be measured within tolerance somewhere.",
            found.failing,
        )
        parts.append(words.format(count=found.failing))
    if found.unproven:
        words = _n(
            "{count} amount no longer proven somewhere: weigh a scoop there again (scoop-check).",
            "{count} amounts no longer proven somewhere: weigh a scoop there again (scoop-check).",
            found.unproven,
        )
        parts.append(words.format(count=found.unproven))
    return " ".join(parts)


def _moving(found: SameGrams) -> str:
    """How many amounts of how many cards move, and in what alone."""
    items = len(found.items)
    cards = _n("{count} card", "{count} cards", items).format(count=items)
    if found.weighed:
        words = _n(
            "{count} amount of {cards} moves in tools, none in grams.",
            "{count} amounts of {cards} move in tools, none in grams.",
            found.amounts,
        )
    else:
        words = _n(
            "{count} amount of {cards} moves in tools, none in grams; nothing moves where it is weighed.",
            "{count} amounts of {cards} move in tools, none in grams; nothing moves where it is weighed.",
            found.amounts,
        )
    return words.format(count=found.amounts, cards=cards)


def _cause(cause: Cause) -> str:
    before, after = (numeral(fact) if fact else _("not stated") for fact in (cause.before, cause.after))
    moved = f"{before}{ARROW}{after}"
    return _("{name}, {fact} {moved}").format(name=cause.name, fact=_(_FACTS[cause.fact]), moved=moved)
