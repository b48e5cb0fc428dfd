"""The command deviation: a site's time-limited exception, with a food-safety yes."""

from __future__ import annotations

from typing import Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption, KeyOption
from specctl.errors import Usage


def deviation(
    site: Annotated[str, typer.Argument(metavar="SITE", help="The site it is for.")] = "",
    of: Annotated[str, typer.Option("--for", metavar="INGREDIENT", help="What it stands in for.")] = "",
    by: Annotated[str, typer.Option("--with", metavar="INGREDIENT", help="An ingredient of the book used instead.")] = "",
    named: Annotated[str, typer.Option("--named", metavar="TEXT", help="Goods that are not in the book, as they stand on the pack.")] = "",
    contains: Annotated[Optional[list[str]], typer.Option("--contains", metavar="SUBSTANCE", help="With --named: the pack says it contains this.")] = None,
    may_contain: Annotated[Optional[list[str]], typer.Option("--may-contain", metavar="SUBSTANCE", help="With --named: the pack says it may contain this.")] = None,
    absent: Annotated[Optional[list[str]], typer.Option("--absent", metavar="SUBSTANCE", help="With --named: checked, and declared absent. Everything else is unknown.")] = None,
    checked: Annotated[str, typer.Option("--checked", help="What was checked, and how.")] = "",
    why: Annotated[str, typer.Option("--why", help="Why it is needed.")] = "",
    until: Annotated[Optional[str], typer.Option("--until", metavar="DATE", help="Its last day at the site; 28 days at most.")] = None,
    stop: Annotated[Optional[str], typer.Option("--stop", metavar="DEVIATION", help="End a standing one now, by its digest.")] = None,
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Allow one site something else in place of an ingredient, until a set end."""
    from specctl.actions import deviating
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.report.clean import visible

    now = clock.now()
    if stop is not None:
        if not why.strip():
            raise Usage("ending it needs a reason", 'Say it with --why "...".')
        with open_source(book) as source:
            done = deviating.stop(source, stop, why, now, key)
    else:
        last = clock.day(until, "--until")
        if not site or not of or bool(by) == bool(named) or last is None:
            raise Usage(
                "deviation needs a site, --for, one of --with and --named, --checked, --why and --until",
                'specctl deviation northsands-quay --for oat-drink --named "Oat drink from next door" --contains oats --checked "..." --why "..." --until 2026-11-28',
            )
        stand_in = deviating.StandIn(by, named, tuple(contains or ()), tuple(may_contain or ()), tuple(absent or ()))
        with open_source(book) as source:
            done = deviating.deviate(source, deviating.DeviationWish(site, of, stand_in, checked, why, last, now, key))
    said = done.passed.deviation
    if json:
        outlet.result_json(done.as_json())
    else:
        for item in done.items:
            outlet.result(visible(item["name"] + (f" (only with {', '.join(item['choices'])})" if item["choices"] else "")))
    for status, words in (("contains", "Contains"), ("may_contain", "May contain"), ("unknown", "UNKNOWN")):
        names = ", ".join(k.name for k in said.facts[status])
        if names and stop is None:
            outlet.say(visible(f"{words}: {names}"))
    if stop is not None:
        outlet.say(visible(f"Over now at {said.site}: {said.name} in place of {said.of}. Throw away what was made ahead with it."))
    else:
        outlet.say(visible(f"Until {said.ends} {said.site} may use {said.name} in place of {said.of}; its allergens are told beside the spec's own."))
    outlet.say(f"Deviation {done.passed.digest[:12]} is on main; the site hears of it at its next pull: publish now.")
    return 0
