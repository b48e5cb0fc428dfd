"""The command sheet: allergens, what to say, advice and nutrition of a site or a market."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, OutOption
from specctl.errors import Usage

if TYPE_CHECKING:
    from specctl.actions.sheeting import SheetFacts
    from specctl.report.sheet import Sheet

_FORMS = ("text", "html", "csv", "json")


def sheet(
    site: Annotated[Optional[str], typer.Argument(metavar="[SITE]", help="The site.")] = None,
    market: Annotated[Optional[str], typer.Option("--market", metavar="MARKET", help="Every site of a market, united.")] = None,
    form: Annotated[str, typer.Option("--as", metavar="FORM", help="text, html, csv or json.")] = "text",
    at: Annotated[Optional[str], typer.Option("--at", metavar="DATE", help="The day it is for, with that day's allergen list; else today.")] = None,
    released: Annotated[bool, typer.Option("--released", help="What was in force that day, not the book on disk.")] = False,
    language: Annotated[
        str, typer.Option("--language", metavar="CODE", help="The language of its words, as de; else the market's, else English.")
    ] = "",
    out: OutOption = None,
    book: BookOption = HERE,
) -> int:
    """Show the allergen sheet of a site or a market, with what to say and nutrition."""
    from specctl.actions.sheeting import sheet_of_market, sheet_of_site
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.report.catalogue import LANGUAGE
    from specctl.report.sheet_forms import sheet_csv, sheet_html, sheet_json, sheet_text
    from specctl.report.tongue import chosen, speaking

    if (site is None) == (market is None):
        raise Usage("a sheet is of a site or of a market", "For example: specctl sheet saltmarket, or specctl sheet --market gb")
    if form not in _FORMS:
        raise Usage(f"there is no form {form}", "Choose " + ", ".join(_FORMS) + ".")
    if released and site is None:
        raise Usage("what was in force is known for one site", "Name the site.")
    day = _day(at) if at else clock.now().date()
    chosen(language, ())
    with open_source(book) as source:
        facts = sheet_of_site(source, site, day, released) if site else sheet_of_market(source, market or "", day)
    # Programs read the JSON form: its words stay as they are, whatever the market's language.
    with speaking(LANGUAGE if form == "json" else chosen(language, (facts.market.language,))):
        shown = _view(facts)
        if form == "json":
            import json

            text = json.dumps(sheet_json(shown), ensure_ascii=False, indent=2) + "\n"
        else:
            text = {"html": sheet_html, "csv": sheet_csv}[form](shown) if form != "text" else sheet_text(shown, outlet.width())
    if out is None:
        outlet.result(text)
    else:
        out.write_text(text, encoding="utf-8", newline="")
        outlet.say(f"Written to {out}.")
    return 0


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Usage(f"{text[:40]} is not a day", "Write it as 2026-11-25.") from None


def _view(facts: SheetFacts) -> Sheet:
    from specctl.report.nutrition import drink_lines, rounding_of
    from specctl.report.sheet import Heading, sheet_of
    from specctl.report.words import date_words, say

    rule = facts.market.nutrition
    nutrition: dict[str, tuple[str, ...]] = {}
    method = ""
    for item, told in facts.servings.items():
        drink = facts.book.drinks[item.removeprefix("drink/")]
        by_lines: dict[tuple[str, ...], list[str]] = {}
        for places, servings in told:
            method = next((s.nutrition.method for s in servings), method)
            lines = drink_lines(servings, rule, drink.name, {size.key: size.name for size in drink.sizes.values()})
            by_lines.setdefault(lines, []).extend(places)
        heads = [say("nutrition.at-sites", sites=say("word.list").join(places)) for places in by_lines.values()]
        nutrition[item] = (
            next(iter(by_lines), ()) if len(by_lines) < 2 else tuple(w for head, lines in zip(heads, by_lines, strict=True) for w in (head, *lines))
        )
    day = date_words(facts.day)
    if facts.releases is None:
        standing = say("sheet.on-disk", day=day)
    else:
        numbers = ", ".join(str(n) for n in facts.releases)
        standing = say("sheet.in-force", day=day, releases=say("fresh.release", release=numbers))
    site = facts.site
    covers = "" if site else say("sheet.union", count=len(facts.sites), sites=", ".join(s.name for s in facts.sites))
    head = Heading(
        where=site.name if site else facts.market.name,
        market=facts.market.id,
        day=facts.day,
        standing=standing,
        caution=facts.market.caution,
        site=site.id if site else "",
        covers=covers,
    )
    note = say("nutrition.method", method=method, rounding=rounding_of(rule)) if nutrition else say("nutrition.not-stored")
    return sheet_of(head, facts.entries, nutrition, note, (prep.name for prep in facts.book.preps.values()))
