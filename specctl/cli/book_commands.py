"""Commands about a book on disk: init, check, normalise, show, trace."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption, KeyOption
from specctl.errors import Usage


def init(
    folder: Annotated[Optional[Path], typer.Argument(metavar="DIR", help="A new folder for the book.")] = None,
    seal: Annotated[bool, typer.Option("--seal", help="Sign the first commit of the book in --book.")] = False,
    join: Annotated[bool, typer.Option("--join", help="Make the clone in --book ready for you.")] = False,
    id: Annotated[str, typer.Option("--id", help="Names the book in every signed statement.")] = "",
    name: Annotated[str, typer.Option("--name", help="The chain's name.")] = "",
    person: Annotated[str, typer.Option("--person", help="Your id, such as ada-moor.")] = "",
    person_name: Annotated[str, typer.Option("--person-name", help="Your name.")] = "",
    key: KeyOption = None,
    book: BookOption = HERE,
) -> int:
    """Lay out a new book, seal it with its first signed commit, or make a clone ready for you."""
    from specctl.actions import starting
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    if join:
        with open_source(book) as source:
            who = starting.join(source, key)
        outlet.say(f"This clone signs as {who.name} ({', '.join(sorted(who.roles))}).")
        return 0
    if seal:
        with open_source(book) as source:
            commit, sealer = starting.seal(source, key, clock.now())
        outlet.result(commit)
        outlet.say(f"Sealed by {sealer.name}. From here on everything is a proposal: specctl propose")
        return 0
    if folder is None or key is None or not (id and person):
        raise Usage(
            "a new book needs a folder, --id, --person and --key",
            "For example: specctl init drinks --id tidewick --name Tidewick --person ada-moor --key ~/.ssh/id_ed25519",
        )
    wish = starting.InitWish(folder, id, name or id, person, person_name or person, key)
    files = starting.lay_out(wish)
    outlet.result(str(folder))
    outlet.say(f"Laid out the book of {name or id} in {folder}: {outlet.count(len(files), 'file')}. Nothing is signed yet.")
    outlet.say("Next: write everybody who signs, with their public keys, into signatories.yaml, and look at policy.yaml.")
    outlet.say(f"Nobody signs their own proposal, so it takes at least two people. Then: specctl init --seal --book {folder} --key {key}")
    return 0


def check(
    book: BookOption = HERE,
    json: JsonOption = False,
    strict: Annotated[bool, typer.Option("--strict", help="Warnings count as findings too.")] = False,
) -> int:
    """Find every problem of a book, in one run."""
    from specctl.actions.checking import check as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.problem import errors_of

    with open_source(book) as source:
        problems, counts = run(source, clock.now().date())
    errors = len(errors_of(problems))
    if json:
        outlet.result_json({"check": 1, "problems": [p.as_json() for p in problems], "counts": counts})
    elif problems:
        from specctl.report.terminal import problems_text

        outlet.result(problems_text(problems, outlet.width(), colour=outlet.colour()))
    found = f"{outlet.count(errors, 'error')}, {outlet.count(len(problems) - errors, 'warning')}"
    outlet.say(f"{found} in " + ", ".join(outlet.count(n, k.removesuffix("s")) for k, n in counts.items()))
    return 1 if errors or (strict and problems) else 0


def normalise(
    book: BookOption = HERE,
    bench: Annotated[
        Optional[str], typer.Option("--bench", metavar="SITE", help="Use this site's scoop checks.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show what would change.")] = False,
    json: JsonOption = False,
) -> int:
    """Turn amounts as the bench reads them into grams, in the files."""
    from specctl.actions.normalising import normalise_book
    from specctl.actions.source import open_source
    from specctl.cli import outlet
    from specctl.report.terminal import problems_text, table_text

    with open_source(book) as source:
        done = normalise_book(source, bench, write=not look)
    rows = [(str(place), before, after) for place, before, after in done.result.changes]
    if json:
        outlet.result_json(
            {
                "normalise": 1,
                "changes": [{"place": p, "before": b, "after": a} for p, b, a in rows],
                "written": list(done.written),
                "problems": [p.as_json() for p in done.result.problems],
            }
        )
    else:
        if rows:
            outlet.result(table_text(("where", "as written", "now"), rows, outlet.width(), colour=outlet.colour()))
        if done.result.problems:
            outlet.result(problems_text(done.result.problems, outlet.width(), colour=outlet.colour()))
    outlet.say(f"{outlet.count(len(rows), 'amount')}, {outlet.count(len(done.written), 'file')} written. Grams are rounded half up to 0.01 g.")
    return 1 if done.result.problems else 0


def show(
    item: Annotated[str, typer.Argument(metavar="DRINK", help="A drink or a prep.")],
    site: Annotated[Optional[str], typer.Option("--site", help="As this site would be told it.")] = None,
    franchise: Annotated[Optional[str], typer.Option("--for", metavar="FRANCHISE", help="Costs of this franchise only.")] = None,
    amounts: Annotated[
        Optional[list[str]], typer.Option("--with", metavar="LINE=AMOUNT", help="What if a line had this amount: foam=28g.")
    ] = None,
    ice: Annotated[Optional[str], typer.Option("--ice", metavar="SHARE", help="What if it had so much of its ice: 0.6.")] = None,
    at: Annotated[Optional[str], typer.Option("--at", metavar="CELSIUS", help="What if it were poured at this temperature: 4C.")] = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Show a drink or prep of the book on disk: amounts, tools, allergens, cost."""
    from specctl.actions.benching import read_what_if
    from specctl.analysis.nourishing import servings_of
    from specctl.report.nutrition import rounding_of, serving_json, serving_lines
    from specctl.actions.showing import equivalents, show as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    with open_source(book) as source:
        shown = run(source, item, site, read_what_if(amounts or (), ice, at))
    costs = [c for c in shown.costs if franchise in (None, c.franchise)]
    drink_shown = shown.book.drinks.get(shown.item.removeprefix("drink/")) if shown.item.startswith("drink/") else None
    rule = shown.book.markets[shown.site.market].nutrition
    servings = list(servings_of(shown.book, drink_shown, shown.site)) if drink_shown is not None else []
    if json:
        outlet.result_json(
            {
                "show": 1,
                "site": shown.site.id,
                "entry": shown.entry,
                "costs": [c.as_json() for c in costs],
                "cups": [c.as_json() for c in shown.cups],
                "batch": shown.batch.as_json() if shown.batch is not None else None,
                "nutrition": [serving_json(s, rule) for s in servings],
                "equivalents": equivalents(shown, franchise),
            }
        )
        return 0
    from specctl.report.terminal import table_text
    from specctl.site.pages_text import card_text

    standing = f"As on disk, not released; as {shown.site.name} would be told it."
    outlet.result(card_text(shown.entry, today=clock.now().date(), standing=standing, width=outlet.width()))
    if shown.batch is not None:
        from specctl.report.batch_words import batch_lines

        outlet.result("\n".join(["", *batch_lines(shown.batch, outlet.width())]))
    if shown.cups:
        from specctl.report.cup_text import cups_text

        drink = shown.book.drinks[shown.item.removeprefix("drink/")]
        for cup in shown.cups:
            outlet.result(cups_text(shown.book, drink, cup.size, cup.vessel, (cup.spec, cup.asked), outlet.width()))
    if drink_shown is not None:
        from specctl.report.plain import heading, wrap
        from specctl.report.words import say

        lines = heading(say("nutrition.title"), outlet.width())
        for serving in servings:
            if serving.variant.is_standard:
                for words in serving_lines(serving, rule, drink_shown.name, drink_shown.sizes[serving.size].name):
                    lines += wrap(words, outlet.width())
        method = say("nutrition.method", method=servings[0].nutrition.method, rounding=rounding_of(rule)) if servings else ""
        outlet.result("\n".join([*lines, *wrap(method, outlet.width())]) + "\n")
    if costs:
        rows = [
            (
                c.franchise,
                c.size,
                f"{c.cost} {c.currency}" if c.cost is not None else "cannot be told: " + "; ".join(c.missing),
                f"{c.menu} {c.currency}" if c.menu is not None else "no menu price",
                f"{c.margin} {c.currency}" if c.margin is not None else "",
            )
            for c in costs
        ]
        outlet.result(table_text(("franchise", "size", "cost of a cup", "menu price", "margin net of tax"), rows, outlet.width(), colour=outlet.colour()))
    if shown.book.broken:
        outlet.say(
            f"{len(shown.book.broken)} records of this book cannot be read: shared equipment may carry more than is shown. "
            "Run specctl check."
        )
    if shown.others:
        outlet.say("Other sites that have it: " + ", ".join(shown.others) + ". Choose one with --site.")
    return 0


def trace(
    item: Annotated[str, typer.Argument(metavar="ITEM", help="An ingredient or a prep.")],
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Show where an ingredient or prep is used: preps, drinks, options, sites."""
    from specctl.actions.source import open_source
    from specctl.actions.tracing import trace_item
    from specctl.cli import outlet

    with open_source(book) as source:
        found, known = trace_item(source, item)
    if json:
        outlet.result_json(
            {
                "trace": 1,
                "item": found.item,
                "preps": list(found.preps),
                "drinks": [{"drink": u.drink, "paths": list(u.paths)} for u in found.drinks],
                "options": [
                    {"drink": o.drink, "choice": o.choice, "name": o.name, "paths": list(o.paths)} for o in found.options
                ],
                "substitutes": [{"drink": s.drink, "key": s.key, "for": s.of, "with": s.by} for s in found.substitutes],
                "sites": list(found.sites),
                "franchises": list(found.franchises),
            }
        )
        return 0
    from specctl.report.terminal import table_text

    rows = [("prep", known.preps[p].name, "") for p in found.preps]
    rows += [("drink", known.drinks[u.drink].name, ", ".join(u.paths)) for u in found.drinks]
    rows += [("option", f"{known.drinks[o.drink].name}, {o.name}", ", ".join(o.paths)) for o in found.options]
    rows += [("stand-in", known.drinks[s.drink].name, f"{s.by} in place of {s.of}") for s in found.substitutes]
    rows += [("site", known.sites[s].name, known.sites[s].franchise) for s in found.sites]
    if rows:
        outlet.result(table_text(("kind", "name", "where"), rows, outlet.width(), colour=outlet.colour()))
    if found.is_unused:
        outlet.say(f"{found.item} is used nowhere.")
    else:
        outlet.say(
            f"{found.item}: {outlet.count(len(found.preps), 'prep')}, {outlet.count(len(found.drinks), 'drink')}, "
            f"{outlet.count(len(found.options), 'option')}, {outlet.count(len(found.sites), 'site')} "
            f"of {outlet.count(len(found.franchises), 'franchise')}."
        )
    return 0
