"""How the language of a page writes decimals and dates.

Source of the forms: Unicode CLDR, by language and region; the tests ask babel,
which carries it. Digits are left as they are and never grouped, so that a
figure can be found again in a spec; `specctl.report.tongue` says the language.
"""

from __future__ import annotations

import re

from specctl.report.tongue import _, language

# Where the region writes otherwise than its language.
_MARK = {"de-CH": ".", "de-LI": "."}
_DATE = {"en-US": "{month} {day}, {year}"}
_WEEKDAY = {"en-US": "{weekday}, {date}"}
_MONTH = {("de-AT", "January"): "Jänner"}
_DECIMAL = re.compile(r"(?<![0-9.])([0-9]+)\.([0-9]+)(?![0-9.])")


def numeral(text: str) -> str:
    """Each plain decimal in `text` with the language's own mark: `29.4` as `29,4`. What is no decimal stays."""
    mark = _MARK.get(language()) or decimal_mark()
    return text if mark == "." else _DECIMAL.sub(rf"\1{mark}\2", text)


def decimal_mark() -> str:
    """What parts a number from its fraction; the catalogue tells it by an example."""
    # How your language writes one and a half; only the sign between the digits is taken.
    found = re.search("1([^0-9A-Za-z])5", _("1.5"))
    return found[1] if found else "."


def month_word(english: str) -> str:
    """The month by its English name, as the language and its region call it."""
    return _MONTH.get((language(), english)) or _(english)


def date_pattern() -> str:
    """`{day} {month} {year}` in the order and with the signs of the language."""
    return _DATE.get(language()) or _("{day} {month} {year}")


def weekday_pattern() -> str:
    """`{weekday} {date}` likewise."""
    return _WEEKDAY.get(language()) or _("{weekday} {date}")
