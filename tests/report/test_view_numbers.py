"""How numbers are written in a report."""

from __future__ import annotations

from decimal import Decimal

import pytest
from babel.numbers import get_currency_precision

from specctl.report.numbers_whole import figures, joined
from specctl.report.view_numbers import (
    cup_step,
    grams,
    money,
    plain,
    points_change,
    share,
    share_change,
    signed_grams,
    signed_money,
    week_step,
)

D = Decimal


@pytest.mark.parametrize(
    ("value", "shown"),
    [("28", "28 g"), ("28.00", "28 g"), ("6.50", "6.5 g"), ("0.005", "0.01 g"), ("1E+2", "100 g"), ("-0.00", "0 g")],
)
def test_grams_have_a_unit_and_no_idle_zeros(value: str, shown: str) -> None:
    assert grams(D(value)) == shown


@pytest.mark.parametrize(("value", "shown"), [("6", "+6 g"), ("-28", "−28 g"), ("0", "0 g"), ("-0.004", "0 g")])
def test_a_change_of_grams_carries_its_sign(value: str, shown: str) -> None:
    assert signed_grams(D(value)) == shown


def test_a_share_of_change_names_its_direction_and_needs_a_base() -> None:
    # 6/28 = 21.43 %, 1/8 = 12.5 %: worked by hand.
    assert share_change(D(28), D(34)) == "+21.4 %"
    assert share_change(D(8), D(7)) == "−12.5 %"
    assert share_change(D(0), D(7)) == ""
    assert share_change(D(10000), D(10001)) == "up by less than 0.1 %"
    assert share_change(D(10000), D(9999)) == "down by less than 0.1 %"


def test_halves_round_away_from_zero() -> None:
    # "Half up" as DIN 1333 and common accounting have it: from memory.
    assert share(D("0.8675")) == "86.8 %"
    assert share_change(D(1000), D("1000.5")) == "+0.1 %"
    assert share_change(D(1000), D("999.5")) == "−0.1 %"


def test_shares_differ_in_points_as_shown() -> None:
    assert points_change(D("0.86946"), D("0.85899")) == "−1.0 points"
    assert points_change(D("0.5"), D("0.5")) == "0.0 points"


# CLDR, through babel, holds the same minor units as ISO 4217 for these.
@pytest.mark.parametrize("code", ["GBP", "EUR", "USD", "JPY", "KRW", "KWD", "BHD", "TND"])
def test_a_week_has_the_decimals_of_its_currency(code: str) -> None:
    assert -week_step(code).as_tuple().exponent == get_currency_precision(code)
    assert cup_step(code) < week_step(code)


def test_money_carries_its_code_and_sign() -> None:
    assert money(D("0.413"), "GBP", cup_step("GBP")) == "GBP 0.413"
    assert money(D("-1.5"), "GBP", week_step("GBP")) == "−GBP 1.50"
    assert signed_money(D("0.033"), "GBP", cup_step("GBP")) == "+GBP 0.033"
    assert signed_money(D("-21"), "JPY", week_step("JPY")) == "−JPY 21"
    assert signed_money(D("0"), "EUR", week_step("EUR")) == "EUR 0.00"


def test_a_plain_number_has_no_exponent() -> None:
    assert plain(D("1E+3")) == "1000"
    assert plain(D("-2.50")) == "−2.5"


@pytest.mark.parametrize(
    "figure", ["+GBP 0.033", "28.8 g", "7.5 ml", "±2 g", "86.9 %", "−1.0 points", "GBP 3.80"]
)
def test_a_figure_is_kept_whole(figure: str) -> None:
    text = f"gives {figure}, as asked"
    assert (figure, True) in figures(text)
    assert "".join(piece for piece, _ in figures(text)) == text
    assert joined(text, "_") == f"gives {figure.replace(' ', '_')}, as asked"


def test_a_digest_or_a_long_row_of_digits_is_no_figure() -> None:
    assert not any(whole for _, whole in figures("a" + "1" * 63))
    assert not any(whole for _, whole in figures("9" * 400))
