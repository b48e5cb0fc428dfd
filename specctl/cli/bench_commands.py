"""Commands about a site's own tools: scoop-check, site-fit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption
from specctl.errors import Found, NotFound, Usage

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from specctl.actions.source import Source
    from specctl.codec.weighings import Weighings


def scoop_check(
    site: Annotated[str, typer.Argument(metavar="SITE", help="Where it was weighed.")],
    ingredient: Annotated[str, typer.Argument(metavar="INGREDIENT", help="What was weighed: an ingredient or a prep.")],
    tool: Annotated[str, typer.Argument(metavar="TOOL", help="One level dose of which tool.")],
    who: Annotated[str, typer.Option("--who", help="Who weighed.")],
    weigh: Annotated[Optional[str], typer.Option("--weigh", metavar="LIST", help='The weighings, as "8.4 g, 8.2 g, 8.5 g".')] = None,
    csv: Annotated[Optional[Path], typer.Option("--csv", metavar="FILE", help="A CSV file with a column of weighings.")] = None,
    column: Annotated[Optional[str], typer.Option("--column", help="The column's name, such as 'weight (g)'.")] = None,
    date: Annotated[Optional[str], typer.Option("--date", metavar="DAY", help="The day it was weighed; else today.")] = None,
    busy: Annotated[bool, typer.Option("--busy", help="Weighed at a busy hour, as it is really scooped.")] = False,
    look: Annotated[bool, typer.Option("--look", help="Only show what would be stored.")] = False,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Store weighings of one ingredient with one tool at one site, and say what they prove."""
    from specctl.actions.scoop_checking import Wish, check_scoop
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.report.bench_words import check_words

    weighings = _weighings(weigh, csv, column)
    today = clock.now().date()
    wish = Wish(site, ingredient, tool, who, _day(date) if date else today, busy)
    with open_source(book) as source:
        done = check_scoop(source, wish, weighings, today, look=look)
    if json:
        outlet.result_json(done.as_json())
    else:
        from specctl.report.plain import wrap
        from specctl.report.terminal import problems_text

        outlet.result("\n".join(part for line in check_words(done.as_json()) for part in wrap(line, outlet.width())))
        if done.notes:
            outlet.result(problems_text(done.notes, outlet.width(), colour=outlet.colour()))
    outlet.say(f"{done.path} {'written' if done.written else 'would be written'}; it counts once it is proposed and released.")
    return 0


def site_fit(
    site: Annotated[Optional[str], typer.Argument(metavar="[SITE]", help="The site; or --all, or --chain.")] = None,
    all_: Annotated[bool, typer.Option("--all", help="Every site, one row each.")] = False,
    chain: Annotated[bool, typer.Option("--chain", help="Every ingredient: at how many sites it fits, and what a year costs.")] = False,
    franchise: Annotated[Optional[str], typer.Option("--for", metavar="FRANCHISE", help="With --chain: this franchise's sites and prices only.")] = None,
    prep: Annotated[Optional[str], typer.Option("--prep", metavar="PREP", help="Whole batches of this prep in the site's tools and vessels.")] = None,
    batches: Annotated[Optional[int], typer.Option("--batches", min=1, max=100, help="How many; else as many as its vessel holds.")] = None,
    html: Annotated[Optional[Path], typer.Option("--html", metavar="FILE", help="With --chain: one page with the table and a picture of it.")] = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Show how well a site's own tools hit every amount of its menu, worst first."""
    from specctl.actions.source import open_source

    if (site is not None) + all_ + chain != 1 or ((prep is not None or batches is not None) and site is None):
        raise Usage("say which site, or --all, or --chain", "For example: specctl site-fit harbour-row")
    if html is not None and (not chain or json):
        raise Usage("--html goes with --chain, and without --json", "For example: specctl site-fit --chain --html chain.html")
    if franchise is not None and not chain:
        raise Usage("--for goes with --chain", "For example: specctl site-fit --chain --for marram")
    if batches is not None and prep is None:
        raise Usage("--batches goes with --prep", "For example: specctl site-fit harbour-row --prep sugar-syrup --batches 2")
    with open_source(book) as source:
        if site is not None and prep is not None:
            return _one_batch(source, site, (prep, batches), json)
        if site is not None:
            return _one_site(source, site, json)
        return _every_site(source, json) if all_ else _whole_chain(source, franchise, html, json)


def _one_site(source: Source, site: str, json: bool) -> int:
    from specctl.actions.fit_json import site_json
    from specctl.actions.site_fitting import fit_site
    from specctl.cli import clock, outlet
    from specctl.report import bench_words
    from specctl.report.plain import wrap
    from specctl.report.terminal import table_text

    done = site_json(fit_site(source, site, clock.now().date()))
    failing = done["counts"]["outside"] + done["counts"]["no-tool"]
    if json:
        outlet.result_json(done)
    else:
        columns, rows = bench_words.fit_table(done["amounts"], outlet.width())
        outlet.result(table_text(columns, rows, outlet.width(), colour=outlet.colour()))
        for line in [*bench_words.help_words(done), bench_words.ESTIMATE]:
            outlet.result("\n".join(wrap(line, outlet.width())))
    outlet.say(f"{done['site']['name']}: {bench_words.count_words(done['counts'])}.")
    return 1 if failing else 0


def _one_batch(source: Source, site: str, wanted: tuple[str, int | None], json: bool) -> int:
    from specctl.actions.batching import scale_prep
    from specctl.cli import outlet
    from specctl.report import bench_words
    from specctl.report.plain import wrap
    from specctl.report.terminal import table_text

    done = scale_prep(source, site, *wanted)
    if json:
        outlet.result_json(done)
    else:
        outlet.result("\n".join(wrap(bench_words.batch_words(done), outlet.width())))
        rows = [bench_words.batch_cells(line) for line in done["lines"]]
        outlet.result(table_text(bench_words.BATCH_COLUMNS, rows, outlet.width(), colour=outlet.colour()))
    return 1 if any(line["measure"]["verdict"] in ("outside", "no-tool") for line in done["lines"]) else 0


def _every_site(source: Source, json: bool) -> int:
    from specctl.actions.fit_json import all_json
    from specctl.cli import outlet
    from specctl.report import bench_words
    from specctl.report.terminal import table_text

    done = all_json(source)
    if json:
        outlet.result_json(done)
    else:
        rows = [bench_words.site_cells(row) for row in done["sites"]]
        outlet.result(table_text(bench_words.SITE_COLUMNS, rows, outlet.width(), colour=outlet.colour()))
        outlet.say(bench_words.ESTIMATE)
    return 1 if any(row["counts"]["outside"] + row["counts"]["no-tool"] for row in done["sites"]) else 0


def _whole_chain(source: Source, franchise: str | None, html: Path | None, json: bool) -> int:
    from specctl.actions.fit_json import chain_json
    from specctl.cli import outlet
    from specctl.report import bench_words
    from specctl.report.terminal import table_text

    done = chain_json(source, franchise)
    if json:
        outlet.result_json(done)
    elif html is not None:
        _chain_page(done, html)
    else:
        rows = [bench_words.chain_cells(row) for row in done["items"]]
        outlet.result(table_text(bench_words.CHAIN_COLUMNS, rows, outlet.width(), colour=outlet.colour()))
        outlet.say(f"{bench_words.CHAIN_LIMITS} {bench_words.ESTIMATE}")
    return 1 if any(row["outside"] for row in done["items"]) else 0


def _chain_page(done: Mapping[str, Any], html: Path) -> None:
    from specctl.cli import clock, outlet
    from specctl.report.capability_picture import capability_html
    from specctl.report.words import date_words

    try:
        html.write_bytes(capability_html(done, date_words(clock.now().date())))
    except OSError as error:
        raise NotFound(f"{html} cannot be written: {error.strerror}", "Name a file in a folder that exists.") from None
    outlet.say(f"Written to {html}.")


def _weighings(weigh: str | None, csv: Path | None, column: str | None) -> Weighings:
    from specctl.codec import weighings as reader

    if (weigh is None) == (csv is None):
        raise Usage("give the weighings once", 'Either --weigh "8.4 g, 8.2 g" or --csv FILE.')
    if weigh is not None:
        found, wrong = reader.read_typed(weigh)
    else:
        assert csv is not None
        try:
            with csv.open("rb") as file:
                data = file.read(reader.MOST_BYTES + 1)
        except OSError as error:
            raise NotFound(f"{csv} cannot be read: {error.strerror}", "Name a CSV file.") from None
        found, wrong = reader.read_csv(data, csv.name, column)
    if found is None:
        raise Found("these weighings cannot be read", wrong, "Nothing was stored.")
    return found


def _day(text: str) -> date:
    from datetime import date

    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Usage(f"{text} is not a day of the calendar", "Write it as 2026-11-25.") from None
