"""How numbers are written: sign, unit, base, and the rounding that was used.

Grams are shown as approved, to 0.01 g at most. Shares are rounded half up to
0.1. Money a cup is shown to a hundredth of the currency's smallest unit,
because a change of a dose moves it by less than a coin; money a week to the
smallest unit. A change shown beside two figures is the difference of the two
as shown, and its parts are rounded by largest remainder so that they add up to
it: what is printed can be added up.
"""

from __future__ import annotations

from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import Sequence

ROUNDING = (
    "Rounding: grams as approved, to 0.01 g; shares half up to 0.1 %; money a cup half up to a hundredth "
    "of the smallest coin, a week to the smallest coin; parts of a change by largest remainder, so that "
    "they add up to the change shown."
)

# ISO 4217 minor units that are not two.
_NO_MINOR = frozenset("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF".split())
_THREE_MINOR = frozenset("BHD IQD JOD KWD LYD OMR TND".split())

ARROW = " → "
MINUS = "−"


def minor_units(currency: str) -> int:
    """Decimals of the currency's smallest unit, by ISO 4217."""
    if currency in _NO_MINOR:
        return 0
    return 3 if currency in _THREE_MINOR else 2


def cup_step(currency: str) -> Decimal:
    """The smallest amount shown for one cup."""
    return Decimal(1).scaleb(-minor_units(currency) - 2)


def week_step(currency: str) -> Decimal:
    return Decimal(1).scaleb(-minor_units(currency))


def rounded(value: Decimal, step: Decimal) -> Decimal:
    """Half up, away from zero at the half."""
    return value.quantize(step, rounding=ROUND_HALF_UP)


def plain(value: Decimal) -> str:
    """A number without exponent, trailing zeros or a minus that could be a hyphen."""
    text = f"{value:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return _minus("0" if text in ("-0", "") else text)


def grams(value: Decimal) -> str:
    """`28 g`, to 0.01 g."""
    return f"{plain(rounded(value, Decimal('0.01')))} g"


def signed(value: Decimal, text: str) -> str:
    """`text` of an absolute value with its sign in front; nothing in front of zero."""
    return f"{'+' if value > 0 else MINUS if value < 0 else ''}{text}"


def signed_grams(value: Decimal) -> str:
    shown = rounded(value, Decimal("0.01"))
    return signed(shown, grams(abs(shown)))


def share(value: Decimal) -> str:
    """A share of one as `71.2 %`."""
    return _minus(f"{rounded(value * 100, Decimal('0.1')):f}") + " %"


def share_change(before: Decimal, after: Decimal) -> str:
    """The change as a signed share of `before`; "" where there is no base."""
    if before == 0:
        return ""
    exact = (after - before) / abs(before) * 100
    shown = rounded(exact, Decimal("0.1"))
    if shown == 0 and exact != 0:
        return f"{'up' if exact > 0 else 'down'} by less than 0.1 %"
    return signed(shown, f"{abs(shown):f} %")


def points_change(before: Decimal, after: Decimal) -> str:
    """The difference of two shares, as shown, in points: `−1.4 points`."""
    step = Decimal("0.1")
    change = rounded(after * 100, step) - rounded(before * 100, step)
    return signed(change, f"{abs(change):f} points")


def money(value: Decimal, currency: str, step: Decimal) -> str:
    """`GBP 0.4134`; a minus stands in front of the code."""
    shown = rounded(value, step)
    return f"{MINUS if shown < 0 else ''}{currency} {abs(shown):f}"


def signed_money(value: Decimal, currency: str, step: Decimal) -> str:
    """`+GBP 0.0052`."""
    shown = rounded(value, step)
    return signed(shown, f"{currency} {abs(shown):f}")


def add_up(parts: Sequence[Decimal], total: Decimal, step: Decimal) -> list[Decimal]:
    """`parts` rounded to `step` by largest remainder, so that they sum to `total`.

    `total` is a multiple of `step` no further from their exact sum than rounding
    explains; where it is further, each part is rounded on its own.
    """
    floors = [(p / step).to_integral_value(ROUND_FLOOR) for p in parts]
    left = int(total / step - sum(floors))
    if not 0 <= left <= len(parts):
        # Two figures rounded apart can move the total by one more step than the parts hold.
        if len(parts) and -1 <= left <= len(parts) + 1:
            nudge = -1 if left < 0 else 1
            biggest = max(range(len(parts)), key=lambda i: abs(parts[i]))
            floors[biggest] += nudge
            left -= nudge
        else:
            return [rounded(p, step) for p in parts]
    by_rest = sorted(range(len(parts)), key=lambda i: (floors[i] - parts[i] / step, i))
    for i in by_rest[:left]:
        floors[i] += 1
    return [f * step for f in floors]


def count(number: int, one: str, many: str = "") -> str:
    """`1 site`, `3 sites`."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def _minus(text: str) -> str:
    return MINUS + text[1:] if text.startswith("-") else text
