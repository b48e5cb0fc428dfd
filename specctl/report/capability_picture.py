"""Over a chain: what is measured outside tolerance, at how many sites, at what cost a year; one table, one picture.

A bar is all sites that measure an item: full where outside tolerance, hatched
where not proven, empty where within; each bar says its numbers in words. It
holds so many bars as one sheet can show, worst first; the table holds all. Takes
the result of `site-fit --chain --json`; computes no figure of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from specctl.report.bench_words import CHAIN_COLUMNS, CHAIN_LIMITS, ESTIMATE, chain_cells
from specctl.report.html import blocks_context
from specctl.report.page import render
from specctl.report.picture_svg import LINE, WIDTH, Drawing, fitted
from specctl.report.tables import Cell, Column, Note, Picture, Table
from specctl.report.tongue import _, _n, later

MOST_BARS = 10
"""More would not stand on the first sheet of A4, and a picture is not parted."""
_LEFT, _HIGH = 6.0, 14.0
_ROOM = WIDTH - 2 * _LEFT
_FILLS = ("full", "slanted", "")
_KEY = (later("OUTSIDE tolerance"), later("not proven"), later("within tolerance"))

Row = Mapping[str, Any]


def capability_html(done: Mapping[str, Any], day: str) -> bytes:
    """The whole page as UTF-8; `day` in words. It opens offline, prints, and runs nothing."""
    rows = done["items"]
    where = _("franchise {franchise}").format(franchise=done["franchise"]) if done["franchise"] else _("the whole chain")
    failing = [row for row in rows if row["outside"]]
    lead = _n(
        "{count} item of {of} measured OUTSIDE tolerance at one site or more.",
        "{count} items of {of} measured OUTSIDE tolerance at one site or more.",
        len(failing),
    ).format(count=len(failing), of=len(rows))
    blocks = (Note(lead, alarm=bool(failing)), *((picture_of(rows), table_of(rows)) if rows else ()), Note(f"{_(CHAIN_LIMITS)} {_(ESTIMATE)}"))
    title = _("What is measured outside tolerance")
    page = render(
        "capability.html", footer=f"{title} · {where} · {day}", title=title, where=where, day=day, blocks=blocks, **blocks_context()
    )
    return page.encode("utf-8")


def table_of(rows: Sequence[Row]) -> Table:
    """Every item, worst first, in the words of the terminal; where it is outside is named."""
    return Table(
        _("Every item, the worst first"),
        tuple(Column(_(name)) for name in CHAIN_COLUMNS),
        tuple(_cells(row) for row in rows),
    )


def _cells(row: Row) -> tuple[Cell, ...]:
    name, fit, over, under = chain_cells(row)
    outside = (_("outside at {sites}").format(sites=", ".join(row["outside"])),) if row["outside"] else ()
    unsold = _unsold(len(row["no_sales_stated"]))
    return Cell((name,)), Cell((fit, *outside), alarm=bool(row["outside"])), Cell((over,), unsold), Cell((under,))


def _unsold(sizes: int) -> tuple[str, ...]:
    words = _n(
        "{count} size without stated sales, not counted", "{count} sizes without stated sales, not counted", sizes
    )
    return (words.format(count=sizes),) if sizes else ()


def picture_of(rows: Sequence[Row]) -> Picture:
    """A bar an item, all on one scale of sites; told apart by fill and words, never by colour."""
    draw = Drawing("capability")
    most = max(row["sites"] for row in rows)
    y = _key(draw, 14.0)
    for row in rows[:MOST_BARS]:
        y = _bar(draw, row, most, y + 8)
    if len(rows) > MOST_BARS:
        left = len(rows) - MOST_BARS
        words = _n(
            "{count} more item in the table, none of them worse.", "{count} more items in the table, none of them worse.", left
        )
        y = draw.lines(_LEFT, y + 8, fitted(words.format(count=left), _ROOM))
    caption = _("Sites that measure each item: outside tolerance, not proven, within")
    alternative = " ".join(f"{row['name']}: {chain_cells(row)[1]}." for row in rows[:MOST_BARS])
    return Picture(caption, alternative, draw.svg(y - 4, caption, alternative))


def _key(draw: Drawing, y: float) -> float:
    for fill, words in zip(_FILLS, _KEY, strict=True):
        draw.bar(_LEFT, y - 10, 18, 11, fill)
        draw.words(_LEFT + 26, y, _(words), bold=fill == "full")
        y += LINE
    return y


def _bar(draw: Drawing, row: Row, most: int, y: float) -> float:
    fit, over = chain_cells(row)[1:3]
    y = draw.lines(_LEFT, y, fitted(row["name"], _ROOM), bold=bool(row["outside"]))
    outside, unproven = len(row["outside"]), len(row["unproven"])
    x = _LEFT
    for fill, sites in zip(_FILLS, (outside, unproven, row["sites"] - outside - unproven), strict=True):
        if sites:
            wide = _ROOM * sites / most
            draw.bar(x, y - 10, wide, _HIGH, fill)
            x += wide
    return draw.lines(_LEFT, y + _HIGH + 4, fitted(_("{sites}; over: {over}").format(sites=fit, over=over), _ROOM))
