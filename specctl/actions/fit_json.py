"""What `site-fit` found as plain values: the result of its `--json`, and what its words are made from."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from specctl.actions.site_fitting import Advice, SiteFit, fit_all, fit_chain
from specctl.actions.source import Source
from specctl.analysis import remedy
from specctl.analysis.equivalent import swap_json, swaps_of
from specctl.analysis.fitting import Fit, counts
from specctl.analysis.measuring import Measure
from specctl.change.entry import measure_json
from specctl.domain.amount import plain
from specctl.domain.book import Book


def told(found: Measure, book: Book) -> dict[str, Any]:
    """A measure as an entry would tell it, so that the same words are said of it."""
    return measure_json(book, found)


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
