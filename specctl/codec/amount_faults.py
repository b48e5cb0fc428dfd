"""Says why a text is not an amount, and what to write instead.

Only ever called on text the grammar has refused; it never makes a value. What
it repeats of the text is cleaned and short, because the text may be hostile.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass
from decimal import Decimal

from specctl.codec import units

_SHOWN = 40
_MINUSES = "-−–—‐‑﹣－"
_SLASHES = "/⁄∕"
_PLAIN = re.compile(r"(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,9})?")
_WORDS = {
    "gram": "g", "grams": "g", "gr": "g", "gm": "g", "gms": "g",
    "kilogram": "kg", "kilograms": "kg", "kilo": "kg", "kilos": "kg",
    "millilitre": "ml", "millilitres": "ml", "milliliter": "ml", "milliliters": "ml", "cc": "ml",
    "litre": "l", "litres": "l", "liter": "l", "liters": "l",
    "pound": "lb", "pounds": "lb", "lbs": "lb",
    "pc": "each", "pcs": "each", "piece": "each", "pieces": "each", "ea": "each",
    "second": "s", "seconds": "s", "sec": "s", "minute": "min", "minutes": "min", "mins": "min",
    "hour": "h", "hours": "h", "hr": "h", "hrs": "h", "day": "d", "days": "d",
    "C": "°C", "c": "°C", "ºC": "°C", "℃": "°C", "° C": "°C", "percent": "%", "per cent": "%",
}
_BARE = {
    "ounce": "oz", "ounces": "oz", "teaspoon": "tsp", "teaspoons": "tsp", "tablespoon": "tbsp",
    "tablespoons": "tbsp", "cups": "cup", "fluid ounce": "fl oz", "fluid ounces": "fl oz",
    "floz": "fl oz", "fl. oz": "fl oz", "fl oz.": "fl oz", "pints": "pint", "shots": "shot", "dashes": "dash",
    "drops": "drop", "pinches": "pinch", "scoops": "scoop", "pumps": "pump", "jiggers": "jigger",
    "tsps": "tsp", "tbsps": "tbsp", "T": "tbsp", "t": "tsp", "pt": "pint",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a text is refused, what to do, and at which offset (from 0) it goes wrong."""

    what: str
    todo: str
    column: int = 0


def say(text: str) -> str:
    """A short quotation of untrusted text: unprintable characters as code points."""
    cut = text[:_SHOWN]
    shown = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in cut)
    return f'"{shown}{"…" if len(text) > _SHOWN else ""}"'


def blame_text(text: str, example: str = "30 g") -> Fault:
    """The fault of a text that is not `<number> <unit>`."""
    rule = f"Write a plain number, a space and a unit, such as {example}."
    if not text.strip():
        return Fault("an empty amount", rule)
    if text != text.strip():
        return Fault("a space before or after the amount", "Remove it.")
    lead = re.match(r"top\b", text, re.IGNORECASE)
    if lead:
        return Fault(f"{say(text)} is not a top-up rule", "Write it as: top to 15 mm below rim.")
    first = re.search(r"\s", text)
    head, tail = (text[: first.start()], text[first.end() :]) if first else (text, "")
    found = blame_number(text, head, tail, example)
    if found is not None:
        return found
    if first is None and _PLAIN.fullmatch(text):
        return Fault(f"{text} has no unit", f"Write the unit after it, such as {example}.", len(text))
    glued = re.fullmatch(rf"({_PLAIN.pattern})([^\s0-9].*)", text)
    if glued:
        return Fault(
            "no space between number and unit", f"Write {glued[1]} {_clean(glued[2])}.", glued.end(1)
        )
    if first and _PLAIN.fullmatch(head):
        if first[0] != " " or tail[:1].isspace():
            return Fault(
                "more than one space, or a space of another kind, after the number",
                "Write exactly one ordinary space.",
                first.start(),
            )
        return Fault(f"{say(tail)} is not a unit", rule, first.end())
    return Fault(f"{say(text)} is not an amount", rule)


def blame_number(text: str, head: str, tail: str, example: str) -> Fault | None:
    """The fault in the number at the start of a text, or None if it is fine."""
    rest = _clean(tail)
    for find in (_not_a_number, _fraction, _range_or_sum, _separator, _sign, _digits):
        fault = find(text, head, rest, example)
        if fault is not None:
            return fault
    return None


def _not_a_number(text: str, head: str, rest: str, example: str) -> Fault | None:
    if re.match(r"[+\-−]?\.?(nan|inf|infinity|∞)(\b|$)", text, re.IGNORECASE) or "∞" in head:
        return Fault(f"{say(head)} is not a number", f"Write a plain number, such as {example}.")
    exponent = re.match(r"[0-9.]+[eE][+-]?[0-9]+", head)
    if exponent:
        return Fault(
            f"{say(head)} is written with an exponent", "Write the number out, such as 1000."
        )
    if re.match(r"0[xXoObB]", head):
        return Fault(f"{say(head)} is not a decimal number", "Write it in ordinary digits.")
    vague = re.match(r"(?:~|≈|<|>|≤|≥|about|approx|ca\b|c\.|max|min\b|up to)", text, re.IGNORECASE)
    if vague:
        return Fault(
            f"{say(vague[0])} is not part of an amount",
            "Write the amount itself; how far it may be off is the line's tolerance.",
        )
    return None


def _fraction(text: str, head: str, rest: str, example: str) -> Fault | None:
    for at, char in enumerate(text):
        if "VULGAR FRACTION" in unicodedata.name(char, "") and at <= len(head) + 3:
            value = Decimal(str(unicodedata.numeric(char))).quantize(Decimal("0.001"))
            whole = text[:at].strip()
            if whole.isascii() and whole.isdigit():
                value += Decimal(whole[:9])
            return Fault(
                f"the fraction {char} is not a plain number", f"Write {value.normalize():f}.", at
            )
    slash = f"[{re.escape(_SLASHES)}]"
    match = re.match(rf"(?:([0-9]{{1,9}})[ -])?([0-9]{{1,9}}) ?{slash} ?([0-9]{{1,9}})(?![0-9])", text)
    if match:
        below = int(match[3])
        if below == 0:
            return Fault("a fraction over zero", f"Write a plain number, such as {example}.")
        value = int(match[1] or 0) + Decimal(int(match[2])) / below
        shown = f"{value.quantize(Decimal('0.001')).normalize():f}"
        return Fault(f"{say(match[0])} is a fraction", f"Write {shown} instead.", match.start(2))
    return None


def _range_or_sum(text: str, head: str, rest: str, example: str) -> Fault | None:
    spread = re.search(r"±|\+/-|\+-|\bplus or minus\b", text)
    if spread and text[:1].isdigit():
        return Fault(
            "a tolerance inside the amount",
            "Write the amount alone; the tolerance has its own key.",
            spread.start(),
        )
    sums = re.match(r"[0-9.]+ ?(\*\*|[*×^+]|x(?=[ 0-9]))", text)
    if sums:
        return Fault(
            "a sum is not an amount; nothing is worked out here",
            f"Write the result as one plain number, such as {example}.",
            sums.start(1),
        )
    between = re.match(rf"[0-9.]+ ?(?:[{re.escape(_MINUSES)}]|to |or ) ?[0-9]", text)
    if between:
        return Fault(
            "a range is not an amount",
            "Write one number; how far it may be off is the line's tolerance.",
            between.end() - 2,
        )
    return None


def _separator(text: str, head: str, rest: str, example: str) -> Fault | None:
    unit = f" {rest}" if rest else ""
    grouped = re.match(r"[0-9]{1,3}(?:[\s'’_][0-9]{3})+(?![0-9])", text)
    if grouped:
        digits = re.sub(r"[^0-9]", "", grouped[0])
        after = _clean(text[grouped.end() :].strip())
        return Fault(
            "digits are grouped with a space or a mark",
            f"Write {digits[:12]}{' ' + after if after else ''}.",
            re.search(r"[^0-9]", text).start(),  # type: ignore[union-attr]
        )
    comma = re.match(r"([0-9]{1,9})[,٫]([0-9]{1,9})(?![0-9,.])", head)
    if comma:
        at = comma.end(1)
        if len(comma[2]) == 3 and comma[1] != "0":
            return Fault(
                "a comma may be a decimal sign or a thousands mark",
                f"Write {comma[1]}{comma[2]}{unit} or {comma[1]}.{comma[2]}{unit}, as meant.",
                at,
            )
        return Fault("a comma is not a decimal point", f"Write {comma[1]}.{comma[2]}{unit}.", at)
    mark = re.match(r"[0-9]+(?:[.,'’_·][0-9]+){2,}|[0-9]+[·'’_,][0-9,.]*", head)
    if mark:
        return Fault(
            f"{say(head)} has more than one mark, or not a point",
            f"Write a plain number with at most one point, such as {example}.",
        )
    return None


def _sign(text: str, head: str, rest: str, example: str) -> Fault | None:
    first = text[0]
    if first in _MINUSES or first == "+":
        name = unicodedata.name(first, "sign").lower()
        todo = "Write the number without a sign."
        if first in _MINUSES and "°C" in example:
            todo = "Write an ordinary hyphen-minus directly before the number, such as -18 °C."
        return Fault(f"a sign (U+{ord(first):04X}, {name}) before the number", todo)
    return None


def _digits(text: str, head: str, rest: str, example: str) -> Fault | None:
    for at, char in enumerate(head):
        if char.isdigit() and not char.isascii() or unicodedata.category(char) == "No":
            return Fault(
                f"the digit {say(char)} (U+{ord(char):04X}) is not one of 0 to 9",
                "Write the number with the digits 0 to 9.",
                at,
            )
    number = re.match(r"[0-9]*\.?[0-9]*", head)
    shape = number[0] if number else ""
    if not shape or _PLAIN.fullmatch(shape):
        if re.match(r"[^\W\d_]", text):
            return Fault("the amount has no number", f"Begin with a plain number, such as {example}.")
        return None
    unit = f" {rest}" if rest else ""
    whole, _, part = shape.partition(".")
    if len(whole) > 9 or len(part) > 9:
        return Fault(
            "a number with more than nine digits before or after the point",
            "Write a shorter number, or use a larger or smaller unit.",
            9,
        )
    if shape.startswith("."):
        return Fault("a number that begins with a point", f"Write 0{shape}{unit}." if part else f"Write {example}.")
    if shape.endswith("."):
        return Fault("a number that ends with a point", f"Write {whole}{unit}.", len(whole))
    if len(whole) > 1 and whole[0] == "0":
        better = whole.lstrip("0") or "0"
        return Fault("leading zeros", f"Write {better}{'.' + part if part else ''}{unit}.")
    return None


def blame_unit(
    unit: str,
    column: int,
    tools: Collection[str] = (),
    spoons: str | None = None,
    *,
    dimension: str | None = None,
) -> Fault:
    """The fault of a unit that is not known, or has more than one meaning."""
    bare = _BARE.get(unit) or _BARE.get(unit.lower(), unit)
    unclear = units.AMBIGUOUS.get(bare)
    if unclear is not None:
        also = f" (the {spoons} spoon system has none)" if spoons in units.SPOONS and bare == "fl oz" else ""
        resolved = units.resolve_spoon(bare, spoons)
        if resolved and bare != unit:
            return Fault(f"unknown unit {say(unit)}", f"Write {bare} or {resolved}.", column)
        return Fault(
            f"{say(unit)} has more than one meaning{also}: {', '.join(unclear.candidates)}",
            unclear.advice,
            column,
        )
    direct = _WORDS.get(unit) or _WORDS.get(unit.lower())
    if direct:
        return Fault(f"unknown unit {say(unit)}", f"Write {direct}.", column)
    names = [n for n, u in units.UNITS.items() if dimension in (None, u.dimension)]
    if dimension is None:
        names = [n for n in names if units.UNITS[n].dimension in (units.MASS, units.VOLUME)]
    names = [n for n in names if n not in units.AMBIGUOUS]
    for name in [*names, *units.AMBIGUOUS]:
        if name.lower() == unit.lower():
            return Fault(
                f"unknown unit {say(unit)}: capitals matter", f"Did you mean {name}?", column
            )
    close = difflib.get_close_matches(unit[:64], [*names, *sorted(tools)], n=3, cutoff=0.6)
    if close:
        return Fault(f"unknown unit or tool {say(unit)}", f"Did you mean {' or '.join(close)}?", column)
    kinds = "an exact unit" if dimension else "g, ml, another exact unit, each, or the id of one of the book's tools"
    return Fault(f"unknown unit or tool {say(unit)}", f"Write {kinds}.", column)


def _clean(text: str) -> str:
    return say(text)[1:-1]
