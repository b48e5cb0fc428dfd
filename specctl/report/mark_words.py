"""A line of a jigger or jug as people read it on the tool.

Promises: a line that lies on an eighth of a fluid ounce, and on no tenth of a
millilitre, is said in that ounce, the rest in millilitres rounded half up to
0.1 ml. Nothing is computed with the rounded figure.

Source of the ounces: NIST SP 811 (US customary, 29.5735295625 ml) and the
Weights and Measures Act 1985 (imperial, 28.4130625 ml).
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

from specctl.report.numerals import numeral
from specctl.report.tongue import _, later

_MARK = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,20})?) ml")
_OUNCES = ((later("{figure} US fl oz"), Decimal("29.5735295625")), (later("{figure} imperial fl oz"), Decimal("28.4130625")))
_STEP = Decimal("0.1")


def mark_words(mark: str) -> str:
    """`25 ml`, `1.25 US fl oz`; whatever is no line in millilitres as it is written."""
    found = _MARK.fullmatch(mark)
    if found is None:
        return mark
    ml = Decimal(found[1])
    if ml % _STEP == 0:
        return numeral(mark)
    for words, ounce in _OUNCES:
        eighths = ml * 8 / ounce
        if eighths and eighths == eighths.to_integral_value():
            return _(words).format(figure=numeral(_plain(eighths / 8)))
    return numeral(f"{_plain(ml.quantize(_STEP, rounding=ROUND_HALF_UP))} ml")


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"
