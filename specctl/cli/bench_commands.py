"""Commands about a site's own tools: scoop-check, site-fit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption
from specctl.errors import Found, NotFound, Usage

if TYPE_CHECKING:
    from datetime import date

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
