"""Nutrition in words and as data: rounded by the market's rule, a lower bound said to be one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from specctl.analysis.nourishing import Serving
from specctl.analysis.nutrition import KEYS, SALT_PER_SODIUM, Figure, Nutrition
from specctl.analysis.rounding import EU_METHOD, US_METHOD, eu_rounded, half_up, us_rounded
from specctl.domain.amount import plain
from specctl.report.numerals import numeral
from specctl.report.words import say

_US_SHOWN = (
    "energy_kcal", "fat", "saturates", "sodium_mg", "carbohydrate", "fibre", "sugars", "protein", "caffeine_mg", "alcohol",
)  # fmt: skip


def rounding_of(rule: str) -> str:
    """The name of a market's rounding."""
    return US_METHOD if rule == "us" else EU_METHOD


def figures_words(nutrition: Nutrition, rule: str, per_100_ml: bool = False) -> str:
    """`Energy 255 kJ, 61 kcal, fat 3.3 g, …` of a serving or of 100 ml; "" where there is no volume."""
    parts = []
    for key in _US_SHOWN if rule == "us" else KEYS:
        figure = _figure(nutrition, key, per_100_ml)
        if figure is None:
            return ""
        if figure.at_least and not figure.amount:
            parts.append(say("nutrition.not-known", what=say(f"nutrition.{key}", figure="").split("  ")[0].strip()))
            continue
        shown = us_rounded(key, figure.amount) if rule == "us" else eu_rounded(key, figure.amount)
        if figure.at_least and not shown[:1].isdecimal():
            shown = plain(half_up(figure.amount, "0.1"))
        told = numeral(shown)
        parts.append(say(f"nutrition.{key}", figure=say("nutrition.at-least", figure=told) if figure.at_least else told))
    return say("word.list").join(parts)


def open_words(nutrition: Nutrition) -> str:
    """Who has no value for something; "" where nothing is open."""
    names = dict.fromkeys(name for figure in nutrition.figures.values() for name in figure.missing)
    return say("nutrition.open", names=say("word.list").join(names)) if names else ""


def serving_lines(serving: Serving, rule: str, drink: str, size: str) -> list[str]:
    """One size of one build: a serving, 100 ml, what is open, and the bands."""
    nutrition = serving.nutrition
    name = drink if serving.variant.is_standard else f"{drink} ({serving.variant.name})"
    lines = [f"{say('nutrition.serving', drink=name, size=size)}: {figures_words(nutrition, rule)}."]
    per = figures_words(nutrition, rule, per_100_ml=True)
    if per and nutrition.volume_ml is not None:
        head = say("nutrition.volume", drink=name, size=size, ml=numeral(plain(half_up(nutrition.volume_ml))))
        lines.append(f"{head}: {per}.")
    else:
        lines.append(say("nutrition.no-volume", drink=name, size=size) + ".")
    if left := open_words(nutrition):
        lines.append(left)
    lines += [say("nutrition.band", about=b.about, band=b.band, scope=b.scope) for b in serving.bands]
    return lines


def drink_lines(servings: Sequence[Serving], rule: str, drink: str, sizes: Mapping[str, str]) -> tuple[str, ...]:
    """Every build of a drink: the standard one in full, of each choice and stand-in what differs.

    `sizes` are names by key. A choice that comes to the same figures is named as that.
    """
    by_choice: dict[str, list[str]] = {}
    names: dict[str, str] = {}
    for serving in servings:
        names[serving.variant.choice] = serving.variant.name
        by_choice.setdefault(serving.variant.choice, []).extend(serving_lines(serving, rule, drink, sizes[serving.size]))
    standard = tuple(dict.fromkeys(by_choice.pop("", ())))
    scopes = {band.scope for serving in servings if serving.variant.is_standard for band in serving.bands}
    found, same = list(standard), []
    for choice, lines in by_choice.items():
        named = f"{drink} ({names[choice]})"
        if {line.replace(named, drink) for line in lines} <= set(standard):
            same.append(names[choice])
            continue
        for line in dict.fromkeys(lines):
            if line.startswith(named):
                found.append(f"{names[choice]}{line.removeprefix(named)}")
            elif line not in standard:
                # The scope of the law stands with the standard build already.
                scope = next((s for s in scopes if line.endswith(s)), "")
                found.append(f"{names[choice]}: {line.removesuffix(scope).rstrip()}")
    if same:
        found.append(say("nutrition.as-standard", choices="; ".join(same)))
    return tuple(found)


def serving_json(serving: Serving, rule: str) -> dict[str, Any]:
    """The same as data: exact to six places, and rounded by the rule."""
    nutrition = serving.nutrition
    return {
        "size": serving.size,
        "choice": serving.variant.choice,
        "name": serving.variant.name,
        "method": nutrition.method,
        "rounding": rounding_of(rule),
        "volume_ml": None if nutrition.volume_ml is None else plain(half_up(nutrition.volume_ml)),
        "melt_water_g": None if serving.melt_g is None else plain(serving.melt_g),
        "serving": _figures_json(nutrition, rule, False),
        "per_100_ml": _figures_json(nutrition, rule, True),
        "bands": [
            {"about": b.about, "band": b.band, "at_least": b.at_least, "scope": b.scope} for b in serving.bands
        ],
    }


def _figures_json(nutrition: Nutrition, rule: str, per_100_ml: bool) -> dict[str, Any] | None:
    found = {}
    for key in (*KEYS, "sodium_mg"):
        figure = _figure(nutrition, key, per_100_ml)
        if figure is None:
            return None
        found[key] = {
            "amount": plain(half_up(figure.amount, "0.000001")),
            "shown": us_rounded(key, figure.amount) if rule == "us" else eu_rounded(key, figure.amount),
            "at_least": figure.at_least,
            "missing": list(figure.missing),
        }
    return found


def _figure(nutrition: Nutrition, key: str, per_100_ml: bool) -> Figure | None:
    """Sodium is told from salt: the sum is kept once."""
    base = "salt" if key == "sodium_mg" else key
    figure = nutrition.per_100_ml(base) if per_100_ml else nutrition.figures[base]
    if figure is None or key == base:
        return figure
    return Figure(key, figure.amount / SALT_PER_SODIUM * Fraction(1000), figure.missing)
