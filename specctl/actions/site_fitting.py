"""The verb `site-fit`: every amount of a site's menu in its own tools, worst first, and what would help.

Amounts and measures are read from compiled entries, by the same reader as cards
and reports; chances and remedies are worked out beside them. Sites alike in
tools, checks and stock are worked out once.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from specctl.actions.source import Source
from specctl.actions.tracing import loaded_book
from specctl.analysis import capability, remedy, scoopcheck
from specctl.analysis.cost import unit_cost
from specctl.analysis.density import Item
from specctl.analysis.dose import Bench
from specctl.analysis.error import spread_of
from specctl.analysis.fitting import Asked, Fit, Flow, counts, fit_of, flow_of, worst_first
from specctl.analysis.measuring import Measure, Move
from specctl.change.compiled import items_at
from specctl.change.entry import compile_entry
from specctl.change.entry_lines import choice_names, lines_in, size_names
from specctl.change.memo import Memo, Profile, profile_of
from specctl.domain.amount import Tolerance
from specctl.domain.book import Book
from specctl.domain.place import ScoopCheck, Site
from specctl.errors import NotFound, Refused


@dataclass(frozen=True, slots=True)
class Advice:
    """What helps one failing amount: the site's own tools, else a premix, else nothing here."""

    fit: Fit
    own: remedy.Own | None
    premix: remedy.Premix | None


@dataclass(frozen=True, slots=True)
class SiteFit:
    """A site's whole menu, worst first; `lines` are the entry's lines in the same order."""

    book: Book
    site: Site
    fits: tuple[Fit, ...]
    lines: tuple[Mapping[str, Any], ...]
    advice: tuple[Advice, ...]
    buy: tuple[remedy.Buy, ...]
    scale: remedy.Buy | None
    flows: tuple[Flow, ...]
    due: tuple[tuple[ScoopCheck, date], ...]


class Chain:
    """A book's fits, each distinct (profile, item) compiled and judged once."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._memo = Memo(book)
        self._known: dict[tuple[Profile, str], list[tuple[Fit, Mapping[str, Any]]]] = {}

    def bench(self, site: Site) -> Bench:
        return self._memo.bench(profile_of(self.book, site))

    def of(self, site: Site) -> list[tuple[Fit, Mapping[str, Any]]]:
        """Every amount of a site's menu with its entry line, worst first."""
        profile = profile_of(self.book, site)
        found: list[tuple[Fit, Mapping[str, Any]]] = []
        for item in items_at(self.book, site):
            if (profile, item) not in self._known:
                self._known[profile, item] = list(self._judged(profile, item))
            found += self._known[profile, item]
        order = {id(fit): n for n, fit in enumerate(worst_first(fit for fit, _ in found))}
        return sorted(found, key=lambda pair: order[id(pair[0])])

    def _judged(self, profile: Profile, item: str) -> Iterator[tuple[Fit, Mapping[str, Any]]]:
        try:
            entry = compile_entry(self._memo, profile, item)
        except (ValueError, KeyError) as error:
            raise Refused(f"{item} is not ready to be measured: {error}", "Run specctl check for what is wrong.") from None
        sizes, choices, bench = size_names(entry), choice_names(entry), self._memo.bench(profile)
        for (size, choice, path), line in lines_in(entry).items():
            kind, use = line["of"].split("/", 1)
            thing = self.book.ingredients.get(use) if kind == "ingredient" else self.book.preps.get(use)
            assert thing is not None
            sides = Tolerance(Decimal(line["tolerance"]["minus"]), Decimal(line["tolerance"]["plus"]), False)
            grams = Decimal(line["grams"]) if line["grams"] and line["measure"]["by"] not in ("count", "eye") else None
            asked = Asked(item, entry["name"], sizes[size], choices.get(choice, "") if choice else "", path, use, grams, sides)
            yield fit_of(asked, _measure(line["measure"]), thing, bench), line


def fit_site(source: Source, id: str, today: date) -> SiteFit:
    """The whole menu of one site, and what would help where it does not fit."""
    book = loaded_book(source)
    site = book.sites.get(id)
    if site is None:
        close = difflib.get_close_matches(id, list(book.sites), 3)
        raise NotFound(f"there is no site {id}", f"Did you mean {', '.join(close)}?" if close else "See the folder sites/.")
    chain = Chain(book)
    pairs = chain.of(site)
    fits = tuple(fit for fit, _ in pairs)
    bench = chain.bench(site)
    items: dict[str, Item] = {f.asked.use: item for f in fits if (item := book.item(f.asked.use)) is not None}
    return SiteFit(
        book=book,
        site=site,
        fits=fits,
        lines=tuple(line for _, line in pairs),
        advice=tuple(_advice(fits, items, bench)),
        buy=remedy.to_buy(fits, items, bench),
        scale=remedy.scale_needed(fits, items, bench),
        flows=tuple(flow for _, item in sorted(items.items()) if (flow := flow_of(item)) is not None),
        due=tuple(_due(book, bench, today)),
    )


def fit_all(source: Source) -> tuple[Book, list[tuple[Site, dict[str, int], Fit | None, Mapping[str, Any] | None]]]:
    """Every site: counts of verdicts, and its worst amount; the worst site first."""
    book = loaded_book(source)
    chain = Chain(book)
    rows = []
    for _, site in sorted(book.sites.items()):
        pairs = chain.of(site)
        worst = pairs[0] if pairs else (None, None)
        rows.append((site, counts(fit for fit, _ in pairs), *worst))
    rows.sort(key=lambda row: (-row[1]["no-tool"], -row[1]["outside"], -row[1]["unproven"], row[0].id))
    return book, rows


def fit_chain(source: Source, franchise: str | None = None) -> list[capability.Capability]:
    """Ingredients by how often they are measured outside; `franchise`: its sites and prices alone."""
    book = loaded_book(source)
    if franchise is not None and franchise not in book.franchises:
        raise NotFound(f"there is no franchise {franchise}", "Franchises: " + ", ".join(sorted(book.franchises)) + ".")
    chain = Chain(book)
    found: dict[str, capability.Capability] = {}
    for _, site in sorted(book.sites.items()):
        if franchise is not None and site.franchise != franchise:
            continue
        for fit, line in chain.of(site):
            row = found.setdefault(line["of"], capability.Capability(line["of"], line["name"]))
            row.sites.add(site.id)
            if fit.fails:
                row.outside.add(site.id)
            elif fit.measure.verdict == "unproven":
                row.unproven.add(site.id)
            if not fit.asked.choice and fit.asked.recipe.startswith("drink/"):
                _year(book, chain, site, fit, row)
    return capability.ranked(found)


def _year(book: Book, chain: Chain, site: Site, fit: Fit, row: capability.Capability) -> None:
    item = book.item(fit.asked.use)
    prices = book.price_books.get(site.franchise)
    if item is None or fit.asked.grams is None or fit.measure.off is None:
        return
    drink = book.drinks[fit.asked.recipe.removeprefix("drink/")]
    size = next(key for key, each in drink.sizes.items() if each.name == fit.asked.size)
    cups = prices.cups_a_week.get(drink.id, {}).get(size) if prices is not None else None
    if prices is None or cups is None:
        row.unsold.add(f"{site.franchise}: {drink.id}, {size}")
        return
    year = cups * capability.WEEKS
    spread = spread_of(fit.measure, item, chain.bench(site)) or 0.0
    over, under = capability.expected_miss(float(fit.measure.off), spread)
    row.over_grams += over * year
    row.under_grams += under * year
    row.missed += (1 - (fit.chance if fit.chance is not None else 1.0)) * year
    cost = unit_cost(book, prices, fit.asked.use)
    if cost.exact is None or cost.per_gram is None:
        row.unpriced.add(site.franchise)
    else:
        row.cost[prices.currency] = row.cost.get(prices.currency, 0.0) + over * year * float(cost.exact)


def _advice(fits: tuple[Fit, ...], items: Mapping[str, Item], bench: Bench) -> Iterator[Advice]:
    done: set[tuple[Any, ...]] = set()
    for fit in fits:
        asked = fit.asked
        if not fit.fails or not asked.grams or asked.dose in done:
            continue
        done.add(asked.dose)
        own = remedy.own_tools(asked, items[asked.use], bench)
        beside = [
            (other.asked, items[other.asked.use])
            for other in fits
            if (other.asked.recipe, other.asked.size, other.asked.choice) == (asked.recipe, asked.size, asked.choice)
        ]
        yield Advice(fit, own, None if own else remedy.premix(asked, items[asked.use], beside, bench))


def _due(book: Book, bench: Bench, today: date) -> Iterator[tuple[ScoopCheck, date]]:
    for _, check in sorted(bench.checks.items()):
        day = scoopcheck.due(check.date, book.settings.checks_last)
        if day <= today:
            yield check, day


def _measure(told: Mapping[str, Any]) -> Measure:
    """A measure as its entry tells it."""
    return Measure(
        told["by"],
        tuple(Move(m["tool"], m["name"], Decimal(m["times"]), m["mark"]) for m in told["moves"]),
        Decimal(told["gives"]) if told["gives"] is not None else None,
        Decimal(told["off"]) if told["off"] is not None else None,
        told["verdict"],
        told["note"],
    )
