"""Exact money: minor units of a currency, and parts that add up when shown.

Everything inside a computation is a Fraction; rounding happens only where a
figure is shown, half up, and parts are rounded together so that what is shown
adds up to the total that is shown (largest remainder).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Sequence

# ISO 4217:2015, list one (current currency codes): the minor-unit exponents
# that are not 2.
_NOT_TWO = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}
_DIGITS = {code: digits for digits, codes in _NOT_TWO.items() for code in codes.split()}
_DEFAULT_DIGITS = 2


def minor_digits(currency: str) -> int:
    """Decimal places of a currency's minor unit (ISO 4217); 2 where not otherwise."""
    return _DIGITS.get(currency, _DEFAULT_DIGITS)


def rounded(value: Fraction, digits: int) -> Decimal:
    """`value` half up (away from zero at a tie) to so many decimal places, exactly."""
    return _decimal(_units(value * 10**digits), digits)


def rounded_parts(parts: Sequence[Fraction], total: Decimal, digits: int) -> list[Decimal]:
    """Each part to so many places, such that together they are `total`.

    Each part is rounded half up; what is then over or short is taken, unit by
    unit, where rounding went furthest the other way, the first part at a tie. A
    part that is zero stays zero while another is not.
    """
    scale = 10**digits
    units = [_units(part * scale) for part in parts]
    short = int(total.scaleb(digits).to_integral_value()) - sum(units)
    movable = [i for i, part in enumerate(parts) if part] or list(range(len(parts)))
    step = 1 if short > 0 else -1
    while short and movable:
        # The part whose shown value gains most by one step towards its exact one.
        best = max(movable, key=lambda i: (step * (parts[i] * scale - units[i]), -i))
        units[best] += step
        short -= step
    return [_decimal(unit, digits) for unit in units]


def _units(value: Fraction) -> int:
    """Half up to a whole number, away from zero at a tie."""
    whole = (2 * abs(value.numerator) + value.denominator) // (2 * value.denominator)
    return whole if value >= 0 else -whole


def _decimal(units: int, digits: int) -> Decimal:
    sign = 1 if units < 0 else 0
    return Decimal((sign, tuple(int(digit) for digit in str(abs(units))), -digits))
