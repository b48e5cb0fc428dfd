"""Overrun as a spec states it: a percentage, or one cup of mix and the same cup of foam, weighed.

By weight of a fixed cup, overrun = (W_mix - W_foam) / W_foam (D. Goff,
University of Guelph); weights without the cup, which is level full both times.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Context, Decimal

from specctl.codec.cursor import Cursor

MOST = Decimal(10)
"""1000 %: no foam anybody has measured holds more."""

_WEIGHED = re.compile(
    r"(?P<mix>(?:0|[1-9][0-9]{0,4})(?:\.[0-9]{1,3})?) g of mix, (?P<foam>(?:0|[1-9][0-9]{0,4})(?:\.[0-9]{1,3})?) g of foam", re.ASCII
)
_EXACT = Context(prec=28, rounding=ROUND_HALF_UP)


def read_overrun(c: Cursor) -> Decimal | None:
    """The share under `overrun` (1 = 100 %), weighings rounded half up to 0.001; None where there is none or it is wrong."""
    if not c.has("overrun"):
        return None
    text = c.text("overrun")
    if " of " not in text:
        return c.share("overrun", most=1000)
    match = _WEIGHED.fullmatch(text)
    if match is None:
        c.problem("overrun-form", "overrun", f"cannot read {text!r}", "Write 150 %, or weigh one cup of each: 109 g of mix, 56 g of foam")
        return None
    mix, foam = Decimal(match["mix"]), Decimal(match["foam"])
    if not foam or mix < foam or mix - foam > MOST * foam:
        c.problem(
            "overrun-range", "overrun", f"{text}: a cup of foam weighs less than the same cup of mix, and not less than an eleventh of it",
            "Weigh the same cup, level full, once of mix and once of foam, and take the cup off.",
        )
        return None
    return _EXACT.divide(mix - foam, foam).quantize(Decimal("0.001"), context=_EXACT)
