"""Two drinks at once: when twice the target is measured better than twice the single amount.

Exact, like `measuring`: the answer stands in an entry. Promises to tell a double
only where it is worth telling, so that entries stay small; everywhere else two
at once are the single amount twice, which is never further off, in grams for
grams asked, than one.
"""

from __future__ import annotations

from decimal import Decimal
from math import ceil

from specctl.analysis.measuring import Measure
from specctl.domain.amount import Tolerance
from specctl.domain.equipment import Tool

_RANK = ("within", "unproven", "outside", "no-tool")


def twice(under: Decimal, over: Decimal) -> Tolerance:
    """The sides of one amount in grams, for two together: each cup may be off by its own."""
    return Tolerance(2 * under, 2 * over, False)


def worth_telling(single: Measure, double: Measure, scale: Tool | None) -> bool:
    """Whether staff should be told `double` for two at once, and not `single` twice.

    By tools: where it goes before the single amount twice in the solver's own
    order (verdict, motions, bias). On a scale (`scale`, the one the single amount
    goes on): only where twice the reading is more than it takes; else twice the
    reading serves, and running totals stay twice as much. Where nothing measures
    one: where something measures two. What is counted or poured by eye is never told.
    """
    if single.by == "scale":
        most = scale.max_load if scale is not None else None
        return most is not None and single.gives is not None and 2 * single.gives > most
    if single.by == "none":
        return double.verdict in ("within", "unproven")
    return single.by == "tools" and double.by in ("scale", "tools") and _order(double, 1) < _order(single, 2)


def _order(found: Measure, times: int) -> tuple[int, int, Decimal]:
    motions = sum(ceil(move.times) for move in found.moves)
    return _RANK.index(found.verdict), times * motions, times * abs(found.off or Decimal(0))
