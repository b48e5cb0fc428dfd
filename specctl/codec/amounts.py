"""The grammar of amounts: text to exact values and back.

Promises: a full match to Decimal or a `Fault` that says where and what to
write instead; nothing is guessed, nothing is evaluated. `parse(format(q)) == q`
for every value this module can make. Leaves unit sizes to `units` and the
words of a refusal to `amount_faults`.

    number   one to nine digits, optionally a point and one to nine digits
    amount   number SPACE unit | number SPACE tool-id | number SPACE "each"
             | "top to" SPACE number SPACE "mm below rim" | "none"
    written  amount ["at" factor ("g/ml" | "g each")]
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from specctl.codec import units
from specctl.codec.amount_faults import Fault, blame_number, blame_text, blame_unit, say

LONGEST = 80

_NUMBER = r"(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,9})?"
_UNIT = r"(?:[^\W\d_]|°)(?:[^\n]*[^\s])?|%"
_AMOUNT = re.compile(rf"({_NUMBER}) ({_UNIT})")
_SIGNED = re.compile(rf"(-?{_NUMBER}) ({_UNIT})")
_TOP_TO = re.compile(rf"top to ({_NUMBER}) mm below rim")
_WRITTEN = re.compile(rf"(.+) at ({_NUMBER}) (g/ml|g each)")
_CURRENCY = re.compile(r"[A-Z]{3}")

_DIMENSIONS = {
    "mass": units.MASS,
    "volume": units.VOLUME,
    "density": units.DENSITY,
    "temperature": units.TEMPERATURE,
    "duration": units.TIME,
    "length": units.LENGTH,
    "percent": "percent",
}
_ZERO_IS_FINE = frozenset({"temperature", "percent"})


@dataclass(frozen=True, slots=True)
class Measured:
    """A number of a known unit of mass or volume; `unit` is its exact name."""

    number: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class Dosed:
    """A number of level doses of one of the book's tools."""

    number: Decimal
    tool: str


@dataclass(frozen=True, slots=True)
class Counted:
    """A number of pieces."""

    number: Decimal


@dataclass(frozen=True, slots=True)
class TopTo:
    """Fill up to so many mm below the rim."""

    mm: Decimal


@dataclass(frozen=True, slots=True)
class Absent:
    """The word `none`: the line is left out."""


Written = Measured | Dosed | Counted | TopTo | Absent

GRAMS_PER_ML = "g/ml"
GRAMS_EACH = "g each"
GRAMS = "g"


class WrittenForm(NamedTuple):
    """What the author wrote, and what turned one of it into grams.

    `per` is `g/ml` (factor is a density), `g each` (mass of one dose or piece)
    or `g` (a unit of mass: factor is its exact size, and is not written out).
    """

    written: Measured | Dosed | Counted
    factor: Decimal
    per: str

    def grams(self) -> Decimal:
        """The mass in grams, unrounded."""
        number = self.written.number
        if self.per == GRAMS_PER_ML and isinstance(self.written, Measured):
            number = number * units.factor(self.written.unit, "ml")
        return number * self.factor


def plain(number: Decimal) -> str:
    """A decimal without exponent, trailing zeros or a negative zero."""
    if not number.is_finite():
        raise ValueError("not a finite number")
    text = f"{number:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def parse_amount(
    text: str,
    *,
    tools: Collection[str] = (),
    spoons: str | None = None,
    allow_zero: bool = False,
) -> Written | Fault:
    """An amount of a line. `tools` are the ids of the book's tools; `spoons`
    names a spoon system of `units.SPOONS` for bare spoon names."""
    if len(text) > LONGEST:
        return Fault(
            f"an amount of {len(text)} characters is too long",
            "Write a plain number, a space and a unit, such as 30 g.",
            LONGEST,
        )
    if text == "none":
        return Absent()
    top = _TOP_TO.fullmatch(text)
    if top:
        return TopTo(Decimal(top[1]))
    match = _AMOUNT.fullmatch(text)
    if match is None:
        return blame_text(text)
    number, unit = Decimal(match[1]), match[2]
    if number == 0 and not allow_zero:
        return Fault("an amount of zero", "Leave the line out, or write none.", 0)
    if unit == "each":
        return Counted(number)
    exact = units.resolve_spoon(unit, spoons) or unit
    entry = units.known(exact)
    if entry is not None and exact not in units.AMBIGUOUS:
        if entry.dimension in (units.MASS, units.VOLUME):
            return Measured(number, exact)
        return Fault(
            f"{unit} is a unit of {entry.dimension}, not of an amount",
            "Write a mass or a volume, such as 30 g or 90 ml.",
            match.start(2),
        )
    if unit in tools and unit not in units.AMBIGUOUS:
        return Dosed(number, unit)
    return blame_number(text, match[1], unit, "30 g") or blame_unit(
        unit, match.start(2), tools, spoons
    )


def parse_quantity(
    text: str, dimension: str, *, spoons: str | None = None, allow_zero: bool = False
) -> Decimal | Fault:
    """A quantity of one dimension, in its base unit.

    mass in g, volume in ml, density in g/ml, temperature in °C (may be
    negative), duration in s, length in mm, percent in per cent.
    """
    wanted = _DIMENSIONS[dimension]
    if len(text) > LONGEST:
        return Fault(f"a {dimension} of {len(text)} characters is too long", "Shorten it.", LONGEST)
    match = (_SIGNED if dimension == "temperature" else _AMOUNT).fullmatch(text)
    if match is None:
        return blame_text(text, _example(dimension))
    number, unit = Decimal(match[1]), match[2]
    if number == 0 and not allow_zero and dimension not in _ZERO_IS_FINE:
        return Fault(f"a {dimension} of zero", f"Write more than zero, such as {_example(dimension)}.", 0)
    if dimension == "percent":
        if unit == "%":
            return number
        return Fault(f"{say(unit)} is not per cent", "Write it as 92 %.", match.start(2))
    exact = units.resolve_spoon(unit, spoons) or unit
    entry = units.known(exact)
    if entry is None or exact in units.AMBIGUOUS:
        return blame_unit(unit, match.start(2), (), spoons, dimension=wanted)
    if entry.dimension != wanted:
        return Fault(
            f"{unit} is a unit of {entry.dimension}, not of {wanted}",
            f"Write it as {_example(dimension)}.",
            match.start(2),
        )
    return number * entry.size


def parse_money(text: str) -> tuple[Decimal, str] | Fault:
    """An amount of money such as `12.40 GBP`: the number and the currency code."""
    if len(text) > LONGEST:
        return Fault(f"a price of {len(text)} characters is too long", "Shorten it.", LONGEST)
    match = _AMOUNT.fullmatch(text)
    if match is None:
        return blame_text(text, "12.40 GBP")
    if not _CURRENCY.fullmatch(match[2]):
        return Fault(
            f"{say(match[2])} is not a currency code",
            "Write the three capital letters of ISO 4217, such as 12.40 GBP.",
            match.start(2),
        )
    return Decimal(match[1]), match[2]


def format_amount(written: Written) -> str:
    """The text of an amount, such that parsing it gives the same value."""
    match written:
        case Measured(number, unit):
            return f"{plain(number)} {unit}"
        case Dosed(number, tool):
            return f"{plain(number)} {tool}"
        case Counted(number):
            return f"{plain(number)} each"
        case TopTo(mm):
            return f"top to {plain(mm)} mm below rim"
        case Absent():
            return "none"
    raise TypeError("not an amount")


def parse_written_form(text: str, tools: Collection[str] = ()) -> WrittenForm | Fault:
    """What stands beside a canonical amount: `90 ml at 1.03 g/ml`,
    `2 scoop-amber at 8.4 g each`, `1 oz-av`. Units are exact names here."""
    if len(text) > 2 * LONGEST:
        return Fault(f"a written form of {len(text)} characters is too long", "Run normalise.", 0)
    match = _WRITTEN.fullmatch(text)
    amount = parse_amount(match[1] if match else text, tools=tools)
    if isinstance(amount, Fault):
        return amount
    if isinstance(amount, TopTo | Absent):
        return Fault("a rule has no written form", "Remove the written form.", 0)
    mass = isinstance(amount, Measured) and units.UNITS[amount.unit].dimension == units.MASS
    if match is None:
        if mass:
            return WrittenForm(amount, units.factor(amount.unit, "g"), GRAMS)
        return Fault(
            "the written form lacks what turned it into grams",
            "End it with the density or the mass of one: at 1.03 g/ml, or at 8.4 g each.",
            len(text),
        )
    number, per = Decimal(match[2]), match[3]
    needed = GRAMS_PER_ML if isinstance(amount, Measured) else GRAMS_EACH
    if mass or per != needed:
        todo = "Remove what follows it." if mass else f"End it with at … {needed}."
        return Fault(f"{per} does not fit {format_amount(amount)}", todo, match.start(3))
    if number == 0:
        return Fault("a factor of zero", "Write the density or the mass of one.", match.start(2))
    return WrittenForm(amount, number, per)


def format_written_form(form: WrittenForm) -> str:
    """The text of a written form, such that parsing it gives the same value."""
    text = format_amount(form.written)
    if form.per == GRAMS:
        return text
    return f"{text} at {plain(form.factor)} {form.per}"


def _example(dimension: str) -> str:
    return {
        "mass": "30 g",
        "volume": "90 ml",
        "density": "1.03 g/ml",
        "temperature": "-18 °C",
        "duration": "30 min",
        "length": "15 mm",
        "percent": "92 %",
    }[dimension]


__all__ = [
    "Absent", "Counted", "Dosed", "Fault", "Measured", "TopTo", "Written", "WrittenForm",
    "blame_number", "format_amount", "format_written_form", "parse_amount", "parse_money",
    "parse_quantity", "parse_written_form", "plain", "say",
]
