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
from specctl.analysis.equivalent import swap_json, swaps_of
from specctl.analysis.error import spread_of
from specctl.analysis.fitting import Asked, Fit, Flow, counts, fit_of, flow_of, worst_first
from specctl.analysis.measuring import Measure, Move
from specctl.change.compiled import items_at
from specctl.change.entry import compile_entry
from specctl.change.entry_lines import choice_names, lines_in, size_names
from specctl.change.memo import Memo, Profile, profile_of
from specctl.domain.amount import Tolerance, plain
from specctl.domain.book import Book
from specctl.domain.equipment import Tool
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


def told(found: Measure, book: Book, extra: tuple[Tool, ...] = ()) -> dict[str, Any]:
    """A measure as an entry would tell it, so that the same words are said of it."""
    tools = {**book.tools, **{tool.id: tool for tool in extra}}
    return {
        "by": found.by,
        "moves": [
            {"tool": m.tool, "kind": tools[m.tool].kind, "name": m.name, "times": plain(m.times), "mark": m.mark}
            for m in found.moves
        ],
        "gives": plain(found.gives) if found.gives is not None else None,
        "off": plain(found.off) if found.off is not None else None,
        "verdict": found.verdict,
        "note": found.note,
    }


def row_json(fit: Fit, line: Mapping[str, Any]) -> dict[str, Any]:
    """One amount: where, the entry's line, its limits and the estimated chance."""
    asked = fit.asked
    grams = asked.grams
    return {
        "item": asked.recipe,
        "name": asked.name,
        "size": asked.size if asked.recipe.startswith("drink/") else "",
        "choice": asked.choice,
        "path": asked.path,
        "line": dict(line),
        "low": plain(grams - asked.tolerance.under) if grams is not None else None,
        "high": plain(grams + asked.tolerance.over) if grams is not None else None,
        "chance": round(fit.chance, 4) if fit.chance is not None else None,
    }


def site_json(done: SiteFit) -> dict[str, Any]:
    """The whole result of `site-fit SITE`."""
    return {
        "site_fit": 1,
        "site": {"id": done.site.id, "name": done.site.name},
        "counts": counts(done.fits),
        "amounts": [row_json(fit, line) for fit, line in zip(done.fits, done.lines, strict=True)],
        "remedies": [_advice_json(each, done.book) for each in done.advice],
        "buy": [_buy_json(each) for each in done.buy],
        "scale": _buy_json(done.scale) if done.scale else None,
        "flow": [
            {"ingredient": f.item, "name": f.name, "hausner": f"{f.hausner:.2f}", "carr": f"{f.carr:.0f}", "flow": f.band, "trusted": f.trusted}
            for f in done.flows
        ],
        "equivalents": [
            {"drink": drink.id, "name": drink.name, **swap_json(swap)}
            for drink in done.book.served_at(done.site)
            for swap in swaps_of(done.book, drink, done.site.market, done.site.franchise)
        ],
        "checks_due": [{"scoop_check": check.id, "due": day.isoformat()} for check, day in done.due],
    }


def _advice_json(advice: Advice, book: Book) -> dict[str, Any]:
    asked, own, mix = advice.fit.asked, advice.own, advice.premix
    thing = book.item(asked.use)
    return {
        "item": asked.recipe,
        "name": asked.name,
        "of": asked.use,
        "of_name": thing.name if thing is not None else asked.use,
        "grams": plain(asked.grams or Decimal(0)),
        "own": {"how": own.how, "times": own.times, "measure": told(own.found, book)} if own else None,
        "premix": {
            "portions": mix.portions,
            "with": mix.carrier,
            "with_name": carrier.name if (carrier := book.item(mix.carrier)) is not None else mix.carrier,
            "grams": plain(mix.item_grams),
            "with_grams": plain(mix.carrier_grams),
            "dose": plain(mix.dose),
            "density": plain(mix.bulk_density) if mix.bulk_density is not None else None,
            "making": told(mix.making, book),
            "dosing": told(mix.dosing, book),
        }
        if mix
        else None,
    }


def _buy_json(buy: remedy.Buy) -> dict[str, Any]:
    return {"kind": buy.tool.kind, "name": buy.tool.name, "brings": buy.brings, "proven": buy.proven, "of": buy.of}


def all_json(source: Source) -> dict[str, Any]:
    """The result of `site-fit --all`."""
    _, rows = fit_all(source)
    return {
        "site_fit": 1,
        "sites": [
            {
                "id": site.id,
                "name": site.name,
                "franchise": site.franchise,
                "counts": found,
                "worst": row_json(fit, line) if fit is not None and line is not None else None,
            }
            for site, found, fit, line in rows
        ],
    }


def chain_json(source: Source, franchise: str | None = None) -> dict[str, Any]:
    """The result of `site-fit --chain`; all figures a year are estimates."""
    return {
        "site_fit": 1,
        "franchise": franchise,
        "items": [
            {
                "item": row.item,
                "name": row.name,
                "sites": len(row.sites),
                "outside": sorted(row.outside),
                "unproven": sorted(row.unproven),
                "over_kg": round(row.over_grams / 1000, 1),
                "under_kg": round(row.under_grams / 1000, 1),
                "missed": round(row.missed),
                "over_cost": {currency: round(cost) for currency, cost in sorted(row.cost.items())},
                "no_price_at": sorted(row.unpriced),
                "no_sales_stated": sorted(row.unsold),
            }
            for row in fit_chain(source, franchise)
        ],
    }
