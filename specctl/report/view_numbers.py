"""How numbers are written: sign, unit, base, and the rounding that was used.

Grams are shown as approved, to 0.01 g at most. Shares are rounded half up to
0.1. Money arrives rounded, a cup to a part of the currency's smallest unit, in
figures and parts that add up (`specctl.analysis.money`), and is shown to as
many places.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from specctl.analysis.money import minor_digits
from specctl.change.costing import EXTRA_DIGITS
from specctl.report.numerals import numeral
from specctl.report.tongue import _, _n, later

ROUNDING = later(
    "Rounding: grams as approved, to 0.01 g; a week's kilograms half up to 0.1 kg; shares half up to 0.1 %; money a "
    "cup half up to a tenth of the smallest coin, a week to the smallest coin; the parts of a change are rounded "
    "together, so that they add up to the change shown."
)

ARROW = " → "
MINUS = "−"


def cup_step(currency: str) -> Decimal:
    """The smallest amount shown for one cup."""
    return Decimal(1).scaleb(-minor_digits(currency) - EXTRA_DIGITS)


def week_step(currency: str) -> Decimal:
    """The currency's smallest unit."""
    return Decimal(1).scaleb(-minor_digits(currency))


def rounded(value: Decimal, step: Decimal) -> Decimal:
    """Half up, away from zero at the half."""
    return value.quantize(step, rounding=ROUND_HALF_UP)


def plain(value: Decimal) -> str:
    """A number without exponent, trailing zeros or a minus that could be a hyphen."""
    text = f"{value:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return numeral(_minus("0" if text in ("-0", "") else text))


def grams(value: Decimal) -> str:
    """`28 g`, to 0.01 g."""
    return f"{plain(rounded(value, Decimal('0.01')))} g"


def signed(value: Decimal, text: str) -> str:
    """`text` of an absolute value with its sign in front; nothing in front of zero."""
    return f"{'+' if value > 0 else MINUS if value < 0 else ''}{text}"


def signed_grams(value: Decimal) -> str:
    shown = rounded(value, Decimal("0.01"))
    return signed(shown, grams(abs(shown)))


def weight(value: Decimal) -> str:
    """`182 g`, and from a kilogram up `2.3 kg`, half up to 0.1 kg."""
    if abs(value) < 1000:
        return grams(value)
    return f"{plain(rounded(value / 1000, Decimal('0.1')))} kg"


def signed_weight(value: Decimal) -> str:
    return signed(value, weight(abs(value)))


def share(value: Decimal) -> str:
    """A share of one as `71.2 %`."""
    return numeral(_minus(f"{rounded(value * 100, Decimal('0.1')):f}")) + " %"


def share_change(before: Decimal, after: Decimal) -> str:
    """The change as a signed share of `before`; "" where there is no base."""
    if before == 0:
        return ""
    exact = (after - before) / abs(before) * 100
    shown = rounded(exact, Decimal("0.1"))
    if shown == 0 and exact != 0:
        return _("up by less than 0.1 %") if exact > 0 else _("down by less than 0.1 %")
    return signed(shown, numeral(f"{abs(shown):f} %"))


def points_change(before: Decimal, after: Decimal) -> str:
    """The difference of two shares, as shown, in points: `−1.4 points`."""
    step = Decimal("0.1")
    change = rounded(after * 100, step) - rounded(before * 100, step)
    return signed(change, _("{figure} points").format(figure=numeral(f"{abs(change):f}")))


def money(value: Decimal, currency: str, step: Decimal) -> str:
    """`GBP 0.4134`, in German `0,4134 GBP`; a minus stands in front of it."""
    shown = rounded(value, step)
    return f"{MINUS if shown < 0 else ''}{_sum(abs(shown), currency)}"


def signed_money(value: Decimal, currency: str, step: Decimal) -> str:
    """`+GBP 0.0052`."""
    shown = rounded(value, step)
    return signed(shown, _sum(abs(shown), currency))


def _sum(shown: Decimal, currency: str) -> str:
    return _("{currency} {figure}").format(currency=currency, figure=numeral(f"{shown:f}"))


def count(number: int, one: str, many: str = "") -> str:
    """`1 site`, `3 sites`, where nothing in the sentence asks for another case.

    The catalogue learns both forms from the words in the call: they must stand there as they are.
    """
    return _n("{count} " + one, "{count} " + (many or one + "s"), number).format(count=number)


def _minus(text: str) -> str:
    return MINUS + text[1:] if text.startswith("-") else text
