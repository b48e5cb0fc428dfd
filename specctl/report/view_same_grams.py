"""The words of "same grams, other scoops": what leads the report when a powder lies otherwise."""

from __future__ import annotations

from specctl.change.impact import Impact
from specctl.change.same_grams import Cause, SameGrams, same_grams_of
from specctl.report.view_numbers import ARROW, count

_FACTS = {
    "bulk_density/is": "bulk density",
    "density/is": "density",
    "product_code": "product code",
    "supplier": "supplier",
    "film": "film that stays behind",
    "state": "state",
}
_MOST_CAUSES = 3


def lead(impact: Impact) -> str:
    """What stands first at the bar where an ingredient or prep moves tools and no grams; "" where none does."""
    found = same_grams_of(impact)
    return _lead(found) if found is not None and found.causes else ""


def _lead(found: SameGrams) -> str:
    causes = [_cause(cause) for cause in found.causes[:_MOST_CAUSES]]
    if len(found.causes) > _MOST_CAUSES:
        causes.append(f"{len(found.causes) - _MOST_CAUSES} more")
    amounts = count(found.amounts, "amount")
    moves = "moves" if found.amounts == 1 else "move"
    parts = [
        f"SAME GRAMS, OTHER SCOOPS at {count(len(found.sites), 'site')}: {'; '.join(causes)}. "
        f"{amounts} of {count(len(found.items), 'card')} {moves} in tools, none in grams"
        f"{'' if found.weighed else '; nothing moves where it is weighed'}."
    ]
    if found.failing:
        parts.append(f"{count(found.failing, 'amount')} CAN NO LONGER be measured within tolerance somewhere.")
    if found.unproven:
        parts.append(f"{count(found.unproven, 'amount')} no longer proven somewhere: weigh a scoop there again (scoop-check).")
    return " ".join(parts)


def _cause(cause: Cause) -> str:
    before, after = cause.before or "not stated", cause.after or "not stated"
    return f"{cause.name}, {_FACTS[cause.fact]} {before}{ARROW}{after}"
