"""One entry: all a site is told about one drink or prep.

An entry holds no clock, zone, release number, price, comment, written form,
probability or estimate; numbers are integers or decimal strings; the same tree
gives the same bytes on any machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from typing import Any

from specctl.analysis.advisory import advisories_of
from specctl.analysis.allergens import AllergenRow, Fact
from specctl.analysis.apart import made_apart
from specctl.analysis.build import (
    MIX,
    STANDARD,
    Variant,
    allowed_in,
    sizes_of,
    variants,
)
from specctl.analysis.contact import Shared
from specctl.analysis.doubling import twice, worth_telling
from specctl.analysis.filling import Filled
from specctl.analysis.holding import hold_of
from specctl.analysis.measuring import Measure, Move
from specctl.change.memo import Memo, Profile
from specctl.domain.amount import Absent, Each, Grams, TopTo, Unweighed, plain
from specctl.domain.book import Book
from specctl.domain.equipment import Tool
from specctl.domain.place import Market
from specctl.domain.recipe import Drink, Prep, Step


def compile_entry(memo: Memo, profile: Profile, item: str) -> dict[str, Any]:
    """One entry as canonical JSON data."""
    book = memo.book
    market = book.markets[profile.market]
    kind, _, id = item.partition("/")
    recipe: Drink | Prep = book.drinks[id] if kind == "drink" else book.preps[id]
    allergen_list = book.lists[market.allergen_list]
    return {
        "entry": 1,
        "item": item,
        "name": recipe.name,
        "market": market.id,
        "list": {
            "id": allergen_list.id,
            "name": allergen_list.name,
            "source": allergen_list.source,
            "groups": {key: group.name for key, group in allergen_list.groups.items()},
        },
        "sizes": [_size(memo, recipe, size, profile) for size in sizes_of(recipe)],
        "steps": [_step(step) for step in recipe.steps.values()],
        "options": _options(memo, recipe, profile),
        "substitutes": _substitutes(book, recipe, market),
        "allergens": [
            _allergens(memo.allergens(recipe, allergen_list.id, variant, profile))
            for variant in variants(recipe, market.id, book)
        ],
        "contact": [_shared(each) for each in memo.shared(recipe, allergen_list.id, profile)],
        "advisories": [
            {"about": a.about, "because": list(a.because), "choices": list(a.choices)}
            for a in advisories_of(book, recipe, market.id, dict(profile.stocks))
        ],
        "hold": _hold(book, recipe),
        "equipment": sorted({e for step in recipe.steps.values() for e in step.equipment}),
        "cautions": _cautions(book, recipe),
        "claims": list(recipe.claims) if isinstance(recipe, Drink) else [],
    }


def _size(memo: Memo, recipe: Drink | Prep, size: str, profile: Profile) -> dict[str, Any]:
    book = memo.book
    filled = memo.filled(recipe, size, STANDARD, profile)
    apart = made_apart(recipe)
    if isinstance(recipe, Prep):
        vessel = book.vessels.get(recipe.vessel or "")
        layers = [(MIX, recipe.name)]
        name, makes = "One batch", recipe.yields
    else:
        vessel = book.vessels.get(recipe.sizes[size].vessel)
        layers = [(layer.key, layer.name) for layer in recipe.layers.values()]
        name = recipe.sizes[size].name
        makes = sum((f.grams for f in filled.values() if f.grams is not None), Decimal(0))
    return {
        "key": size,
        "name": name,
        "vessel": {
            "id": vessel.id,
            "name": vessel.name,
            "brimful_ml": plain(vessel.brimful),
            "fill_line_mm": plain(vessel.fill_line),
        }
        if vessel
        else None,
        "makes_g": plain(makes),
        "layers": [
            {
                "key": key,
                "name": title,
                "lines": [
                    _line(memo, f, profile) | (_double(memo, f, profile) if key in apart and isinstance(recipe, Drink) else {})
                    for f in filled.values()
                    if f.line.layer == key
                ],
            }
            | ({"apart": True} if key in apart else {})
            for key, title in layers
        ],
    }


def _line(memo: Memo, filled: Filled, profile: Profile) -> dict[str, Any]:
    line = filled.line
    item = memo.book.item(line.use)
    grams = filled.grams
    if isinstance(line.amount, (Unweighed, Absent)) or item is None:
        raise ValueError(f"{line.path} is not ready to compile")
    under, over = line.tolerance.grams(grams) if grams is not None else (Decimal(0), Decimal(0))
    amount = Grams(grams) if filled.topped_up and grams is not None else line.amount
    return {
        "key": line.line_key,
        "of": memo.book.path_of(line.use),
        "name": item.name,
        "grams": plain(grams) if grams is not None else "",
        "each": plain(line.amount.count) if isinstance(line.amount, Each) else None,
        "rule": str(line.amount) if isinstance(line.amount, TopTo) else None,
        "tolerance": {"minus": plain(under), "plus": plain(over)},
        "measure": measure_json(memo.book, memo.measure(amount, line, profile)),
    }


def _double(memo: Memo, filled: Filled, profile: Profile) -> dict[str, Any]:
    """How two at once are measured, where that is better than twice the single amount; only in a
    layer made apart, for what is built in the cup is built in each cup."""
    line = filled.line
    if not isinstance(line.amount, Grams):
        return {}
    single = memo.measure(line.amount, line, profile)
    whole = replace(line, tolerance=twice(*line.tolerance.grams(line.amount.value)))
    double = memo.measure(Grams(2 * line.amount.value), whole, profile)
    scale = memo.book.tools[single.moves[0].tool] if single.by == "scale" else None
    return {"double": measure_json(memo.book, double)} if worth_telling(single, double, scale) else {}


def measure_json(book: Book, found: Measure) -> dict[str, Any]:
    """A measure as an entry tells it; a scale's move with its step and the most it takes, in grams."""
    return {
        "by": found.by,
        "moves": [_move(book.tools[m.tool], m) for m in found.moves],
        "gives": plain(found.gives) if found.gives is not None else None,
        "off": plain(found.off) if found.off is not None else None,
        "verdict": found.verdict,
        "note": found.note,
    }


def _move(tool: Tool, move: Move) -> dict[str, Any]:
    told: dict[str, Any] = {
        "tool": tool.id, "kind": tool.kind, "name": move.name, "times": plain(move.times), "mark": move.mark,
    }  # fmt: skip
    if tool.kind == "scale" and tool.readability is not None:
        told["step"] = plain(tool.readability)
        if tool.max_load is not None:
            told["most"] = plain(tool.max_load)
    return told


def _step(step: Step) -> dict[str, Any]:
    return {
        "key": step.key,
        "do": step.do,
        "layer": step.layer,
        "equipment": sorted(step.equipment),
        "caution": step.caution or None,
    }


def _options(memo: Memo, recipe: Drink | Prep, profile: Profile) -> list[dict[str, Any]]:
    if isinstance(recipe, Prep):
        return []
    return [
        {
            "key": option.key,
            "name": option.name,
            "choices": [
                {
                    "key": choice.key,
                    "name": choice.name,
                    "sizes": [
                        {
                            "key": size,
                            "lines": _changed(memo, recipe, size, f"{option.key}={choice.key}", profile),
                        }
                        for size in recipe.sizes
                    ],
                }
                for choice in option.choices.values()
            ],
        }
        for option in recipe.options.values()
    ]


def _changed(memo: Memo, drink: Drink, size: str, choice: str, profile: Profile) -> list[dict[str, Any]]:
    """Lines of a choice that differ from the standard build; None: left out."""
    standard = memo.filled(drink, size, STANDARD, profile)
    chosen = memo.filled(drink, size, _variant(choice), profile)
    rows: list[dict[str, Any]] = []
    for path in [*standard, *(p for p in chosen if p not in standard)]:
        before, after = standard.get(path), chosen.get(path)
        if after is None:
            rows.append({"path": path, "line": None})
        elif before is None or _told(before) != _told(after):
            rows.append({"path": path, "line": _line(memo, after, profile)})
    return rows


def _variant(choice: str) -> Variant:
    return Variant(choice, choice)


def _told(filled: Filled) -> tuple[Any, ...]:
    line = filled.line
    return line.use, line.amount, line.tolerance, filled.grams


def _substitutes(book: Book, recipe: Drink | Prep, market: Market) -> list[dict[str, Any]]:
    if isinstance(recipe, Prep):
        return []
    return [
        {
            "key": s.key,
            "for": book.path_of(s.of),
            "with": book.path_of(s.by),
            "name": item.name if (item := book.item(s.by)) else s.by,
            "ratio": plain(s.ratio),
        }
        for s in recipe.substitutes.values()
        if allowed_in(s, market.id)
    ]


def _allergens(row: AllergenRow) -> dict[str, Any]:
    return {
        "choice": row.choice,
        "name": row.name,
        "contains": [_fact(f) for f in row.contains],
        "may_contain": [_fact(f) for f in row.may_contain],
        "unknown": [_fact(f) for f in row.unknown],
        "absent_until": row.absent_until.isoformat() if row.absent_until else None,
    }


def _fact(fact: Fact) -> dict[str, Any]:
    return {
        "substance": fact.substance,
        "group": fact.group,
        "name": fact.name,
        "listed": fact.listed,
        "paths": list(fact.paths),
    }


def _shared(shared: Shared) -> dict[str, Any]:
    rule = shared.cleaning
    return {
        "equipment": shared.equipment,
        "cleaning": {
            "method": rule.method,
            "document": rule.document or None,
            "dated": rule.dated.isoformat() if rule.dated else None,
        }
        if rule
        else None,
        "lowered": shared.lowered,
        "substances": list(shared.substances),
        "unanswered": list(shared.unanswered),
    }


def _hold(book: Book, recipe: Drink | Prep) -> dict[str, Any] | None:
    if isinstance(recipe, Drink):
        return None
    hold = hold_of(recipe, book)
    return {
        "keep": recipe.keep,
        "own": f"{plain(Decimal(hold.seconds) / 3600)} h" if hold.seconds is not None else None,
        "note": hold.because,
    }


def _cautions(book: Book, recipe: Drink | Prep) -> list[str]:
    """The recipe's own cautions, then those of everything in it, each once."""
    found = list(recipe.cautions)
    for use in sorted(uses_of(recipe)):
        found += _cautions_under(book, use, frozenset())
    return list(dict.fromkeys(found))


def _cautions_under(book: Book, use: str, above: frozenset[str]) -> Iterator[str]:
    item = book.item(use)
    if item is None or use in above:
        return
    yield from item.cautions
    if isinstance(item, Prep):
        for line in item.all_lines():
            yield from _cautions_under(book, line.use, above | {use})


def uses_of(recipe: Drink | Prep) -> set[str]:
    """Every id a recipe's lines may use, choices and stand-ins included."""
    used = {line.use for line in recipe.all_lines()}
    if isinstance(recipe, Drink):
        for option in recipe.options.values():
            for choice in option.choices.values():
                used |= {change.use for change in choice.changes.values() if change.use}
        used |= {substitute.by for substitute in recipe.substitutes.values()}
    return used
