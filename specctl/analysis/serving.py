"""What a site serves but cannot make as the spec says.

Promises: vessels and equipment a drink or one of its preps needs and the site
lacks, once per site and drink; lines no tool at a site measures within their
tolerance, once per line and amount with all the sites; ingredients only a
volume could measure there and that have no density; stand-ins no drink allows.
All but the last are warnings: a proposal may well ask of a site what it does
not have yet, and the report says so.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Iterable, Iterator

from specctl.analysis.alike import pours
from specctl.analysis.build import (
    BATCH,
    BuiltLine,
    allowed_in,
    build_lines,
    sizes_of,
    stocked,
    variants,
)
from specctl.analysis.dose import Bench, fits_kind, poured_density
from specctl.analysis.measuring import Measure, measure
from specctl.analysis.ways import preps_in
from specctl.domain.amount import Grams
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import Site
from specctl.domain.recipe import Drink, Prep
from specctl.problem import WARNING, Place, Problem

_MEASURED = ("within", "unproven")


@dataclass(frozen=True, slots=True)
class _Gap:
    """A line that cannot be measured, and why; the same at every site and size."""

    place: Place
    where: str
    item: str
    amount: Grams
    verdict: str
    note: str


@dataclass(slots=True)
class _Reach:
    """At which sites and sizes a gap was met, each once, in order."""

    sites: dict[str, None] = field(default_factory=dict)
    sizes: dict[str, None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Found:
    """What is the same at every site that pours, measures and is equipped alike."""

    lacks: list[tuple[str, str]]
    """Names of drinks, each with what is lacking for it, in words."""
    gaps: dict[tuple[_Gap, str], None]
    """Gaps with their sizes, in the order they are met."""
    unweighed: dict[str, None]


def check_serving(book: Book) -> list[Problem]:
    """Findings on what every site serves."""
    gaps: dict[_Gap, _Reach] = {}
    unweighable: dict[str, dict[str, None]] = {}
    problems: list[Problem] = []
    measured: dict[tuple[object, ...], Measure] = {}
    known: dict[tuple[object, ...], _Found] = {}
    for _, site in sorted(book.sites.items()):
        bench = bench_of(book, site)
        alike = (pours(site), *_bench_ids(bench), site.vessels, site.equipment)
        if alike not in known:
            known[alike] = _found(book, site, bench, measured)
        found = known[alike]
        problems.extend(_lacking(site, drink, words) for drink, words in found.lacks)
        for id in found.unweighed:
            unweighable.setdefault(id, {})[site.name] = None
        for gap, size in found.gaps:
            reach = gaps.setdefault(gap, _Reach())
            reach.sites[site.name] = None
            reach.sizes[size] = None
        problems.extend(_stocks(book, site))
    problems.extend(_gap(gap, reach) for gap, reach in gaps.items())
    problems.extend(_no_density(book, id, sites) for id, sites in sorted(unweighable.items()))
    return problems


def _found(book: Book, site: Site, bench: Bench, measured: dict[tuple[object, ...], Measure]) -> _Found:
    found = _Found([], {}, {})
    for drink in book.served_at(site):
        lines = list(_cup_lines(book, site, drink))
        preps = _preps_under(book, {line.use for _, _, line in lines})
        words = _lacks(book, site, drink, preps)
        if words:
            found.lacks.append((drink.name, words))
        for where, size, line in (*lines, *_batch_lines(book, preps)):
            item = book.item(line.use)
            if item is None or not isinstance(line.amount, Grams) or _is_zero(line):
                continue
            key = (_bench_key(bench, item), line.use, line.amount, line.tolerance)
            if key not in measured:
                measured[key] = measure(line.amount, line.tolerance, item, bench)
            verdict, note = measured[key].verdict, measured[key].note or ""
            if verdict in _MEASURED:
                continue
            if verdict == "no-tool" and lacks_density(item, bench):
                found.unweighed[line.use] = None
            else:
                found.gaps[_Gap(line.place, where, item.name, line.amount, verdict, note), size] = None
    return found


def bench_of(book: Book, site: Site) -> Bench:
    """What a site measures with: its known tools by id and its own scoop checks."""
    return Bench(
        tools=tuple(book.tools[id] for id in sorted(site.tools) if id in book.tools),
        checks={
            (check.ingredient, check.tool): check
            for _, check in sorted(book.scoop_checks.items(), key=lambda pair: (pair[1].date, pair[0]))
            if check.site == site.id and check.tool in site.tools
        },
        most_motions=book.settings.most_motions,
        half_scoops=book.settings.half_scoops,
    )


def lacks_density(item: Ingredient | Prep, bench: Bench) -> bool:
    """Whether a tool here would measure the item by volume if its density were known."""
    return poured_density(item) is None and any(fits_kind(tool, item) for tool in bench.tools)


def preps_of(book: Book, drink: Drink, site: Site) -> list[Prep]:
    """Preps a site makes for a drink, choices and its stand-ins included, by id."""
    return _preps_under(book, {line.use for _, _, line in _cup_lines(book, site, drink)})


def _preps_under(book: Book, uses: Iterable[str]) -> list[Prep]:
    ids = {id for use in uses for id in preps_in(book, use)}
    return [book.preps[id] for id in sorted(ids)]


def _batch_lines(book: Book, preps: Iterable[Prep]) -> Iterator[tuple[str, str, BuiltLine]]:
    for prep in preps:
        for path, line in build_lines(book, prep, BATCH).items():
            yield f"'{prep.name}' {path}", "", line


def _cup_lines(book: Book, site: Site, drink: Drink) -> Iterator[tuple[str, str, BuiltLine]]:
    """Words for where it stands, size, and line, for every line a site may pour."""
    seen: set[tuple[object, ...]] = set()
    for variant in variants(drink, site.market, book):
        if variant.substitute is not None:
            continue
        for size in sizes_of(drink):
            lines = build_lines(book, drink, size, variant)
            substitutes = drink.substitutes.values()
            for path, line in stocked(lines, substitutes, site.stocks, site.market).items():
                key = (size, path, line.use, line.amount, line.tolerance)
                if key not in seen:
                    seen.add(key)
                    asked = "" if variant.is_standard else f" with {variant.name}"
                    yield f"'{drink.name}' {path}{asked}", size, line


def _lacks(book: Book, site: Site, drink: Drink, preps: Iterable[Prep]) -> str:
    """What the site has not and the drink needs, in words; empty where it has all."""
    lacking: list[str] = []
    for size in drink.sizes.values():
        if size.vessel in book.vessels and size.vessel not in site.vessels:
            lacking.append(f"vessel {size.vessel} (size {size.key})")
    lacking.extend(_gear(site, drink, ""))
    for prep in preps:
        words = f" (for '{prep.name}')"
        if prep.vessel in book.vessels and prep.vessel not in site.vessels:
            lacking.append(f"vessel {prep.vessel}{words}")
        lacking.extend(_gear(site, prep, words))
    return "; ".join(dict.fromkeys(lacking))


def _lacking(site: Site, drink: str, words: str) -> Problem:
    return Problem(
        "site-cannot-make",
        site.place,
        f"'{site.name}' serves '{drink}' and lacks {words}",
        "Give the site what it lacks, or name the drink under not_served.",
        WARNING,
    )


def _gear(site: Site, recipe: Drink | Prep, words: str) -> Iterator[str]:
    for step in recipe.steps.values():
        for id in step.equipment:
            if id not in site.equipment:
                yield f"equipment {id}{words}"


def _stocks(book: Book, site: Site) -> Iterator[Problem]:
    if any(each.startswith("drink/") for each in book.broken):
        return  # the drink that allows it may be one that cannot be read
    allowed = {
        (stand_in.of, stand_in.by)
        for drink in book.drinks.values()
        for stand_in in drink.substitutes.values()
        if allowed_in(stand_in, site.market)
    }
    for of, by in sorted(site.stocks.items()):
        if (of, by) not in allowed:
            yield Problem(
                "stock-not-allowed",
                site.place,
                f"'{site.name}' stocks {by} in place of {of}, which no drink allows in its market",
                "Allow it under substitutes of the drinks it goes into, or stock the original.",
            )


def _gap(gap: _Gap, reach: _Reach) -> Problem:
    why = f": {gap.note}" if gap.note else ""
    sizes = ", ".join(size for size in reach.sizes if size)
    where = f"{gap.where}, size {sizes}" if sizes else gap.where
    measures = "nothing" if gap.verdict == "no-tool" else "no tool comes near enough"
    return Problem(
        "site-cannot-make",
        gap.place,
        f"{where}: {measures} at {_names(reach.sites)} to measure {gap.amount} "
        f"of '{gap.item}'{why}",
        "Give the site a tool that serves, weigh with the scoop once (a scoop check), "
        "change the amount, or widen the tolerance.",
        WARNING,
    )


def _no_density(book: Book, id: str, sites: Iterable[str]) -> Problem:
    item = book.item(id)
    return Problem(
        "density-missing",
        item.place if item is not None else book.settings.place,
        f"'{item.name if item is not None else id}' has no density, and {_names(sites)} "
        "can measure it by volume only",
        "Measure or look up its density and write it with its source, or weigh a scoop there.",
    )


def _names(sites: Iterable[str]) -> str:
    return ", ".join(f"'{name}'" for name in sites)


def _is_zero(line: BuiltLine) -> bool:
    """Whether no dose can meet the line at all: told elsewhere (`tolerance-zero`)."""
    return isinstance(line.amount, Grams) and not any(line.tolerance.grams(line.amount.value))


def _bench_ids(bench: Bench) -> tuple[object, ...]:
    """All that tells one bench of a book from another."""
    return tuple(tool.id for tool in bench.tools), tuple(check.id for check in bench.checks.values())


def _bench_key(bench: Bench, item: Ingredient | Prep) -> tuple[object, ...]:
    """What of a bench bears on one item: sites alike in that measure it alike."""
    tools = [tool.id for tool in bench.tools if tool.kind == "scale" or fits_kind(tool, item)]
    checks = [check.id for (of, _), check in bench.checks.items() if of == item.id]
    return (*tools, "", *checks)
