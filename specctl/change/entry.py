"""Compiles a book into entries: all a site is told about one drink or prep.

Sites with the same profile (market, tools, scoop checks, stand-ins stocked)
share one compilation, so the work is done once per distinct profile and item.
An entry holds no clock, zone, release number, price, comment, written form,
probability or estimate; numbers are integers or decimal strings; the same tree
gives the same bytes on any machine.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from specctl.analysis.allergens import AllergenRow, Fact, facts_of
from specctl.analysis.build import (
    BATCH,
    MIX,
    BuiltLine,
    Variant,
    allowed_in,
    build_lines,
    sizes_of,
    stocked,
    variants,
)
from specctl.analysis.filling import Filled, fill_lines
from specctl.analysis.holding import hold_of
from specctl.analysis.measuring import Bench, Measure, measure
from specctl.analysis.ways import preps_in
from specctl.canonical import canonical, digest_of
from specctl.domain.amount import Absent, Each, Grams, TopTo, Unweighed, plain
from specctl.domain.book import Book
from specctl.domain.place import AllergenList, Market, Site
from specctl.domain.recipe import Drink, Prep, Step

DRINK = "drink/"
PREP = "prep/"


@dataclass(frozen=True, slots=True)
class Profile:
    """What makes sites differ in what they are told. Equal profiles share entries."""

    market: str
    tools: tuple[str, ...]
    checks: tuple[str, ...]
    stocks: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Compiled:
    """Entries by digest, and the digest for each (site, item)."""

    entries: Mapping[str, dict[str, Any]]
    rows: Mapping[tuple[str, str], str]


def compile_book(book: Book) -> Compiled:
    """Every entry of every site. The book must check without errors."""
    entries: dict[str, dict[str, Any]] = {}
    rows: dict[tuple[str, str], str] = {}
    done: dict[tuple[Profile, str], str] = {}
    for site in book.sites.values():
        if site.market not in book.markets:
            continue
        profile = profile_of(book, site)
        for item in items_at(book, site):
            key = (profile, item)
            if key not in done:
                entry = compile_entry(book, profile, item)
                name = digest_of(canonical(entry))
                entries[name] = entry
                done[key] = name
            rows[(site.id, item)] = done[key]
    return Compiled(entries, rows)


def profile_of(book: Book, site: Site) -> Profile:
    checks = tuple(sorted(c.id for c in book.scoop_checks.values() if c.site == site.id))
    return Profile(site.market, tuple(sorted(site.tools)), checks, tuple(sorted(site.stocks.items())))


def items_at(book: Book, site: Site) -> list[str]:
    """`drink/<id>` and `prep/<id>` of everything a site serves or makes for it, sorted."""
    drinks = book.served_at(site)
    preps: set[str] = set()
    for drink in drinks:
        for use in uses_of(drink):
            preps |= preps_in(book, use)
    return [f"{DRINK}{d.id}" for d in drinks] + [f"{PREP}{p}" for p in sorted(preps)]


def uses_of(recipe: Drink | Prep) -> set[str]:
    """Every id a recipe's lines may use, choices and stand-ins included."""
    used = {line.use for line in recipe.all_lines()}
    if isinstance(recipe, Drink):
        for option in recipe.options.values():
            for choice in option.choices.values():
                used |= {change.use for change in choice.changes.values() if change.use}
        used |= {substitute.by for substitute in recipe.substitutes.values()}
    return used


def bench_of(book: Book, profile: Profile) -> Bench:
    """The tools and scoop checks of a profile, as the solver takes them."""
    tools = tuple(book.tools[t] for t in profile.tools if t in book.tools)
    checks = {}
    for id in profile.checks:
        check = book.scoop_checks[id]
        checks[(check.ingredient, check.tool)] = check
    return Bench(tools, checks, book.settings.most_motions, book.settings.half_scoops)


def compile_entry(book: Book, profile: Profile, item: str) -> dict[str, Any]:
    """One entry as canonical JSON data."""
    market = book.markets[profile.market]
    bench = bench_of(book, profile)
    kind, _, id = item.partition("/")
    recipe: Drink | Prep = book.drinks[id] if kind == "drink" else book.preps[id]
    allergen_list = book.lists[market.allergen_list]
    known = variants(recipe, market.id, book)
    return {
        "entry": 1,
        "item": item,
        "name": recipe.name,
        "market": market.id,
        "list": {"id": allergen_list.id, "name": allergen_list.name, "source": allergen_list.source},
        "sizes": [_size(book, recipe, size, bench, market, profile) for size in sizes_of(recipe)],
        "steps": [_step(step) for step in recipe.steps.values()],
        "options": _options(book, recipe, bench, market, profile),
        "substitutes": _substitutes(book, recipe, market),
        "allergens": [
            _allergens(facts_of(book, recipe, allergen_list, v, dict(profile.stocks))) for v in known
        ],
        "hold": _hold(book, recipe),
        "equipment": sorted({e for step in recipe.steps.values() for e in step.equipment}),
        "cautions": _cautions(book, recipe),
        "claims": list(recipe.claims) if isinstance(recipe, Drink) else [],
    }


def _built(
    book: Book, recipe: Drink | Prep, size: str, variant: Variant, market: Market, profile: Profile
) -> dict[str, BuiltLine]:
    lines = build_lines(book, recipe, size, variant)
    if isinstance(recipe, Drink):
        lines = stocked(lines, recipe.substitutes.values(), dict(profile.stocks), market.id)
    return lines


def _filled(
    book: Book, recipe: Drink | Prep, size: str, variant: Variant, market: Market, profile: Profile
) -> dict[str, Filled]:
    """Lines of a variant with every rule turned into grams where the cup is known."""
    lines = _built(book, recipe, size, variant, market, profile)
    if isinstance(recipe, Prep):
        return fill_lines(book, lines, None)
    vessel = book.vessels.get(recipe.sizes[size].vessel)
    top_up = None
    standard = None
    if not variant.is_standard and not variant.substitute:
        option, _, choice = variant.choice.partition("=")
        top_up = recipe.options[option].choices[choice].top_up
        standard = _built(book, recipe, size, Variant(), market, profile)
    return fill_lines(book, lines, vessel, standard, top_up)


def _size(
    book: Book, recipe: Drink | Prep, size: str, bench: Bench, market: Market, profile: Profile
) -> dict[str, Any]:
    filled = _filled(book, recipe, size, Variant(), market, profile)
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
                "lines": [_line(book, f, bench) for f in filled.values() if f.line.layer == key],
            }
            for key, title in layers
        ],
    }


def _line(book: Book, filled: Filled, bench: Bench) -> dict[str, Any]:
    line = filled.line
    item = book.item(line.use)
    name = item.name if item else line.use
    grams = filled.grams
    under, over = line.tolerance.grams(grams) if grams is not None else (Decimal(0), Decimal(0))
    if isinstance(line.amount, (Unweighed, Absent)) or item is None:
        raise ValueError(f"{line.path} is not ready to compile")
    rule = str(line.amount) if isinstance(line.amount, TopTo) else None
    amount = Grams(grams) if filled.topped_up and grams is not None else line.amount
    return {
        "key": line.line_key,
        "of": book.path_of(line.use),
        "name": name,
        "grams": plain(grams) if grams is not None else "",
        "each": plain(line.amount.count) if isinstance(line.amount, Each) else None,
        "rule": rule,
        "tolerance": {"minus": plain(under), "plus": plain(over)},
        "measure": _measure(measure(amount, line.tolerance, item, bench)),
    }


def _measure(found: Measure) -> dict[str, Any]:
    return {
        "by": found.by,
        "moves": [
            {"tool": m.tool, "name": m.name, "times": plain(m.times), "mark": m.mark} for m in found.moves
        ],
        "gives": plain(found.gives) if found.gives is not None else None,
        "off": plain(found.off) if found.off is not None else None,
        "verdict": found.verdict,
        "note": found.note,
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "key": step.key,
        "do": step.do,
        "layer": step.layer,
        "equipment": sorted(step.equipment),
        "caution": step.caution or None,
    }


def _options(
    book: Book, recipe: Drink | Prep, bench: Bench, market: Market, profile: Profile
) -> list[dict[str, Any]]:
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
                            "lines": _changed(
                                book,
                                _filled(book, recipe, size, Variant(), market, profile),
                                _filled(
                                    book, recipe, size, Variant(f"{option.key}={choice.key}"), market, profile
                                ),
                                bench,
                            ),
                        }
                        for size in recipe.sizes
                    ],
                }
                for choice in option.choices.values()
            ],
        }
        for option in recipe.options.values()
    ]


def _changed(
    book: Book, standard: Mapping[str, Filled], chosen: Mapping[str, Filled], bench: Bench
) -> list[dict[str, Any]]:
    """Lines of a choice that differ from the standard build; None: left out."""
    rows: list[dict[str, Any]] = []
    for path in [*standard, *(p for p in chosen if p not in standard)]:
        before, after = standard.get(path), chosen.get(path)
        if after is None:
            rows.append({"path": path, "line": None})
        elif before is None or before.grams != after.grams or before.line.use != after.line.use or (
            before.line.amount != after.line.amount or before.line.tolerance != after.line.tolerance
        ):
            rows.append({"path": path, "line": _line(book, after, bench)})
    return rows


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


def lists_of(book: Book, market: str) -> AllergenList:
    """The list a market declares by."""
    return book.lists[book.markets[market].allergen_list]
