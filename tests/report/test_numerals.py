"""Decimals, dates and sums as a language writes them; babel, which carries Unicode CLDR, says how.

CLDR writes a sum with a no-break space and, in English, with none or one behind
the code; ours keep the plain space the English pages had.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from babel import Locale
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal

from specctl.report.numerals import decimal_mark, numeral
from specctl.report.tongue import speaking
from specctl.report.view_names import weekday_words
from specctl.report.view_numbers import money, share, signed_money
from specctl.report.words import date_words, grams_words, span_words

TAGS = ("en-GB", "en-IE", "en-US", "de", "de-DE", "de-AT", "de-CH")
DAYS = tuple(date(2026, month, 3 + month) for month in range(1, 13)) + (date(2026, 12, 1),)


@pytest.mark.parametrize("tag", TAGS)
def test_decimals_and_dates_are_written_as_cldr_writes_them(tag: str) -> None:
    locale = Locale.parse(tag, sep="-")
    with speaking(tag):
        assert numeral("29.4") == format_decimal(Decimal("29.4"), locale=locale)
        for day in DAYS:
            assert date_words(day) == format_date(day, "long", locale=locale)
            # Some issues of CLDR have a comma behind an English weekday, some have none; ours has none.
            full = format_date(day, "full", locale=locale)
            assert weekday_words(day.isoformat()) == (full.replace(",", "") if tag in ("en-GB", "en-IE") else full)


def test_a_sum_stands_on_the_side_of_its_code_that_the_language_has() -> None:
    for tag in ("de", "de-DE"):
        with speaking(tag):
            told = money(Decimal("0.41"), "GBP", Decimal("0.01"))
            assert told == format_currency(Decimal("0.41"), "GBP", format="#,##0.00 ¤¤", locale="de").replace("\u00a0", " ")
            assert signed_money(Decimal("-3.5"), "EUR", Decimal("0.01")) == "−3,50 EUR"
            assert share(Decimal("0.712")) == "71,2 %"
            assert grams_words("6.25") == "6,25 g"
    assert money(Decimal("0.41"), "GBP", Decimal("0.01")) == "GBP 0.41"


def test_what_is_no_decimal_stays_as_it_is() -> None:
    with speaking("de"):
        assert decimal_mark() == ","
        for text in ("2026-12-01", "1.2.3", "v1.2.3", "a.b", "12", ".5", "5."):
            assert numeral(text) == text
        assert span_words("2.5 h") == "2 Stunden 30 Minuten"
